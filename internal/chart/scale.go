package chart

import (
	"cmp"
	"fmt"
	"math"

	"coilkeep/internal/conformity"
	"coilkeep/internal/words"
)

// Scale is one value on its tolerance.
type Scale struct {
	View
	Tolerance conformity.Tolerance
	// TargetOhms is 0 when there is none.
	TargetOhms float64
	// R20Ohms and its expanded uncertainty; 0 draws the tolerance alone.
	R20Ohms, ExpandedUncertaintyOhms float64
	Verdict                          conformity.Verdict
}

// Picture draws a small scale without a title: the tolerance in the middle half,
// its limits, the target, the guard bands, and the value with its uncertainty. A
// value beyond the scale stands at its end with an arrow.
//
// It refuses an unusable tolerance and a value that is not a positive number.
func (s Scale) Picture() (*Picture, error) {
	size := s.Size.or(420, 74)
	if err := cmp.Or(size.check(220, 70), s.check()); err != nil {
		return nil, fmt.Errorf("draw a value on its tolerance: %w", err)
	}
	p := newPicture(size, "")
	p.Title = "R20 on its tolerance"
	t := s.Tolerance
	half := (t.UpperOhms - t.LowerOhms) / 2
	x := axis{low: t.LowerOhms - half, high: t.UpperOhms + half, from: margin, to: size.Width - margin}
	const top, bottom = 14, 46
	base := float64(top+bottom) / 2

	p.rect(fill(inkBand), x.at(t.LowerOhms), top, x.at(t.UpperOhms), bottom)
	if guard := t.GuardFactor * s.ExpandedUncertaintyOhms; guard > 0 {
		for _, limit := range []float64{t.LowerOhms, t.UpperOhms} {
			left, _ := x.inside(limit - guard)
			right, _ := x.inside(limit + guard)
			p.rect(fill(inkGrid), x.at(left), top+4, x.at(right), bottom-4)
		}
	}
	p.line(stroke(inkAxis), point{x.from, base}, point{x.to, base})
	for _, limit := range []float64{t.LowerOhms, t.UpperOhms} {
		p.line(stroke(inkTarget), point{x.at(limit), top}, point{x.at(limit), bottom})
		p.words(inkSoft, middle, point{x.at(limit), bottom + textSize + 5}, words.Ohms(limit))
	}
	if s.TargetOhms > 0 {
		p.line(stroke(inkTarget), point{x.at(s.TargetOhms), top + 6}, point{x.at(s.TargetOhms), bottom - 6})
	}
	p.Description = fmt.Sprintf("Tolerance %s to %s.", words.Ohms(t.LowerOhms), words.Ohms(t.UpperOhms))
	if s.R20Ohms > 0 {
		s.mark(p, x, base)
	}
	return p, nil
}

func (s Scale) check() error {
	switch {
	case s.R20Ohms < 0 || math.IsNaN(s.R20Ohms) || math.IsInf(s.R20Ohms, 0):
		return fmt.Errorf("R20 of %g Ω cannot be", s.R20Ohms)
	case !(s.ExpandedUncertaintyOhms >= 0) || math.IsInf(s.ExpandedUncertaintyOhms, 0):
		return fmt.Errorf("uncertainty of %g Ω cannot be", s.ExpandedUncertaintyOhms)
	case s.TargetOhms != 0 && !(s.TargetOhms >= s.Tolerance.LowerOhms && s.TargetOhms <= s.Tolerance.UpperOhms):
		return fmt.Errorf("target of %g Ω is outside the tolerance", s.TargetOhms)
	}
	return s.Tolerance.Validate()
}

// mark draws the value and adds it to the description.
func (s Scale) mark(p *Picture, x axis, y float64) {
	value, off := x.inside(s.R20Ohms)
	said := fmt.Sprintf("R20 %s, %s", words.OhmsWithin(s.R20Ohms, s.ExpandedUncertaintyOhms), words.Verdict(s.Verdict))
	f := verdictFace(s.Verdict)
	if off {
		said += ", beyond the scale"
		tip, a := "→", end
		if s.R20Ohms < x.low {
			tip, a = "←", start
		}
		p.words(inkText, a, point{x.at(value), y - 12}, tip)
	} else {
		left, _ := x.inside(s.R20Ohms - s.ExpandedUncertaintyOhms)
		right, _ := x.inside(s.R20Ohms + s.ExpandedUncertaintyOhms)
		for _, end := range []float64{left, right} {
			p.line(stroke(inkBar), point{x.at(end), y - 5}, point{x.at(end), y + 5})
		}
		p.line(stroke(inkBar), point{x.at(left), y}, point{x.at(right), y})
	}
	p.mark(f.shape, f.ink, 5.5, note{words: said, at: point{x.at(value), y}, reach: 12})
	p.Description += " " + said + "."
}
