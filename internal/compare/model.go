package compare

import "math"

// model is one way the readings may have come about.
type model struct {
	cause  Cause
	parts  []Cause // of a combination
	weight float64 // how often it is met, relative to the others
	acts   acting
	// prior is the range expected of the parameter, for one of the readings;
	// for all of them when the parameter is shared.
	prior func(reading int) []piece
	// apply changes a situation as the cause does at a value of its parameter.
	apply func(s situation, value float64) situation
	// steps are the causes of a combination one by one, each changing a
	// situation at the same value; nil stands for a temperature, which is not
	// the parameter.
	steps []func(s situation, value float64) situation
	// ownMeter is true when the parameter is the meter's error itself.
	ownMeter bool

	parameter, unit string
	reason          string // why this range
	damage          bool
}

// acting says on which of several readings a cause acts.
type acting int

const (
	// onEvery: it belongs to the coil or the meter, so it acts on every
	// reading, with one value of its parameter.
	onEvery acting = iota
	// onSomeShared: it acts on at least one reading, any choice being as
	// likely, with one value of its parameter.
	onSomeShared
	// onSomeOwn: the same, with a value of its own for every reading.
	onSomeOwn
)

// piece is a part of a prior range: uniform between low and high, or uniform in
// the logarithm; a single value when they are equal.
type piece struct {
	low, high   float64
	weight      float64
	logarithmic bool
}

func (p piece) at(fraction float64) float64 {
	if p.logarithmic {
		return p.low * math.Pow(p.high/p.low, fraction)
	}
	return p.low + fraction*(p.high-p.low)
}

func constantPieces(pieces ...piece) func(int) []piece {
	return func(int) []piece { return pieces }
}

// point is a prior of one value.
func point(value, weight float64) piece { return piece{low: value, high: value, weight: weight} }

// evidence is the readings with the situations they are told or assumed to have
// come about in.
type evidence struct {
	situations []situation
	shown      []float64
}

// node is a cell of a prior range: its ends, its middle and its probability.
type node struct {
	low, value, high float64
	weight           float64
}

// Cells of a range are halved where the readings are, until what the meter
// shows moves by less than a part of the width of its distribution.
const (
	firstCells = 8
	finest     = 1.0 / 2
	maxHalving = 40
)

// nodes divides a model's prior for some readings into cells.
func (e evidence) nodes(m model, pieces []piece, readings []int, c common) []node {
	d := divider{e, m, piece{}, readings, c, nil}
	for _, p := range pieces {
		if p.low == p.high {
			d.nodes = append(d.nodes, node{p.low, p.low, p.high, p.weight})
			continue
		}
		d.piece = p
		low := d.shows(0)
		for i := range firstCells {
			high := d.shows(float64(i+1) / firstCells)
			d.divide(float64(i)/firstCells, float64(i+1)/firstCells, low, high, 0)
			low = high
		}
	}
	return d.nodes
}

// divider cuts one piece of a prior into cells.
type divider struct {
	evidence
	model
	piece
	readings []int
	common
	nodes []node
}

// possible is what a meter may show beside what it did show.
type possible struct {
	smear
	shownOhms float64
}

// shows is what the meter may show in each of the readings at a fraction of the
// piece.
func (d *divider) shows(fraction float64) []possible {
	var all []possible
	for _, i := range d.readings {
		for _, one := range d.given(d.apply(d.situations[i], d.at(fraction))).smears() {
			all = append(all, possible{one, d.shown[i]})
		}
	}
	return all
}

// divide halves a cell until it is fine enough. low and high are what its ends
// show.
func (d *divider) divide(from, to float64, low, high []possible, depth int) {
	centre := (from + to) / 2
	middle := d.shows(centre)
	if depth < maxHalving && d.coarse(low, middle, high) {
		d.divide(from, centre, low, middle, depth+1)
		d.divide(centre, to, middle, high, depth+1)
		return
	}
	d.nodes = append(d.nodes, node{d.at(from), d.at(centre), d.at(to), d.piece.weight * (to - from)})
}

// coarse says whether a cell matters to a reading and is too wide for it. The
// middle is looked at too, because what is shown need not rise all the way.
func (d *divider) coarse(low, middle, high []possible) bool {
	for k, a := range low {
		b, c := middle[k], high[k]
		least, most := min(a.centre, b.centre, c.centre), max(a.centre, b.centre, c.centre)
		reach := max(a.reach(), b.reach(), c.reach()) + d.reachRatio*most
		near := a.shownOhms > least-reach && a.shownOhms < most+reach
		if near && most-least > finest*max(a.width(), b.width(), c.width()) {
			return true
		}
	}
	return false
}

// common is what several readings share: our own error and that of one meter,
// together a relative deviation of all of them.
type common struct {
	ratios, weights []float64
	// spacing is the distance of the ratios, 0 when nothing is shared.
	spacing, reachRatio float64
	meter               bool // the meter's percentage is part of it
}

// commonSteps is the number of values the shared deviation is divided into.
const commonSteps = 15

// common returns what the readings share under a model. A single reading shares
// nothing with anything.
func (e evidence) common(m model) common {
	first := e.situations[0]
	if len(e.situations) == 1 {
		return common{ratios: []float64{0}, weights: []float64{1}}
	}
	c := common{meter: !m.ownMeter}
	for _, s := range e.situations {
		c.meter = c.meter && s.meterRatio == first.meterRatio
	}
	whole := smear{sigma: first.coil.sigmaRatio + 1e-9}
	if c.meter {
		whole.flats[0] = first.meterRatio
	}
	c.reachRatio = whole.flats[0] + 4*whole.sigma
	c.spacing = 2 * c.reachRatio / commonSteps
	total := 0.0
	for i := range commonSteps {
		ratio := c.spacing * (float64(i) + 0.5 - commonSteps/2.0)
		density := whole.density(ratio)
		c.ratios, c.weights = append(c.ratios, ratio), append(c.weights, density)
		total += density
	}
	for i := range c.weights {
		c.weights[i] /= total
	}
	return c
}

// given takes what is shared out of a situation, but for its spread within one
// step.
func (c common) given(s situation) situation {
	if c.spacing > 0 {
		s.coil.sigmaRatio, s.restRatio = 0, c.spacing/math.Sqrt(12)
		if c.meter {
			s.meterRatio = 0
		}
	}
	return s
}

// likelihoods returns the probability density of a reading in a situation, for
// each value of what is shared.
func (e evidence) likelihoods(i int, s situation, c common) []float64 {
	densities := make([]float64, len(c.ratios))
	smears := c.given(s).smears()
	for _, one := range smears {
		reach := one.reach()
		if math.Abs(e.shown[i]-one.centre) > reach*(1+c.reachRatio)+one.centre*c.reachRatio {
			continue // at no value of what is shared
		}
		centre := one.centre
		for j, ratio := range c.ratios {
			one.centre = centre * (1 + ratio)
			densities[j] += one.density(e.shown[i]) / float64(len(smears))
		}
	}
	return densities
}
