package drift

import (
	"fmt"
	"math"
	"slices"

	"coilkeep/internal/statistics"
)

// series is the coils of one analysis in the order of winding, with what they are
// compared by. Every stage reads it; only [series.screen] marks outliers.
type series struct {
	coils []Coil
	// ohms are what the coils are compared by.
	ohms []float64
	// usualError is the median standard uncertainty of all coils.
	usualError float64
	// reference is what shifts are told relative to, in ohms: the target, or the
	// middle of the coils without one.
	reference float64
	// outlier has one entry a coil; kept lists those that are no outliers.
	outlier []bool
	kept    []int
}

// newSeries refuses coils that cannot be.
func newSeries(coils []Coil, targetOhms float64) (*series, error) {
	if len(coils) == 0 {
		return nil, fmt.Errorf("no coils: %w", ErrInput)
	}
	s := &series{coils: slices.Clone(coils), ohms: make([]float64, len(coils)), outlier: make([]bool, len(coils)), reference: targetOhms}
	all := make([]int, len(coils))
	for i := range s.coils {
		c := &s.coils[i]
		if c.Sequence == 0 {
			c.Sequence = i + 1
		}
		if err := c.check(); err != nil {
			return nil, fmt.Errorf("%s: %w", s.coilName(i), err)
		}
		s.ohms[i], all[i] = c.R20Ohms*c.comparisonFactor(), i
	}
	if targetOhms == 0 {
		s.reference = statistics.Median(s.ohms)
	}
	s.usualError = s.usualErrorOf(all)
	return s, nil
}

// coilName is coil i for people: its number and, where there is one, the serial
// that stands on its label.
func (s *series) coilName(i int) string { return coilName(s.coils[i].Sequence, s.coils[i].Serial) }

// keptName is the same of kept coil k.
func (s *series) keptName(k int) string { return s.coilName(s.kept[k]) }

// keptCoil is kept coil k.
func (s *series) keptCoil(k int) Coil { return s.coils[s.kept[k]] }

// keptOhms are what the kept coils are compared by.
func (s *series) keptOhms() []float64 { return valuesAt(s.ohms, s.kept) }

func valuesAt(values []float64, indices []int) []float64 {
	picked := make([]float64, len(indices))
	for i, j := range indices {
		picked[i] = values[j]
	}
	return picked
}

// usualErrorOf is the median standard uncertainty of some coils, 0 when none is
// known.
func (s *series) usualErrorOf(indices []int) float64 {
	var errors []float64
	for _, i := range indices {
		if e := s.coils[i].standardError(); e > 0 {
			errors = append(errors, e)
		}
	}
	if len(errors) == 0 {
		return 0
	}
	return statistics.MedianInPlace(errors)
}

// ownError is by how much coil i is less well known than is usual: only that part
// is its own. The rest, meter and temperature, all coils share. It is 0 where the
// usual uncertainty is not known.
func (s *series) ownError(i int, usual float64) float64 {
	own := s.coils[i].standardError()
	if usual == 0 || own <= usual {
		return 0
	}
	return math.Sqrt(own*own - usual*usual)
}

// recordedPlaces are the kept coils that are the first of a spool, winder,
// operator, target or batch, or after a note.
func (s *series) recordedPlaces() []int {
	var places []int
	for k := 1; k < len(s.kept); k++ {
		if len(recordedDifferences(s.keptCoil(k-1), s.keptCoil(k))) > 0 {
			places = append(places, k)
		}
	}
	return places
}

// notes are what cannot be said, and why.
type notes []string

func (n *notes) add(format string, args ...any) { *n = append(*n, fmt.Sprintf(format, args...)) }
