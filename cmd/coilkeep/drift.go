package main

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"coilkeep/internal/chart"
	"coilkeep/internal/control"
	"coilkeep/internal/drift"
	"coilkeep/internal/drift/watch"
	"coilkeep/internal/history"
	"coilkeep/internal/report"
	"coilkeep/internal/words"
	"coilkeep/internal/workshop"
)

// driftFlags are the flags of drift.
type driftFlags struct {
	readFlags
	batch, winder, file, design *string
	target                      *string
	tolerance                   *float64
	baseline, subgroup          *int
	turns                       *float64
	rules                       *string
	svg, pdf                    *string
	overwrite                   *bool
	freeze, who                 *string
	from                        *int
}

func runDrift(ctx context.Context, env *environment, args []string) error {
	r := newReadFlags("drift (--batch NAME | --winder NAME | --file CSV)",
		"Say whether a winder wanders, since which coil and why, and how many turns to\n"+
			"change, or to leave it alone. The coils come from the database, or from a CSV\n"+
			"file with a line of column names of which only r20_ohms must be there.",
		"drift --batch spring-3\ndrift --winder W2 --design larkspur --json\n"+
			"drift --file coils.csv --target 6.69k --tolerance-percent 3 --baseline 40\n"+
			"drift --batch spring-3 --svg spring-3.svg --pdf spring-3.pdf\ndrift --batch spring-3 --freeze \"new felt\" --from 21 --baseline 40")
	f := &driftFlags{
		readFlags: r,
		batch:     r.String("batch", "", "the coils of this batch, by `NAME`"),
		winder:    r.String("winder", "", "all coils of this winder, by `NAME`"),
		file:      r.String("file", "", "the coils in this `CSV` file; - for standard input"),
		design:    r.String("design", "", "with --winder: only coils of this design, by `NAME`"),
		target:    r.String("target", "", "target in `OHMS` (default: the design's)"),
		tolerance: r.percent("tolerance-percent", 0, "tolerance in `PERCENT` either side of the target (default: the design's)"),
		baseline: r.Int("baseline", drift.DefaultBaseline, "`NUMBER` of good coils from the first on that set the limits, even where a "+
			"baseline is kept"),
		rules: r.String("rules", "western-electric", "run rules, as `WORDS`: western-electric, nelson, both, none, or of WE1 to WE4 and "+
			"N1 to N8"),
		subgroup:  r.Int("subgroup", 0, "`NUMBER` of coils in a row that make a point of a chart of means"),
		turns:     r.Float64("turns", 0, "`NUMBER` of turns on a coil (default: the design's)"),
		svg:       r.String("svg", "", "draw the coils into this SVG `FILE` as well"),
		pdf:       r.String("pdf", "", "write the report into this PDF `FILE` as well"),
		overwrite: r.Bool("overwrite", false, "replace files that are there already"),
		freeze: r.String("freeze", "", "with --batch: have its coils set the limits of this design and winder from now\non, and keep "+
			"why, as `WORDS`"),
		from: r.Int("from", 1, "with --freeze: `NUMBER` in the batch of the first coil"),
		who:  r.String("who", "", "with --freeze: `NAME` of who decides it"),
	}
	if err := f.parse(env, args, 0, 0); err != nil {
		return err
	}
	if err := f.check(); err != nil {
		return err
	}
	if *f.freeze != "" {
		return f.keepBaseline(ctx, env)
	}
	found, err := f.analyse(ctx, env)
	if err != nil {
		return err
	}
	if err := f.draw(env, found.Report); err != nil {
		return err
	}
	if *f.json {
		return printJSON(env.stdout, found)
	}
	return printDrift(env.stdout, found.Report)
}

// analyse answers as the pages and the API do, unless a flag asks for another
// analysis than theirs.
func (f *driftFlags) analyse(ctx context.Context, env *environment) (found workshop.Drift, err error) {
	if *f.file != "" || f.asksOtherwise() {
		coils, options, err := f.coils(ctx, env)
		if err != nil {
			return found, err
		}
		if err := f.apply(&options); err != nil {
			return found, err
		}
		report, err := drift.Analyse(coils, options)
		return workshop.Drift{Report: report, Standing: workshop.StandingSignals(report)}, err
	}
	err = f.read(ctx, env, func(store *history.Store) error {
		watcher := watch.New(store, env.local)
		if *f.batch != "" {
			found, err = watcher.Batch(ctx, *f.batch)
		} else {
			found, err = watcher.Winder(ctx, *f.winder, *f.design)
		}
		return withDesign(err)
	})
	return found, err
}

// asksOtherwise is true when a flag changes what is analysed.
func (f *driftFlags) asksOtherwise() bool {
	return slices.ContainsFunc([]string{"target", "tolerance-percent", "baseline", "rules", "subgroup", "turns"}, f.Changed)
}

// withDesign says how to choose among several designs.
func withDesign(err error) error {
	if errors.Is(err, workshop.ErrSeveralDesigns) {
		return fmt.Errorf("%w with --design NAME", err)
	}
	return err
}

// keepBaseline has some coils of a batch set the limits from now on.
func (f *driftFlags) keepBaseline(ctx context.Context, env *environment) error {
	return f.change(ctx, env, func(store *history.Store) error {
		kept, err := watch.New(store, env.local).Revise(ctx, workshop.BaselineChoice{Batch: *f.batch,
			From: *f.from, Count: *f.baseline, Reason: *f.freeze,
			Who: *f.who})
		if err != nil {
			return err
		}
		if *f.json {
			return printJSON(env.stdout, kept)
		}
		return facts(env.stdout, "Baseline", fmt.Sprintf("%d coils, %s to %s", kept.Count, kept.FirstCoil, kept.LastCoil),
			"Of", fmt.Sprintf("design %s, revision %d, winder %s", kept.Design, kept.DesignRevision, cmp.Or(kept.Winder, "not told")),
			"Mean", words.OhmsToStep(kept.MeanOhms, kept.SigmaWithinOhms/10), "Sigma", fmt.Sprintf("%.3g Ω", kept.SigmaWithinOhms))
	})
}

// draw writes the picture and the report that were asked for.
func (f *driftFlags) draw(env *environment, r drift.Report) error {
	if *f.svg != "" {
		picture, err := chart.Wander(r, nil).Picture()
		if err != nil {
			return err
		}
		if err := writeFile(*f.svg, *f.overwrite, picture.WriteSVG); err != nil {
			return err
		}
	}
	if *f.pdf == "" {
		return nil
	}
	document, err := report.NewDrift(cmp.Or(prefixed("Batch ", *f.batch), prefixed("Winder ", *f.winder), filepath.Base(*f.file)), r)
	if err != nil {
		return err
	}
	document.Made, document.Zone = env.now(), env.local
	return writeFile(*f.pdf, *f.overwrite, document.WritePDF)
}

// prefixed is text after a prefix, "" without text.
func prefixed(prefix, text string) string {
	if text == "" {
		return ""
	}
	return prefix + text
}

// check sees that the flags fit together.
func (f *driftFlags) check() error {
	sources := 0
	for _, s := range []string{*f.batch, *f.winder, *f.file} {
		if s != "" {
			sources++
		}
	}
	switch {
	case sources == 0:
		return f.wrong("which coils? Say --batch NAME, --winder NAME or --file CSV")
	case sources > 1:
		return f.wrong("--batch, --winder and --file each choose the coils; give one of them")
	case *f.design != "" && *f.winder == "":
		return f.wrong("--design goes with --winder")
	case *f.file != "" && (*f.configFile != "" || *f.historyPath != ""):
		return f.wrong("--file needs no database; leave --config and --history out")
	case f.Changed("tolerance-percent") && !(*f.tolerance > 0 && *f.tolerance < 100):
		return f.wrong("--tolerance-percent %g: give a number above 0 and below 100", *f.tolerance)
	case *f.file != "" && f.Changed("tolerance-percent") && *f.target == "":
		return f.wrong("--tolerance-percent is about a target; say --target OHMS as well")
	case f.Changed("freeze") && *f.batch == "":
		return f.wrong("--freeze goes with --batch")
	case f.Changed("freeze") && strings.TrimSpace(*f.freeze) == "":
		return f.wrong("--freeze keeps why the limits change; say it in words")
	case (f.Changed("from") || f.Changed("who")) && *f.freeze == "":
		return f.wrong("--from and --who go with --freeze")
	case *f.freeze != "" && (*f.svg != "" || *f.pdf != ""):
		return f.wrong("--freeze keeps a baseline and draws nothing; ask for --svg and --pdf afterwards")
	case f.Changed("turns") && !(*f.turns > 0):
		return f.wrong("--turns %g: give a number above 0", *f.turns)
	}
	return nil
}

// coils reads the coils and what is known of their design.
func (f *driftFlags) coils(ctx context.Context, env *environment) (coils []drift.Coil, options drift.Options, err error) {
	if *f.file != "" {
		coils, err = f.fromFile(env)
		coils, options.LeftOut = newest(coils, mostFromFile)
		return coils, options, err
	}
	err = f.read(ctx, env, func(store *history.Store) error {
		if *f.batch != "" {
			coils, options, err = workshop.CoilsOfBatch(ctx, store, *f.batch, env.local)
		} else {
			coils, options, err = workshop.CoilsOfWinder(ctx, store, *f.winder, *f.design, env.local)
		}
		return withDesign(err)
	})
	return coils, options, err
}

// mostFromFile is how many coils of a file are looked at: the time that takes grows
// with their square, and these take seconds.
const mostFromFile = 50_000

// newest returns the last so many coils, and whether there are more.
func newest(coils []drift.Coil, most int) (last []drift.Coil, leftOut bool) {
	if len(coils) <= most {
		return coils, false
	}
	return coils[len(coils)-most:], true
}

func (f *driftFlags) fromFile(env *environment) ([]drift.Coil, error) {
	in, name := env.stdin, "standard input"
	if *f.file != "-" {
		file, err := os.Open(*f.file)
		if err != nil {
			return nil, fmt.Errorf("read the coils: %w", err)
		}
		defer file.Close()
		in, name = file, *f.file
	}
	coils, err := drift.ReadCSV(in)
	if err != nil {
		return nil, fmt.Errorf("%s: %w", name, err)
	}
	for i := range coils {
		if t := coils[i].Time; !t.IsZero() {
			coils[i].Time = t.In(env.local)
		}
	}
	return coils, nil
}

// apply puts what the flags say over what the design says.
func (f *driftFlags) apply(o *drift.Options) error {
	o.BaselineCount, o.Subgroup = *f.baseline, *f.subgroup
	if f.Changed("baseline") {
		o.Frozen = nil // these coils are asked for, not the ones that were kept
	}
	if *f.turns != 0 {
		o.Winding.Turns = *f.turns
	}
	if *f.target != "" {
		target, err := parseOhms(*f.target)
		if err != nil {
			return f.wrong("--target: %v", err)
		}
		if !f.Changed("tolerance-percent") && (target < o.LowerOhms || target > o.UpperOhms) {
			o.LowerOhms, o.UpperOhms = 0, 0 // another target: the design's limits are not about it
		}
		o.TargetOhms = target
	}
	if f.Changed("tolerance-percent") {
		o.LowerOhms, o.UpperOhms = o.TargetOhms*(1-*f.tolerance/100), o.TargetOhms*(1+*f.tolerance/100)
	}
	o.Scheme = control.StandardScheme()
	rules, err := control.ParseRules(*f.rules)
	if err != nil {
		return f.wrong("--rules: %v", err)
	}
	o.Scheme.Rules = rules
	return nil
}

// printDrift writes a report: the sentence that matters first, then what it
// rests on.
func printDrift(w io.Writer, r drift.Report) error {
	fmt.Fprintf(w, "%s\n\n", wrapped(r.Summary))
	var pairs []string
	for _, f := range r.Facts() {
		pairs = append(pairs, f.Name, f.Value)
	}
	if err := facts(w, pairs...); err != nil {
		return err
	}
	fmt.Fprint(w, "\nHow it was reckoned:\n")
	for _, c := range r.Conventions {
		fmt.Fprintf(w, "- %s\n", c)
	}
	return nil
}

// wrapped breaks text into lines of at most 80 letters.
func wrapped(text string) string {
	const width = 80
	var out strings.Builder
	column := 0
	for i, word := range strings.Fields(text) {
		n := len([]rune(word))
		switch {
		case i == 0:
		case column+1+n > width:
			out.WriteByte('\n')
			column = 0
		default:
			out.WriteByte(' ')
			column++
		}
		out.WriteString(word)
		column += n
	}
	return out.String()
}
