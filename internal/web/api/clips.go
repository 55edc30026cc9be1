package api

import (
	"cmp"
	"context"
	"net/http"
	"strings"
	"time"

	"coilkeep/internal/bench"
	"coilkeep/internal/record"
	"coilkeep/internal/web/problem"
)

// clips passes on what is said of the coils on the clips and beside the probe,
// and answers how the bench stands then.
type clips struct {
	at      BenchList[Bench]
	journal Journal
}

// Journal keeps who did what.
type Journal interface {
	AddJournal(ctx context.Context, entry record.JournalEntry) (record.JournalEntry, error)
}

func (c clips) endpoints() []Endpoint {
	const path, then = "/api/v1/benches/{bench}", "How the bench stands then."
	return []Endpoint{
		endpoint("POST", path+"/next", http.StatusOK, c.setNext,
			About{ID: "setNext", Tag: Benches, Summary: "Say which coil comes next",
				Description: "A serial number that was measured at this stage before is refused, unless again is set.",
				Says:        then}),
		endpoint("POST", path+"/record", http.StatusOK, c.record,
			About{ID: "record", Tag: Benches, Summary: "Record what is on the clips now",
				Description: "The answer comes when the bench has taken the order, not when the coil is recorded: the next state says what became " +
					"of it.",
				Says: then}),
		endpoint("POST", path+"/readings", http.StatusOK, c.typeReading,
			About{ID: "typeReading", Tag: Benches, Summary: "Type in a reading of an instrument that has no cable",
				Description: "For a meter or probe with the driver manual. A temperature that is unusual is refused until it is confirmed.",
				Says:        then}),
		endpoint("POST", path+"/note", http.StatusCreated, c.note,
			About{ID: "note", Tag: Benches, Summary: "Put a note into the journal",
				Description: "A note about a coil stands on its page too.",
				Says:        "The note as kept."}),
		endpoint("POST", path+"/unrecorded/{id}/again", http.StatusOK, c.measureAgain,
			About{ID: "measureAgain", Tag: Benches, Summary: "The next coil is the one that was not recorded",
				Description: "It is filed under its serial number.", Says: then}),
		endpoint("POST", path+"/unrecorded/{id}/next", http.StatusOK, c.takeNext,
			About{ID: "takeNext", Tag: Benches, Summary: "The next coil is another than the one that was not recorded",
				Description: "That one stays listed and keeps its serial number; the next number is used.", Says: then}),
		endpoint("POST", path+"/unrecorded/{id}/dismiss", http.StatusOK, c.dismiss,
			About{ID: "dismissUnrecorded", Tag: Benches, Summary: "A coil that was not recorded need not be",
				Description: "It is taken off the list. No other coil is given a serial number that was its by the pattern.", Says: then}),
		endpoint("POST", path+"/soak", http.StatusCreated, c.soak,
			About{ID: "soak", Tag: Benches, Summary: "Say since when a coil or a batch has been lying beside the probe",
				Description: "The newest counts. One for a batch is meant for coils that are wound.", Says: "What is kept."}),
	}
}

// order has do carry out something on a bench, and answers with how it stands then.
func (c clips) order(name string, do func(Bench) error) (bench.Snapshot, error) {
	b, err := c.at.Named(name)
	if err == nil {
		err = do(b)
	}
	if err != nil {
		return bench.Snapshot{}, err
	}
	return b.Snapshot(), nil
}

// nextCoil is the coil.
type nextCoil struct {
	benchTold
	// Its serial number; empty takes the next of the pattern.
	Serial string `json:"serial,omitempty"`
	// Where in its life it is; empty means wound.
	Stage string `json:"stage,omitempty"`
	// Measure a coil again that was measured at this stage; the new measurement
	// supersedes the old one.
	Again bool `json:"again,omitempty"`
}

func (c clips) setNext(ctx context.Context, request nextCoil) (bench.Snapshot, error) {
	return c.order(request.Bench, func(b Bench) error {
		return b.SetNext(ctx, bench.Next{Serial: request.Serial, Stage: request.Stage, Again: request.Again, Who: request.Login})
	})
}

// toRecord has what is on the clips recorded. Without force, only a coil the bench
// asks about; a meter the bench asks about is taken into use instead.
type toRecord struct {
	benchTold
	// Record although the rules would wait; marked, and with wider uncertainty.
	Force bool `json:"force,omitempty"`
	// Why; needed with force.
	Reason string `json:"reason,omitempty"`
}

func (c clips) record(ctx context.Context, request toRecord) (bench.Snapshot, error) {
	return c.order(request.Bench, func(b Bench) error {
		if request.Force && strings.TrimSpace(request.Reason) == "" {
			return problem.Invalid.InField("reason", "a forced measurement needs a reason; it is kept with it")
		}
		return b.Record(ctx, bench.RecordRequest{Force: request.Force, Reason: request.Reason, Who: request.Login})
	})
}

// typedReading is the reading.
type typedReading struct {
	ofBench
	// Which instrument of the bench.
	Role record.Role `json:"role"`
	// As read, for example 6.69k or 21.4.
	Value string `json:"value"`
	// Says that a temperature that is unusual at this bench is meant so.
	Confirm bool `json:"confirm,omitempty"`
}

func (c clips) typeReading(ctx context.Context, request typedReading) (bench.Snapshot, error) {
	return c.order(request.Bench, func(b Bench) error {
		if request.Role != record.Meter && request.Role != record.Probe {
			return problem.Invalid.InField("role", "%q must be %q or %q", request.Role, record.Meter, record.Probe)
		}
		return b.Type(ctx, request.Role, request.Value, request.Confirm)
	})
}

// NoteAction is what the journal calls a note that a person made.
const NoteAction = "note"

// newNote is the note.
type newNote struct {
	benchTold
	// What is to be noted.
	Note string `json:"note"`
	// The coil or batch it is about; without it the open batch, or else the bench.
	Subject string `json:"subject,omitempty"`
}

func (c clips) note(ctx context.Context, request newNote) (record.JournalEntry, error) {
	b, err := c.at.Named(request.Bench)
	if err != nil {
		return record.JournalEntry{}, err
	}
	snapshot := b.Snapshot()
	entry := record.JournalEntry{Bench: snapshot.Bench, Who: request.Login, Action: NoteAction,
		Subject: request.Subject, Detail: strings.TrimSpace(request.Note)}
	if entry.Detail == "" {
		return entry, problem.Invalid.InField("note", "write what is to be noted")
	}
	switch {
	case entry.Subject != "":
	case snapshot.Batch != nil:
		entry.Subject = snapshot.Batch.Name
	default:
		entry.Subject = snapshot.Bench
	}
	return c.journal.AddJournal(ctx, entry)
}

// unrecordedCoil says who answers what became of a coil that was not recorded.
type unrecordedCoil struct {
	benchTold
	// Id in the bench's list of what was not recorded.
	ID string `path:"id"`
	// A name for the journal; left out: that of the login.
	Who string `json:"who,omitempty"`
}

func (c clips) measureAgain(ctx context.Context, request unrecordedCoil) (bench.Snapshot, error) {
	return c.order(request.Bench, func(b Bench) error {
		return b.MeasureAgain(ctx, request.ID, cmp.Or(request.Who, request.Login))
	})
}

func (c clips) takeNext(ctx context.Context, request unrecordedCoil) (bench.Snapshot, error) {
	return c.order(request.Bench, func(b Bench) error {
		return b.TakeNext(ctx, request.ID, cmp.Or(request.Who, request.Login))
	})
}

func (c clips) dismiss(ctx context.Context, request unrecordedCoil) (bench.Snapshot, error) {
	return c.order(request.Bench, func(b Bench) error {
		_, err := b.Dismiss(ctx, request.ID, cmp.Or(request.Who, request.Login))
		return err
	})
}

// newSoak is what lies there: a serial or a batch, not both.
type newSoak struct {
	benchTold
	// The coil.
	Serial string `json:"serial,omitempty"`
	// The batch, which is open.
	Batch string `json:"batch,omitempty"`
	// Since when; left out: from now on. Not in the future, and not before the
	// coil was on the clips last.
	Since time.Time `json:"since,omitzero"`
	// A name for the journal; left out: that of the login.
	Who string `json:"who,omitempty"`
}

func (c clips) soak(ctx context.Context, request newSoak) (record.Soak, error) {
	b, err := c.at.Named(request.Bench)
	if err != nil {
		return record.Soak{}, err
	}
	return b.Soak(ctx, record.Soak{Serial: request.Serial, Batch: request.Batch, Since: request.Since,
		Who: cmp.Or(request.Who, request.Login)})
}
