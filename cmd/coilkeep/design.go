package main

import (
	"context"
	"errors"
	"fmt"
	"strconv"
	"time"

	"github.com/spf13/pflag"

	"coilkeep/internal/history"
	"coilkeep/internal/record"
	"coilkeep/internal/words"
	"coilkeep/internal/workshop"
)

func designMenu() menu {
	return menu{
		path:    "coilkeep design",
		summary: "List, show, add and revise designs.",
		groups: []group{{"Commands", []command{
			{"list", "List the designs as they stand.", runDesignList},
			{"show", "Show one design.", runDesignShow},
			{"add", "Add a design.", runDesignAdd},
			{"revise", "Change a design from now on; what was measured keeps the old one.", runDesignRevise},
		}}},
		examples: "coilkeep design list\ncoilkeep design add larkspur --target 6.69k --tolerance 5 --gauge 42 --turns 7000",
	}
}

func runDesignList(ctx context.Context, env *environment, args []string) error {
	flags := newReadFlags("design list", "List the designs, each as it stands now.",
		"design list\ndesign list --config coilkeep.toml --json")
	if err := flags.parse(env, args, 0, 0); err != nil {
		return err
	}
	return flags.read(ctx, env, func(store *history.Store) error {
		designs, err := store.Designs(ctx)
		if err != nil {
			return err
		}
		if *flags.json {
			return printJSON(env.stdout, listOf(designs))
		}
		rows := [][]string{{"DESIGN", "REVISION", "TARGET", "FROM", "TO", "GUARD", "WIRE", "TURNS"}}
		for _, d := range designs {
			rows = append(rows, []string{d.Name, strconv.Itoa(d.Revision), words.Ohms(d.TargetOhms), words.Ohms(d.LowerOhms),
				words.Ohms(d.UpperOhms),
				fmt.Sprint(d.GuardFactor), dash(gaugeWords(d)), dash(countOrNothing(d.Turns))})
		}
		return columns(env.stdout, `There is no design yet; "coilkeep design add --help" says how to add one.`, rows)
	})
}

func runDesignShow(ctx context.Context, env *environment, args []string) error {
	flags := newReadFlags("design show NAME", "Show one design, as it stands now or as it was.",
		"design show larkspur\ndesign show larkspur --revision 1 --json")
	revision := flags.Int("revision", 0, "the `NUMBER` of an older revision")
	if err := flags.parse(env, args, 1, 1); err != nil {
		return err
	}
	return flags.read(ctx, env, func(store *history.Store) error {
		design, err := store.Design(ctx, flags.Arg(0))
		if *revision != 0 {
			design, err = store.DesignRevision(ctx, flags.Arg(0), *revision)
		}
		if err != nil {
			return orList(err, "design list")
		}
		if !*flags.json {
			return env.printDesign(design)
		}
		revisions, err := store.DesignRevisions(ctx, design.Name)
		if err != nil {
			return err
		}
		return printJSON(env.stdout, workshop.DesignAnswer{Design: design, Revisions: revisions})
	})
}

func (env *environment) printDesign(d record.Design) error {
	bobbin := ""
	if d.Bobbin != nil {
		bobbin = fmt.Sprintf("straight %g mm, core radius %g mm, build %g mm", d.Bobbin.StraightMM, d.Bobbin.CoreRadiusMM, d.Bobbin.BuildMM)
	}
	return facts(env.stdout,
		"Design", fmt.Sprintf("%s, revision %d of %s", d.Name, d.Revision, env.when(d.CreatedAt)),
		"Target", words.Ohms(d.TargetOhms)+" at 20 °C",
		"Tolerance", fmt.Sprintf("%s to %s (%s to %s)", words.Ohms(d.LowerOhms), words.Ohms(d.UpperOhms),
			words.PercentOff(d.LowerOhms, d.TargetOhms), words.PercentOff(d.UpperOhms, d.TargetOhms)),
		"Guard factor", fmt.Sprint(d.GuardFactor),
		"Wire", gaugeWords(d),
		"Turns", countOrNothing(d.Turns),
		"Bobbin", bobbin,
		"Temperature coefficient", fmt.Sprintf("%g /K at 20 °C, standard uncertainty %g /K", d.AlphaPerKelvin,
			d.AlphaStandardUncertaintyPerKelvin),
		"Thermal time constant", timeConstant(d),
		"Warmth of the wire alone", quickShare(d),
		"Wanted uncertainty", wantedUncertainty(d),
		"Note", d.Note)
}

// timeConstant says how fast the coils of a design cool; "" where it is that of the
// bench.
func timeConstant(d record.Design) string {
	if d.TimeConstantSeconds == 0 {
		return ""
	}
	return workshop.TimeConstantWords(d)
}

// quickShare says how much of a coil's warmth leaves with the wire's own; "" where
// nobody knows.
func quickShare(d record.Design) string {
	if d.QuickShareDeviation == 0 {
		return ""
	}
	return workshop.QuickShareWords(d)
}

func wantedUncertainty(d record.Design) string {
	if d.WantedUncertaintyPercent == 0 {
		return ""
	}
	return fmt.Sprintf("%g %% of R20 before a coil is recorded ahead of patience", d.WantedUncertaintyPercent)
}

// designFlags are what a design is made of. The same flags add one and change
// one; those not given leave the design as it is.
type designFlags struct {
	writeFlags
	target, lower, upper        *string
	toleranceOhms               *string
	confirm                     *bool
	tolerance, guard            *float64
	gauge, turns                *int
	straight, coreRadius, build *float64
	alphaFlags                  alphaFlags
	timeConstant                *string
	wantedUncertainty           *float64
	note                        *string
}

func newDesignFlags(f writeFlags) *designFlags {
	return &designFlags{
		writeFlags:    f,
		target:        f.String("target", "", "wanted resistance at 20 °C, in `OHMS`: 6690 or 6.69k"),
		tolerance:     f.percent("tolerance", 0, "tolerance either way, in `PERCENT` of the target"),
		toleranceOhms: f.String("tolerance-ohms", "", "tolerance either way, in `OHMS`"),
		confirm:       f.Bool("confirm", false, "the target is meant so, although it is outside of 100 Ω to 200 kΩ"),
		lower:         f.String("lower", "", "least resistance allowed, in `OHMS`, instead of --tolerance"),
		upper:         f.String("upper", "", "greatest resistance allowed, in `OHMS`, instead of --tolerance"),
		guard:         f.Float64("guard", 1, "the `PART` of the uncertainty that the limits are drawn in by, 0 to 1"),
		gauge:         f.Int("gauge", 0, "wire gauge, `AWG`"),
		turns:         f.Int("turns", 0, "`NUMBER` of turns"),
		straight:      f.Float64("straight-mm", 0, "bobbin: length of one straight side, in `MM`"),
		coreRadius:    f.Float64("core-radius-mm", 0, "bobbin: radius of the core's ends, in `MM`"),
		build:         f.Float64("build-mm", 0, "bobbin: thickness of the finished winding, in `MM`"),
		alphaFlags:    newAlphaFlags(f.flagSet),
		timeConstant:  f.String("time-constant", "", "thermal time constant of a finished coil, a `SPAN` such as 10m (default: the bench's)"),
		wantedUncertainty: f.percent("wanted-uncertainty-percent", 0,
			"how small the uncertainty must be, in `PERCENT` of R20, before a coil is recorded ahead of patience; 0 asks for a certain verdict "+
				"only"),
		note: f.String("note", "", "a `TEXT` to keep with the design"),
	}
}

// request is what the flags that were given ask for. A side of the bobbin that is
// not given stays as latest has it.
func (f *designFlags) request(latest record.Design) (workshop.DesignRequest, error) {
	r := workshop.DesignRequest{Confirm: *f.confirm}
	if err := f.resistances(&r); err != nil {
		return r, err
	}
	if err := f.alpha(&r); err != nil {
		return r, err
	}
	flagGiven(f, "tolerance", f.tolerance, &r.TolerancePercent)
	flagGiven(f, "guard", f.guard, &r.GuardFactor)
	flagGiven(f, "gauge", f.gauge, &r.GaugeAWG)
	flagGiven(f, "turns", f.turns, &r.Turns)
	flagGiven(f, "wanted-uncertainty-percent", f.wantedUncertainty, &r.WantedUncertaintyPercent)
	flagGiven(f, "note", f.note, &r.Note)
	r.Bobbin = f.bobbin(latest.Bobbin)
	if f.Changed("time-constant") {
		constant, err := time.ParseDuration(*f.timeConstant)
		if err != nil || constant <= 0 {
			return r, f.wrong("--time-constant: %q is not a time span; write it like 10m", *f.timeConstant)
		}
		seconds := constant.Seconds()
		r.TimeConstantSeconds = &seconds
	}
	return r, nil
}

// flagGiven puts the value of a flag in place when it was given.
func flagGiven[T any](f *designFlags, name string, value *T, place **T) {
	if f.Changed(name) {
		*place = value
	}
}

func (f *designFlags) resistances(r *workshop.DesignRequest) error {
	for _, flag := range []struct {
		name, text string
		place      **float64
	}{
		{"target", *f.target, &r.TargetOhms}, {"lower", *f.lower, &r.LowerOhms}, {"upper", *f.upper, &r.UpperOhms},
		{"tolerance-ohms", *f.toleranceOhms, &r.ToleranceOhms},
	} {
		if !f.Changed(flag.name) {
			continue
		}
		value, err := parseOhms(flag.text)
		if err != nil {
			return f.wrong("--%s: %v", flag.name, err)
		}
		*flag.place = &value
	}
	return nil
}

// bobbin is nil when no side of it was given.
func (f *designFlags) bobbin(latest *record.Bobbin) *record.Bobbin {
	if !f.Changed("straight-mm") && !f.Changed("core-radius-mm") && !f.Changed("build-mm") {
		return nil
	}
	b := record.Bobbin{}
	if latest != nil {
		b = *latest
	}
	for _, side := range []struct {
		flag string
		mm   float64
		into *float64
	}{
		{"straight-mm", *f.straight, &b.StraightMM}, {"core-radius-mm", *f.coreRadius, &b.CoreRadiusMM}, {"build-mm", *f.build, &b.BuildMM},
	} {
		if f.Changed(side.flag) {
			*side.into = side.mm
		}
	}
	return &b
}

// alpha takes the temperature coefficient, as such or by the conductivity.
func (f *designFlags) alpha(r *workshop.DesignRequest) error {
	alpha, uncertainty, err := f.alphaFlags.value()
	if err != nil {
		return err
	}
	if f.alphaFlags.given() {
		r.AlphaPerKelvin = &alpha
	}
	if f.Changed("alpha-uncertainty") {
		r.AlphaStandardUncertaintyPerKelvin = &uncertainty
	}
	return nil
}

// designFlagNames are the flags of what a design has, by their names in JSON.
var designFlagNames = map[string]string{
	"target_ohms": "target", "tolerance_percent": "tolerance", "tolerance_ohms": "tolerance-ohms",
	"lower_ohms": "lower", "upper_ohms": "upper", "guard_factor": "guard", "gauge_awg": "gauge", "turns": "turns",
	"bobbin.straight_mm": "straight-mm", "bobbin.core_radius_mm": "core-radius-mm", "bobbin.build_mm": "build-mm",
	"alpha_per_kelvin": "alpha", "alpha_standard_uncertainty_per_kelvin": "alpha-uncertainty",
	"time_constant_seconds": "time-constant", "wanted_uncertainty_percent": "wanted-uncertainty-percent", "note": "note",
}

// atFlag names the flag that a field at fault was told by.
func (f *designFlags) atFlag(err error) error {
	wrong := (*record.FieldError)(nil)
	if errors.As(err, &wrong) && designFlagNames[wrong.Field] != "" {
		return f.wrong("--%s: %s", designFlagNames[wrong.Field], wrong.Problem)
	}
	return err
}

func runDesignAdd(ctx context.Context, env *environment, args []string) error {
	flags := newDesignFlags(newWriteFlags("design add NAME --target OHMS --tolerance PERCENT",
		"Add a design: what a coil should be at 20 °C, and by how much it may differ.",
		"design add larkspur --target 6.69k --tolerance 5 --gauge 42 --turns 7000\n"+
			"design add tern --target 8200 --lower 7800 --upper 8500 --conductivity 98"))
	if err := flags.parse(env, args, 1, 1); err != nil {
		return err
	}
	request, err := flags.request(record.Design{})
	if err != nil {
		return err
	}
	request.Name = flags.Arg(0)
	design, err := workshop.NewDesign(request)
	if err != nil {
		return flags.atFlag(err)
	}
	return flags.create(ctx, env, func(store *history.Store) error {
		design, err := store.AddDesign(ctx, design, flags.by())
		if err != nil {
			return err
		}
		return env.printDesign(design)
	})
}

func runDesignRevise(ctx context.Context, env *environment, args []string) error {
	flags := newDesignFlags(newWriteFlags("design revise NAME",
		"Change a design from now on. What the flags do not name stays as it is; coils\n"+
			"already measured, and open batches, keep the revision they began with.",
		"design revise larkspur --turns 7050 --note \"new felt\"\ndesign revise larkspur --tolerance 4"))
	// The help must not promise the defaults of a new design.
	flags.VisitAll(func(flag *pflag.Flag) { flag.DefValue = "" })
	if err := flags.parse(env, args, 1, 1); err != nil {
		return err
	}
	return flags.change(ctx, env, func(store *history.Store) error {
		design, err := store.Design(ctx, flags.Arg(0))
		if err != nil {
			return orList(err, "design list")
		}
		request, err := flags.request(design)
		if err != nil {
			return err
		}
		if design, err = workshop.ReviseDesign(design, request); err != nil {
			return flags.atFlag(err)
		}
		if design, err = store.ReviseDesign(ctx, design, flags.by()); err != nil {
			return err
		}
		return env.printDesign(design)
	})
}

func gaugeWords(d record.Design) string {
	if d.GaugeAWG == 0 {
		return ""
	}
	return fmt.Sprintf("%d AWG", d.GaugeAWG)
}
