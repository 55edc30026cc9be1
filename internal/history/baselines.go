package history

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"time"

	"coilkeep/internal/control"
	"coilkeep/internal/record"
)

// AddBaseline keeps a baseline, which from then on takes the place of the one
// before, and returns it as stored; ID and Time are filled in when empty. The
// error is a *FieldError when a value cannot be right, or ErrNotFound for the
// design.
func (s instrumentRecords) AddBaseline(ctx context.Context, b record.Baseline) (record.Baseline, error) {
	return s.addBaseline(ctx, b, fitsBaseline)
}

// AddFirstBaseline is [Store.AddBaseline] for a design's revision on a winder
// that has none: one that is kept by then stays, and is returned instead.
func (s instrumentRecords) AddFirstBaseline(ctx context.Context, b record.Baseline) (kept record.Baseline, err error) {
	errKept := errors.New("there is one")
	b, err = s.addBaseline(ctx, b, func(ctx context.Context, tx *transaction, b *record.Baseline) error {
		before, err := currentBaseline(ctx, tx, b.Winder, b.Design, b.DesignRevision, s.instant())
		if before != nil {
			kept = *before
			return errKept
		}
		return cmp.Or(err, fitsBaseline(ctx, tx, b))
	})
	if errors.Is(err, errKept) {
		return kept, nil
	}
	return b, err
}

func (s instrumentRecords) addBaseline(ctx context.Context, b record.Baseline,
	fits func(context.Context, *transaction, *record.Baseline) error) (record.Baseline, error) {
	today := baselines
	today.fits = fits
	today.Check = func(b record.Baseline) error { return record.ValidateBaseline(b, control.LeastBaseline) }
	return today.add(ctx, s.file, b, func(b record.Baseline) record.JournalEntry {
		return record.JournalEntry{Who: b.By, Action: "baseline", Subject: b.Design,
			Detail: fmt.Sprintf("winder %s, revision %d: %d coils, %s to %s, mean %.6g Ω, sigma %.3g Ω: %s",
				cmp.Or(b.Winder, "not told"), b.DesignRevision, b.Count, b.FirstCoil, b.LastCoil, b.MeanOhms, b.SigmaWithinOhms, b.Reason)}
	})
}

// fitsBaseline refuses a baseline of a design that is not there.
func fitsBaseline(ctx context.Context, tx *transaction, b *record.Baseline) error {
	_, err := designRevision(ctx, tx, b.Design, b.DesignRevision)
	return err
}

// CurrentBaseline returns the newest baseline of a design's revision on a winder
// that is not in the future, nil when there is none.
func (s instrumentRecords) CurrentBaseline(ctx context.Context, winder, design string, revision int) (*record.Baseline, error) {
	b, err := currentBaseline(ctx, s.readers, winder, design, revision, s.instant())
	return b, explain(s.path, "read baseline", err)
}

func currentBaseline(ctx context.Context, q querier, winder, design string, revision int, now time.Time) (*record.Baseline, error) {
	list, err := baselines.list(ctx, q, `
		WHERE winder = ?1 AND design = ?2 AND design_revision = ?3 AND time_us <= ?4
		`+newestFirst+` LIMIT 1`, winder, design, revision, now.UnixMicro())
	if err != nil || len(list) == 0 {
		return nil, err
	}
	return &list[0], nil
}
