package chart

import (
	"cmp"
	"errors"
	"fmt"
	"math"
	"slices"
)

// Control is one control chart of a series.
type Control struct {
	View
	Title string
	// Name is that of the vertical axis; Ohms has it labelled in ohms or kilohms
	// behind the name.
	Name string
	Ohms bool
	// Sequences are the numbers along the bottom, rising; Axis says of what,
	// "coil" when empty.
	Sequences []int
	Axis      string
	// Values are one a sequence, nil where there is none; Below is a second line,
	// such as the downward sums of a CUSUM, nil for none.
	Values, Below []*float64
	Centre        float64
	// Lower and Upper are the limits, one for all or one a sequence; either may be
	// nil.
	Lower, Upper []float64
	// Signals are indices of sequences, from 1.
	Signals []int
}

// Picture draws the chart. It refuses lists of unequal length, numbers that are
// none, and signals that point nowhere.
func (c Control) Picture() (*Picture, error) {
	size := c.Size.or(760, 240)
	if err := cmp.Or(size.check(280, 160), c.check()); err != nil {
		return nil, fmt.Errorf("draw the control chart %q: %w", c.Title, err)
	}
	p := newPicture(size, c.Title)
	p.Description = fmt.Sprintf("%d values, %d signals.", len(c.Sequences), len(c.Signals))
	var g panel
	g.place(leftRoom, p.belowTitle()+nameRoom, size.Width-rightRoom, size.Height-bottomRoom)
	first := c.Sequences[0]
	g.x.low, g.x.high = float64(first)-0.6, float64(max(c.Sequences[len(c.Sequences)-1], first+9))+0.6
	g.y.low, g.y.high = c.reach()
	name, unitSize := c.Name, 1.0
	if c.Ohms {
		var unit string
		unit, unitSize = scaleFor(g.y.high)
		name += " (" + unit + ")"
	}
	g.yLabels(p, name, unitSize)
	g.xLabels(p, cmp.Or(c.Axis, "coil"), true)
	g.level(p, inkAxis, c.Centre)
	c.limit(p, g, c.Lower)
	c.limit(p, g, c.Upper)
	c.curve(p, g, inkIn, c.Values)
	c.curve(p, g, inkOpen, c.Below)
	c.rings(p, g)
	return p, nil
}

func (c Control) check() error {
	n := len(c.Sequences)
	if n == 0 {
		return errors.New("there is no value")
	}
	for _, list := range [][]*float64{c.Values, c.Below} {
		if list != nil && len(list) != n {
			return fmt.Errorf("%d values for %d coils", len(list), n)
		}
		for _, v := range list {
			if v != nil && (math.IsNaN(*v) || math.IsInf(*v, 0)) {
				return fmt.Errorf("%g is not a number to draw", *v)
			}
		}
	}
	for _, list := range [][]float64{c.Lower, c.Upper, {c.Centre}} {
		if len(list) > 1 && len(list) != n {
			return fmt.Errorf("%d limits for %d coils", len(list), n)
		}
		for _, v := range list {
			if math.IsNaN(v) || math.IsInf(v, 0) {
				return fmt.Errorf("a limit of %g cannot be drawn", v)
			}
		}
	}
	if !slices.IsSorted(c.Sequences) {
		return errors.New("the coils are not in order")
	}
	for _, i := range c.Signals {
		if i < 1 || i > n {
			return fmt.Errorf("a signal at value %d of %d", i, n)
		}
	}
	return nil
}

// reach returns the ends of the vertical axis: all values and limits, with some
// room.
func (c Control) reach() (low, high float64) {
	low, high = c.Centre, c.Centre
	for _, list := range [][]float64{c.Lower, c.Upper} {
		for _, v := range list {
			low, high = min(low, v), max(high, v)
		}
	}
	for _, list := range [][]*float64{c.Values, c.Below} {
		for _, v := range list {
			if v != nil {
				low, high = min(low, *v), max(high, *v)
			}
		}
	}
	room := max(0.08*(high-low), 1e-6*max(math.Abs(low), math.Abs(high)), 1e-9)
	return low - room, high + room
}

// limit draws a limit that is the same for all, or that of each value.
func (c Control) limit(p *Picture, g panel, limits []float64) {
	if len(limits) == 1 {
		g.level(p, inkLimit, limits[0])
		return
	}
	var line []point
	for i, v := range limits {
		line = append(line, g.at(float64(c.Sequences[i]), v))
	}
	if len(line) > 0 {
		p.line(stroke(inkLimit), line...)
	}
}

// curve joins the values, across those that are left out.
func (c Control) curve(p *Picture, g panel, i ink, values []*float64) {
	var line []point
	apart := (g.x.to - g.x.from) / (g.x.high - g.x.low)
	radius := min(max(apart/4, 1), 3)
	for k, v := range values {
		if v == nil {
			continue
		}
		at := g.at(float64(c.Sequences[k]), *v)
		line = append(line, at)
		p.add(func(to canvas) { disc.draw(to, at, radius, i) })
	}
	if len(line) > 1 {
		p.line(stroke(i), line...)
	}
}

// rings marks the signals, at the line that is further from the centre.
func (c Control) rings(p *Picture, g panel) {
	for _, index := range c.Signals {
		var at *float64
		for _, list := range [][]*float64{c.Values, c.Below} {
			if len(list) > 0 && list[index-1] != nil && (at == nil || math.Abs(*list[index-1]-c.Centre) > math.Abs(*at-c.Centre)) {
				at = list[index-1]
			}
		}
		if at == nil {
			continue
		}
		sequence := c.Sequences[index-1]
		p.mark(ring, inkSignal, 6, note{words: fmt.Sprintf("signal at %s %d", cmp.Or(c.Axis, "coil"), sequence),
			at: g.at(float64(sequence), *at), reach: 9})
	}
}
