package compare

import (
	"fmt"
	"math"
	"slices"

	"coilkeep/internal/copper"
	"coilkeep/internal/r20"
)

// InputError says which input cannot be true and why.
type InputError struct {
	// Field is the JSON name of the input, with its place where there are
	// several: "ours.r20_ohms", "theirs[0].temperature_celsius".
	Field string
	// Problem says what is wrong with it and what it must be.
	Problem string
}

func (e *InputError) Error() string { return e.Field + " " + e.Problem }

// Beyond these an input is a mistake, mostly one of unit.
const (
	minCoilOhms        = 1.0
	maxCoilOhms        = 1e6
	minReadingOhms     = 1e-3
	maxReadingOhms     = 1e9
	minControlOhms     = 1e3
	maxControlOhms     = 1e8
	maxHalfWidthKelvin = 50.0
	maxMeterPercent    = 50.0
	maxMeterDigits     = 1000.0
	maxTurns           = 1_000_000
)

func (in Input) check() error {
	if err := in.Ours.check("ours"); err != nil {
		return err
	}
	if in.Mate != nil {
		if err := in.Mate.check("mate"); err != nil {
			return err
		}
	}
	if len(in.Others) > MaxOthers {
		return &InputError{"others", fmt.Sprintf("are %d coils; at most %d are compared", len(in.Others), MaxOthers)}
	}
	for i, other := range in.Others {
		if err := other.check(fmt.Sprintf("others[%d]", i)); err != nil {
			return err
		}
	}
	if n := len(in.Theirs); n == 0 || n > MaxReadings {
		return &InputError{"theirs", fmt.Sprintf("has %d readings; give from 1 to %d", n, MaxReadings)}
	}
	for i, r := range in.Theirs {
		if err := r.check(fmt.Sprintf("theirs[%d].", i)); err != nil {
			return err
		}
		if r.Wiring == Series || r.Wiring == Parallel {
			if in.Mate == nil {
				return &InputError{fmt.Sprintf("theirs[%d].wiring", i), fmt.Sprintf("is %s, so the record of the other coil, its mate, must be told",
					r.Wiring)}
			}
		}
	}
	return nil
}

func (r Record) check(name string) error {
	name += "."
	if err := within(name+"r20_ohms", r.R20Ohms, minCoilOhms, maxCoilOhms, "a coil's resistance in ohms"); err != nil {
		return err
	}
	if err := within(name+"expanded_uncertainty_ohms", r.ExpandedUncertaintyOhms, 0, r.R20Ohms/5,
		"in ohms, not more than a fifth of the resistance"); err != nil {
		return err
	}
	if r.AlphaPerKelvin != 0 {
		if err := copper.Alpha20(r.AlphaPerKelvin).Check(); err != nil {
			return &InputError{name + "alpha_per_kelvin", fmt.Sprintf("is no coefficient of copper: %v", err)}
		}
	}
	if err := within(name+"alpha_standard_uncertainty_per_kelvin", r.AlphaStandardUncertaintyPerKelvin, 0, float64(copper.Standard)/10,
		""); err != nil {
		return err
	}
	if err := within(name+"turns", float64(r.Turns), 0, maxTurns, ""); err != nil {
		return err
	}
	return r.checkMeasured(name)
}

// checkMeasured sees that the inputs of a measurement give the R20 beside them.
func (r Record) checkMeasured(name string) error {
	if r.Measured == nil {
		return nil
	}
	got, err := r20.Evaluate(*r.Measured)
	if err != nil {
		return &InputError{name + "measured", fmt.Sprintf("cannot be used: %v", err)}
	}
	if math.Abs(got.R20Ohms-r.R20Ohms) > 1e-6*r.R20Ohms {
		return &InputError{name + "measured", fmt.Sprintf("gives %.8g Ω at 20 °C, but r20_ohms is %.8g", got.R20Ohms, r.R20Ohms)}
	}
	return nil
}

func (r Reading) check(name string) error {
	if err := within(name+"ohms", r.Ohms, minReadingOhms, maxReadingOhms, "a reading in ohms"); err != nil {
		return err
	}
	if err := within(name+"resolution_ohms", r.ResolutionOhms, 0, r.Ohms,
		"one step of the last digit, not more than the reading"); err != nil {
		return err
	}
	if err := r.checkWords(name); err != nil {
		return err
	}
	for _, f := range []struct {
		field        string
		value        *float64
		least, great float64
		about        string
	}{
		{"temperature_celsius", r.TemperatureCelsius, copper.MinCelsius, copper.MaxCelsius, "degrees Celsius"},
		{"temperature_uncertainty_kelvin", r.TemperatureUncertaintyKelvin, 0, maxHalfWidthKelvin, "kelvin"},
		{"meter_percent", r.MeterPercent, 0, maxMeterPercent, "percent"},
		{"meter_digits", r.MeterDigits, 0, maxMeterDigits, "steps of the last digit"},
		{"meter_expanded_uncertainty_ohms", r.MeterExpandedUncertaintyOhms, 0, maxCoilOhms, "ohms"},
		{"control_ohms", r.ControlOhms, minControlOhms, maxControlOhms, "the volume control's resistance in ohms"},
		{"control_tolerance_percent", r.ControlTolerancePercent, 0, maxMeterPercent, "percent"},
		{"cable_ohms", r.CableOhms, 0, maxCoilOhms, "ohms"},
	} {
		if f.value != nil {
			if err := within(name+f.field, *f.value, f.least, f.great, f.about); err != nil {
				return err
			}
		}
	}
	return r.checkTogether(name)
}

func (r Reading) checkWords(name string) error {
	if err := oneOf(name+"clips", r.Clips, Leads, Jack); err != nil {
		return err
	}
	if err := oneOf(name+"wiring", r.Wiring, Single, Series, Parallel); err != nil {
		return err
	}
	return oneOf(name+"hands", r.Hands, HandsOff, HandsOn)
}

// checkTogether finds inputs that are each possible but not with one another.
func (r Reading) checkTogether(name string) error {
	switch {
	case r.TemperatureUncertaintyKelvin != nil && r.TemperatureCelsius == nil:
		return &InputError{name + "temperature_uncertainty_kelvin", "says how well a temperature is known, but no temperature is told"}
	case r.MeterExpandedUncertaintyOhms != nil && (r.MeterPercent != nil || r.MeterDigits != nil):
		return &InputError{name + "meter_expanded_uncertainty_ohms",
			"stands in the place of meter_percent and meter_digits; give one or the other"}
	}
	lowest, highest := r.celsiusRange()
	if lowest < copper.MinCelsius || highest > copper.MaxCelsius {
		return &InputError{name + "temperature_uncertainty_kelvin",
			fmt.Sprintf("reaches from %.4g to %.4g °C; copper is computed from %g to %g °C",
				lowest, highest, copper.MinCelsius, copper.MaxCelsius)}
	}
	return nil
}

func within(field string, value, least, greatest float64, about string) error {
	if value >= least && value <= greatest {
		return nil
	}
	problem := fmt.Sprintf("is %.6g; it must be from %.6g to %.6g", value, least, greatest)
	if about != "" {
		problem += ", " + about
	}
	return &InputError{field, problem}
}

func oneOf[T ~string](field string, value T, known ...T) error {
	if value == "" || slices.Contains(known, value) {
		return nil
	}
	return &InputError{field, fmt.Sprintf("is %q; it must be one of %q", value, known)}
}
