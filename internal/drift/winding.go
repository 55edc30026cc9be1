package drift

import (
	"fmt"
	"math"

	"coilkeep/internal/copper"
)

// Winding is what is known of a design's turns.
type Winding struct {
	// Turns on a coil; 0 when not known. With them ohms per turn come from the
	// coils themselves, which allows for the wire of the day.
	Turns float64
	// OutermostOverMean is the length of an outermost turn over that of the mean
	// turn; 0 takes 1.125 ± 0.025 (10 to 15 %: common practice on slender
	// bobbins, no source).
	OutermostOverMean float64
	// OutermostTurnOhms is what one outermost turn of nominal wire has at 20 °C,
	// used when Turns are not known; 0 when that is not known either.
	OutermostTurnOhms float64
}

// wireSpread is how far wire of one gauge may be from nominal, as a standard
// uncertainty: a half-width of 8 % (the resistance limits of 42 AWG, diameter
// ±0.1 mil, NEMA MW 1000), taken as rectangular.
var wireSpread = 0.08 / math.Sqrt(3)

// WindingOf is the winding of a design: a wire on a bobbin, with its turns, or
// 0 when they are not known.
func WindingOf(w copper.Winding, bobbin copper.Bobbin, turns int) Winding {
	return Winding{
		Turns:             float64(turns),
		OutermostOverMean: bobbin.OutermostTurnMM() / bobbin.MeanTurnMM(),
		OutermostTurnOhms: w.OutermostTurnOhms(),
	}
}

// check refuses what cannot be a winding.
func (w Winding) check() error {
	switch {
	case !(w.Turns >= 0) || w.Turns > 1e6:
		return fmt.Errorf("%g turns: %w; give 1 to a million", w.Turns, ErrInput)
	case w.OutermostOverMean != 0 && !(w.OutermostOverMean >= 1 && w.OutermostOverMean < 3):
		return fmt.Errorf("outermost turn %g times the mean: %w; give 1 to 3", w.OutermostOverMean, ErrInput)
	case !(w.OutermostTurnOhms >= 0) || math.IsInf(w.OutermostTurnOhms, 0):
		return fmt.Errorf("outermost turn of %g ohms: %w", w.OutermostTurnOhms, ErrInput)
	}
	return nil
}

// correction is how many turns more bring a level to target, from low to high, by
// what one turn on the outside has.
type correction struct{ turns, low, high, turnOhms float64 }

// turnsToTarget reckons the turns that bring a level, known to ± half, to target; ok is
// false when ohms per turn cannot be told.
func (w Winding) turnsToTarget(target, levelOhms, half float64) (c correction, source string, ok bool) {
	turn, relative, source, ok := w.turnOhms(levelOhms)
	if !ok {
		return correction{}, "", false
	}
	turns := (target - levelOhms) / turn
	spread := math.Hypot(half/turn, 2*relative*turns)
	return correction{turns, turns - spread, turns + spread, turn}, source, true
}

// turnOhms is the resistance of one turn on the outside of a coil of levelOhms,
// with its relative standard uncertainty; ok is false when it cannot be told.
func (w Winding) turnOhms(levelOhms float64) (ohms, relative float64, source string, ok bool) {
	over, spread := w.OutermostOverMean, 0.01
	if over == 0 {
		over, spread = 1.125, 0.025/math.Sqrt(3)
	}
	switch {
	case w.Turns > 0:
		return levelOhms / w.Turns * over, spread, "ohms per turn of these coils", true
	case w.OutermostTurnOhms > 0:
		return w.OutermostTurnOhms, math.Hypot(spread, wireSpread), "nominal wire on the bobbin", true
	}
	return 0, 0, "", false
}
