package drift

import (
	"fmt"
	"math"
	"slices"

	"coilkeep/internal/control"
	"coilkeep/internal/statistics"
)

// Outlier is a single bad coil, named and left out.
type Outlier struct {
	Index          int     `json:"index"`           // its place in the list of points
	Sequence       int     `json:"sequence"`        // the coil's own number
	Serial         string  `json:"serial"`          // its serial number
	R20Ohms        float64 `json:"r20_ohms"`        // as measured
	DeviationRatio float64 `json:"deviation_ratio"` // from the median of its neighbours
	// The same in robust sigma; 0 where the neighbours do not differ at all.
	Sigmas float64 `json:"sigmas"`
	// True for the last coil, and for two at the end that stand together: the next
	// one will tell whether it is a new level.
	Provisional bool   `json:"provisional"`
	Finding     string `json:"finding"`   // that it stands apart
	Suspicion   string `json:"suspicion"` // what to look for
	Sentence    string `json:"sentence"`  // both
}

// coilName is the outlier for people.
func (o Outlier) coilName() string { return coilName(o.Sequence, o.Serial) }

// An outlier lies outlierSigmas from the median of the neighbours on either
// side. Single coils of a quiet process do so once in two million.
const (
	outlierSigmas = 5
	neighbours    = 7
)

// screen marks and returns single coils that stand apart from their neighbours (the
// filter of Hampel, see Pearson 2002, IEEE Transactions on Control Systems
// Technology 10, 55-63). The median of the neighbours follows steps and trends, so
// that a new level is not taken for bad coils; three or more in a row are a new
// level rather than outliers. Two at an end of the series may be either, and are
// taken for a level only where something changed on record.
func (s *series) screen() []Outlier {
	outliers := s.findOutliers()
	for _, o := range outliers {
		s.outlier[o.Index-1] = true
	}
	for i, out := range s.outlier {
		if !out {
			s.kept = append(s.kept, i)
		}
	}
	return outliers
}

func (s *series) findOutliers() []Outlier {
	outliers := []Outlier{}
	n, sigma := len(s.coils), robustScatter(s.ohms)
	if n < 5 || math.IsNaN(sigma) {
		return outliers
	}
	// With few coils sigma itself is uncertain: widen by its relative error.
	bound := outlierSigmas * (1 + 1.2/math.Sqrt(float64(n)))
	window := make([]float64, 0, 2*neighbours+1)
	for i := range n {
		window = append(window[:0], s.ohms[max(0, i-neighbours):min(n, i+neighbours+1)]...)
		d := s.ohms[i] - statistics.MedianInPlace(window)
		// A coil that cannot be told from its neighbours by its own uncertainty
		// is no outlier. Coils that do not scatter at all still have rounding.
		if math.Abs(d) <= math.Max(bound*math.Hypot(sigma, s.ownError(i, s.usualError)), 1e-9*s.ohms[i]) {
			continue
		}
		if first, last := s.alikeInRow(i, d); !s.isLevelOfOwn(first, last) {
			outliers = append(outliers, s.outlierAt(i, d, sigma, last == n-1))
		}
	}
	return outliers
}

// alikeInRow are the first and the last of the coils in a row that are nearer to coil i
// than to its neighbours' median, d away.
func (s *series) alikeInRow(i int, d float64) (first, last int) {
	near := func(j int) bool {
		return j >= 0 && j < len(s.ohms) && math.Abs(s.ohms[j]-s.ohms[i]) < math.Abs(d)/2
	}
	first, last = i, i
	for near(first - 1) {
		first--
	}
	for near(last + 1) {
		last++
	}
	return first, last
}

// isLevelOfOwn says whether coils in a row are a level of their own.
func (s *series) isLevelOfOwn(first, last int) bool {
	n := len(s.coils)
	if count := last - first + 1; count != 2 {
		return count > 2
	}
	return last == n-1 && len(recordedDifferences(s.coils[first-1], s.coils[first])) > 0 ||
		first == 0 && len(recordedDifferences(s.coils[last], s.coils[last+1])) > 0
}

func (s *series) outlierAt(i int, d, sigma float64, provisional bool) Outlier {
	o := Outlier{
		Index: i + 1, Sequence: s.coils[i].Sequence, Serial: s.coils[i].Serial, R20Ohms: s.coils[i].R20Ohms,
		DeviationRatio: d / (s.ohms[i] - d), Provisional: provisional,
	}
	if sigma > 0 {
		o.Sigmas = d / sigma
	}
	o.Finding = fmt.Sprintf("%s stands apart, %s from its neighbours", s.coilName(i), signedPercent(o.DeviationRatio))
	o.Suspicion = "look for " + usualSuspicion(o.DeviationRatio)
	if o.Provisional {
		o.Suspicion += "; the next coils will tell whether it stands alone"
	}
	o.Sentence = o.Finding + ": " + o.Suspicion
	return o
}

// usualSuspicion is what usually makes a single coil differ that much.
func usualSuspicion(ratio float64) string {
	switch {
	case math.Abs(ratio) > 0.15:
		return "the wrong gauge of wire, another design, or a coil not fully connected"
	case ratio < 0:
		return "shorted turns, a miscount, or something across the leads"
	default:
		return "a miscount, a poor joint, or a coil still warm"
	}
}

// trimmedRange is the mean of the smaller nine tenths of the moving ranges of a
// normal process, in its sigma: 2(φ(0) − φ(z))·√2/0.9, z the 95 % point.
var trimmedRange = 2 * (1 - math.Exp(-1.6448536269514722*1.6448536269514722/2)) / math.Sqrt(2*math.Pi) * math.Sqrt2 / 0.9

// robustScatter is sigma from coil to coil, which steps and single bad coils hardly
// change: by the median moving range, but not less than by the mean of the smaller
// nine tenths of the ranges, nor than a step of the readings makes by itself
// (rectangular: step/√12). The median alone is nought when most neighbours read
// alike on a coarse meter.
func robustScatter(values []float64) float64 {
	ranges := control.MovingRanges(values)
	if len(ranges) == 0 {
		return math.NaN()
	}
	slices.Sort(ranges)
	sum, n := 0.0, max(1, len(ranges)*9/10)
	for _, r := range ranges[:n] {
		sum += r
	}
	return max(control.RobustSigma(values), sum/float64(n)/trimmedRange, leastStep(values)/math.Sqrt(12))
}

// leastStep is the smallest difference between two values that differ: one step of the
// display where that is coarse, next to nothing where it is fine. 0 when none
// differ.
func leastStep(values []float64) float64 {
	sorted := slices.Sorted(slices.Values(values))
	least := math.Inf(1)
	for i := 1; i < len(sorted); i++ {
		// What rounding leaves is no step.
		if d := sorted[i] - sorted[i-1]; d > 1e-9*sorted[i] {
			least = min(least, d)
		}
	}
	if math.IsInf(least, 1) {
		return 0
	}
	return least
}
