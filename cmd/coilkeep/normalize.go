package main

import (
	"context"
	"errors"
	"fmt"
	"io"

	"coilkeep/internal/copper"
	"coilkeep/internal/quantity"
	"coilkeep/internal/r20"
	"coilkeep/internal/uncertainty"
	"coilkeep/internal/words"
)

// What is taken for an instrument of which nothing is said: a handheld meter
// of ±(0.8 % + 2 digits) and a room thermometer of ±1 K that the coil had time
// to follow. Common practice, no source; the wide side of it, and always said.
const (
	handheldPercent   = 0.8
	handheldDigits    = 2
	thermometerKelvin = 1.0
)

// normalizeFlags are the flags of normalize.
type normalizeFlags struct {
	*flagSet
	at, to                  *string
	alphaFlags              alphaFlags
	meterPercent, meterOhms *float64
	leadOhms                *float64
	temperatureUncertainty  *float64
	json                    *bool
}

// normalized is the answer of normalize, as JSON.
type normalized struct {
	r20.Result
	Inputs r20.Inputs `json:"inputs"`
	// At is the same coil at another temperature, when one was asked for.
	At *atTemperature `json:"at,omitempty"`
	// Assumptions says what was taken for granted because nobody told.
	Assumptions []string `json:"assumptions"`
}

type atTemperature struct {
	Celsius                 float64 `json:"celsius"`
	Ohms                    float64 `json:"ohms"`
	ExpandedUncertaintyOhms float64 `json:"expanded_uncertainty_ohms"`
	CoverageFactor          float64 `json:"coverage_factor"`
}

func runNormalize(_ context.Context, env *environment, args []string) error {
	f := newFlags("normalize OHMS --at CELSIUS",
		"Refer a resistance, read with the copper at a temperature, to 20 °C, and say how\n"+
			"well the result is known. Nothing is added for a coil that was still warm: one from\n"+
			"the hand, the winder or the iron may be kelvins from a thermometer beside it, which\n--temperature-uncertainty has to cover.",
		"normalize 6690 --at 23.4\nnormalize 6.69k --at 23.4 --to 25 --meter-percent 0.05 --meter-ohms 0.3\n"+
			"normalize 8.2k --at 19 --conductivity 98 --temperature-uncertainty 0.5 --json")
	flags := &normalizeFlags{
		flagSet:      f,
		at:           f.String("at", "", "temperature of the copper, in degrees `CELSIUS`"),
		to:           f.String("to", "", "also say what the coil has at this temperature, in degrees `CELSIUS`"),
		alphaFlags:   newAlphaFlags(f),
		meterPercent: f.percent("meter-percent", handheldPercent, "accuracy of the meter, in `PERCENT` of the reading either way"),
		meterOhms:    f.Float64("meter-ohms", 0, "and in `OHMS` either way (default: 2 steps of the last digit given)"),
		leadOhms:     f.Float64("lead-ohms", 0, "resistance of the leads, to take off, in `OHMS`"),
		temperatureUncertainty: f.Float64("temperature-uncertainty", thermometerKelvin,
			"how far the copper may be from --at, in `KELVIN` either way"),
		json: f.Bool("json", false, "print JSON: ohms, degrees Celsius"),
	}
	if err := flags.parse(env, args, 1, 1); err != nil {
		return err
	}
	answer, err := flags.evaluate()
	if err != nil {
		return err
	}
	if *flags.json {
		return printJSON(env.stdout, answer)
	}
	return answer.print(env.stdout)
}

func (f *normalizeFlags) evaluate() (normalized, error) {
	in, assumptions, err := f.inputs()
	if err != nil {
		return normalized{}, err
	}
	result, err := r20.Evaluate(in)
	if err != nil {
		return normalized{}, f.explainInput(err)
	}
	answer := normalized{Result: result, Inputs: in, Assumptions: assumptions}
	if f.Changed("to") {
		to, err := parseCelsius(*f.to)
		if err != nil {
			return normalized{}, f.wrong("--to: %v", err)
		}
		there, err := r20.At(in, to)
		if err != nil {
			return normalized{}, f.explainInput(err)
		}
		answer.At = &atTemperature{to, there.ResistanceOhms, there.ExpandedUncertaintyOhms, there.CoverageFactor}
	}
	return answer, nil
}

// inputs gathers what the result depends on, and what had to be assumed.
func (f *normalizeFlags) inputs() (r20.Inputs, []string, error) {
	resistance, step, err := quantity.ParseOhms(f.Arg(0))
	if err != nil {
		return r20.Inputs{}, nil, f.wrong("%v", err)
	}
	if *f.at == "" {
		return r20.Inputs{}, nil, f.wrong("how warm was the coil? Say --at CELSIUS")
	}
	at, err := parseCelsius(*f.at)
	if err != nil {
		return r20.Inputs{}, nil, f.wrong("--at: %v", err)
	}
	alpha, alphaUncertainty, err := f.alphaFlags.value()
	if err != nil {
		return r20.Inputs{}, nil, err
	}
	in := r20.Inputs{
		ResistanceOhms:                    resistance,
		Readings:                          1,
		ResolutionOhms:                    step,
		MeterPercent:                      *f.meterPercent,
		MeterOhms:                         *f.meterOhms,
		LeadOhms:                          *f.leadOhms,
		TemperatureCelsius:                at,
		ProbeHalfWidthKelvin:              *f.temperatureUncertainty,
		AlphaPerKelvin:                    alpha,
		AlphaStandardUncertaintyPerKelvin: alphaUncertainty,
	}
	assumptions := []string{}
	switch percent, ohms := f.Changed("meter-percent"), f.Changed("meter-ohms"); {
	case !percent && !ohms:
		in.MeterOhms = handheldDigits * step
		assumptions = append(assumptions, fmt.Sprintf("the meter is an ordinary handheld, good to ±(%g %% + %d digits); better known: "+
			"--meter-percent, --meter-ohms", handheldPercent, handheldDigits))
	case !percent:
		in.MeterPercent = 0
	}
	if !f.Changed("temperature-uncertainty") {
		assumptions = append(assumptions, fmt.Sprintf("the copper was within ±%g K of the temperature given; better known: "+
			"--temperature-uncertainty", thermometerKelvin))
	}
	return in, assumptions, nil
}

// explainInput tells a value that cannot be true as a mistake on the command
// line, by the flag it came from.
func (f *normalizeFlags) explainInput(err error) error {
	var bad *r20.InputError
	if !errors.As(err, &bad) {
		return err
	}
	flag, ok := map[string]string{
		"resistance_ohms":                       "OHMS",
		"meter_percent":                         "--meter-percent",
		"meter_ohms":                            "--meter-ohms",
		"lead_ohms":                             "--lead-ohms",
		"temperature_celsius":                   "--at",
		"probe_half_width_kelvin":               "--temperature-uncertainty",
		"alpha_per_kelvin":                      "--alpha",
		"alpha_standard_uncertainty_per_kelvin": "--alpha-uncertainty",
		"reference_celsius":                     "--to",
	}[bad.Field]
	if !ok {
		return err
	}
	return f.wrong("%s %s", flag, bad.Problem)
}

func (n normalized) print(w io.Writer) error {
	pairs := []string{
		"R20", fmt.Sprintf("%s (95 %%, k = %.2f)", words.OhmsWithin(n.R20Ohms, n.ExpandedUncertaintyOhms), n.CoverageFactor),
	}
	if n.At != nil {
		pairs = append(pairs, "At "+words.Celsius(n.At.Celsius), fmt.Sprintf("%s (95 %%, k = %.2f)",
			words.OhmsWithin(n.At.Ohms, n.At.ExpandedUncertaintyOhms), n.At.CoverageFactor))
	}
	pairs = append(pairs, "Temperature coefficient", fmt.Sprintf("%g /K at 20 °C", n.Inputs.AlphaPerKelvin))
	if err := facts(w, pairs...); err != nil {
		return err
	}
	fmt.Fprintln(w)
	if err := printBudget(w, n.Budget); err != nil {
		return err
	}
	for _, assumption := range n.Assumptions {
		if _, err := fmt.Fprintf(w, "\nAssumed: %s.", assumption); err != nil {
			return err
		}
	}
	if len(n.Assumptions) > 0 {
		fmt.Fprintln(w)
	}
	return nil
}

// printBudget writes an uncertainty budget as a table, leaving out lines that
// contribute nothing.
func printBudget(w io.Writer, budget []uncertainty.Component) error {
	rows := [][]string{{"UNCERTAINTY FROM", "STANDARD", "IN OHMS", "SHARE"}}
	for _, c := range budget {
		if c.ContributionOhms > 0 {
			rows = append(rows, []string{c.Source, fmt.Sprintf("%.2g %s", c.StandardUncertainty, c.Unit),
				fmt.Sprintf("%.2g Ω", c.ContributionOhms), fmt.Sprintf("%.1f %%", 100*c.Share)})
		}
	}
	return columns(w, "Nothing contributes to the uncertainty.", rows)
}

// alphaFlags say what copper the wire is of.
type alphaFlags struct {
	*flagSet
	conductivity, alpha, uncertainty *float64
}

func newAlphaFlags(f *flagSet) alphaFlags {
	return alphaFlags{
		flagSet:      f,
		conductivity: f.percent("conductivity", 100, "of the wire, in `PERCENT` of the standard's; fine wire is often listed at 98"),
		alpha:        f.Float64("alpha", 0, "temperature coefficient at 20 °C, a `NUMBER` per kelvin, instead of --conductivity"),
		uncertainty: f.Float64("alpha-uncertainty", copper.StandardUncertaintyPerKelvin,
			"standard uncertainty of the coefficient, a `NUMBER` per kelvin"),
	}
}

// given says whether the flags name the coefficient.
func (f alphaFlags) given() bool { return f.Changed("alpha") || f.Changed("conductivity") }

// value is the coefficient at 20 °C and its standard uncertainty, per kelvin.
func (f alphaFlags) value() (alpha, uncertainty float64, err error) {
	switch {
	case f.Changed("alpha") && f.Changed("conductivity"):
		return 0, 0, f.wrong("--alpha and --conductivity both set the temperature coefficient; give one of them")
	case f.Changed("alpha"):
		return *f.alpha, *f.uncertainty, nil
	}
	ratio, err := conductivityRatio(f.flagSet, *f.conductivity)
	if err != nil {
		return 0, 0, err
	}
	coefficient, err := copper.Alpha20Of(ratio)
	return float64(coefficient), *f.uncertainty, err
}

// conductivityRatio reads a conductivity given in percent of the standard's.
func conductivityRatio(f *flagSet, percent float64) (float64, error) {
	ratio := percent / 100
	if _, err := copper.Alpha20Of(ratio); err != nil {
		return 0, f.wrong("--conductivity %g %% is not that of copper wire; write 98 for 98 %%", percent)
	}
	return ratio, nil
}
