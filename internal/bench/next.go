package bench

import (
	"context"
	"errors"
	"fmt"
	"time"

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

// coilFinder looks up what a person says of the coil to come.
type coilFinder struct {
	store   CoilStore
	serials string // pattern of the bench
}

// resolve looks a serial up: a known coil keeps its own batch and design.
func (f coilFinder) resolve(ctx context.Context, n Next) (nextCoil, error) {
	if n.Stage != "" {
		if err := record.ValidateStage(n.Stage); err != nil {
			return nextCoil{}, err
		}
	}
	n.Serial = words.SerialRead(n.Serial)
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
	coil, err := f.store.Coil(ctx, n.Serial)
	if errors.Is(err, record.ErrNotFound) {
		next.remark, err = f.remark(ctx, n.Serial)
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
	return f.fromCoil(ctx, next, coil)
}

// remark says what is unusual in the serial number of a new coil.
func (f coilFinder) remark(ctx context.Context, serial string) (string, error) {
	if f.serials == "" {
		return "", nil
	}
	next, err := f.store.NextSerial(ctx, f.serials)
	if err != nil {
		return "", err
	}
	return record.RemarkOnSerial(f.serials, next, serial), nil
}

// fromCoil takes batch and design from the coil's last measurement that stands,
// and the first such one in that batch. What was voided may have been another
// coil: one of which nothing stands is a new coil of the open batch.
func (f coilFinder) fromCoil(ctx context.Context, next nextCoil, coil record.Coil) (nextCoil, error) {
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
		design, err := f.store.DesignRevision(ctx, m.Design, m.DesignRevision)
		if err != nil {
			return nextCoil{}, err
		}
		next.design = &design
	}
	if m.Batch != "" {
		batch, err := f.store.Batch(ctx, m.Batch)
		if err != nil {
			return nextCoil{}, err
		}
		next.batch = &batch
	}
	return next, nil
}
