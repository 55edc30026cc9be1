package workshop

import (
	"context"
	"slices"
	"time"

	"coilkeep/internal/drift"
	"coilkeep/internal/record"
)

// checkWindow is how long before the first and after the last coil a check standard
// still tells of the meter.
const checkWindow = 12 * time.Hour

// everyCheck is more measurements of check standards than there will be.
const everyCheck = 1_000_000

// addChecks gives each measurement of the check standard to the coil wound next
// at the same bench, those after the last coil to that one; a coil may get
// several. Of several standards the one measured most counts, so that a change of
// standard does not look like a drift; its reference value as last told is
// returned, 0 without one. byBench lists the coils of each bench.
func addChecks(ctx context.Context, store DriftStore, coils []drift.Coil, byBench map[string][]int) (referenceOhms float64, err error) {
	var checks []record.CheckMeasurement
	for bench, indices := range byBench {
		// Coils are numbered as they were wound, except those whose values were typed in
		// later.
		slices.SortStableFunc(indices, func(i, j int) int { return coils[i].WoundAt().Compare(coils[j].WoundAt()) })
		first, last := coils[indices[0]].WoundAt(), coils[indices[len(indices)-1]].WoundAt()
		found, err := store.CheckMeasurements(ctx, record.CheckFilter{Bench: bench, From: first.Add(-checkWindow), To: last.Add(checkWindow),
			Limit: everyCheck})
		if err != nil {
			return 0, err
		}
		checks = append(checks, found...)
	}
	slices.SortStableFunc(checks, func(a, b record.CheckMeasurement) int { return a.Time.Compare(b.Time) })
	standard := standardMeasuredMost(checks)
	for _, check := range checks {
		if check.Standard != standard {
			continue
		}
		indices := byBench[check.Bench]
		next, _ := slices.BinarySearchFunc(indices, check.Time, func(i int, at time.Time) int { return coils[i].WoundAt().Compare(at) })
		c := &coils[indices[min(next, len(indices)-1)]]
		c.CheckStandardOhms = append(c.CheckStandardOhms, check.MeasuredOhms)
		referenceOhms = check.NominalOhms
	}
	return referenceOhms, nil
}

func standardMeasuredMost(checks []record.CheckMeasurement) string {
	counts := map[string]int{}
	best := ""
	for _, c := range checks {
		counts[c.Standard]++
		if n := counts[c.Standard]; n > counts[best] || best == "" {
			best = c.Standard
		}
	}
	return best
}
