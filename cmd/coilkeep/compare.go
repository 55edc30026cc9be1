package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"strings"

	"coilkeep/internal/compare"
	"coilkeep/internal/enquiry"
	"coilkeep/internal/history"
	"coilkeep/internal/quantity"
)

// compareFlags are the flags of compare.
type compareFlags struct {
	databaseFlags
	serial, mate     *string
	r20, uncertainty *string
	alphaFlags       alphaFlags
	turns            *int
	theirs           *string
	told             map[string]*string // what is told of a reading, by flag
	controlFull      *bool
	also             *[]string
	seed             *uint64
	keep             *bool
	who, note        *string
	letter, json     *bool
}

func newCompareFlags() compareFlags {
	f := newDatabaseFlags("compare --theirs OHMS",
		"Set what somebody else measured on one of our coils against its record: what they\nshould have read, whether the two agree, what explains the difference, and which\ntest would tell. What is not said is assumed, and every assumption is listed.",
		"compare --serial HN-0042 --theirs 6.28k\ncompare --serial HN-0042 --theirs 6.48k --temperature 21 --clips jack --control 500k\ncompare --serial HN-0042 --theirs 6.28k --keep --who Wren --letter\ncompare --r20 6612 --uncertainty 13 --theirs 6.28k --temperature 23 --meter-percent 0.5 --meter-digits 2 --json\ncompare --r20 6612 --uncertainty 13 --theirs 6.28k --also \"6.63k temperature=21\" --letter")
	flags := compareFlags{
		databaseFlags: f,
		serial:        f.String("serial", "", "`SERIAL` number of our coil, as recorded"),
		r20:           f.String("r20", "", "or its resistance at 20 °C, in `OHMS`"),
		uncertainty:   f.String("uncertainty", "", "expanded uncertainty of --r20, in `OHMS`"),
		alphaFlags:    newAlphaFlags(f.flagSet),
		turns:         f.Int("turns", 0, "`NUMBER` of turns, with --r20"),
		theirs:        f.String("theirs", "", "what they read, in `OHMS`, with the digits they told: 6.28k"),
		told:          map[string]*string{},
	}
	for _, one := range enquiry.Settings() {
		if one.Name == "control_full" {
			flags.controlFull = f.Bool(flagName(one.Name), false, one.About)
			continue
		}
		flags.told[one.Name] = f.String(flagName(one.Name), "", one.About)
	}
	flags.mate = f.String("mate", "", "`SERIAL` number of the other coil of a two-coil assembly")
	flags.also = f.StringArray("also", nil, "another reading with the same meter, as `TEXT`: \"6.63k temperature=21 clips=leads\"")
	f.Lookup("also").DefValue = "" // none, which needs no telling
	flags.seed = f.Uint64("seed", 1, "`NUMBER` to start the Monte Carlo propagation from")
	flags.keep = f.Bool("keep", false, "keep question and answer in the history, with --serial")
	flags.who = f.String("who", "", "with --keep: `NAME` of who answers")
	flags.note = f.String("note", "", "with --keep: `TEXT` for the workshop")
	flags.letter = f.Bool("letter", false, "print the letter to the buyer instead")
	flags.json = f.Bool("json", false, "print JSON: ohms, degrees Celsius, kelvin")
	return flags
}

func runCompare(ctx context.Context, env *environment, args []string) error {
	flags := newCompareFlags()
	if err := flags.parse(env, args, 0, 0); err != nil {
		return err
	}
	if !*flags.keep && (*flags.who != "" || *flags.note != "") {
		return flags.wrong("--who and --note go with --keep")
	}
	in, measurement, err := flags.input(ctx, env)
	if err != nil {
		return err
	}
	if flags.overload() {
		return flags.answerOverload(env.stdout, in)
	}
	result, err := compare.Compare(in)
	if err != nil {
		return flags.explainInput(err)
	}
	kept := ""
	if *flags.keep {
		c := history.Comparison{Serial: *flags.serial, Measurement: measurement, Letter: result.Answer, Note: *flags.note, By: *flags.who, Input: in, Result: result}
		err := flags.change(ctx, env, func(store *history.Store) error {
			c, err = store.AddComparison(ctx, c)
			return err
		})
		if err != nil {
			return err
		}
		kept = fmt.Sprintf("\nKept as %s, on the page of %s and under Earlier answers.\n", c.ID, c.Serial)
	}
	switch {
	case *flags.json:
		return printJSON(env.stdout, result)
	case *flags.letter:
		_, err := io.WriteString(env.stdout, result.Answer)
		return err
	}
	if err := printComparison(env.stdout, in, result); err != nil {
		return err
	}
	_, err = io.WriteString(env.stdout, kept)
	return err
}

// flagName is the flag for a name of package enquiry.
func flagName(name string) string { return strings.ReplaceAll(name, "_", "-") }

// input gathers everything that is known; measurement is the id of the record the
// coil is compared by, if it has one.
func (f compareFlags) input(ctx context.Context, env *environment) (in compare.Input, measurement string, err error) {
	first, err := f.firstReading()
	if err != nil {
		return in, "", err
	}
	in = compare.Input{Theirs: []compare.Reading{first}, Seed: *f.seed}
	for _, text := range *f.also {
		r, err := f.anotherReading(first, text)
		if err != nil {
			return in, "", err
		}
		in.Theirs = append(in.Theirs, r)
	}
	switch {
	case *f.serial == "" && *f.r20 == "":
		return in, "", f.wrong("which coil? Say --serial SERIAL, or --r20 OHMS with --uncertainty OHMS")
	case *f.serial == "" && *f.keep:
		return in, "", f.wrong("--keep goes with --serial: an answer is kept with the record of its coil")
	case *f.serial != "" && (*f.r20 != "" || *f.uncertainty != "" || f.alphaFlags.given() || f.Changed("turns")):
		return in, "", f.wrong("--serial takes everything from the record; leave out --r20, --uncertainty, --turns and what tells of the wire")
	case *f.serial == "":
		if in.Ours, err = f.typedRecord(); err != nil || *f.mate == "" {
			return in, "", err
		}
	}
	err = f.read(ctx, env, func(store *history.Store) (err error) {
		measurement, err = enquiry.FromHistory(ctx, store, *f.serial, *f.mate, &in)
		return err
	})
	return in, measurement, err
}

func (f compareFlags) firstReading() (compare.Reading, error) {
	if *f.theirs == "" {
		return compare.Reading{}, f.wrong("what did they read? Say --theirs OHMS")
	}
	r := compare.Reading{ControlFull: *f.controlFull}
	if !f.overload() {
		if err := f.setValue(&r, "--theirs", *f.theirs); err != nil {
			return r, err
		}
	}
	for _, one := range enquiry.Settings() {
		if text, isText := f.told[one.Name]; isText && f.Changed(flagName(one.Name)) {
			if err := one.Set(&r, *text); err != nil {
				return r, f.wrong("--%s: %v", flagName(one.Name), err)
			}
		}
	}
	return r, nil
}

// overload says whether their meter showed no resistance, which is answered by
// itself.
func (f compareFlags) overload() bool { return len(*f.also) == 0 && enquiry.IsOverload(*f.theirs) }

// answerOverload prints what there is to say then.
func (f compareFlags) answerOverload(w io.Writer, in compare.Input) error {
	if *f.keep {
		return f.wrong("--keep: an overload is answered, but not kept; leave it out")
	}
	o, err := compare.AnswerOverload(in)
	switch {
	case err != nil:
		return f.explainInput(err)
	case *f.json:
		return printJSON(w, o)
	case *f.letter:
		_, err := io.WriteString(w, o.Answer)
		return err
	}
	if err := facts(w,
		"Our record", quantity.FormatOhmsWithin(in.Ours.R20Ohms, in.Ours.ExpandedUncertaintyOhms)+" at 20 °C",
		"They read", "an overload, which is no number",
		"Expected", fmt.Sprintf("%s to %s (95 %%)", quantity.FormatOhms(o.ExpectedLowOhms, o.StepOhms()), quantity.FormatOhms(o.ExpectedHighOhms, o.StepOhms())),
		"Range it takes", quantity.FormatOhms(o.RangeOhms, 0)); err != nil {
		return err
	}
	for i, c := range o.Causes {
		if _, err := fmt.Fprintf(w, "\n%d. %s: %s\n   %s\n", i+1, c.Cause, c.Sentence, c.Test); err != nil {
			return err
		}
	}
	return nil
}

func (f compareFlags) setValue(r *compare.Reading, flag, text string) error {
	err := enquiry.SetValue(r, text)
	if overload := (*enquiry.OverloadError)(nil); errors.As(err, &overload) {
		return f.wrong("%s %v", flag, err)
	}
	if err != nil {
		return f.wrong("%s: %v", flag, err)
	}
	return nil
}

// anotherReading reads the text of --also: a value, and name=value for what is
// told of it. The meter is that of the first reading.
func (f compareFlags) anotherReading(first compare.Reading, text string) (compare.Reading, error) {
	r := enquiry.SameMeter(first)
	settings, names := map[string]enquiry.Setting{}, []string{}
	for _, one := range enquiry.Settings() {
		if !one.OfMeter {
			settings[flagName(one.Name)] = one
			names = append(names, flagName(one.Name))
		}
	}
	var value []string
	for word := range strings.FieldsSeq(text) {
		name, setting, found := strings.Cut(word, "=")
		if !found {
			value = append(value, word)
			continue
		}
		one, known := settings[name]
		if !known {
			return r, f.wrong("--also %q: nothing called %s can be told of a reading%s", text, name, didYouMean(name, names))
		}
		if err := one.Set(&r, setting); err != nil {
			return r, f.wrong("--also %q: %s: %v", text, name, err)
		}
	}
	return r, f.setValue(&r, "--also", strings.Join(value, " "))
}

func (f compareFlags) typedRecord() (compare.Record, error) {
	r := compare.Record{Turns: *f.turns}
	var err error
	if r.R20Ohms, err = parseOhms(*f.r20); err != nil {
		return r, f.wrong("--r20: %v", err)
	}
	if *f.uncertainty == "" {
		return r, f.wrong("how well is --r20 known? Say --uncertainty OHMS")
	}
	if r.ExpandedUncertaintyOhms, err = parseOhms(*f.uncertainty); err != nil {
		return r, f.wrong("--uncertainty: %v", err)
	}
	if f.alphaFlags.given() || f.Changed("alpha-uncertainty") {
		r.AlphaPerKelvin, r.AlphaStandardUncertaintyPerKelvin, err = f.alphaFlags.value()
	}
	return r, err
}

// explainInput tells a value that cannot be true as a mistake on the command
// line, by the flag it came from.
func (f compareFlags) explainInput(err error) error {
	var bad *compare.InputError
	if !errors.As(err, &bad) {
		return err
	}
	place, field, _ := strings.Cut(bad.Field, ".")
	name := enquiry.NameOf(field)
	flag, known := "--"+flagName(name), name != ""
	switch {
	case place == "ours" && *f.serial != "" || place == "mate" || strings.HasPrefix(place, "others") || !known && field != "":
		return fmt.Errorf("the record cannot be compared: %w", err)
	case field == "":
		return f.wrong("--also: %v", err)
	case place != "ours" && place != "theirs[0]":
		flag = "--also: " + strings.TrimPrefix(flag, "--")
	}
	return f.wrong("%s %s", flag, bad.Problem)
}

func printComparison(w io.Writer, in compare.Input, r compare.Result) error {
	theirs := in.Theirs[r.Reading]
	pairs := []string{
		"Our record", quantity.FormatOhmsWithin(in.Ours.R20Ohms, in.Ours.ExpandedUncertaintyOhms) + " at 20 °C",
		"They read", quantity.FormatOhms(r.TheirsOhms, theirs.ResolutionOhms),
		"Expected", fmt.Sprintf("%s (95 %%: %s to %s)", quantity.FormatOhmsWithin(r.ExpectedOhms, r.ExpectedExpandedUncertaintyOhms),
			quantity.FormatOhms(r.ExpectedLowOhms, 1), quantity.FormatOhms(r.ExpectedHighOhms, 1)),
	}
	if r.At20 != nil {
		pairs = append(pairs, "Theirs at 20 °C", quantity.FormatOhmsWithin(r.At20.TheirsOhms, r.At20.TheirsExpandedUncertaintyOhms))
	}
	if r.ImpliedCelsius != nil {
		pairs = append(pairs, "Implied temperature", fmt.Sprintf("%s ± %.1f K", celsius(*r.ImpliedCelsius), *r.ImpliedUncertaintyKelvin))
	}
	pairs = append(pairs, "Agreement", fmt.Sprintf("E_n = %.2f: %s", r.EN, map[bool]string{true: "they agree", false: "they do not agree"}[r.Agrees]))
	if err := facts(w, pairs...); err != nil {
		return err
	}
	for _, paragraph := range append([]string{r.Meaning}, ranked(r)...) {
		if _, err := fmt.Fprintf(w, "\n%s\n", paragraph); err != nil {
			return err
		}
	}
	fault := fmt.Sprintf("%.1f %%", 100*r.Damage.Probability)
	if r.Damage.OfUnexplained() {
		fault = "possible"
	}
	if _, err := fmt.Fprintf(w, "\nFault of the coil: %s. %s\n", fault, r.Damage.Advice); err != nil {
		return err
	}
	return printConditions(w, r)
}

// ranked writes the explanations as paragraphs, the most probable first.
func ranked(r compare.Result) []string {
	var paragraphs []string
	for i, x := range r.Explanations {
		test := fmt.Sprintf("To tell it from %s: %s", x.Rival, x.Test)
		if r.Agrees && x.Cause == compare.MeterAccuracy {
			test = x.Test // that none is needed
		}
		paragraphs = append(paragraphs, fmt.Sprintf("%d. %s, %.0f %% (%s): %s\n   %s", i+1, x.Cause, 100*x.Probability, x.Words, x.Sentence, test))
	}
	if r.UnlistedProbability >= 0.005 {
		paragraphs = append(paragraphs, fmt.Sprintf("All other causes, and several at once: %.0f %%.", 100*r.UnlistedProbability))
	}
	return paragraphs
}

// printConditions writes what a meter should show, and what was assumed.
func printConditions(w io.Writer, r compare.Result) error {
	rows := [][]string{{"COIL AT", "SHOULD SHOW", "FROM", "TO"}}
	for _, row := range r.Table {
		rows = append(rows, []string{celsius(row.Celsius), quantity.FormatOhms(row.Ohms, 1), quantity.FormatOhms(row.LowOhms, 1), quantity.FormatOhms(row.HighOhms, 1)})
	}
	fmt.Fprintln(w)
	if err := columns(w, "", rows); err != nil {
		return err
	}
	for i, a := range r.Assumptions {
		if i == 0 {
			fmt.Fprintln(w)
		}
		if _, err := fmt.Fprintf(w, "Assumed: %s.\n", a); err != nil {
			return err
		}
	}
	return nil
}
