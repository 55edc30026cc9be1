package watch

import (
	"context"
	"log/slog"

	"coilkeep/internal/bench"
	"coilkeep/internal/record"
	"coilkeep/internal/workshop"
)

// Follow keeps the first baseline of each design on each winder as soon as its
// coils are measured, until ctx is done. Those coils must be steady: a baseline
// with a step in it would hide the next one. What is missed while it is behind is
// made up for at the next coil.
func (w *Watcher) Follow(ctx context.Context, events func() (<-chan bench.Event, func()), log *slog.Logger) {
	for ctx.Err() == nil {
		news, cancel := events()
		w.followEvents(ctx, news, log)
		cancel()
	}
}

// followEvents returns when news is closed, as it is to one that falls behind.
func (w *Watcher) followEvents(ctx context.Context, news <-chan bench.Event, log *slog.Logger) {
	for {
		select {
		case <-ctx.Done():
			return
		case e, open := <-news:
			if !open {
				return
			}
			m, ok := e.Data.(record.Measurement)
			if !ok || m.Batch == "" {
				continue
			}
			if err := workshop.KeepFirstBaseline(ctx, w.store, w.zone, m.Winder, m.Design, m.DesignRevision); err != nil && ctx.Err() == nil {
				log.Warn("baseline not kept", "batch", m.Batch, "err", err)
			}
		}
	}
}
