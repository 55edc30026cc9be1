package api

import (
	"context"
	"errors"
	"net/http"
	"time"

	"coilkeep/internal/record"
	"coilkeep/internal/web/problem"
)

// batches shows batches.
type batches struct{ kept BatchRecords }

// BatchRecords finds batches.
type BatchRecords interface {
	Batch(ctx context.Context, name string) (record.Batch, error)
	ReopenBatch(ctx context.Context, name, who string) (record.Batch, error)
	FindBatches(ctx context.Context, search record.BatchSearch) (page []record.Batch, next string, err error)
}

func (b batches) endpoints() []Endpoint {
	return []Endpoint{
		endpoint("GET", "/api/v1/batches", http.StatusOK, b.list,
			About{ID: "listBatches", Tag: Batches, Summary: "Batches, the latest first", Description: "Open ones and closed ones.",
				Says: "One page."}),
		endpoint("GET", "/api/v1/batches/{batch}", http.StatusOK, b.show,
			About{ID: "showBatch", Tag: Batches, Summary: "A batch", Description: "Open or closed, with the spools that were used.",
				Says: "The batch."}),
		endpoint("POST", "/api/v1/batches/{batch}/reopen", http.StatusOK, b.reopen,
			About{ID: "reopenBatch", Tag: Batches, Summary: "Open a batch again that was closed by mistake",
				Description: "Within a day, and while its bench has not gone on to another batch.", Says: "The batch."}),
	}
}

// batchFilter picks batches.
type batchFilter struct {
	// Part of the batch's name, design, winder or operator, or of a spool it used;
	// capitals do not matter.
	Text   string    `query:"text"`
	Design string    `query:"design"` // of this design only
	From   time.Time `query:"from"`   // not opened before this time
	To     time.Time `query:"to"`     // opened before this time
	page
}

// BatchPage is batches, the latest first.
type BatchPage struct {
	Batches []record.Batch `json:"batches"` // the latest first
	// Give it as after to get the next page; empty on the last one.
	Next string `json:"next"`
}

func (b batches) list(ctx context.Context, request batchFilter) (BatchPage, error) {
	list, next, err := b.kept.FindBatches(ctx, record.BatchSearch{Text: request.Text, Design: request.Design, OpenedFrom: request.From,
		OpenedTo: request.To, After: request.After, Limit: request.Limit})
	if errors.Is(err, record.ErrNotFound) {
		err = problem.Invalid.InField("after", "must be the name of a batch (the next of the page before), not %q", request.After)
	}
	return BatchPage{list, next}, err
}

// ofBatch is a request about one batch.
type ofBatch struct {
	// Its name.
	Batch string `path:"batch"`
}

func (b batches) show(ctx context.Context, request ofBatch) (record.Batch, error) {
	return b.kept.Batch(ctx, request.Batch)
}

// batchTold is a request about a batch that says no more.
type batchTold struct {
	ofBatch
	login
}

func (b batches) reopen(ctx context.Context, request batchTold) (record.Batch, error) {
	return b.kept.ReopenBatch(ctx, request.Batch, request.Login)
}
