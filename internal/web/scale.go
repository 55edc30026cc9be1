package web

import "coilkeep/internal/bench"

// scaleView draws where a coil's R20 lies against its tolerance. Positions run
// from 0 to scaleWidth; the tolerance takes the middle half.
type scaleView struct {
	LowerOhms, TargetOhms, UpperOhms float64
	Lower, Target, Upper             float64
	// Mark is nil while there is no R20.
	Mark *markView
}

// markView is a value and its uncertainty on the scale.
type markView struct {
	At, From, To float64
	// Beyond is "low" or "high" when the value lies off the scale.
	Beyond string
}

const scaleWidth = 400.0

// newScale returns the scale of a bench; nil when no design says what is
// wanted.
func newScale(s bench.Snapshot) *scaleView {
	if s.Design == nil || s.Design.UpperOhms <= s.Design.LowerOhms {
		return nil
	}
	d := s.Design
	half := (d.UpperOhms - d.LowerOhms) / 2
	left := d.LowerOhms - half
	at := func(ohms float64) float64 { return (ohms - left) / (4 * half) * scaleWidth }
	inside := func(x float64) float64 { return min(max(x, 0), scaleWidth) }
	scale := &scaleView{
		LowerOhms: d.LowerOhms, TargetOhms: d.TargetOhms, UpperOhms: d.UpperOhms,
		Lower: at(d.LowerOhms), Target: inside(at(d.TargetOhms)), Upper: at(d.UpperOhms),
	}
	if s.R20Ohms == nil || s.ExpandedUncertaintyOhms == nil {
		return scale
	}
	x := at(*s.R20Ohms)
	mark := &markView{
		At:   inside(x),
		From: inside(at(*s.R20Ohms - *s.ExpandedUncertaintyOhms)),
		To:   inside(at(*s.R20Ohms + *s.ExpandedUncertaintyOhms)),
	}
	switch {
	case x < 0:
		mark.Beyond = "low"
	case x > scaleWidth:
		mark.Beyond = "high"
	}
	scale.Mark = mark
	return scale
}
