package statistics

import (
	"fmt"
	"math"
)

// Line is a straight line fitted by least squares.
type Line struct {
	Slope float64
	// SlopeError is a standard error that takes the residuals for independent; with
	// autocorrelated data it is far too small.
	SlopeError           float64
	ResidualSD           float64
	ResidualSumOfSquares float64
	DegreesOfFreedom     int

	meanX, meanY float64
}

// FitLine fits a line through points x, y. Fewer than three points, x that are all
// equal and numbers that are not finite are refused. x is centred first, so that
// seconds since 1970 do as well as coil numbers.
func FitLine(x, y []float64) (Line, error) {
	n := len(x)
	if n < 3 || len(y) != n {
		return Line{}, fmt.Errorf("line through %d points: %w; three are needed", min(n, len(y)), ErrTooFew)
	}
	l := Line{DegreesOfFreedom: n - 2}
	var sx, sy float64
	for i := range x {
		sx += x[i] - x[0]
		sy += y[i] - y[0]
	}
	offX, offY := sx/float64(n), sy/float64(n)
	l.meanX, l.meanY = x[0]+offX, y[0]+offY
	var sxx, sxy float64
	for i := range x {
		dx := x[i] - x[0] - offX
		sxx += dx * dx
		sxy += dx * (y[i] - y[0] - offY)
	}
	if !(sxx > 0) || math.IsInf(sxx, 0) || math.IsNaN(sxy) || math.IsInf(sxy, 0) {
		return Line{}, fmt.Errorf("line through %d points: they do not differ in x, or are not finite", n)
	}
	l.Slope = sxy / sxx
	for i := range x {
		r := y[i] - y[0] - offY - l.Slope*(x[i]-x[0]-offX)
		l.ResidualSumOfSquares += r * r
	}
	l.ResidualSD = math.Sqrt(l.ResidualSumOfSquares / float64(n-2))
	l.SlopeError = l.ResidualSD / math.Sqrt(sxx)
	return l, nil
}

// At is the height of the line at x.
func (l Line) At(x float64) float64 { return l.meanY + l.Slope*(x-l.meanX) }

// P is the probability of a slope this far from zero by chance.
func (l Line) P() float64 { return TestP(l.Slope, l.SlopeError, float64(l.DegreesOfFreedom)) }

// TestP is the two-sided probability of an estimate this far from zero by
// chance, given its standard error. Data without any scatter have the error 0:
// then any estimate but 0 is certain.
func TestP(estimate, standardError, df float64) float64 {
	switch {
	case estimate == 0:
		return 1
	case standardError == 0:
		return 0
	}
	return StudentP(estimate/standardError, df)
}

// Partial is the effect of one of two predictors with the other held.
type Partial struct{ Slope, StandardError, P float64 }

// FitTwo fits y = a + b·u + c·v and returns the effects of u and v, each with the
// other held; ok is false when there are fewer than five points or u and v move
// so nearly together (|correlation| above 0.99) that the data cannot part them.
func FitTwo(u, v, y []float64) (ofU, ofV Partial, ok bool) {
	n := len(y)
	if n < 5 {
		return ofU, ofV, false
	}
	mu, mv, my := MomentsOf(u), MomentsOf(v), MomentsOf(y)
	var uv, uy, vy float64
	for i := range y {
		du, dv, dy := u[i]-mu.Mean, v[i]-mv.Mean, y[i]-my.Mean
		uv, uy, vy = uv+du*dv, uy+du*dy, vy+dv*dy
	}
	uu, vv := mu.SumOfSquares, mv.SumOfSquares
	det := uu*vv - uv*uv
	if !(det > 0.02*uu*vv) {
		return ofU, ofV, false
	}
	ofU.Slope, ofV.Slope = (uy*vv-vy*uv)/det, (vy*uu-uy*uv)/det
	rss := 0.0
	for i := range y {
		r := y[i] - my.Mean - ofU.Slope*(u[i]-mu.Mean) - ofV.Slope*(v[i]-mv.Mean)
		rss += r * r
	}
	df := float64(n - 3)
	ofU.StandardError, ofV.StandardError = math.Sqrt(rss/df*vv/det), math.Sqrt(rss/df*uu/det)
	ofU.P, ofV.P = TestP(ofU.Slope, ofU.StandardError, df), TestP(ofV.Slope, ofV.StandardError, df)
	return ofU, ofV, true
}
