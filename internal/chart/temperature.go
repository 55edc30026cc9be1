package chart

import (
	"cmp"
	"errors"
	"fmt"
	"math"

	"coilkeep/internal/copper"
	"coilkeep/internal/r20"
	"coilkeep/internal/words"
)

// Comparison sets values that somebody else measured against what a coil has at
// every temperature.
type Comparison struct {
	View
	Title string
	// Ours is what our measurement was computed from.
	Ours r20.Inputs
	// Theirs are the other values; none draws our line alone.
	Theirs []Theirs
	// FromCelsius and ToCelsius bound the picture; both zero means 10 to 35 °C,
	// widened to what is to be shown.
	FromCelsius, ToCelsius float64
}

// Theirs is a resistance as another meter showed it.
type Theirs struct {
	Ohms float64
	// HalfWidthOhms is how far it may be off; 0 when unknown.
	HalfWidthOhms float64
	// Celsius is nil when they did not tell the temperature; then their value
	// runs right across.
	Celsius         *float64
	HalfWidthKelvin float64
}

// Picture draws resistance against the temperature of the coil: our line with the
// band of its expanded uncertainty (r20.At at each temperature), our point, and
// the other value with how far it may be off.
//
// It refuses what r20.At refuses, temperatures outside the range of copper, and
// a value that is not a positive number.
func (c Comparison) Picture() (*Picture, error) {
	size := c.Size.or(620, 360)
	if err := cmp.Or(size.check(280, 240), c.check()); err != nil {
		return nil, fmt.Errorf("draw resistance against temperature: %w", err)
	}
	from, to := c.temperatures()
	curve, err := c.curve(from, to)
	if err != nil {
		return nil, fmt.Errorf("draw resistance against temperature: %w", err)
	}
	ours, err := r20.At(c.Ours, c.Ours.TemperatureCelsius)
	if err != nil {
		return nil, fmt.Errorf("draw resistance against temperature: %w", err)
	}

	p := newPicture(size, c.Title)
	top := c.legend().draw(p, p.belowTitle())
	var g panel
	g.place(leftRoom, top+nameRoom, size.Width-rightRoom, size.Height-bottomRoom)
	g.x.low, g.x.high = from, to
	g.y.low, g.y.high = c.reach(curve)

	for _, t := range c.Theirs {
		if t.Celsius == nil {
			g.band(p, inkTheirsBand, t.Ohms-t.HalfWidthOhms, t.Ohms+t.HalfWidthOhms)
		}
	}
	c.band(p, g, curve)
	unit, unitSize := scaleFor(g.y.high)
	g.yLabels(p, "resistance ("+unit+")", unitSize)
	g.xLabels(p, "temperature of the coil (°C)", false)
	c.line(p, g, curve)

	said := fmt.Sprintf("ours: %s at %s", words.OhmsWithin(ours.ResistanceOhms, ours.ExpandedUncertaintyOhms),
		words.Celsius(ours.TemperatureCelsius))
	p.mark(disc, inkIn, 4.5, note{words: said, at: g.at(ours.TemperatureCelsius, ours.ResistanceOhms), reach: 11})
	p.Description = "Resistance of the coil against its temperature. " + said + "."
	for _, t := range c.Theirs {
		p.Description += " " + t.draw(p, g) + "."
	}
	return p, nil
}

func (c Comparison) check() error {
	if c.FromCelsius != 0 || c.ToCelsius != 0 {
		if !(copper.MinCelsius <= c.FromCelsius && c.FromCelsius < c.ToCelsius && c.ToCelsius <= copper.MaxCelsius) {
			return fmt.Errorf("from %g to %g °C: must rise within %g to %g °C", c.FromCelsius, c.ToCelsius, copper.MinCelsius, copper.MaxCelsius)
		}
	}
	for _, t := range c.Theirs {
		if err := t.check(); err != nil {
			return err
		}
	}
	return nil
}

func (t Theirs) check() error {
	switch {
	case !(t.Ohms > 0) || math.IsInf(t.Ohms, 0):
		return fmt.Errorf("their value of %g Ω cannot be", t.Ohms)
	case !(t.HalfWidthOhms >= 0 && t.HalfWidthOhms < t.Ohms):
		return fmt.Errorf("their value may be off by 0 to less than itself, not by %g Ω", t.HalfWidthOhms)
	case !(t.HalfWidthKelvin >= 0) || math.IsInf(t.HalfWidthKelvin, 0):
		return errors.New("their temperature may not be off by less than nothing")
	case t.Celsius != nil && !(*t.Celsius >= copper.MinCelsius && *t.Celsius <= copper.MaxCelsius):
		return fmt.Errorf("their temperature of %g °C is outside %g to %g °C", *t.Celsius, copper.MinCelsius, copper.MaxCelsius)
	}
	return nil
}

// temperatures returns the ends of the temperature axis.
func (c Comparison) temperatures() (from, to float64) {
	if c.FromCelsius != 0 || c.ToCelsius != 0 {
		return c.FromCelsius, c.ToCelsius
	}
	from, to = min(10, c.Ours.TemperatureCelsius-2), max(35, c.Ours.TemperatureCelsius+2)
	for _, t := range c.Theirs {
		if t.Celsius != nil {
			from = min(from, *t.Celsius-t.HalfWidthKelvin-2)
			to = max(to, *t.Celsius+t.HalfWidthKelvin+2)
		}
	}
	return max(from, copper.MinCelsius), min(to, copper.MaxCelsius)
}

// curve predicts the resistance at evenly spaced temperatures. The line is
// straight; its band is a little hollow and wants the points between.
func (c Comparison) curve(from, to float64) ([]r20.Prediction, error) {
	const steps = 24
	curve := make([]r20.Prediction, 0, steps+1)
	for k := range steps + 1 {
		p, err := r20.At(c.Ours, from+(to-from)*float64(k)/steps)
		if err != nil {
			return nil, err
		}
		curve = append(curve, p)
	}
	return curve, nil
}

func (c Comparison) reach(curve []r20.Prediction) (low, high float64) {
	low, high = math.Inf(1), math.Inf(-1)
	include := func(ohms, halfWidth float64) {
		low, high = min(low, ohms-halfWidth), max(high, ohms+halfWidth)
	}
	for _, p := range curve {
		include(p.ResistanceOhms, p.ExpandedUncertaintyOhms)
	}
	for _, t := range c.Theirs {
		include(t.Ohms, t.HalfWidthOhms)
	}
	room := 0.06 * (high - low)
	return low - room, high + room
}

func (c Comparison) band(p *Picture, g panel, curve []r20.Prediction) {
	outline := make([]point, 0, 2*len(curve))
	for _, v := range curve {
		outline = append(outline, g.at(v.TemperatureCelsius, v.ResistanceOhms-v.ExpandedUncertaintyOhms))
	}
	for k := len(curve) - 1; k >= 0; k-- {
		v := curve[k]
		outline = append(outline, g.at(v.TemperatureCelsius, v.ResistanceOhms+v.ExpandedUncertaintyOhms))
	}
	p.polygon(fill(inkWindow), outline...)
}

func (c Comparison) line(p *Picture, g panel, curve []r20.Prediction) {
	points := make([]point, len(curve))
	for k, v := range curve {
		points[k] = g.at(v.TemperatureCelsius, v.ResistanceOhms)
	}
	p.line(stroke(inkIn), points...)
}

// draw draws the other value and returns what it says.
func (t Theirs) draw(p *Picture, g panel) string {
	said := "theirs: " + words.OhmsWithin(t.Ohms, t.HalfWidthOhms)
	if t.Celsius == nil {
		said += ", temperature not told"
		g.level(p, inkTheirs, t.Ohms)
		// On the axis of resistance: it has no place on that of temperature.
		p.mark(diamond, inkTheirs, 5, note{words: said, at: g.at(g.x.low, t.Ohms), reach: 11})
		return said
	}
	x := *t.Celsius
	said += " at " + words.Celsius(x)
	if t.HalfWidthOhms > 0 {
		p.line(stroke(inkTheirs), g.at(x, t.Ohms-t.HalfWidthOhms), g.at(x, t.Ohms+t.HalfWidthOhms))
	}
	if t.HalfWidthKelvin > 0 {
		left, _ := g.x.inside(x - t.HalfWidthKelvin)
		right, _ := g.x.inside(x + t.HalfWidthKelvin)
		p.line(stroke(inkTheirs), g.at(left, t.Ohms), g.at(right, t.Ohms))
	}
	p.mark(diamond, inkTheirs, 5, note{words: said, at: g.at(x, t.Ohms), reach: 11})
	return said
}

func (c Comparison) legend() legend {
	var l legend
	l.addLine(inkIn, "our coil")
	l.addArea(inkWindow, inkGrid, "its uncertainty (95 %)")
	l.addMark(face{disc, inkIn, "as measured"})
	if len(c.Theirs) > 0 {
		l.addMark(face{diamond, inkTheirs, "their value"})
	}
	return l
}
