package capture

import (
	"math"
	"time"

	"coilkeep/driver"
	"coilkeep/internal/statistics"
	"coilkeep/internal/warmth"
)

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

// resistantLine is a line that single outliers do not move: through the medians
// of the first and the last third of the points (J. W. Tukey, Exploratory Data
// Analysis, 1977, chapter 10; from memory). Its scatter is told, and as medians
// err by a quarter more than means do, the line's residual is that much larger.
func resistantLine(points []warmth.Point, scatter float64) (line, bool) {
	l, ok := fitLine(points) // for the times
	if !ok {
		return line{}, false
	}
	third := min(max(3, len(points)/3), len(points)) // two have no median
	left, right := medians(points[:third]), medians(points[len(points)-third:])
	if right.Seconds <= left.Seconds {
		return line{}, false
	}
	l.slope = (right.Ohms - left.Ohms) / (right.Seconds - left.Seconds)
	offsets := make([]float64, len(points))
	for i, p := range points {
		offsets[i] = p.Ohms - l.slope*(p.Seconds-l.meanSeconds)
	}
	l.meanOhms, l.residual = statistics.Median(offsets), 1.25*scatter
	return l, true
}

func medians(points []warmth.Point) warmth.Point {
	seconds, ohms := make([]float64, len(points)), make([]float64, len(points))
	for i, p := range points {
		seconds[i], ohms[i] = p.Seconds, p.Ohms
	}
	return warmth.Point{Seconds: statistics.Median(seconds), Ohms: statistics.Median(ohms)}
}

// errorAt is the standard error of where the line leads to at an instant.
func (l line) errorAt(seconds float64, points int) float64 {
	off := seconds - l.meanSeconds
	return l.residual * math.Sqrt(1/float64(points)+off*off/l.spread)
}

// fitLine needs three points and some span of time. Times and values are
// centred first, so that large offsets cost no digits. Like meanAndDeviation it
// keeps an order of sums of its own.
func fitLine(points []warmth.Point) (line, bool) {
	n := float64(len(points))
	if n < 3 {
		return line{}, false
	}
	first := points[0]
	var l line
	for _, p := range points {
		l.meanSeconds += (p.Seconds - first.Seconds) / n
		l.meanOhms += (p.Ohms - first.Ohms) / n
	}
	l.meanSeconds += first.Seconds
	l.meanOhms += first.Ohms
	var cross float64
	for _, p := range points {
		ds := p.Seconds - l.meanSeconds
		l.spread += ds * ds
		cross += ds * (p.Ohms - l.meanOhms)
	}
	if l.spread <= 0 {
		return line{}, false
	}
	l.slope = cross / l.spread
	var squares float64
	for _, p := range points {
		r := p.Ohms - l.at(p.Seconds)
		squares += r * r
	}
	l.residual = math.Sqrt(squares / (n - 2))
	return l, true
}

// TimeConstantEstimate is how a coil left on was seen to take on the temperature
// around it.
type TimeConstantEstimate struct {
	TimeConstant  time.Duration
	StandardError time.Duration
	// QuickShare is how much of the excess at contact was in the wire alone, and
	// QuickShareStandardError its standard error.
	QuickShare, QuickShareStandardError float64
	// StartKelvin is how far the coil was from where it settled, at contact.
	StartKelvin float64
}

// Limits of what can be learned from one coil left on.
const (
	shortestConstantSeconds = 60
	longestConstantSeconds  = 3600
	blocksForConstant       = 120
	// leastStartKelvin is how warm or cold a coil must come to teach anything.
	leastStartKelvin = 0.5
)

// quickestSeconds are the time constants of the wire that are tried.
var quickestSeconds = [...]float64{30, 45, 60, 90, 120}

// fitCooling fits R(t) = R∞ + S·exp(−t/τ) + Q·exp(−t/τq), t from contact, and
// reports τ and the share Q/(S + Q) when the data really carry them: the standard
// error of τ below a fifth of it, and data at least as long as τ. For given τ
// and τq the model is linear; τ is searched for and τq tried. The wire may give
// off its own warmth first (Q alone is of its size), which makes one exponential
// too short.
func fitCooling(points []warmth.Point, alphaR20 float64) *TimeConstantEstimate {
	points = warmth.BlockMeans(points, blocksForConstant)
	if len(points) < 12 || alphaR20 <= 0 {
		return nil
	}
	span := points[len(points)-1].Seconds - points[0].Seconds
	best := coolingFit{squares: math.Inf(1)}
	for _, quick := range quickestSeconds {
		tau := goldenSection(func(logTau float64) float64 {
			return fitTwo(points, math.Exp(logTau), quick).squares
		}, math.Log(shortestConstantSeconds), math.Log(longestConstantSeconds))
		if f := fitTwo(points, math.Exp(tau), quick); f.squares < best.squares {
			best = f
		}
	}
	start := best.slow + best.quick
	if math.IsInf(best.squares, 0) || math.Abs(start) < leastStartKelvin*alphaR20 || best.slow*start <= 0 {
		return nil
	}
	variance := best.squares / float64(len(points)-5)
	relative := max(best.relativeError(points, variance), leastRelativeError)
	if relative > 0.2 || span < best.tau {
		return nil
	}
	share := best.quick / start
	// To first order, the errors of both amplitudes being those of Q mostly.
	shareError := math.Sqrt(variance*best.quickVariance) * math.Abs(best.slow) / (start * start)
	return &TimeConstantEstimate{
		TimeConstant:            time.Duration(best.tau * float64(time.Second)),
		StandardError:           time.Duration(relative * best.tau * float64(time.Second)),
		QuickShare:              min(max(share, 0), 1),
		QuickShareStandardError: max(shareError, leastShareError),
		StartKelvin:             start / alphaR20,
	}
}

// What keeps a clean curve from claiming more than a model of two nodes can say,
// and a moving room from being taken for the coil.
const (
	leastShareError    = 0.002
	leastRelativeError = 0.03
	steadyRoomShare    = 0.1
)

// coolingFit is a least-squares fit of two exponentials, in ohms.
type coolingFit struct {
	tau, quickTau      float64
	level, slow, quick float64
	squares            float64
	quickVariance      float64 // for a unit variance of one point
}

// fitTwo fits level and both amplitudes for given time constants.
func fitTwo(points []warmth.Point, tau, quickTau float64) coolingFit {
	var normal [3][3]float64
	var moments [3]float64
	first := points[0].Ohms
	for _, p := range points {
		basis := [3]float64{1, math.Exp(-p.Seconds / tau), math.Exp(-p.Seconds / quickTau)}
		for i := range basis {
			for j := range basis {
				normal[i][j] += basis[i] * basis[j]
			}
			moments[i] += basis[i] * (p.Ohms - first)
		}
	}
	solution, inverse, ok := solveThree(normal, moments)
	if !ok {
		return coolingFit{squares: math.Inf(1)}
	}
	f := coolingFit{tau: tau, quickTau: quickTau, level: solution[0], slow: solution[1], quick: solution[2], quickVariance: inverse}
	for _, p := range points {
		r := p.Ohms - first - f.level - f.slow*math.Exp(-p.Seconds/tau) - f.quick*math.Exp(-p.Seconds/quickTau)
		f.squares += r * r
	}
	return f
}

// relativeError is the standard error of ln τ, from how fast the sum of squares
// grows about its least.
func (f coolingFit) relativeError(points []warmth.Point, variance float64) float64 {
	const step = 0.05
	up, down := fitTwo(points, f.tau*math.Exp(step), f.quickTau), fitTwo(points, f.tau*math.Exp(-step), f.quickTau)
	curvature := (up.squares - 2*f.squares + down.squares) / (step * step)
	if !(curvature > 0) {
		return math.Inf(1)
	}
	return math.Sqrt(2 * variance / curvature)
}

// solveThree solves three normal equations and gives the last element of the
// inverse, by elimination with the pivots as they come: the matrix is positive
// definite unless the model is not told by the points.
func solveThree(a [3][3]float64, b [3]float64) (x [3]float64, lastInverse float64, ok bool) {
	for i := range 3 {
		if !(a[i][i] > 1e-12*a[0][0]) {
			return x, 0, false
		}
		for k := i + 1; k < 3; k++ {
			factor := a[k][i] / a[i][i]
			for j := i; j < 3; j++ {
				a[k][j] -= factor * a[i][j]
			}
			b[k] -= factor * b[i]
		}
	}
	for i := 2; i >= 0; i-- {
		x[i] = b[i]
		for j := i + 1; j < 3; j++ {
			x[i] -= a[i][j] * x[j]
		}
		x[i] /= a[i][i]
	}
	return x, 1 / a[2][2], true
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

// pointsBefore gives readings as seconds before the latest one, whose place in
// time matters to no line.
func pointsBefore(latest time.Time, readings []driver.Reading) []warmth.Point {
	points := make([]warmth.Point, len(readings))
	for i, r := range readings {
		points[i] = warmth.Point{Seconds: r.Time.Sub(latest).Seconds(), Ohms: r.Value}
	}
	return points
}
