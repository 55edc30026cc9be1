package main

import (
	"context"
	"fmt"
	"strconv"
	"time"

	"github.com/spf13/pflag"

	"coilkeep/internal/history"
	"coilkeep/internal/record"
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
			rows = append(rows, []string{d.Name, strconv.Itoa(d.Revision), ohms(d.TargetOhms), ohms(d.LowerOhms), ohms(d.UpperOhms),
				fmt.Sprint(d.GuardFactor), dash(gauge(d)), dash(count(d.Turns))})
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
		if *flags.json {
			return printJSON(env.stdout, design)
		}
		return env.printDesign(design)
	})
}

func (env *environment) printDesign(d record.Design) error {
	bobbin := ""
	if d.Bobbin != nil {
		bobbin = fmt.Sprintf("straight %g mm, core radius %g mm, build %g mm", d.Bobbin.StraightMM, d.Bobbin.CoreRadiusMM, d.Bobbin.BuildMM)
	}
	return facts(env.stdout,
		"Design", fmt.Sprintf("%s, revision %d of %s", d.Name, d.Revision, env.when(d.CreatedAt)),
		"Target", ohms(d.TargetOhms)+" at 20 °C",
		"Tolerance", fmt.Sprintf("%s to %s (%+.2f %% to %+.2f %%)", ohms(d.LowerOhms), ohms(d.UpperOhms),
			100*(d.LowerOhms/d.TargetOhms-1), 100*(d.UpperOhms/d.TargetOhms-1)),
		"Guard factor", fmt.Sprint(d.GuardFactor),
		"Wire", gauge(d),
		"Turns", count(d.Turns),
		"Bobbin", bobbin,
		"Temperature coefficient", fmt.Sprintf("%g /K at 20 °C, standard uncertainty %g /K", d.AlphaPerKelvin, d.AlphaStandardUncertaintyPerKelvin),
		"Thermal time constant", timeConstant(d),
		"Warmth of the wire alone", quickShare(d),
		"Wanted uncertainty", wantedUncertainty(d),
		"Note", d.Note)
}

// timeConstant says how fast the coils of a design cool, and how that is known.
func timeConstant(d record.Design) string {
	switch {
	case d.TimeConstantSeconds == 0:
		return ""
	case d.TimeConstantRatio == 0:
		return fmt.Sprintf("%g s, as told", d.TimeConstantSeconds)
	}
	return fmt.Sprintf("%.3g ± %.2g min, learned from coils left on", d.TimeConstantSeconds/60, d.TimeConstantSeconds/60*d.TimeConstantRatio)
}

// quickShare says how much of a coil's warmth leaves with the wire's own.
func quickShare(d record.Design) string {
	if d.QuickShareDeviation == 0 {
		return ""
	}
	return fmt.Sprintf("%.0f ± %.0f %% of that of the coil, learned from coils left on", 100*d.QuickShare, 100*d.QuickShareDeviation)
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
		writeFlags:        f,
		target:            f.String("target", "", "wanted resistance at 20 °C, in `OHMS`: 6690 or 6.69k"),
		tolerance:         f.percent("tolerance", 0, "tolerance either way, in `PERCENT` of the target"),
		lower:             f.String("lower", "", "least resistance allowed, in `OHMS`, instead of --tolerance"),
		upper:             f.String("upper", "", "greatest resistance allowed, in `OHMS`, instead of --tolerance"),
		guard:             f.Float64("guard", 1, "the `PART` of the uncertainty that the limits are drawn in by, 0 to 1"),
		gauge:             f.Int("gauge", 0, "wire gauge, `AWG`"),
		turns:             f.Int("turns", 0, "`NUMBER` of turns"),
		straight:          f.Float64("straight-mm", 0, "bobbin: length of one straight side, in `MM`"),
		coreRadius:        f.Float64("core-radius-mm", 0, "bobbin: radius of the core's ends, in `MM`"),
		build:             f.Float64("build-mm", 0, "bobbin: thickness of the finished winding, in `MM`"),
		alphaFlags:        newAlphaFlags(f.flagSet),
		timeConstant:      f.String("time-constant", "", "thermal time constant of a finished coil, a `SPAN` such as 10m (default: the bench's)"),
		wantedUncertainty: f.percent("wanted-uncertainty-percent", 0, "how small the uncertainty must be, in `PERCENT` of R20, before a coil is recorded ahead of patience; 0 asks for a certain verdict only"),
		note:              f.String("note", "", "a `TEXT` to keep with the design"),
	}
}

// apply puts the flags that were given into d.
func (f *designFlags) apply(d *record.Design) error {
	if err := f.applyLimits(d); err != nil {
		return err
	}
	f.applyWinding(d)
	if err := f.applyAlpha(d); err != nil {
		return err
	}
	if f.Changed("guard") || d.Revision == 0 {
		d.GuardFactor = *f.guard
	}
	if f.Changed("time-constant") {
		constant, err := time.ParseDuration(*f.timeConstant)
		if err != nil || constant <= 0 {
			return f.wrong("--time-constant: %q is not a time span; write it like 10m", *f.timeConstant)
		}
		d.TimeConstantSeconds = constant.Seconds()
		// What was learned belongs to another time constant.
		d.TimeConstantRatio, d.QuickShare, d.QuickShareDeviation = 0, 0, 0
	}
	if f.Changed("wanted-uncertainty-percent") {
		d.WantedUncertaintyPercent = *f.wantedUncertainty
	}
	if f.Changed("note") {
		d.Note = *f.note
	}
	return nil
}

func (f *designFlags) applyLimits(d *record.Design) error {
	if f.Changed("tolerance") && (f.Changed("lower") || f.Changed("upper")) {
		return f.wrong("--tolerance and --lower or --upper both set the limits; give one or the other")
	}
	// A target that moves takes limits with it that were symmetrical.
	percent, symmetrical := symmetry(*d)
	for _, limit := range []struct {
		flag string
		text string
		into *float64
	}{{"target", *f.target, &d.TargetOhms}, {"lower", *f.lower, &d.LowerOhms}, {"upper", *f.upper, &d.UpperOhms}} {
		if !f.Changed(limit.flag) {
			continue
		}
		value, err := parseOhms(limit.text)
		if err != nil {
			return f.wrong("--%s: %v", limit.flag, err)
		}
		*limit.into = value
	}
	if f.Changed("tolerance") {
		percent, symmetrical = *f.tolerance, true
		if !(percent > 0 && percent < 100) {
			return f.wrong("--tolerance %g is not between 0 and 100 percent", percent)
		}
	} else if !f.Changed("target") || f.Changed("lower") || f.Changed("upper") {
		return nil
	}
	if !symmetrical {
		return f.wrong("the limits are missing; say --tolerance PERCENT, or --lower and --upper")
	}
	d.LowerOhms, d.UpperOhms = d.TargetOhms*(1-percent/100), d.TargetOhms*(1+percent/100)
	return nil
}

// symmetry is the tolerance of a design whose limits lie equally far from its
// target, in percent.
func symmetry(d record.Design) (percent float64, ok bool) {
	if d.TargetOhms == 0 {
		return 0, false
	}
	below, above := d.TargetOhms-d.LowerOhms, d.UpperOhms-d.TargetOhms
	const rounding = 1e-9 // of the target, far below any meter
	return 100 * above / d.TargetOhms, below-above < rounding*d.TargetOhms && above-below < rounding*d.TargetOhms
}

func (f *designFlags) applyWinding(d *record.Design) {
	if f.Changed("gauge") {
		d.GaugeAWG = *f.gauge
	}
	if f.Changed("turns") {
		d.Turns = *f.turns
	}
	bobbin := record.Bobbin{}
	if d.Bobbin != nil {
		bobbin = *d.Bobbin
	}
	changed := false
	for _, side := range []struct {
		flag string
		mm   float64
		into *float64
	}{
		{"straight-mm", *f.straight, &bobbin.StraightMM},
		{"core-radius-mm", *f.coreRadius, &bobbin.CoreRadiusMM},
		{"build-mm", *f.build, &bobbin.BuildMM},
	} {
		if f.Changed(side.flag) {
			*side.into, changed = side.mm, true
		}
	}
	if changed {
		d.Bobbin = &bobbin
	}
}

// applyAlpha sets the temperature coefficient; a new design has one in any
// case.
func (f *designFlags) applyAlpha(d *record.Design) error {
	alpha, uncertainty, err := f.alphaFlags.value()
	if err != nil {
		return err
	}
	if f.alphaFlags.given() || d.Revision == 0 {
		d.AlphaPerKelvin = alpha
	}
	if f.Changed("alpha-uncertainty") || d.Revision == 0 {
		d.AlphaStandardUncertaintyPerKelvin = uncertainty
	}
	return nil
}

func runDesignAdd(ctx context.Context, env *environment, args []string) error {
	flags := newDesignFlags(newWriteFlags("design add NAME --target OHMS --tolerance PERCENT",
		"Add a design: what a coil should be at 20 °C, and by how much it may differ.",
		"design add larkspur --target 6.69k --tolerance 5 --gauge 42 --turns 7000\ndesign add tern --target 8200 --lower 7800 --upper 8500 --conductivity 98"))
	if err := flags.parse(env, args, 1, 1); err != nil {
		return err
	}
	if !flags.Changed("target") {
		return flags.wrong("what should the coil measure? Say --target OHMS")
	}
	design := record.Design{Name: flags.Arg(0)}
	if err := flags.apply(&design); err != nil {
		return err
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
		"Change a design from now on. What the flags do not name stays as it is; coils\nalready measured, and open batches, keep the revision they began with.",
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
		if err := flags.apply(&design); err != nil {
			return err
		}
		if design, err = store.ReviseDesign(ctx, design, flags.by()); err != nil {
			return err
		}
		return env.printDesign(design)
	})
}

func gauge(d record.Design) string {
	if d.GaugeAWG == 0 {
		return ""
	}
	return fmt.Sprintf("%d AWG", d.GaugeAWG)
}
