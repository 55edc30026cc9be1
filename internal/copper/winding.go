package copper

import (
	"fmt"
	"math"
)

// Bobbin is a racetrack winding space in millimetres: two straight sides joined
// by half circles.
type Bobbin struct {
	// StraightMM is the length of one straight side; 0 for a round bobbin.
	StraightMM float64
	// CoreRadiusMM is the radius of the half circles the first turn lies on.
	CoreRadiusMM float64
	// BuildMM is the thickness of the finished winding, from the core outward.
	BuildMM float64
}

// Check returns an error wrapping [ErrRange] that names the dimension unless
// the core radius and the build are positive, the straight side is not
// negative, and none is longer than 1 m.
func (b Bobbin) Check() error {
	for _, d := range []struct {
		name   string
		mm     float64
		zeroOK bool
	}{
		{"straight side", b.StraightMM, true},
		{"core radius", b.CoreRadiusMM, false},
		{"build", b.BuildMM, false},
	} {
		inside := d.mm > 0 && d.mm <= 1000 || d.mm == 0 && d.zeroOK
		if !inside {
			return fmt.Errorf("%s of the bobbin %g mm: %w; give millimetres up to 1000", d.name, d.mm, ErrRange)
		}
	}
	return nil
}

// MeanTurnMM is the length of the turn in the middle of the build,
// 2·straight + 2π·(core radius + build/2): the mean of all turns when the layers
// are even.
func (b Bobbin) MeanTurnMM() float64 { return b.turnMM(b.CoreRadiusMM + b.BuildMM/2) }

// OutermostTurnMM is the length of a turn on top of the full build. On slender
// bobbins it is 10 to 15 % longer than the mean turn.
func (b Bobbin) OutermostTurnMM() float64 { return b.turnMM(b.CoreRadiusMM + b.BuildMM) }

func (b Bobbin) turnMM(radiusMM float64) float64 { return 2*b.StraightMM + 2*math.Pi*radiusMM }

// Winding is a wire on a bobbin. Make one with [NewWinding].
type Winding struct {
	wire   Wire
	bobbin Bobbin
}

// NewWinding puts a wire on a bobbin, which must pass [Bobbin.Check].
func NewWinding(wire Wire, bobbin Bobbin) (Winding, error) {
	if err := bobbin.Check(); err != nil {
		return Winding{}, err
	}
	return Winding{wire, bobbin}, nil
}

// LengthMetres returns the length of wire in a number of turns.
func (w Winding) LengthMetres(turns float64) (float64, error) {
	if !(turns > 0) || math.IsInf(turns, 0) {
		return 0, fmt.Errorf("%g turns: %w; turns are a positive number", turns, ErrRange)
	}
	return turns * w.bobbin.MeanTurnMM() / 1000, nil
}

// R20 returns the resistance at 20 °C, in ohms, of a number of turns.
func (w Winding) R20(turns float64) (float64, error) {
	length, err := w.LengthMetres(turns)
	if err != nil {
		return 0, err
	}
	return w.wire.R20(length)
}

// Turns returns how many turns have r20Ohms at 20 °C. It is not rounded.
func (w Winding) Turns(r20Ohms float64) (float64, error) {
	length, err := w.wire.LengthMetres(r20Ohms)
	if err != nil {
		return 0, err
	}
	return length * 1000 / w.bobbin.MeanTurnMM(), nil
}

// OutermostTurnOhms is the resistance at 20 °C of one turn on top of the full
// build: what adding or taking off one turn changes.
func (w Winding) OutermostTurnOhms() float64 {
	return w.bobbin.OutermostTurnMM() / 1000 * w.wire.OhmsPerMetre()
}
