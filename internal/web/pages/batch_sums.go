package pages

import (
	"context"

	"coilkeep/internal/record"
	"coilkeep/internal/workshop"
)

// sumsView is the mean and the spread of a batch, without the coils that stand
// apart from their neighbours: two with shorted turns make a mean look right that
// is not, and a spread three times as wide.
type sumsView struct {
	record.BatchStatistics
	// Apart are the serial numbers of the coils that are left out.
	Apart []string
}

// All is how many coils there are, those that stand apart among them.
func (v sumsView) All() int { return v.Count + len(v.Apart) }

// batchSums sums up a batch; d is its analysis, nil when there is none.
func (s batchPages) batchSums(ctx context.Context, batch string, d *workshop.Drift) (view sumsView, err error) {
	if d != nil {
		for _, o := range d.Outliers {
			view.Apart = append(view.Apart, o.Serial)
		}
	}
	view.BatchStatistics, err = s.History.BatchStatistics(ctx, batch, view.Apart...)
	return view, err
}
