package drift

import (
	"errors"
	"fmt"
	"math"

	"coilkeep/internal/control"
	"coilkeep/internal/statistics"
	"coilkeep/internal/words"
)

// Index is a capability index with its 95 % interval.
type Index struct {
	Value float64 `json:"value"` // the index
	Low   float64 `json:"low"`   // lower end of its 95 % interval
	High  float64 `json:"high"`  // upper end
}

// Capability says how the process fits into its tolerance. Cp and Cpk use sigma
// within and tell what it could do if it did not wander, Pp and Ppk sigma
// overall and tell what it did.
type Capability struct {
	Count                  int     `json:"count"`                     // how many coils
	MeanOhms               float64 `json:"mean_ohms"`                 // their mean
	WithinOhms             float64 `json:"sigma_within_ohms"`         // sigma within
	WithinDegreesOfFreedom float64 `json:"within_degrees_of_freedom"` // the effective number behind sigma within
	OverallOhms            float64 `json:"sigma_overall_ohms"`        // sigma overall
	// By sigma within: what the process could do if it did not wander.
	Cp  Index `json:"cp"`
	Cpk Index `json:"cpk"` // the same, with where it stands
	Pp  Index `json:"pp"`  // by sigma overall: what it did
	Ppk Index `json:"ppk"` // the same, with where it stands
	// The expected share out of tolerance of a normal process with these moments;
	// null when the coils are not normal, or are of several levels, whose moments
	// are those of no process.
	Outside *Index `json:"share_outside"`
	// The share of these coils whose R20 is out, with its interval, which holds
	// whatever the distribution is.
	Seen      Index `json:"share_outside_seen"`
	SeenCount int   `json:"outside_seen"` // how many of them are out
	// Of the test of Anderson and Darling about the levels found; null with fewer
	// than eight coils.
	NormalP *float64 `json:"normal_p"`
	Normal  bool     `json:"normal"` // false when that is below 0.01
	// False when a change or trend was found: then none of these numbers foretells
	// anything.
	Stable   bool   `json:"stable"`
	Sentence string `json:"sentence"` // in words
}

// fewestForCapability is the least number of coils an index is given for.
const fewestForCapability = 10

// measureCapability is that of the kept coils; nil when it cannot be told.
// outliers is how many others there are.
func measureCapability(m *movement, o Options, outliers int, said *notes) *Capability {
	if o.UpperOhms == 0 {
		said.add("no tolerance is known, so capability cannot be told")
		return nil
	}
	values := m.keptOhms()
	if len(values) < fewestForCapability {
		said.add("too few coils for capability: %d of %d", len(values), fewestForCapability)
		return nil
	}
	within, df := withinSigma(values)
	c, err := capabilityOf(statistics.MomentsOf(values), within, df, o.LowerOhms, o.UpperOhms)
	if err != nil {
		said.add("no capability: %v", err)
		return nil
	}
	c.Stable = len(m.steps) == 0 && len(m.trends()) == 0
	c.Normal = true
	if p, err := statistics.NormalityP(m.residuals(values)); err == nil {
		c.NormalP, c.Normal = &p, p >= alpha
	}
	if !c.Normal || !c.Stable {
		c.Outside = nil
	}
	for _, v := range values {
		if v < o.LowerOhms || v > o.UpperOhms {
			c.SeenCount++
		}
	}
	c.Seen.Value = float64(c.SeenCount) / float64(len(values))
	c.Seen.Low, c.Seen.High = statistics.ProportionInterval(c.SeenCount, len(values), confidence)
	c.Sentence = c.sentence(outliers)
	return c
}

// withinSigma is sigma from the mean moving range, with the degrees of freedom
// that moving ranges are worth: about 0.62 of n − 1 (variance of their mean,
// Cryer and Ryan 1990, Journal of Quality Technology 22, 187-192).
func withinSigma(values []float64) (sigma, df float64) {
	sum := 0.0
	for _, r := range control.MovingRanges(values) {
		sum += r
	}
	n := float64(len(values) - 1)
	return sum / n / control.D2, 0.62 * n
}

// capabilityOf computes the indices of moments, a sigma within with its degrees
// of freedom, and a tolerance. Intervals of Cp and Pp are by chi squared, of Cpk
// and Ppk by Bissell (1990, Applied Statistics 39, 331-340); the share outside
// is by the noncentral t for each limit (Owen 1968, Technometrics 10, 445-478),
// both sides together never less than 95 %.
func capabilityOf(m statistics.Moments, within, dfWithin, lower, upper float64) (*Capability, error) {
	overall := m.StandardDeviation()
	if !(overall > 0 && within > 0) || within < 1e-12*math.Abs(m.Mean) {
		return nil, errors.New("the coils do not differ")
	}
	n := float64(m.Count)
	c := &Capability{Count: m.Count, MeanOhms: m.Mean, WithinOhms: within, WithinDegreesOfFreedom: dfWithin, OverallOhms: overall}
	nearest := math.Min(upper-m.Mean, m.Mean-lower)
	c.Cp = indexOfSpread((upper-lower)/(6*within), dfWithin)
	c.Pp = indexOfSpread((upper-lower)/(6*overall), n-1)
	c.Cpk = indexOfCentring(nearest/(3*within), n, dfWithin)
	c.Ppk = indexOfCentring(nearest/(3*overall), n, n-1)
	above, aboveLow, aboveHigh := shareBeyond((upper-m.Mean)/overall, n)
	below, belowLow, belowHigh := shareBeyond((m.Mean-lower)/overall, n)
	c.Outside = &Index{above + below, math.Max(aboveLow, belowLow), math.Min(1, aboveHigh+belowHigh)}
	return c, nil
}

func indexOfSpread(value, df float64) Index {
	const tail = (1 - confidence) / 2
	return Index{value, value * math.Sqrt(statistics.ChiSquareQuantile(tail, df)/df),
		value * math.Sqrt(statistics.ChiSquareQuantile(1-tail, df)/df)}
}

func indexOfCentring(value, n, df float64) Index {
	half := statistics.NormalQuantile(0.5+confidence/2) * math.Sqrt(1/(9*n)+value*value/(2*df))
	return Index{value, value - half, value + half}
}

// shareBeyond is the share of a normal process beyond a limit that lies k sample
// standard deviations from the sample mean, with an interval: k·√n is
// noncentral t about the true distance times √n.
func shareBeyond(k, n float64) (share, low, high float64) {
	const tail = (1 - confidence) / 2
	root := math.Sqrt(n)
	farthest := statistics.NoncentralTDelta(k*root, n-1, tail) / root
	nearest := statistics.NoncentralTDelta(k*root, n-1, 1-tail) / root
	return statistics.NormalCDF(-k), statistics.NormalCDF(-farthest), statistics.NormalCDF(-nearest)
}

func (c *Capability) sentence(outliers int) string {
	s := fmt.Sprintf("Ppk %.2f (%.2f to %.2f)", c.Ppk.Value, c.Ppk.Low, c.Ppk.High)
	switch {
	case c.Outside != nil:
		s += fmt.Sprintf("; %s of such coils are outside the tolerance (at most %s)", words.ShareOutside(c.Outside.Value),
			words.ShareOutside(c.Outside.High))
	case !c.Stable:
		s += "; the process moved, so this tells what was and not what will be: " + c.countedOutside()
	default:
		s += "; the coils are not normally spread, so count instead of reckoning: " + c.countedOutside()
	}
	if outliers > 0 {
		s += fmt.Sprintf("; without the %d that stand apart", outliers)
	}
	return s
}

// countedOutside is how many of these coils are outside, and how many such coils
// would be.
func (c *Capability) countedOutside() string {
	return fmt.Sprintf("%d of %d are outside (%s to %s)", c.SeenCount, c.Count, words.ShareOutside(c.Seen.Low),
		words.ShareOutside(c.Seen.High))
}
