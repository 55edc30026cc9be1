package capture

import (
	"math"
	"slices"
	"time"

	"coilkeep/driver"
)

// point is one resistance at one time, in seconds from some origin.
type point struct{ seconds, ohms float64 }

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

// errorAt is the standard error of where the line leads to at an instant.
func (l line) errorAt(seconds float64, points int) float64 {
	off := seconds - l.meanSeconds
	return l.residual * math.Sqrt(1/float64(points)+off*off/l.spread)
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

// points gives readings as seconds before the machine's latest reading.
func (m *Machine) points(readings []driver.Reading) []point {
	points := make([]point, len(readings))
	for i, r := range readings {
		points[i] = point{r.Time.Sub(m.lastMeter.Time).Seconds(), r.Value}
	}
	return points
}
