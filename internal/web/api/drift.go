package api

import (
	"context"
	"errors"
	"net/http"

	"coilkeep/internal/drift"
	"coilkeep/internal/record"
	"coilkeep/internal/web/problem"
	"coilkeep/internal/workshop"
)

// wandering says whether batches and winders wander.
type wandering struct {
	designs OneDesign
	watch   DriftWatch
}

// DriftWatch says how batches and winders fare, and keeps what is said about it.
type DriftWatch interface {
	Batch(ctx context.Context, name string) (workshop.Drift, error)
	Winder(ctx context.Context, winder, design string) (workshop.Drift, error)
	Acknowledge(ctx context.Context, batch, note, who string) (record.JournalEntry, error)
	Revise(ctx context.Context, choice workshop.BaselineChoice) (record.Baseline, error)
	SpoolBook(ctx context.Context, design string) (workshop.SpoolBook, error)
}

// OneDesign finds a design.
type OneDesign interface {
	Design(ctx context.Context, name string) (record.Design, error)
}

func (d wandering) endpoints() []Endpoint {
	return []Endpoint{
		endpoint("GET", "/api/v1/batches/{batch}/drift", http.StatusOK, d.batch,
			About{ID: "showBatchDrift", Tag: Drift, Summary: "Whether a batch wanders, since which coil and why",
				Description: "One report over the coils of the batch that count, in the order they were wound.",
				Says:        "What the drift analysis says; 409 while the batch has no measured coil."}),
		endpoint("POST", "/api/v1/batches/{batch}/drift/acknowledge", http.StatusCreated, d.acknowledge,
			About{ID: "acknowledgeDrift", Tag: Drift, Summary: "Take note of the signals that stand in a batch",
				Description: "The signals that stand now are no news from then on.", Says: "The note as kept in the journal."}),
		endpoint("POST", "/api/v1/batches/{batch}/baseline", http.StatusCreated, d.revise,
			About{ID: "reviseBaseline", Tag: Drift, Summary: "Have other coils set the control limits",
				Description: "Charts of this design on this winder have these limits from then on.", Says: "The baseline as kept."}),
		endpoint("GET", "/api/v1/winders/{winder}/drift", http.StatusOK, d.winder,
			About{ID: "showWinderDrift", Tag: Drift, Summary: "Whether a winder wanders, over all batches of a design",
				Description: "Coils of several revisions are compared as shares of their own target.",
				Says:        "What the drift analysis says."}),
		endpoint("GET", "/api/v1/spools", http.StatusOK, d.spools,
			About{ID: "listSpools", Tag: Drift, Summary: "The spool book of a design",
				Description: "What each spool gives for a turn, and how many turns make the target.",
				Says:        "The spools in the order of first use. A design that was never wound, or whose coils tell no spool, has none."}),
	}
}

func (d wandering) batch(ctx context.Context, request ofBatch) (workshop.Drift, error) {
	return d.watch.Batch(ctx, request.Batch)
}

// driftNote is the note.
type driftNote struct {
	ofBatch
	login
	Note string `json:"note"` // what was found or done
}

func (d wandering) acknowledge(ctx context.Context, request driftNote) (record.JournalEntry, error) {
	return d.watch.Acknowledge(ctx, request.Batch, request.Note, request.Login)
}

// newBaseline is which coils.
type newBaseline struct {
	ofBatch
	login
	// Number in the batch of the first coil.
	From int `json:"from_sequence,omitempty" openapi:"minimum=0"`
	// How many good coils from there on; 0 or left out: 40.
	Count int `json:"count,omitempty" openapi:"minimum=0"`
	// Why; kept in the journal.
	Reason string `json:"reason"`
}

func (d wandering) revise(ctx context.Context, request newBaseline) (record.Baseline, error) {
	return d.watch.Revise(ctx, workshop.BaselineChoice{Batch: request.Batch, From: request.From, Count: request.Count, Reason: request.Reason,
		Who: request.Login})
}

// winderOfDesign is a request about one winder.
type winderOfDesign struct {
	Winder string `path:"winder"`  // name of the winder
	Design string `query:"design"` // which design, when the winder wound several
}

func (d wandering) winder(ctx context.Context, request winderOfDesign) (workshop.Drift, error) {
	return WinderDrift(ctx, d.watch, request.Winder, request.Design)
}

// WinderDrift is what the analysis says of all coils of one design that a winder
// wound. A winder without coils is not found.
func WinderDrift(ctx context.Context, w DriftWatch, winder, design string) (workshop.Drift, error) {
	found, err := w.Winder(ctx, winder, design)
	if errors.Is(err, workshop.ErrNoCoils) {
		err = problem.NotFound.Because("%v", err)
	}
	return found, err
}

// spoolsAsked is whose spools are wanted.
type spoolsAsked struct {
	// Which design; without it the one wound last.
	Design string `query:"design"`
}

// SpoolBook is the spools of a design.
type SpoolBook struct {
	// The design; null when none was asked for and nothing was wound yet.
	Design *string `json:"design"`
	// How many coils were looked at when earlier ones are left out; null when all
	// were.
	NewestCoils *int `json:"newest_coils"`
	// In the order of first use.
	Spools []drift.SpoolEntry `json:"spools"`
}

func (d wandering) spools(ctx context.Context, request spoolsAsked) (SpoolBook, error) {
	book, err := SpoolsOf(ctx, d.watch, d.designs, request.Design)
	return answerSpools(book), err
}

func answerSpools(book workshop.SpoolBook) SpoolBook {
	answer := SpoolBook{Spools: book.Spools}
	if answer.Spools == nil {
		answer.Spools = []drift.SpoolEntry{}
	}
	if book.Design != "" {
		answer.Design = &book.Design
	}
	if book.Newest != 0 {
		answer.NewestCoils = &book.Newest
	}
	return answer
}

// SpoolsOf is the spool book of a design; of the one wound last when design is
// empty.
func SpoolsOf(ctx context.Context, w DriftWatch, designs OneDesign, design string) (workshop.SpoolBook, error) {
	if design != "" {
		if _, err := DesignNamed(ctx, designs, design); err != nil {
			return workshop.SpoolBook{}, err
		}
	}
	return w.SpoolBook(ctx, design)
}

// DesignNamed is the newest revision of the design that the field "design" of a
// request names.
func DesignNamed(ctx context.Context, designs OneDesign, name string) (record.Design, error) {
	design, err := designs.Design(ctx, name)
	if errors.Is(err, record.ErrNotFound) {
		err = problem.Invalid.InField("design", "there is no design %q", name)
	}
	return design, err
}
