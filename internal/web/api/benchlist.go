package api

import (
	"context"
	"strings"

	"coilkeep/internal/bench"
	"coilkeep/internal/record"
	"coilkeep/internal/web/problem"
)

// Bench is what programs may ask of a bench and tell it. Methods that change
// something return when it is done and durable, or say why it cannot be.
type Bench interface {
	Shown
	Winding
	Clips
	Checked
}

// Shown says how a bench stands.
type Shown interface {
	Snapshot() bench.Snapshot
}

// Winding keeps the batch that is wound at a bench.
type Winding interface {
	StartBatch(ctx context.Context, start record.BatchStart) (record.Batch, error)
	CloseBatch(ctx context.Context, who string) (record.Batch, error)
	ChangeSpool(ctx context.Context, spool, who string) (record.Batch, error)
}

// Clips take what is said of the coils on them and beside the probe.
type Clips interface {
	SetNext(ctx context.Context, next bench.Next) error
	Record(ctx context.Context, request bench.RecordRequest) error
	Type(ctx context.Context, role record.Role, text string, confirmed bool) error
	MeasureAgain(ctx context.Context, id, who string) error
	TakeNext(ctx context.Context, id, who string) error
	Dismiss(ctx context.Context, id, who string) (record.Unrecorded, error)
	Soak(ctx context.Context, soak record.Soak) (record.Soak, error)
}

// Checked measures what is on the clips to check the bench itself.
type Checked interface {
	MeasureLeads(ctx context.Context, who string) (record.LeadZero, error)
	MeasureStandard(ctx context.Context, standard bench.Standard) (record.CheckMeasurement, error)
}

// BenchList finds benches by their names.
type BenchList[B Shown] struct {
	list  []B
	named map[string]B
}

// NewBenchList keeps benches in the order of the configuration.
func NewBenchList[B Shown](list []B) BenchList[B] {
	l := BenchList[B]{list: list, named: map[string]B{}}
	for _, b := range list {
		l.named[b.Snapshot().Bench] = b
	}
	return l
}

// Named finds a bench; the error is a problem in the field "bench".
func (l BenchList[B]) Named(name string) (B, error) {
	b, ok := l.named[name]
	if !ok {
		return b, problem.NotFound.InField("bench", "there is no bench %q; this coilkeep serves %s", name, strings.Join(l.Names(), ", "))
	}
	return b, nil
}

// Names lists the names of the benches, sorted.
func (l BenchList[B]) Names() []string { return sortedKeys(l.named) }

// Snapshots takes one of every bench.
func (l BenchList[B]) Snapshots() []bench.Snapshot {
	list := make([]bench.Snapshot, 0, len(l.list))
	for _, b := range l.list {
		list = append(list, b.Snapshot())
	}
	return list
}

// ofBench is a request about one bench.
type ofBench struct {
	// Name of the bench.
	Bench string `path:"bench"`
}

// login is whoever sent a request.
type login struct {
	Login string `login:"name"`
}
