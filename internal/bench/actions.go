package bench

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"time"

	"coilkeep/driver"
	"coilkeep/driver/manual"
	"coilkeep/internal/capture"
	"coilkeep/internal/copper"
	"coilkeep/internal/quantity"
	"coilkeep/internal/record"
	"coilkeep/internal/words"
)

// nextCoil is what a person said of the coil to come; the zero value leaves it
// to the batch and the bench's pattern.
type nextCoil struct {
	serial, stage, supersedes string
	who                       string // said so
	remark                    string // what is unusual in the serial number
	// first is the first measurement that stands, in its batch, of a coil measured
	// before; nil for a new one. batch and design are that coil's, batch nil without one.
	first  *record.Measurement
	batch  *record.Batch
	design *record.Design
}

// do runs f on the bench's own goroutine and returns what it returns.
func (b *Bench) do(ctx context.Context, f func() error) error {
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
		err = b.do(ctx, func() error {
			old = b.surround(a)
			return a.err
		})
	}
	return err
}

// SetNext says which coil comes next. It is checked at once: a serial that was
// measured at this stage before is refused unless Again is set.
func (b *Bench) SetNext(ctx context.Context, n Next) error {
	next, err := b.resolve(ctx, n)
	if err != nil {
		return err
	}
	return b.do(ctx, func() error {
		if b.pending != nil && b.pending.longer == nil {
			return b.refile(next)
		}
		b.machine.Forget()
		if q := b.question(); q != nil && (next.serial == "" || next.serial == q.Serial) {
			b.answer(*q)
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

// resolve looks a serial up: a known coil keeps its own batch and design.
func (b *Bench) resolve(ctx context.Context, n Next) (nextCoil, error) {
	if n.Stage != "" {
		if err := record.ValidateStage(n.Stage); err != nil {
			return nextCoil{}, err
		}
	}
	next := nextCoil{serial: n.Serial, stage: n.Stage, who: record.Label(n.Who)}
	if n.Serial == "" {
		return next, nil
	}
	if err := record.ValidateSerial(n.Serial); err != nil {
		return nextCoil{}, err
	}
	stage := n.Stage
	if stage == "" {
		stage = record.StageWound
	}
	coil, err := b.store.Coil(ctx, n.Serial)
	if errors.Is(err, record.ErrNotFound) {
		next.remark, err = b.remark(ctx, n.Serial)
		return next, err
	}
	if err != nil {
		return nextCoil{}, err
	}
	if coil.Serial != n.Serial {
		return nextCoil{}, record.SpelledAlike(coil.Serial)
	}
	for _, m := range coil.Measurements {
		if m.Stage != stage || !m.Stands() {
			continue
		}
		if !n.Again {
			return nextCoil{}, fmt.Errorf("%w: coil %s was measured (%s) on %s; measure it again to replace that, or check the serial",
				record.ErrDuplicate, n.Serial, stage, words.Minute(m.Time, time.Local))
		}
		next.supersedes = m.ID
		break
	}
	return b.fromCoil(ctx, next, coil)
}

// remark says what is unusual in the serial number of a new coil.
func (b *Bench) remark(ctx context.Context, serial string) (string, error) {
	if b.settings.Serials == "" {
		return "", nil
	}
	next, err := b.store.NextSerial(ctx, b.settings.Serials)
	if err != nil {
		return "", err
	}
	return record.RemarkOnSerial(b.settings.Serials, next, serial), nil
}

// fromCoil takes batch and design from the coil's last measurement that stands,
// and the first such one in that batch. What was voided may have been another
// coil: one of which nothing stands is a new coil of the open batch.
func (b *Bench) fromCoil(ctx context.Context, next nextCoil, coil record.Coil) (nextCoil, error) {
	var m *record.Measurement
	for i := range coil.Measurements {
		of := &coil.Measurements[i]
		if !of.Stands() {
			continue
		}
		if m == nil {
			m = of
		}
		if of.Batch == m.Batch {
			next.first = of
		}
	}
	if m == nil {
		return next, nil
	}
	if m.Design != "" {
		design, err := b.store.DesignRevision(ctx, m.Design, m.DesignRevision)
		if err != nil {
			return nextCoil{}, err
		}
		next.design = &design
	}
	if m.Batch != "" {
		batch, err := b.store.Batch(ctx, m.Batch)
		if err != nil {
			return nextCoil{}, err
		}
		next.batch = &batch
	}
	return next, nil
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
	return b.do(ctx, func() error {
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
func (b *Bench) restart() error {
	if err := b.machine.Restart(); err != nil {
		return err
	}
	b.onClips = nil
	b.configure()
	return nil
}

func (b *Bench) force(ctx context.Context, reason, who string) error {
	var durable <-chan struct{}
	err := b.do(ctx, func() error {
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
	return b.do(ctx, func() error {
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
		check := b.unusual
		if role == record.Meter {
			check = b.noCoil
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
func (b *Bench) noCoil(text string, _ bool) error {
	r, err := manual.Parse(text, driver.Resistance)
	low, high := b.Takes()
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
func (b *Bench) unusual(text string, confirmed bool) error {
	quantity := driver.Temperature
	if b.settings.Probe.Convert != nil {
		quantity = driver.Resistance
	}
	r, err := manual.Parse(text, quantity)
	if err != nil {
		return nil // for the instrument to refuse
	}
	r = b.settings.Probe.Converted(r)
	low, high := b.settings.ProbeLowCelsius, b.settings.ProbeHighCelsius
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
