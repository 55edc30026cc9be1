package pages

import (
	"coilkeep/internal/record"
)

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

// newScale draws value against design d. It returns nil when no design says
// what is wanted, and a scale without a mark when value is nil.
func newScale(d *record.Design, value *valueView) *scaleView {
	if d == nil || d.UpperOhms <= d.LowerOhms {
		return nil
	}
	half := (d.UpperOhms - d.LowerOhms) / 2
	left := d.LowerOhms - half
	at := func(ohms float64) float64 { return (ohms - left) / (4 * half) * scaleWidth }
	inside := func(x float64) float64 { return min(max(x, 0), scaleWidth) }
	scale := &scaleView{
		LowerOhms: d.LowerOhms, TargetOhms: d.TargetOhms, UpperOhms: d.UpperOhms,
		Lower: at(d.LowerOhms), Target: inside(at(d.TargetOhms)), Upper: at(d.UpperOhms),
	}
	if value == nil {
		return scale
	}
	x := at(value.R20Ohms)
	mark := &markView{
		At:   inside(x),
		From: inside(at(value.R20Ohms - value.ExpandedOhms)),
		To:   inside(at(value.R20Ohms + value.ExpandedOhms)),
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
