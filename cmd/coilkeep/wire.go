package main

import (
	"context"
	"fmt"
	"io"
	"math"

	"coilkeep/internal/copper"
	"coilkeep/internal/words"
)

// wireFlags are the flags of wire.
type wireFlags struct {
	*flagSet
	gauge                       *int
	diameter                    *float64
	family                      *string
	conductivity                *float64
	ohms                        *string
	length, turns               *float64
	straight, coreRadius, build *float64
	json                        *bool
}

// wireAnswer is the answer of wire, as JSON. What the command line does not
// determine is null: turns need a bobbin.
type wireAnswer struct {
	Wire              string   `json:"wire"`
	DiameterMM        float64  `json:"diameter_mm"`
	ConductivityRatio float64  `json:"conductivity_ratio"`
	OhmsPerMetre      float64  `json:"ohms_per_metre"`
	LeastOhms         *float64 `json:"least_ohms_per_metre"`
	GreatestOhms      *float64 `json:"greatest_ohms_per_metre"`
	R20Ohms           float64  `json:"r20_ohms"`
	LengthMetres      float64  `json:"length_metres"`
	Turns             *float64 `json:"turns"`
	MeanTurnMM        *float64 `json:"mean_turn_mm"`
	OutermostTurnOhms *float64 `json:"outermost_turn_ohms"`
	Note              string   `json:"note"`
}

func runWire(_ context.Context, env *environment, args []string) error {
	f := newFlags("wire --gauge AWG (--ohms OHMS | --length METRES | --turns TURNS)",
		"Wire length, turns and resistance at 20 °C of a coil, from any one of them.\nTurns need the bobbin.",
		"wire --gauge 42 --ohms 6.69k\nwire --gauge 42 --turns 7000 --straight-mm 58 --core-radius-mm 2.5 --build-mm 3.5\n"+
			"wire --diameter-mm 0.063 --length 1200 --json")
	flags := &wireFlags{
		flagSet:  f,
		gauge:    f.Int("gauge", 0, "wire gauge, `AWG`"),
		diameter: f.Float64("diameter-mm", 0, "bare diameter of metric wire in `MM`, instead of --gauge"),
		family: f.String("family", "geometric", "which diameters a gauge has, a `WORD`: geometric (the formula of the gauge) or "+
			"rounded (tables of magnet wire)"),
		conductivity: f.percent("conductivity", 0, "in `PERCENT` of the standard's (default: 100, metric wire 100.9)"),
		ohms:         f.String("ohms", "", "resistance of the coil at 20 °C, in `OHMS`"),
		length:       f.Float64("length", 0, "length of the wire, in `METRES`"),
		turns:        f.Float64("turns", 0, "`NUMBER` of turns"),
		straight:     f.Float64("straight-mm", 0, "bobbin: length of one straight side, in `MM`; 0 for a round one"),
		coreRadius:   f.Float64("core-radius-mm", 0, "bobbin: radius of the core's ends, in `MM`"),
		build:        f.Float64("build-mm", 0, "bobbin: thickness of the finished winding, in `MM`"),
		json:         f.Bool("json", false, "print JSON: ohms, metres, millimetres"),
	}
	if err := flags.parse(env, args, 0, 0); err != nil {
		return err
	}
	answer, err := flags.answer()
	if err != nil {
		return err
	}
	if *flags.json {
		return printJSON(env.stdout, answer)
	}
	return answer.print(env.stdout)
}

func (f *wireFlags) answer() (wireAnswer, error) {
	wire, err := f.wire()
	if err != nil {
		return wireAnswer{}, err
	}
	winding, wound, err := f.winding(wire)
	if err != nil {
		return wireAnswer{}, err
	}
	r20, err := f.r20(wire, winding, wound)
	if err != nil {
		return wireAnswer{}, err
	}
	length, err := wire.LengthMetres(r20)
	if err != nil {
		return wireAnswer{}, f.wrong("%v", err)
	}
	answer := wireAnswer{
		Wire:              wire.String(),
		DiameterMM:        wire.DiameterMM(),
		ConductivityRatio: wire.ConductivityRatio(),
		OhmsPerMetre:      wire.OhmsPerMetre(),
		R20Ohms:           r20,
		LengthMetres:      length,
	}
	if least, greatest, ok := wire.OhmsPerMetreLimits(); ok {
		answer.LeastOhms, answer.GreatestOhms = &least, &greatest
	}
	if wound {
		turns, err := winding.Turns(r20)
		if err != nil {
			return wireAnswer{}, f.wrong("%v", err)
		}
		mean, outermost := f.bobbin().MeanTurnMM(), winding.OutermostTurnOhms()
		answer.Turns, answer.MeanTurnMM, answer.OutermostTurnOhms = &turns, &mean, &outermost
	}
	answer.Note, err = f.familyNote()
	return answer, err
}

// wire is the wire the flags name.
func (f *wireFlags) wire() (copper.Wire, error) {
	if f.Changed("gauge") == f.Changed("diameter-mm") {
		return copper.Wire{}, f.wrong("which wire? Say --gauge AWG or --diameter-mm MM, one of them")
	}
	var wire copper.Wire
	var err error
	switch {
	case f.Changed("diameter-mm") && f.Changed("family"):
		return copper.Wire{}, f.wrong("--family is about gauges; leave it out with --diameter-mm")
	case f.Changed("diameter-mm"):
		wire, err = copper.MetricWire(*f.diameter)
	case *f.family == "geometric":
		wire, err = copper.GeometricAWG(*f.gauge)
	case *f.family == "rounded":
		wire, err = copper.RoundedAWG(*f.gauge)
	default:
		return copper.Wire{}, f.wrong("--family %q is not known; choose geometric or rounded", *f.family)
	}
	if err != nil {
		return copper.Wire{}, f.wrong("%v", err)
	}
	if !f.Changed("conductivity") {
		return wire, nil
	}
	ratio, err := conductivityRatio(f.flagSet, *f.conductivity)
	if err != nil {
		return copper.Wire{}, err
	}
	return wire.WithConductivity(ratio)
}

func (f *wireFlags) bobbin() copper.Bobbin {
	return copper.Bobbin{StraightMM: *f.straight, CoreRadiusMM: *f.coreRadius, BuildMM: *f.build}
}

// winding is the wire on the bobbin, when the flags tell of one.
func (f *wireFlags) winding(wire copper.Wire) (w copper.Winding, wound bool, err error) {
	if !f.Changed("straight-mm") && !f.Changed("core-radius-mm") && !f.Changed("build-mm") {
		return copper.Winding{}, false, nil
	}
	w, err = copper.NewWinding(wire, f.bobbin())
	if err != nil {
		return copper.Winding{}, false, f.wrong("%v", err)
	}
	return w, true, nil
}

// r20 is the coil's resistance at 20 °C, from whichever of resistance, length
// and turns is given.
func (f *wireFlags) r20(wire copper.Wire, winding copper.Winding, wound bool) (ohms float64, err error) {
	given := 0
	for _, name := range []string{"ohms", "length", "turns"} {
		if f.Changed(name) {
			given++
		}
	}
	switch {
	case given != 1:
		return 0, f.wrong("what is known of the coil? Say --ohms, --length or --turns, one of them")
	case f.Changed("ohms"):
		ohms, err = parseOhms(*f.ohms)
	case f.Changed("length"):
		ohms, err = wire.R20(*f.length)
	case !wound:
		return 0, f.wrong("turns of which bobbin? Say --straight-mm, --core-radius-mm and --build-mm")
	default:
		ohms, err = winding.R20(*f.turns)
	}
	if err != nil {
		return 0, f.wrong("%v", err)
	}
	return ohms, nil
}

// familyNote says how far the two families of diameters are apart for the
// gauge, because tables are often of the other one.
func (f *wireFlags) familyNote() (string, error) {
	if f.Changed("diameter-mm") {
		return "", nil
	}
	geometric, err := copper.GeometricAWG(*f.gauge)
	if err != nil {
		return "", err
	}
	rounded, err := copper.RoundedAWG(*f.gauge)
	if err != nil {
		return "", err
	}
	apart := 100 * math.Abs(rounded.OhmsPerMetre()/geometric.OhmsPerMetre()-1)
	other := map[string]string{"geometric": "rounded", "rounded": "geometric"}[*f.family]
	return fmt.Sprintf("tables with the %s diameter of %d AWG differ by %.1f %% (--family %[1]s)", other, *f.gauge, apart), nil
}

func (a wireAnswer) print(w io.Writer) error {
	limits := ""
	if a.LeastOhms != nil && a.GreatestOhms != nil {
		limits = fmt.Sprintf("%s to %s Ω/m (%s to %s)", words.Fixed(*a.LeastOhms, 3), words.Fixed(*a.GreatestOhms, 3),
			words.PercentSigned(*a.LeastOhms/a.OhmsPerMetre-1, 1), words.PercentSigned(*a.GreatestOhms/a.OhmsPerMetre-1, 1))
	}
	turns, mean, outermost := "", "", ""
	if a.Turns != nil {
		turns = fmt.Sprintf("%.0f", *a.Turns)
		mean = fmt.Sprintf("%.2f mm", *a.MeanTurnMM)
		outermost = fmt.Sprintf("%.3f Ω", *a.OutermostTurnOhms)
	}
	return facts(w,
		"Wire", a.Wire,
		"Bare diameter", fmt.Sprintf("%.4f mm", a.DiameterMM),
		"Conductivity", fmt.Sprintf("%.1f %%", 100*a.ConductivityRatio),
		"Per metre at 20 °C", fmt.Sprintf("%.3f Ω/m", a.OhmsPerMetre),
		"The standard allows", limits,
		"R20", fmt.Sprintf("%.1f Ω", a.R20Ohms),
		"Length", fmt.Sprintf("%.1f m", a.LengthMetres),
		"Turns", turns,
		"Mean turn", mean,
		"One outermost turn", outermost,
		"Note", a.Note)
}
