package main

import (
	"context"
	"errors"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"coilkeep/internal/history"
	"coilkeep/internal/record"
	"coilkeep/internal/words"
)

func coilMenu() menu {
	return menu{
		path:    "coilkeep coil",
		summary: "List and show coils, say where they lie, withdraw and reevaluate measurements.",
		groups: []group{{"Commands", []command{
			{"list", "List measured coils.", runCoilList},
			{"show", "Show everything measured on one coil.", runCoilShow},
			{"void", "Withdraw a measurement, with a reason; nothing is erased.", runCoilVoid},
			{"unrecorded", "List the coils that left the clips without a record.", runCoilUnrecorded},
			{"dismiss", "Say that a coil that was not recorded need not be.", runCoilDismiss},
			{"rack", "Say that coils lie beside the probe, and since when.", runCoilRack},
			{"reevaluate", "Evaluate older measurements again, by newer rules, from their readings.", runCoilReevaluate},
		}}},
		examples: "coilkeep coil list --batch spring-3\ncoilkeep coil show HN-0042",
	}
}

func runCoilList(ctx context.Context, env *environment, args []string) error {
	flags := newReadFlags("coil list", "List the latest measurements, the oldest of them first.",
		"coil list\ncoil list --batch spring-3 --json\ncoil list --from 2026-03-01 --limit 500")
	pick := flags.pick()
	limit := flags.Int("limit", 50, "at most this `NUMBER` of them, the latest")
	if err := flags.parse(env, args, 0, 0); err != nil {
		return err
	}
	filter, err := pick.filter(env, flags.flagSet)
	if err != nil {
		return err
	}
	if *limit < 1 {
		return flags.wrong("--limit %d: ask for one at least", *limit)
	}
	return flags.read(ctx, env, func(store *history.Store) error {
		measurements, err := latestMeasurements(ctx, store, filter, *limit)
		if err != nil {
			return err
		}
		if *flags.json {
			return printJSON(env.stdout, listOf(measurements))
		}
		return env.printMeasurements(measurements)
	})
}

func (env *environment) printMeasurements(measurements []record.Measurement) error {
	rows := [][]string{{"TIME", "SERIAL", "STAGE", "READ", "AT", "R20", "VERDICT", "STATUS"}}
	for _, m := range measurements {
		rows = append(rows, []string{env.when(m.Time), m.Serial, m.Stage, asRead(m), words.Celsius(m.TemperatureCelsius),
			words.OhmsWithin(m.R20Ohms, m.ExpandedUncertaintyOhms), string(m.Verdict), string(m.Status)})
	}
	return columns(env.stdout, "No measurement like that is kept.", rows)
}

// leadsSubtracted is what was subtracted for them.
func leadsSubtracted(m record.Measurement) string {
	if in := m.Inputs; in.LeadsKnown() {
		return fmt.Sprintf("%.3g ± %.2g Ω subtracted", in.LeadOhms, in.LeadHalfWidthOhms)
	}
	return "not measured"
}

// asRead is the resistance to the meter's last digit, as it was shown.
func asRead(m record.Measurement) string {
	return words.OhmsToStep(m.ResistanceOhms, m.Inputs.ResolutionOhms)
}

func runCoilShow(ctx context.Context, env *environment, args []string) error {
	flags := newReadFlags("coil show SERIAL", "Show everything measured on one coil, the newest first, with where the\nuncertainty of "+
		"the newest comes from.",
		"coil show HN-0042\ncoil show HN-0042 --json")
	if err := flags.parse(env, args, 1, 1); err != nil {
		return err
	}
	return flags.read(ctx, env, func(store *history.Store) error {
		coil, err := store.Coil(ctx, flags.Arg(0))
		if err != nil {
			return orList(err, "coil list")
		}
		if *flags.json {
			return printJSON(env.stdout, coil)
		}
		for i, m := range coil.Measurements {
			if i > 0 {
				fmt.Fprintln(env.stdout)
			}
			full, _, err := store.Measurement(ctx, m.ID)
			if err != nil {
				return err
			}
			if err := env.printMeasurement(full, i == 0); err != nil {
				return err
			}
		}
		return nil
	})
}

func (env *environment) printMeasurement(m record.Measurement, withBudget bool) error {
	err := facts(env.stdout,
		"Serial", m.Serial,
		"Measured", env.when(m.Time)+" on bench "+m.Bench,
		"R20", fmt.Sprintf("%s, k = %.2f", words.OhmsWithin(m.R20Ohms, m.ExpandedUncertaintyOhms), m.CoverageFactor),
		"Read", fmt.Sprintf("%s at %s", asRead(m), words.Celsius(m.TemperatureCelsius)),
		"Leads", leadsSubtracted(m),
		"Verdict", fmt.Sprintf("%s; within tolerance with a probability of %s", m.Verdict, words.Chance(m.ConformityProbability)),
		"Status", strings.TrimSuffix(string(m.Status)+", "+m.Reason, ", "),
		"Design", revisionOf(m.Design, m.DesignRevision),
		"Batch", m.Batch,
		"Number in batch", countOrNothing(m.Sequence),
		"Stage", m.Stage,
		"Spool", m.Spool,
		"Winder", m.Winder,
		"Operator", m.Operator,
		"Meter", m.Meter,
		"Probe", m.Probe,
		"Notes", strings.Join(m.Notes, "; "),
		"Id", m.ID)
	if err != nil || !withBudget || len(m.Budget) == 0 {
		return err
	}
	fmt.Fprintln(env.stdout)
	return printBudget(env.stdout, m.Budget)
}

func runCoilVoid(ctx context.Context, env *environment, args []string) error {
	flags := newWriteFlags("coil void SERIAL --reason TEXT",
		"Withdraw the measurement of a coil. It is kept and marked, with the reason; it\n"+
			"no longer counts. A coil with several measurements needs --id.",
		"coil void HN-0042 --reason \"clip on the wrong wire\"\n"+
			"coil void HN-0042 --id 0199e4c2-7d1a-7c33-9f0e-3f6f0c1b2a4d --reason \"wrong serial\"")
	reason := flags.String("reason", "", "why, as a `TEXT`")
	id := flags.String("id", "", "`ID` of the measurement, as coil show gives it")
	if err := flags.parse(env, args, 1, 1); err != nil {
		return err
	}
	if strings.TrimSpace(*reason) == "" {
		return flags.wrong("why is it withdrawn? Say --reason TEXT")
	}
	return flags.change(ctx, env, func(store *history.Store) error {
		coil, err := store.Coil(ctx, flags.Arg(0))
		if err != nil {
			return orList(err, "coil list")
		}
		target, err := measurementToVoid(coil, *id)
		if err != nil {
			return err
		}
		m, err := store.Void(ctx, target, *reason, flags.by())
		if err != nil {
			return err
		}
		return env.printMeasurement(m, false)
	})
}

// measurementToVoid is the id of the one measurement of a coil that still counts, or of
// the one named when it is the coil's.
func measurementToVoid(coil record.Coil, id string) (string, error) {
	var ids []string
	for _, m := range coil.Measurements {
		if m.ID == id {
			return id, nil
		}
		if m.Stands() {
			ids = append(ids, m.ID)
		}
	}
	switch {
	case id != "":
		return "", fmt.Errorf("coil %s has no measurement %s; coilkeep coil show %[1]s lists them", coil.Serial, id)
	case len(ids) == 0:
		return "", errors.New("coil " + coil.Serial + " has no measurement that still counts")
	case len(ids) > 1:
		return "", fmt.Errorf("coil %s has %d measurements that count; say which with --id: %s", coil.Serial, len(ids), strings.Join(ids, ", "))
	}
	return ids[0], nil
}

// allMeasurements reads every page of measurements, the oldest first.
func allMeasurements(ctx context.Context, store *history.Store, filter record.Filter) ([]record.Measurement, error) {
	return measurementPages(ctx, store, filter, math.MaxInt)
}

// latestMeasurements reads the latest measurements, the oldest of them first.
func latestMeasurements(ctx context.Context, store *history.Store, filter record.Filter, limit int) ([]record.Measurement, error) {
	filter.Newest = true
	found, err := measurementPages(ctx, store, filter, limit)
	slices.Reverse(found)
	return found, err
}

// measurementPages reads page after page, at most limit measurements.
func measurementPages(ctx context.Context, store *history.Store, filter record.Filter, limit int) ([]record.Measurement, error) {
	var found []record.Measurement
	for {
		filter.Limit = min(record.MaxPage, limit-len(found))
		page, next, err := store.Measurements(ctx, filter)
		if err != nil {
			return nil, err
		}
		found = append(found, page...)
		if next == "" || len(found) == limit {
			return found, nil
		}
		filter.After = next
	}
}

// countOrNothing writes a number of things, nothing for none.
func countOrNothing(n int) string {
	if n == 0 {
		return ""
	}
	return strconv.Itoa(n)
}
