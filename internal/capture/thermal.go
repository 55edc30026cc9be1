package capture

import (
	"math"
	"slices"
	"time"

	"coilkeep/internal/statistics"
	"coilkeep/internal/uncertainty"
)

// Thermal is what the drift of a coil's resistance says about how far the coil
// is from the temperature around it.
//
// A coil that relaxes to its surroundings as Newton's law of cooling says
// obeys dT/dt = −(T_coil − T_room)/τ, so that T_coil − T_room = −τ·(dR/dt)/(α·R20).
// This holds at every instant, also while the room itself moves.
type Thermal struct {
	// SlopeOhmsPerSecond is the least-squares slope with its standard error.
	SlopeOhmsPerSecond          float64
	SlopeStandardErrorPerSecond float64
	// HalfWidthOhmsPerSecond bounds the error of the slope at 95 %: Student's t
	// times the standard error, and what a coarse display could hide.
	HalfWidthOhmsPerSecond float64
	// DifferenceKelvin is the estimate of coil minus probe; BoundKelvin is how
	// far from the probe the coil may be at 95 %, whichever way.
	DifferenceKelvin float64
	BoundKelvin      float64
	// Readings and Span tell what the slope was fitted to.
	Readings int
	Span     time.Duration
}

// drifting is true when the slope is beyond the limit with 95 % confidence.
func (t Thermal) drifting(limitOhmsPerSecond float64) bool {
	return math.Abs(t.SlopeOhmsPerSecond)-t.HalfWidthOhmsPerSecond > limitOhmsPerSecond
}

// point is one resistance at one time, in seconds from some origin.
type point struct{ seconds, ohms float64 }

// surroundings is what turns a slope in ohms into kelvin.
type surroundings struct {
	probeCelsius, alphaPerKelvin float64
	timeConstant                 time.Duration
	resolutionOhms               float64 // 0 when unknown
}

// thermalPoints is how many points the line is fitted to at most; beyond that
// neighbouring readings are averaged.
const thermalPoints = 200

// fitThermal fits a line through the readings and turns its slope into a
// temperature difference. It needs three points that span some time; ok is
// false otherwise.
func fitThermal(points []point, s surroundings) (t Thermal, ok bool) {
	points, line, ok := fitWithoutOutliers(blockMeans(points, thermalPoints), s.resolutionOhms)
	if !ok {
		return Thermal{}, false
	}
	span := points[len(points)-1].seconds - points[0].seconds
	// A display cannot scatter less than its own rounding (JCGM 100 F.2.2.1).
	residual := math.Max(line.residual, s.resolutionOhms/math.Sqrt(12))
	standardError := residual / math.Sqrt(line.spread) * math.Sqrt(inflation(points, line))
	half := uncertainty.CoverageFactor(float64(len(points)-2)) * standardError
	if line.residual < s.resolutionOhms/2 {
		// Noise too small to move the last digit: a drift of up to one digit
		// over the whole span would not show.
		half += s.resolutionOhms / span
	}
	kelvinPerSlope := s.kelvinPerSlope(line)
	return Thermal{
		SlopeOhmsPerSecond:          line.slope,
		SlopeStandardErrorPerSecond: standardError,
		HalfWidthOhmsPerSecond:      half,
		DifferenceKelvin:            -line.slope * kelvinPerSlope,
		BoundKelvin:                 (math.Abs(line.slope) + half) * kelvinPerSlope,
		Readings:                    len(points),
		Span:                        time.Duration(span * float64(time.Second)),
	}, true
}

// kelvinPerSlope is τ/(α·R20). R20 follows from the mean resistance and the
// coil's own temperature, which is what is being looked for; two rounds settle
// it to a part in a thousand for any coil within 20 K of its probe.
func (s surroundings) kelvinPerSlope(l line) float64 {
	difference, k := 0.0, 0.0
	for range 2 {
		r20 := l.meanOhms / (1 + s.alphaPerKelvin*(s.probeCelsius+difference-20))
		k = s.timeConstant.Seconds() / (s.alphaPerKelvin * r20)
		difference = -l.slope * k
	}
	return k
}

// line is a least-squares line through points, centred in time.
type line struct {
	meanSeconds, meanOhms, slope float64
	// spread is the sum of squares of the times about their mean; residual the
	// standard deviation about the line, with n−2 degrees of freedom.
	spread, residual float64
}

func (l line) at(seconds float64) float64 {
	return l.meanOhms + l.slope*(seconds-l.meanSeconds)
}

// fitLine needs three points and some span of time. Times and values are
// centred first, so that large offsets cost no digits. Like meanAndDeviation it
// keeps an order of sums of its own.
func fitLine(points []point) (line, bool) {
	n := float64(len(points))
	if n < 3 {
		return line{}, false
	}
	first := points[0]
	var l line
	for _, p := range points {
		l.meanSeconds += (p.seconds - first.seconds) / n
		l.meanOhms += (p.ohms - first.ohms) / n
	}
	l.meanSeconds += first.seconds
	l.meanOhms += first.ohms
	var cross float64
	for _, p := range points {
		ds := p.seconds - l.meanSeconds
		l.spread += ds * ds
		cross += ds * (p.ohms - l.meanOhms)
	}
	if l.spread <= 0 {
		return line{}, false
	}
	l.slope = cross / l.spread
	var squares float64
	for _, p := range points {
		r := p.ohms - l.at(p.seconds)
		squares += r * r
	}
	l.residual = math.Sqrt(squares / (n - 2))
	return l, true
}

// fitWithoutOutliers fits, leaves out what lies far off the line by the same
// rule as in a window, and fits again.
func fitWithoutOutliers(points []point, resolutionOhms float64) ([]point, line, bool) {
	l, ok := fitLine(points)
	if !ok {
		return nil, line{}, false
	}
	residuals := make([]float64, len(points))
	for i, p := range points {
		residuals[i] = p.ohms - l.at(p.seconds)
	}
	middle := statistics.Median(residuals)
	limit := outlierLimit(len(points)) * max(robustScale(residuals, middle, resolutionOhms), robustFloorRatio*l.meanOhms)
	kept := make([]point, 0, len(points))
	for i, p := range points {
		if math.Abs(residuals[i]-middle) <= limit {
			kept = append(kept, p)
		}
	}
	if len(kept) == len(points) {
		return points, l, true
	}
	l, ok = fitLine(kept)
	return kept, l, ok
}

// inflation is how much the variance of the slope grows because neighbouring
// readings are alike: (1+r)/(1−r) with r the lag-one autocorrelation of the
// residuals, never below 1 (Bartlett's large-sample result for an AR(1)
// series; from memory).
func inflation(points []point, l line) float64 {
	var squares, lagged, previous float64
	for i, p := range points {
		r := p.ohms - l.at(p.seconds)
		squares += r * r
		if i > 0 {
			lagged += r * previous
		}
		previous = r
	}
	if squares == 0 {
		return 1
	}
	// The estimate is biased low by about 1/n for short series.
	r := lagged/squares + 1/float64(len(points))
	r = math.Min(math.Max(r, 0), 0.9)
	return (1 + r) / (1 - r)
}

// TimeConstantEstimate is a thermal time constant seen on a coil.
type TimeConstantEstimate struct {
	TimeConstant  time.Duration
	StandardError time.Duration
	// StartKelvin is how far the coil was from where it settled when the fit
	// begins.
	StartKelvin float64
}

// Limits of what can be learned from one coil left on.
const (
	shortestConstantSeconds = 20
	longestConstantSeconds  = 3600
	blocksForConstant       = 120
)

// fitExponential fits R(t) = R∞ + A·exp(−t/τ) and reports τ when the data
// really carry it: the standard error of τ below a fifth, and data at least as
// long as τ. For a given τ the model is a straight line in exp(−t/τ), so only
// τ is searched for.
func fitExponential(points []point, alphaR20 float64) *TimeConstantEstimate {
	points = blockMeans(points, blocksForConstant)
	if len(points) < 12 || alphaR20 <= 0 {
		return nil
	}
	origin := points[0].seconds
	span := points[len(points)-1].seconds - origin
	residual := func(tau float64) (sumSquares, amplitude float64) {
		bent := make([]point, len(points))
		for i, p := range points {
			bent[i] = point{math.Exp(-(p.seconds - origin) / tau), p.ohms}
		}
		l, ok := fitLine(bent)
		if !ok {
			return math.Inf(1), 0
		}
		return l.residual * l.residual * float64(len(points)-2), l.slope
	}
	tau := goldenSection(func(logTau float64) float64 {
		s, _ := residual(math.Exp(logTau))
		return s
	}, math.Log(shortestConstantSeconds), math.Log(longestConstantSeconds))
	best, amplitude := residual(math.Exp(tau))
	// Curvature of the sum of squares in log τ gives its standard error.
	const step = 0.05
	up, _ := residual(math.Exp(tau + step))
	down, _ := residual(math.Exp(tau - step))
	curvature := (up - 2*best + down) / (step * step)
	if curvature <= 0 {
		return nil
	}
	relative := math.Sqrt(2 * best / float64(len(points)-3) / curvature)
	seconds := math.Exp(tau)
	if relative > 0.2 || span < seconds {
		return nil
	}
	return &TimeConstantEstimate{
		TimeConstant:  time.Duration(seconds * float64(time.Second)),
		StandardError: time.Duration(relative * seconds * float64(time.Second)),
		StartKelvin:   amplitude / alphaR20,
	}
}

// blockMeans averages neighbouring points so that at most n remain.
func blockMeans(points []point, n int) []point {
	size := (len(points) + n - 1) / n
	if size <= 1 {
		return points
	}
	means := make([]point, 0, n)
	for block := range slices.Chunk(points, size) {
		var sum point
		for _, p := range block {
			sum.seconds += p.seconds
			sum.ohms += p.ohms
		}
		means = append(means, point{sum.seconds / float64(len(block)), sum.ohms / float64(len(block))})
	}
	return means
}

// goldenSection returns where f, with one minimum between low and high, is
// least, to about 1e-4.
func goldenSection(f func(float64) float64, low, high float64) float64 {
	const ratio = 0.6180339887498949
	a, b := high-ratio*(high-low), low+ratio*(high-low)
	fa, fb := f(a), f(b)
	for high-low > 1e-4 {
		if fa < fb {
			high, b, fb = b, a, fa
			a = high - ratio*(high-low)
			fa = f(a)
		} else {
			low, a, fa = a, b, fb
			b = low + ratio*(high-low)
			fb = f(b)
		}
	}
	return (low + high) / 2
}
