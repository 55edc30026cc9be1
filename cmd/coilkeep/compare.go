package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"maps"
	"slices"
	"strings"

	"coilkeep/internal/compare"
	"coilkeep/internal/history"
	"coilkeep/internal/record"
	"coilkeep/internal/words"
	"coilkeep/internal/workshop"
)

// compareFlags are the flags of compare. What is told of the coil and of what
// was read is asked for by name (see request).
type compareFlags struct {
	databaseFlags
	also         *[]string
	keep         *bool
	who, note    *string
	letter, json *bool
}

func newCompareFlags() compareFlags {
	f := newDatabaseFlags("compare --theirs OHMS",
		"Set what somebody else measured on one of our coils against its record: what they\n"+
			"should have read, whether the two agree, what explains the difference, and which\n"+
			"test would tell. What is not said is assumed, and every assumption is listed.",
		"compare --serial HN-0042 --theirs 6.28k\ncompare --serial HN-0042 --theirs 6.48k --temperature 21 --clips jack --control 500k\n"+
			"compare --serial HN-0042 --theirs 6.28k --keep --who Wren --letter\n"+
			"compare --r20 6612 --uncertainty 13 --theirs 6.28k --temperature 23 --meter-percent 0.5 --meter-digits 2 --json\n"+
			"compare --r20 6612 --uncertainty 13 --theirs 6.28k --also \"6.63k temperature=21\" --letter")
	f.String("serial", "", "`SERIAL` number of our coil, as recorded")
	f.String("r20", "", "or its resistance at 20 °C, in `OHMS`")
	f.String("uncertainty", "", "expanded uncertainty of --r20, in `OHMS`")
	newAlphaFlags(f.flagSet)
	f.Int("turns", 0, "`NUMBER` of turns, with --r20")
	f.String("theirs", "", "what they read, in `OHMS`, with the digits they told: 6.28k")
	for _, one := range workshop.Settings() {
		if one.Name == "control_full" {
			f.Bool(flagName(one.Name), false, one.About)
			continue
		}
		f.String(flagName(one.Name), "", one.About)
	}
	f.String("mate", "", "`SERIAL` number of the other coil of a two-coil assembly")
	flags := compareFlags{databaseFlags: f}
	flags.also = f.StringArray("also", nil, "another reading with the same meter, as `TEXT`: \"6.63k temperature=21 clips=leads\"")
	f.Lookup("also").DefValue = "" // none, which needs no telling
	f.Uint64("seed", workshop.DefaultSeed, "`NUMBER` to start the Monte Carlo propagation from")
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
	q, err := flags.ask(ctx, env)
	if err != nil {
		return flags.explain(err)
	}
	if q.Overload != "" {
		return flags.answerOverload(env.stdout, q)
	}
	c, err := flags.compare(ctx, env, q)
	if err != nil {
		return err
	}
	switch {
	case *flags.json:
		return printJSON(env.stdout, record.AnswerComparison(c))
	case *flags.letter:
		_, err := io.WriteString(env.stdout, c.Result.Answer)
		return err
	}
	if err := printComparison(env.stdout, q.Input, c.Result); err != nil || c.ID == "" {
		return err
	}
	_, err = fmt.Fprintf(env.stdout, "\nKept as %s, on the page of %s and under Earlier answers.\n", c.ID, c.Serial)
	return err
}

// compare answers a question and keeps the answer when it is to be kept.
func (f compareFlags) compare(ctx context.Context, env *environment, q workshop.Question) (record.Comparison, error) {
	c, err := workshop.Compare(q)
	if err != nil || !*f.keep {
		return c, f.explain(err)
	}
	c.Letter, c.Note, c.By = c.Result.Answer, *f.note, *f.who
	err = f.change(ctx, env, func(store *history.Store) error {
		c, err = store.AddComparison(ctx, c)
		return err
	})
	return c, err
}

// flagName is the flag for a name of package workshop.
func flagName(name string) string { return strings.ReplaceAll(name, "_", "-") }

// ask makes a question of the flags. Mistakes on the command line are told
// before a database is looked for, and none is when the question names no coil.
func (f compareFlags) ask(ctx context.Context, env *environment) (workshop.Question, error) {
	request, err := f.request()
	if err != nil {
		return workshop.Question{}, err
	}
	q, err := request.Question()
	switch {
	case err != nil:
		return q, err
	case *f.keep && q.Serial == "":
		return q, f.wrong("--keep goes with --serial: an answer is kept with the record of its coil")
	case q.Serial == "" && q.MateSerial == "":
		return q, nil
	}
	return q, f.read(ctx, env, func(store *history.Store) error { return q.Complete(ctx, store) })
}

// request is what the flags that were given tell.
func (f compareFlags) request() (request workshop.ComparisonRequest, err error) {
	for name, text := range request.Told() {
		if flag := f.Lookup(flagName(name)); flag.Changed {
			*text = workshop.Text(flag.Value.String())
		}
	}
	request.Also = make([]workshop.OutsideReading, len(*f.also))
	for i, text := range *f.also {
		if err := f.readAlso(&request.Also[i], text); err != nil {
			return request, err
		}
	}
	return request, nil
}

// readAlso takes apart the text of --also: a value, and name=value for what is
// told of it.
func (f compareFlags) readAlso(also *workshop.OutsideReading, text string) error {
	settings := map[string]*workshop.Text{}
	for name, place := range also.Told() {
		if name != workshop.Theirs {
			settings[flagName(name)] = place
		}
	}
	var value []string
	for word := range strings.FieldsSeq(text) {
		name, setting, found := strings.Cut(word, "=")
		place, known := settings[name]
		switch {
		case !found:
			value = append(value, word)
		case !known:
			return f.wrong("--also %q: nothing called %s can be told of a reading%s", text, name,
				didYouMean(name, slices.Sorted(maps.Keys(settings))))
		default:
			*place = workshop.Text(setting)
		}
	}
	also.Theirs = workshop.Text(strings.Join(value, " "))
	return nil
}

// explain tells a text that cannot be used as a mistake on the command line, by
// the flag it came from.
func (f compareFlags) explain(err error) error {
	var bad *record.FieldError
	if err == nil {
		return nil
	}
	if !errors.As(err, &bad) {
		return orList(err, "coil list")
	}
	var i int
	place, name, further := strings.Cut(bad.Field, ".")
	if _, err := fmt.Sscanf(place, "also[%d]", &i); err != nil || !further {
		return f.wrong("--%s: %s", flagName(bad.Field), bad.Problem)
	}
	if name == workshop.Theirs {
		return f.wrong("--also %q: %s", (*f.also)[i], bad.Problem)
	}
	return f.wrong("--also %q: %s: %s", (*f.also)[i], flagName(name), bad.Problem)
}

// answerOverload prints what there is to say then.
func (f compareFlags) answerOverload(w io.Writer, q workshop.Question) error {
	if *f.keep {
		return f.wrong("--keep: an overload is answered, but not kept; leave it out")
	}
	in := q.Input
	o, err := workshop.AnswerOverload(q)
	switch {
	case err != nil:
		return f.explain(err)
	case *f.json:
		return printJSON(w, o)
	case *f.letter:
		_, err := io.WriteString(w, o.Answer)
		return err
	}
	if err := facts(w,
		"Our record", words.OhmsWithin(in.Ours.R20Ohms, in.Ours.ExpandedUncertaintyOhms)+" at 20 °C",
		"They read", "an overload, which is no number",
		"Expected", fmt.Sprintf("%s to %s (95 %%)", words.OhmsToStep(o.ExpectedLowOhms, o.StepOhms()),
			words.OhmsToStep(o.ExpectedHighOhms, o.StepOhms())),
		"Range it takes", words.Ohms(o.RangeOhms)); err != nil {
		return err
	}
	for i, c := range o.Causes {
		if _, err := fmt.Fprintf(w, "\n%d. %s: %s\n   %s\n", i+1, c.Cause, c.Sentence, c.Test); err != nil {
			return err
		}
	}
	return nil
}

func printComparison(w io.Writer, in compare.Input, r compare.Result) error {
	theirs := in.Theirs[r.Reading]
	pairs := []string{
		"Our record", words.OhmsWithin(in.Ours.R20Ohms, in.Ours.ExpandedUncertaintyOhms) + " at 20 °C",
		"They read", fmt.Sprintf("%s, taken as %s", words.OhmsToStep(r.TheirsOhms, theirs.ResolutionOhms),
			words.OhmsWithin(r.TheirsOhms, r.TheirsExpandedUncertaintyOhms)),
		"Expected", fmt.Sprintf("%s (95 %%: %s to %s)", words.OhmsWithin(r.ExpectedOhms, r.ExpectedExpandedUncertaintyOhms),
			words.OhmsToStep(r.ExpectedLowOhms, 1), words.OhmsToStep(r.ExpectedHighOhms, 1)),
	}
	if r.At20 != nil {
		pairs = append(pairs, "Theirs at 20 °C", words.OhmsWithin(r.At20.TheirsOhms, r.At20.TheirsExpandedUncertaintyOhms))
	}
	if r.ImpliedCelsius != nil {
		pairs = append(pairs, "Implied temperature", fmt.Sprintf("%s ± %.1f K", words.Celsius(*r.ImpliedCelsius), *r.ImpliedUncertaintyKelvin))
	}
	pairs = append(pairs, "Agreement", map[bool]string{true: "they agree",
		false: "they do not agree"}[r.Agrees]+" (E_n of ISO 13528 is "+words.Fixed(r.EN, 2)+")")
	if err := facts(w, pairs...); err != nil {
		return err
	}
	for _, paragraph := range append([]string{r.Meaning}, rankedExplanations(r)...) {
		if _, err := fmt.Fprintf(w, "\n%s\n", paragraph); err != nil {
			return err
		}
	}
	fault := words.Fixed(100*r.Damage.Probability, 1) + " %"
	if r.Damage.OfUnexplained() {
		fault = "possible"
	}
	if _, err := fmt.Fprintf(w, "\nFault of the coil: %s. %s\n", fault, r.Damage.Advice); err != nil {
		return err
	}
	return printConditions(w, r)
}

// rankedExplanations writes the explanations as paragraphs, the most probable first.
func rankedExplanations(r compare.Result) []string {
	var paragraphs []string
	for i, x := range r.Explanations {
		test := fmt.Sprintf("To tell it from “%s”: %s", x.Rival.Label(), x.Test)
		if r.Agrees && x.Cause == compare.MeterAccuracy {
			test = x.Test // that none is needed
		}
		paragraphs = append(paragraphs, fmt.Sprintf("%d. %s, %.0f %% (%s): %s\n   %s", i+1, x.Cause.Label(), 100*x.Probability, x.Words,
			x.Sentence, test))
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
		rows = append(rows, []string{words.Celsius(row.Celsius), words.OhmsToStep(row.Ohms, 1), words.OhmsToStep(row.LowOhms, 1),
			words.OhmsToStep(row.HighOhms, 1)})
	}
	fmt.Fprintln(w)
	if err := columns(w, "", rows); err != nil {
		return err
	}
	for i, a := range r.Assumptions {
		if i == 0 {
			fmt.Fprintln(w, "\nThe expected value assumes:")
		}
		if _, err := fmt.Fprintf(w, "- %s\n", a); err != nil {
			return err
		}
	}
	return nil
}
