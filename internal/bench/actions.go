package bench

import (
	"context"
	"fmt"
	"strings"

	"coilkeep/driver"
	"coilkeep/driver/manual"
	"coilkeep/internal/capture"
	"coilkeep/internal/copper"
	"coilkeep/internal/quantity"
	"coilkeep/internal/record"
	"coilkeep/internal/words"
)

// do runs f on the bench's own goroutine and returns what it returns.
func (b *Bench) do(ctx context.Context, f func(*station) error) error {
	r := request{do: f, reply: make(chan error, 1)}
	select {
	case b.requests <- r:
		return <-r.reply
	case <-b.stopped:
		return fmt.Errorf("%w: the bench has stopped", ErrState)
	case <-ctx.Done():
		return ctx.Err()
	}
}

// StartBatch opens a batch on this bench.
func (b *Bench) StartBatch(ctx context.Context, start record.BatchStart) (record.Batch, error) {
	start.Bench = b.settings.Name
	batch, err := b.store.OpenBatch(ctx, start)
	return batch, b.takeUp(ctx, err)
}

// CloseBatch closes the open batch.
func (b *Bench) CloseBatch(ctx context.Context, who string) (record.Batch, error) {
	return b.withBatch(ctx, func(name string) (record.Batch, error) {
		return b.store.CloseBatch(ctx, name, who)
	})
}

// ChangeSpool marks that the coils from now on are wound from another spool.
func (b *Bench) ChangeSpool(ctx context.Context, spool, who string) (record.Batch, error) {
	return b.withBatch(ctx, func(name string) (record.Batch, error) {
		return b.store.ChangeSpool(ctx, name, spool, who)
	})
}

func (b *Bench) withBatch(ctx context.Context, act func(name string) (record.Batch, error)) (record.Batch, error) {
	open, err := b.store.OpenBatchOf(ctx, b.settings.Name)
	if err != nil {
		return record.Batch{}, err
	}
	if open == nil {
		return record.Batch{}, fmt.Errorf("%w: no batch is open on bench %s", ErrState, b.settings.Name)
	}
	batch, err := act(open.Name)
	return batch, b.takeUp(ctx, err)
}

// takeUp makes the bench see at once what was changed in the history.
func (b *Bench) takeUp(ctx context.Context, err error) error {
	if err != nil {
		return err
	}
	b.changes.Add(1)
	for old := true; old && err == nil; {
		a := b.askHistory(ctx)
		err = b.do(ctx, func(b *station) error {
			old = b.surround(a)
			return a.err
		})
	}
	return err
}

// SetNext says which coil comes next. It is checked at once: a serial that was
// measured at this stage before is refused unless Again is set.
func (b *Bench) SetNext(ctx context.Context, n Next) error {
	next, err := coilFinder{b.store, b.settings.Serials}.resolve(ctx, n)
	if err != nil {
		return err
	}
	return b.do(ctx, func(b *station) error {
		if b.pending != nil && b.pending.longer == nil {
			return b.refile(next)
		}
		b.machine.Forget()
		if q := b.question(); q != nil && (next.serial == "" || next.serial == q.Serial) {
			b.lost.answer(*q)
		}
		b.next = next
		b.configure()
		b.askAgain() // whether that coil was soaked
		onClips := b.last != nil && b.last.ID == next.supersedes
		if state := b.machine.View().State; onClips && (state == capture.Recorded || state == capture.Asking) {
			return b.restart()
		}
		return nil
	})
}

// Record takes a meter into use that the bench asks about. Otherwise it records
// what is on the clips now: a coil the bench asks about, or,
// with Force, one the rules would still wait for. A forced recording returns
// once it is durable; the other kind is announced by its measurement event.
func (b *Bench) Record(ctx context.Context, r RecordRequest) error {
	if r.Force {
		reason := strings.TrimSpace(r.Reason)
		if err := record.ValidateReason(reason); err != nil {
			return err
		}
		return b.force(ctx, reason, record.Label(r.Who))
	}
	return b.do(ctx, func(b *station) error {
		if b.meter.stranger && b.meter.Up {
			b.useStranger(record.Label(r.Who))
			return nil
		}
		if v := b.machine.View(); v.State != capture.Asking {
			return fmt.Errorf("%w: %s; it records by itself when steady, or force it and say why", ErrState, v.Words)
		}
		if err := b.restart(); err != nil {
			return fmt.Errorf("%w: %w", ErrState, err)
		}
		return nil
	})
}

// restart measures what is on the clips as the coil to come.
func (b *station) restart() error {
	if err := b.machine.Restart(); err != nil {
		return err
	}
	b.onClips = nil
	b.configure()
	return nil
}

func (b *Bench) force(ctx context.Context, reason, who string) error {
	var durable <-chan struct{}
	err := b.do(ctx, func(b *station) error {
		out, err := b.machine.Force(reason)
		if err != nil {
			return fmt.Errorf("%w: %w", ErrState, err)
		}
		b.outcome(context.WithoutCancel(ctx), out, who)
		if b.pending == nil {
			return fmt.Errorf("%w: %s", ErrState, b.machine.View().Words)
		}
		durable = b.pending.done
		return nil
	})
	if err != nil {
		return err
	}
	select {
	case <-durable:
		return nil
	case <-ctx.Done():
		return fmt.Errorf("%w: it is not saved yet", ctx.Err())
	}
}

// Type enters a value for an instrument whose readings are typed in.
func (b *Bench) Type(ctx context.Context, role record.Role, text string, confirmed bool) error {
	return b.do(ctx, func(b *station) error {
		typist, ok := b.instrument(role).instrument.(driver.Typist)
		if !ok {
			return fmt.Errorf("%w: the %s of bench %s is read over its cable, not typed in", ErrState, role, b.settings.Name)
		}
		if role == record.Meter {
			if why := b.missing(); why != "" {
				return fmt.Errorf("%w: %s", ErrState, why)
			}
			if b.pending != nil {
				return fmt.Errorf("%w: the last coil is not saved yet: %s", ErrState, b.pending.why)
			}
		}
		check := b.settings.unusual
		if role == record.Meter {
			check = b.settings.noCoil
		}
		if err := check(text, confirmed); err != nil {
			return err
		}
		if _, err := typist.Type(text); err != nil {
			return fmt.Errorf("%w: %w", record.ErrInvalid, err)
		}
		return nil
	})
}

// Takes are the least and the greatest resistance that counts as a coil here.
func (b *Bench) Takes() (leastOhms, mostOhms float64) {
	return b.settings.Capture.MinOhms, b.settings.Capture.MaxOhms
}

// noCoil refuses a typed resistance that no coil on this bench has: nobody types
// what open clips show, so it is a slip. What cannot be read is left to the
// instrument to refuse.
func (s Settings) noCoil(text string, _ bool) error {
	r, err := manual.Parse(text, driver.Resistance)
	low, high := s.Capture.MinOhms, s.Capture.MaxOhms
	if err != nil || r.Value >= low && r.Value <= high {
		return nil
	}
	problem := fmt.Sprintf("%s is no coil: this bench takes %s to %s",
		words.Ohms(r.Value), words.Ohms(low), words.Ohms(high))
	if meant := quantity.MeantOhms(r.Value, low, high); meant != "" {
		problem += "; did you mean " + meant + "?"
	}
	return &record.FieldError{Field: "value", Problem: problem}
}

// unusual asks about a typed temperature that is not what the room of this bench
// has, and refuses one that no coil is computed at. What is typed and confirmed is
// final: it is not held against what was typed before.
func (s Settings) unusual(text string, confirmed bool) error {
	quantity := driver.Temperature
	if s.Probe.Convert != nil {
		quantity = driver.Resistance
	}
	r, err := manual.Parse(text, quantity)
	if err != nil {
		return nil // for the instrument to refuse
	}
	r = s.Probe.Converted(r)
	low, high := s.ProbeLowCelsius, s.ProbeHighCelsius
	switch t := r.Value; {
	case r.Status != driver.OK || confirmed && t >= copper.MinCelsius && t <= copper.MaxCelsius || t >= low && t <= high:
		return nil
	case t < copper.MinCelsius || t > copper.MaxCelsius:
		return record.Invalid("value", "%.4g °C is no temperature of a coil: %g °C to %g °C is", t, copper.MinCelsius, copper.MaxCelsius)
	default:
		return record.Invalid("value", "%.4g °C is unusual at this bench, which has %g °C to %g °C; was it in °F? If it is meant so, "+
			"confirm it", t, low, high)
	}
}
