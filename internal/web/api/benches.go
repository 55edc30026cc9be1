package api

import (
	"context"
	"net/http"

	"coilkeep/internal/bench"
	"coilkeep/internal/record"
)

// benches shows the benches and keeps what is wound at them.
type benches struct{ at BenchList[Bench] }

func (b benches) endpoints() []Endpoint {
	return []Endpoint{
		endpoint("GET", "/api/v1/benches", http.StatusOK, b.list,
			About{ID: "listBenches", Tag: Benches, Summary: "How every bench stands",
				Description: "What is not known now is null: nothing old is shown as live. To follow the benches, listen to the events instead.",
				Says:        "The benches in the order of the configuration."}),
		endpoint("GET", "/api/v1/benches/{bench}", http.StatusOK, b.show,
			About{ID: "showBench", Tag: Benches, Summary: "How a bench stands", Description: "The same object comes with each state event.",
				Says: "The bench."}),
		endpoint("POST", "/api/v1/benches/{bench}/batch", http.StatusCreated, b.startBatch,
			About{ID: "startBatch", Tag: Benches, Summary: "Start a batch",
				Description: "A batch keeps the revision of the design that is the latest when it starts. One that is open must be closed first.",
				Says:        "The batch."}),
		endpoint("DELETE", "/api/v1/benches/{bench}/batch", http.StatusOK, b.closeBatch,
			About{ID: "closeBatch", Tag: Benches, Summary: "Close the open batch",
				Description: "Coils measured from then on are in no batch, until one is started.",
				Says:        "The closed batch."}),
		endpoint("POST", "/api/v1/benches/{bench}/spool", http.StatusOK, b.changeSpool,
			About{ID: "changeSpool", Tag: Benches, Summary: "Mark that coils from now on come from another spool",
				Description: "Of the open batch. The next coil is the first one from the new spool.",
				Says:        "The batch."}),
	}
}

// allBenches is all benches.
type allBenches struct {
	Benches []bench.Snapshot `json:"benches"` // in the order of the configuration
}

func (b benches) list(context.Context, struct{}) (allBenches, error) {
	return allBenches{b.at.Snapshots()}, nil
}

func (b benches) show(_ context.Context, request ofBench) (bench.Snapshot, error) {
	at, err := b.at.Named(request.Bench)
	if err != nil {
		return bench.Snapshot{}, err
	}
	return at.Snapshot(), nil
}

// batchToStart is what is wound. Design is needed; without a name the batch gets one.
type batchToStart struct {
	ofBench
	login
	Batch    string `json:"batch,omitempty"`    // name
	Design   string `json:"design"`             // design
	Spool    string `json:"spool,omitempty"`    // wire spool
	Winder   string `json:"winder,omitempty"`   // winding machine
	Operator string `json:"operator,omitempty"` // person
}

func (b benches) startBatch(ctx context.Context, request batchToStart) (record.Batch, error) {
	at, err := b.at.Named(request.Bench)
	if err != nil {
		return record.Batch{}, err
	}
	return at.StartBatch(ctx, record.BatchStart{
		Name:     request.Batch,
		Bench:    request.Bench,
		Design:   request.Design,
		Spool:    request.Spool,
		Winder:   request.Winder,
		Operator: request.Operator,
		Who:      request.Login,
	})
}

// benchTold is a request about a bench that says no more.
type benchTold struct {
	ofBench
	login
}

func (b benches) closeBatch(ctx context.Context, request benchTold) (record.Batch, error) {
	at, err := b.at.Named(request.Bench)
	if err != nil {
		return record.Batch{}, err
	}
	return at.CloseBatch(ctx, request.Login)
}

// spoolToChange is the spool.
type spoolToChange struct {
	benchTold
	Spool string `json:"spool"` // wire spool
}

func (b benches) changeSpool(ctx context.Context, request spoolToChange) (record.Batch, error) {
	at, err := b.at.Named(request.Bench)
	if err != nil {
		return record.Batch{}, err
	}
	return at.ChangeSpool(ctx, request.Spool, request.Login)
}
