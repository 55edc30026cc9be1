package main

import (
	"context"
	"fmt"
	"io"
	"strconv"
	"strings"
	"time"

	"coilkeep/internal/config"
	"coilkeep/internal/history"
	"coilkeep/internal/warmth"
	"coilkeep/internal/words"
	"coilkeep/internal/workshop"
)

// reevaluateFlags are the flags of coil reevaluate.
type reevaluateFlags struct {
	writeFlags
	batch, design, since, reason *string
	all, apply, json             *bool
}

func newReevaluateFlags() reevaluateFlags {
	f := reevaluateFlags{writeFlags: newWriteFlags("coil reevaluate [SERIAL…]",
		`Evaluate measurements of older rules again, from the readings that were kept: R20
and its uncertainty with the copper's temperature estimated, where it was only
bounded. First a preview, by batch; nothing changes by itself. With --apply each
new result takes the place of the old one, which is kept and marked superseded,
with the reason. What was done already is not done again.

How the coils cool is taken from the newest revision of their design, and how
they came to the bench from --config (coils_arrive); what nobody told is left
open. Values whose uncertainty was told as a whole stay as they are.`,
		"coil reevaluate\ncoil reevaluate --batch spring-3 --config coilkeep.toml\ncoil reevaluate HN-0042 --json\n"+
			"coil reevaluate --batch spring-3 --apply --reason \"the copper is estimated now\"")}
	f.batch = f.String("batch", "", "only of this batch, by `NAME`")
	f.design = f.String("design", "", "only of this design, by `NAME`")
	f.since = f.String("since", "", "only what was measured from this `DATE` on")
	f.all = f.Bool("all", false, "with --apply: every coil there is")
	f.apply = f.Bool("apply", false, "store the new results in place of the old ones")
	f.reason = f.String("reason", "", "why, as a `TEXT`; with --apply")
	f.json = f.Bool("json", false, "print JSON: ohms, kelvin, percent, UTC")
	return f
}

// request is what the flags ask for.
func (f reevaluateFlags) request(env *environment) (workshop.ReevaluationRequest, error) {
	since, err := env.moment(*f.since)
	if err != nil {
		return workshop.ReevaluationRequest{}, f.wrong("--since: %v", err)
	}
	pick := workshop.ReevaluationRequest{Batch: *f.batch, Design: *f.design, Serials: f.Args(), Apply: *f.apply,
		Reason: *f.reason, Who: f.by()}
	if !since.IsZero() {
		pick.Since = since.Format(time.RFC3339Nano)
	}
	narrowed := f.NArg() > 0 || *f.batch != "" || *f.design != "" || *f.since != ""
	switch {
	case !*f.apply && (*f.reason != "" || *f.all):
		return pick, f.wrong("--reason and --all go with --apply; without it nothing is changed")
	case *f.apply && strings.TrimSpace(*f.reason) == "":
		return pick, f.wrong("why are they evaluated again? Say --reason TEXT")
	case *f.apply && !narrowed && !*f.all:
		return pick, f.wrong("which coils? Name them, or say --batch, --design or --since; --all takes every one")
	case *f.all && narrowed:
		return pick, f.wrong("--all takes every coil; leave it out, or what narrows it")
	}
	return pick, nil
}

// arrivals is how coils come to the benches of the configuration; nil without
// one.
func (f databaseFlags) arrivals() (map[string]warmth.Arrival, error) {
	if *f.configFile == "" {
		return nil, nil
	}
	cfg, err := config.Load(*f.configFile)
	if err != nil {
		return nil, err
	}
	return arrivals(cfg), nil
}

// arrivals is how coils come to each bench.
func arrivals(cfg config.Config) map[string]warmth.Arrival {
	arrive := map[string]warmth.Arrival{}
	for _, b := range cfg.Benches {
		arrive[b.Name] = b.Arrive
	}
	return arrive
}

func runCoilReevaluate(ctx context.Context, env *environment, args []string) error {
	flags := newReevaluateFlags()
	if err := flags.parse(env, args, 0, 1000); err != nil {
		return err
	}
	request, err := flags.request(env)
	if err != nil {
		return err
	}
	arrive, err := flags.arrivals()
	if err != nil {
		return err
	}
	open := flags.read
	if *flags.apply {
		open = flags.change
	}
	return open(ctx, env, func(store *history.Store) error {
		r := workshop.Reevaluation{Store: store, Arrive: arrive, Progress: func(done int) {
			if done%1000 == 0 {
				fmt.Fprintf(env.stderr, "looked at %d measurements\n", done)
			}
		}}
		sum, err := r.Do(ctx, request)
		if err != nil {
			if sum.Applied && sum.Measurements > 0 {
				err = fmt.Errorf("%w; %d were stored before that, and the same command goes on with the rest", err, sum.Measurements)
			}
			return orList(err, listOfPicked(request))
		}
		if *flags.json {
			return printJSON(env.stdout, sum)
		}
		return printReevaluated(env.stdout, sum)
	})
}

// listOfPicked is the command that lists what a selection names.
func listOfPicked(pick workshop.ReevaluationRequest) string {
	switch {
	case pick.Batch != "":
		return "batch list"
	case pick.Design != "":
		return "design list"
	}
	return "coil list"
}

// printReevaluated writes what changes, or changed.
func printReevaluated(w io.Writer, sum workshop.Reevaluated) error {
	if sum.Measurements == 0 && len(sum.Left) == 0 {
		_, err := fmt.Fprintln(w, "No measurement of older rules stands there: there is nothing to evaluate again.")
		return err
	}
	rows := [][]string{{"BATCH", "DESIGN", "COILS", "U BEFORE", "U AFTER", "R20 CHANGES BY", "AT MOST", "VERDICTS CHANGED"}}
	for _, b := range sum.Batches {
		rows = append(rows, []string{dash(b.Batch), b.Design, strconv.Itoa(b.Coils),
			"±" + words.PercentRoughly(b.MedianUncertaintyBeforePercent), "±" + words.PercentRoughly(b.MedianUncertaintyAfterPercent),
			words.Signed(b.MedianChangePercent, 2) + " %", words.Signed(b.LargestChangePercent, 2) + " %", strconv.Itoa(len(b.Changed))})
	}
	if err := columns(w, "Nothing can be evaluated again.", rows); err != nil {
		return err
	}
	for _, list := range []struct {
		title string
		coils []workshop.ReevaluatedCoil
	}{
		{"Verdicts that change:", sum.Changed()},
		{"R20 outside what was claimed:", sum.Outside()},
	} {
		if err := printReevaluatedCoils(w, list.title, list.coils); err != nil {
			return err
		}
	}
	if len(sum.Left) > 0 {
		fmt.Fprintf(w, "\nLeft as they are:\n")
		rows := make([][]string, len(sum.Left))
		for i, l := range sum.Left {
			rows[i] = []string{"  " + l.Serial, l.Why}
		}
		if err := align(w, rows); err != nil {
			return err
		}
	}
	fmt.Fprintf(w, "\n%s\n", sum.Certificates)
	text := "This is a preview: nothing was changed. --apply --reason TEXT stores it.\n"
	if sum.Applied {
		text = fmt.Sprintf("Stored: %d, each in place of the old measurement, which is kept, marked superseded.\n", sum.Measurements)
	}
	_, err := fmt.Fprint(w, text)
	return err
}

func printReevaluatedCoils(w io.Writer, title string, coils []workshop.ReevaluatedCoil) error {
	if len(coils) == 0 {
		return nil
	}
	fmt.Fprintf(w, "\n%s\n", title)
	rows := make([][]string, len(coils))
	for i, c := range coils {
		rows[i] = []string{"  " + c.Serial, c.Stage,
			words.OhmsWithin(c.R20BeforeOhms, c.ExpandedUncertaintyBeforeOhms), string(c.VerdictBefore), "→",
			words.OhmsWithin(c.R20AfterOhms, c.ExpandedUncertaintyAfterOhms), string(c.VerdictAfter),
			"copper " + words.KelvinSigned(c.CopperExcessKelvin) + " from the probe"}
	}
	return align(w, rows)
}
