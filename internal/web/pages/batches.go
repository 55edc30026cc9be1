package pages

import (
	"bytes"
	"context"
	"fmt"
	"net/http"
	"slices"

	"coilkeep/internal/record"
	"coilkeep/internal/web/api"
	"coilkeep/internal/workshop"
)

const (
	// listedBatches is how many batches one page lists.
	listedBatches = 50
	// listedCoils is how many measurements of a batch its page shows; a
	// download has them all.
	listedCoils = 1000
	// chartedNarrow is how many of them have room on a telephone.
	chartedNarrow = 60
)

// batchRow is one batch of a list.
type batchRow struct {
	record.Batch
	Verdicts record.Verdicts
}

// batchesView is the list of batches.
type batchesView struct {
	frame
	Text string
	Rows []batchRow
	// Next is the cursor of the page after this one, "" on the last.
	Next string
	// First is false on a later page.
	First bool
}

func (s batchPages) batchesPage(w http.ResponseWriter, r *http.Request) error {
	query := r.URL.Query()
	search := record.BatchSearch{Text: query.Get("q"), After: query.Get("after"), Limit: listedBatches}
	view := batchesView{frame: s.frame(batchesSection, "Batches"), Text: search.Text, First: search.After == ""}
	var err error
	if view.Rows, view.Next, err = s.batchRows(r, search); err != nil {
		return err
	}
	return s.renderPage(w, "records/batches", view)
}

// batchRows finds batches and counts their coils by verdict.
func (s batchPages) batchRows(r *http.Request, search record.BatchSearch) (rows []batchRow, next string, err error) {
	batches, next, err := s.History.FindBatches(r.Context(), search)
	if err != nil {
		return nil, "", err
	}
	names := make([]string, len(batches))
	for i, b := range batches {
		names[i] = b.Name
	}
	verdicts, err := s.History.BatchVerdicts(r.Context(), names...)
	if err != nil {
		return nil, "", err
	}
	for _, b := range batches {
		rows = append(rows, batchRow{b, verdicts[b.Name]})
	}
	return rows, next, nil
}

// batchView is the page of one batch.
type batchView struct {
	frame
	record.Batch
	Spec record.Design // the revision it is wound to
	Sums sumsView
	// Misfit says that the latest coils miss the design; "" when they do not.
	Misfit   string
	Verdicts record.Verdicts
	Drift    driftView
	Coils    []record.Measurement
	// More is true when there are measurements that the page leaves out.
	More   bool
	Sheets sheetView
}

// SerialOf is the serial number of a coil of the batch, "" when it is not on the
// page.
func (v batchView) SerialOf(sequence int) string {
	for _, m := range v.Coils {
		if m.Sequence == sequence {
			return m.Serial
		}
	}
	return ""
}

func (s batchPages) batchPage(w http.ResponseWriter, r *http.Request) error {
	return s.showBatch(w, r, http.StatusOK, driftForms{})
}

// Reopenable is true while the batch may be opened again.
func (v batchView) Reopenable() bool { return v.CanReopen(v.Now) == nil }

// reopenForm opens a batch again that was closed by mistake.
func (s batchPages) reopenForm(w http.ResponseWriter, r *http.Request) error {
	if _, err := readForm(w, r); err != nil {
		return err
	}
	batch, err := s.History.ReopenBatch(r.Context(), r.PathValue("batch"), api.Requester(r))
	if err != nil {
		return err
	}
	http.Redirect(w, r, pagePath("batches", batch.Name), http.StatusSeeOther)
	return nil
}

func (s batchPages) showBatch(w http.ResponseWriter, r *http.Request, status int, forms driftForms) error {
	kept, ctx := s.History, r.Context()
	batch, err := kept.Batch(ctx, r.PathValue("batch"))
	if err != nil {
		return err
	}
	view := batchView{frame: s.frame(batchesSection, "Batch "+batch.Name), Batch: batch, Sheets: defaultSheet}
	if view.Spec, err = kept.DesignRevision(ctx, batch.Design, batch.DesignRevision); err != nil {
		return err
	}
	verdicts, err := kept.BatchVerdicts(ctx, batch.Name)
	if err != nil {
		return err
	}
	view.Verdicts = verdicts[batch.Name]
	coils, next, err := kept.Measurements(ctx, record.Filter{Batch: batch.Name, Limit: listedCoils})
	if err != nil {
		return err
	}
	coils = withoutFirsts(coils)
	view.Coils, view.More = coils, next != ""
	if newest := slices.Clone(coils); !view.More {
		slices.Reverse(newest)
		if view.Misfit, err = s.misfit(ctx, batch, newest); err != nil {
			return err
		}
	}
	view.Drift = s.drift.batchDrift(ctx, batch, coils, !view.More, forms)
	if view.Sums, err = s.batchSums(ctx, batch.Name, view.Drift.Drift); err != nil {
		return err
	}
	return s.renderPageAs(w, status, "records/batch", view)
}

// misfit says that the latest coils of a batch miss its design; "" when they do not.
// newest are measurements of it, the newest first.
func (s batchPages) misfit(ctx context.Context, batch record.Batch, newest []record.Measurement) (string, error) {
	designs, err := s.History.Designs(ctx)
	if err != nil {
		return "", err
	}
	found := workshop.MisfitOf(newest, designs)
	if found == nil {
		return "", nil
	}
	design, err := s.History.DesignRevision(ctx, batch.Design, batch.DesignRevision)
	return found.Words(design), err
}

// exportBatch downloads the measurements of a batch. It is put together whole
// before it is sent, so that a download never looks finished when it is not.
func (s batchPages) exportBatch(format, contentType string) Endpoint {
	return func(w http.ResponseWriter, r *http.Request) error {
		batch, err := s.History.Batch(r.Context(), r.PathValue("batch"))
		if err != nil {
			return err
		}
		var b bytes.Buffer
		if err := s.History.Export(r.Context(), &b, format, record.Filter{Batch: batch.Name}); err != nil {
			return err
		}
		s.download(w, contentType, fmt.Sprintf("batch %s.%s", batch.Name, format), b.Bytes())
		return nil
	}
}
