package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"strings"

	"coilkeep/internal/control"
	"coilkeep/internal/drift"
	"coilkeep/internal/drift/records"
	"coilkeep/internal/history"
	"coilkeep/internal/quantity"
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
}

func runDrift(ctx context.Context, env *environment, args []string) error {
	r := newReadFlags("drift (--batch NAME | --winder NAME | --file CSV)",
		"Say whether a winder wanders, since which coil and why, and how many turns to\nchange, or to leave it alone. The coils come from the database, or from a CSV\nfile with a line of column names of which only r20_ohms must be there.",
		"drift --batch spring-3\ndrift --winder W2 --design larkspur --json\ndrift --file coils.csv --target 6.69k --tolerance-percent 3 --baseline 40")
	f := &driftFlags{
		readFlags: r,
		batch:     r.String("batch", "", "the coils of this batch, by `NAME`"),
		winder:    r.String("winder", "", "all coils of this winder, by `NAME`"),
		file:      r.String("file", "", "the coils in this `CSV` file; - for standard input"),
		design:    r.String("design", "", "with --winder: only coils of this design, by `NAME`"),
		target:    r.String("target", "", "target in `OHMS` (default: the design's)"),
		tolerance: r.Float64("tolerance-percent", 0, "tolerance in `PERCENT` either side of the target (default: the design's)"),
		baseline:  r.Int("baseline", drift.DefaultBaseline, "`NUMBER` of good coils from the first on that set the limits, even where a baseline is kept"),
		rules:     r.String("rules", "western-electric", "run rules, as `WORDS`: western-electric, nelson, both, none, or of WE1 to WE4 and N1 to N8"),
		subgroup:  r.Int("subgroup", 0, "`NUMBER` of coils in a row that make a point of a chart of means"),
		turns:     r.Float64("turns", 0, "`NUMBER` of turns on a coil (default: the design's)"),
	}
	if err := f.parse(env, args, 0, 0); err != nil {
		return err
	}
	if err := f.check(); err != nil {
		return err
	}
	coils, options, err := f.coils(ctx, env)
	if err != nil {
		return err
	}
	if err := f.apply(&options); err != nil {
		return err
	}
	report, err := drift.Analyse(coils, options)
	if err != nil {
		return err
	}
	if *f.json {
		return printJSON(env.stdout, report)
	}
	return printDrift(env.stdout, report)
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
	case f.Changed("turns") && !(*f.turns > 0):
		return f.wrong("--turns %g: give a number above 0", *f.turns)
	}
	return nil
}

// coils reads the coils and what is known of their design.
func (f *driftFlags) coils(ctx context.Context, env *environment) (coils []drift.Coil, options drift.Options, err error) {
	if *f.file != "" {
		coils, err = f.fromFile(env)
		return coils, drift.Options{}, err
	}
	err = f.read(ctx, env, func(store *history.Store) error {
		if *f.batch != "" {
			coils, options, err = records.Batch(ctx, store, *f.batch, env.local)
		} else {
			coils, options, err = records.Winder(ctx, store, *f.winder, *f.design, env.local)
		}
		if errors.Is(err, records.ErrSeveralDesigns) {
			return fmt.Errorf("%w with --design NAME", err)
		}
		return err
	})
	return coils, options, err
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
	pairs := []string{"Coils", fmt.Sprint(len(r.Points))}
	if r.Target != nil {
		pairs = append(pairs, "Target", ohms(*r.Target))
	}
	if r.Lower != nil {
		pairs = append(pairs, "Tolerance", ohms(*r.Lower)+" to "+ohms(*r.Upper))
	}
	if b := r.Baseline; b != nil {
		pairs = append(pairs,
			"Baseline", fmt.Sprintf("%d coils, %d to %d, mean %s", b.Count, b.FirstSequence, b.LastSequence, quantity.FormatOhms(b.MeanOhms, b.SigmaWithinOhms/10)),
			"Sigma", fmt.Sprintf("%.3g Ω within, %.3g Ω overall", b.SigmaWithinOhms, b.SigmaOverallOhms),
			"Control limits", quantity.FormatOhms(r.Charts.Individuals.Lower, b.SigmaWithinOhms/10)+" to "+quantity.FormatOhms(r.Charts.Individuals.Upper, b.SigmaWithinOhms/10))
	}
	pairs = append(pairs, chartFacts(r)...)
	for _, c := range r.ChangePoints {
		pairs = append(pairs, "Change", fmt.Sprintf("after coil %d (%d to %d), %+.1f Ω (%+.1f to %+.1f), p = %.2g", c.LastBefore, c.Low, c.High, c.ShiftOhms, c.ShiftLow, c.ShiftHigh, c.P))
	}
	for _, a := range r.Attribution {
		pairs = append(pairs, "Cause", a.Cause+": "+a.Evidence)
	}
	if t := r.Trend; t != nil {
		pairs = append(pairs, "Trend", fmt.Sprintf("from coil %d, %+.3g Ω a coil (%+.3g to %+.3g), p = %.2g", t.FromSequence, t.SlopeOhmsPerCoil, t.SlopeLow, t.SlopeHigh, t.P))
	}
	for _, o := range r.Outliers {
		pairs = append(pairs, "Outlier", o.Sentence)
	}
	if c := r.Capability; c != nil {
		pairs = append(pairs, "Capability", c.Sentence)
	}
	if c := r.CheckStandard; c != nil {
		pairs = append(pairs, "Check standard", c.Sentence)
	}
	if t := r.Temperature; t != nil {
		pairs = append(pairs, "Temperature", t.Sentence)
	}
	for _, s := range r.Spools {
		pairs = append(pairs, "Spool", s.Sentence)
	}
	if s := r.Spread; s != nil && s.Sentence != "" {
		pairs = append(pairs, "Spread", s.Sentence)
	}
	for _, f := range r.Factors {
		pairs = append(pairs, "Compared", f.Sentence)
	}
	for _, n := range r.Notes {
		pairs = append(pairs, "Note", n)
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

// chartFacts tells of the signals of the charts, and how many to expect of
// nothing.
func chartFacts(r drift.Report) []string {
	if r.Charts == nil {
		return nil
	}
	var signals []string
	for _, c := range []struct {
		name    string
		indices []int
	}{
		{"individuals", r.Charts.Individuals.Signals},
		{"moving range", r.Charts.MovingRange.Signals},
		{"EWMA", r.Charts.EWMA.Signals},
		{"CUSUM", r.Charts.CUSUM.Signals},
	} {
		if n := len(c.indices); n > 0 {
			signals = append(signals, fmt.Sprintf("%s at %d, first at coil %d", c.name, n, r.Points[c.indices[0]-1].Sequence))
		}
	}
	first := map[string]bool{}
	for _, s := range r.Rules {
		if !first[s.Rule] {
			first[s.Rule] = true
			signals = append(signals, fmt.Sprintf("%s first at coil %d", s.Rule, s.Sequence))
		}
	}
	pairs := []string{"Signals", "none"}
	if len(signals) > 0 {
		pairs[1] = strings.Join(signals, "; ")
	}
	if f := r.FalseAlarms; f.RunLength > 0 {
		pairs = append(pairs, "False alarms", fmt.Sprintf("of quiet batches this long %.0f %% raise some signal all the same, one about every %.0f coils", 100*f.InRun, f.RunLength))
	}
	return pairs
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
