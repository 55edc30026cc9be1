package workshop

import (
	"fmt"
	"strconv"
	"strings"

	"coilkeep/internal/compare"
	"coilkeep/internal/quantity"
)

// Setting is something that may be told of a reading besides its value.
type Setting struct {
	// Name is that of the field in JSON and in forms; as a flag it has hyphens in
	// the place of underscores.
	Name string
	// About says what it is, for the help of a command, with the kind of value in
	// capitals between backquotes.
	About string
	// Set reads a text that is not empty. Whether the value can be true is for
	// compare.Compare to say.
	Set func(r *compare.Reading, text string) error
}

// Settings lists what may be told of a reading.
func Settings() []Setting {
	return []Setting{
		{"temperature", "what a thermometer beside the coil showed, in degrees `CELSIUS`", setCelsius},
		{"temperature_uncertainty", "how far the copper may be from it, in `KELVIN` either way",
			setNumber(func(r *compare.Reading, v *float64) { r.TemperatureUncertaintyKelvin = v })},
		{"meter_percent", "accuracy of their meter, in `PERCENT` of the reading either way",
			setNumber(func(r *compare.Reading, v *float64) { r.MeterPercent = v })},
		{"meter_digits", "and in `STEPS` of the last digit either way",
			setNumber(func(r *compare.Reading, v *float64) { r.MeterDigits = v })},
		{"meter_uncertainty", "expanded uncertainty of a calibrated bench, in `OHMS`, instead",
			setOhms(func(r *compare.Reading, v *float64) { r.MeterExpandedUncertaintyOhms = v })},
		{"clips", "`PLACE` the clips were: leads (the coil's own wires) or jack",
			func(r *compare.Reading, text string) error { r.Clips = compare.Clips(text); return nil }},
		{"control", "nominal value of the volume control, in `OHMS`",
			setOhms(func(r *compare.Reading, v *float64) { r.ControlOhms = v })},
		{"control_tolerance", "of the volume control, in `PERCENT` either way",
			setNumber(func(r *compare.Reading, v *float64) { r.ControlTolerancePercent = v })},
		{"control_full", "the volume control was fully up", setFull},
		{"cable", "resistance of leads and cable, in `OHMS`",
			setNumber(func(r *compare.Reading, v *float64) { r.CableOhms = v })},
		{"wiring", "`KIND` of wiring of a two-coil assembly: single, series or parallel",
			func(r *compare.Reading, text string) error { r.Wiring = compare.Wiring(text); return nil }},
		{"hands", "on or off: `WHETHER` fingers touched both probes",
			func(r *compare.Reading, text string) error { r.Hands = compare.Hands(text); return nil }},
		{"date", "`WHEN` they measured, in their words; kept only",
			func(r *compare.Reading, text string) error { r.Date = text; return nil }},
	}
}

// isOverload says whether a text is what meters show when there is no resistance
// to show. A lone 1 is how many of them do.
func isOverload(text string) bool {
	switch strings.ToLower(strings.Trim(text, " .-")) {
	case "ol", "o.l", "overload", "over", "open", "inf", "1":
		return true
	}
	return false
}

// setValue reads what a meter showed. An overload is no resistance, and what it
// may mean is worth more than a complaint about digits.
func setValue(r *compare.Reading, text string) (err error) {
	if isOverload(text) {
		return fmt.Errorf("%q is an overload, not a resistance, and is answered by itself: tell it alone, and no further readings", text)
	}
	r.Ohms, r.ResolutionOhms, err = quantity.ParseOhms(text)
	return err
}

// sameMeter is a reading of which nothing is told but what stays the same from
// the first reading to the others.
func sameMeter(first compare.Reading) compare.Reading {
	return compare.Reading{
		MeterPercent: first.MeterPercent, MeterDigits: first.MeterDigits, MeterExpandedUncertaintyOhms: first.MeterExpandedUncertaintyOhms,
		ControlOhms: first.ControlOhms, ControlTolerancePercent: first.ControlTolerancePercent, CableOhms: first.CableOhms,
	}
}

func setCelsius(r *compare.Reading, text string) error {
	v, _, err := quantity.ParseCelsius(text)
	r.TemperatureCelsius = &v
	return err
}

func setOhms(put func(*compare.Reading, *float64)) func(*compare.Reading, string) error {
	return func(r *compare.Reading, text string) error {
		v, _, err := quantity.ParseOhms(text)
		put(r, &v)
		return err
	}
}

func setNumber(put func(*compare.Reading, *float64)) func(*compare.Reading, string) error {
	return func(r *compare.Reading, text string) error {
		v, err := number(text)
		if err != nil {
			return err
		}
		put(r, &v)
		return nil
	}
}

// number reads a number with a decimal point or comma.
func number(text string) (float64, error) {
	v, err := strconv.ParseFloat(strings.Replace(text, ",", ".", 1), 64)
	if err != nil {
		return 0, fmt.Errorf("%q is not a number: type it like 2 or 0.5", text)
	}
	return v, nil
}

func setFull(r *compare.Reading, text string) error {
	full, err := strconv.ParseBool(text)
	if err != nil {
		return fmt.Errorf("%q is neither true nor false", text)
	}
	r.ControlFull = full
	return nil
}
