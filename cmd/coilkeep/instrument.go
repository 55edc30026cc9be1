package main

import (
	"context"
	"fmt"

	"coilkeep/internal/history"
	"coilkeep/internal/record"
	"coilkeep/internal/words"
)

func instrumentMenu() menu {
	return menu{
		path:    "coilkeep instrument",
		summary: "Calibrations and check measurements of meters and probes.",
		groups: []group{{"Commands", []command{
			{"list", "List what is known of a bench's instruments.", runInstrumentList},
			{"calibrate", "Enter a calibration: when it is due, and a correction.", runInstrumentCalibrate},
			{"check-standard", "Enter a measurement of a reference resistor.", runInstrumentCheck},
		}}},
		examples: "coilkeep instrument list --bench north\n" +
			"coilkeep instrument check-standard --bench north --standard box-10k --nominal 10k --measured 10.002k",
	}
}

// instrumentsView is what is known of a bench's instruments, as JSON.
type instrumentsView struct {
	Calibrations      []record.Calibration      `json:"calibrations"`
	CheckMeasurements []record.CheckMeasurement `json:"check_measurements"`
}

func runInstrumentList(ctx context.Context, env *environment, args []string) error {
	flags := newReadFlags("instrument list --bench BENCH", "List the calibrations entered for a bench's meter and probe, and the "+
		"latest\nmeasurements of its check standards.",
		"instrument list --bench north\ninstrument list --config coilkeep.toml --json")
	bench := flags.String("bench", "", "`NAME` of the bench; with --config and one bench it need not be said")
	limit := flags.Int("limit", 20, "at most this `NUMBER` of check measurements")
	if err := flags.parse(env, args, 0, 0); err != nil {
		return err
	}
	name, err := flags.bench(*bench)
	if err != nil {
		return err
	}
	return flags.read(ctx, env, func(store *history.Store) error {
		calibrations, err := store.Calibrations(ctx, name)
		if err != nil {
			return err
		}
		checks, err := store.CheckMeasurements(ctx, record.CheckFilter{Bench: name, Limit: *limit})
		if err != nil {
			return err
		}
		if *flags.json {
			return printJSON(env.stdout, instrumentsView{listOf(calibrations), listOf(checks)})
		}
		return env.printInstruments(calibrations, checks)
	})
}

func (env *environment) printInstruments(calibrations []record.Calibration, checks []record.CheckMeasurement) error {
	rows := [][]string{{"CALIBRATED", "ROLE", "INSTRUMENT", "CERTIFICATE", "DUE", "CORRECTION", "BY"}}
	for _, c := range calibrations {
		rows = append(rows, []string{env.when(c.Time), string(c.Role), dash(c.Instrument), dash(c.Certificate),
			env.when(c.DueAt), words.PercentSigned(c.CorrectionRatio, 4), dash(c.By)})
	}
	if err := columns(env.stdout, "No calibration has been entered.", rows); err != nil {
		return err
	}
	fmt.Fprintln(env.stdout)
	rows = [][]string{{"CHECKED", "STANDARD", "NOMINAL", "MEASURED", "DEVIATION", "BY"}}
	for _, c := range checks {
		rows = append(rows, []string{env.when(c.Time), c.Standard, words.Ohms(c.NominalOhms), words.Ohms(c.MeasuredOhms),
			words.PercentSigned(c.DeviationRatio, 4),
			dash(c.By)})
	}
	return columns(env.stdout, "No check standard has been measured.", rows)
}

func runInstrumentCalibrate(ctx context.Context, env *environment, args []string) error {
	flags := newWriteFlags("instrument calibrate --bench BENCH --role ROLE",
		"Enter a calibration of a meter or a probe. A correction is applied to what the\n"+
			"meter shows from now on; measurements already kept stay as they are.",
		"instrument calibrate --bench north --role meter --certificate K-2026-118 --due 2027-03-01\n"+
			"instrument calibrate --bench north --role meter --correction-percent -0.012 --due 2027-03-01")
	bench := flags.String("bench", "", "`NAME` of the bench; with --config and one bench it need not be said")
	role := flags.String("role", "meter", "meter or probe, a `WORD`")
	instrument := flags.String("instrument", "", "make, model and serial number, as a `TEXT`")
	certificate := flags.String("certificate", "", "`NUMBER` of the certificate")
	due := flags.String("due", "", "`DATE` of the next calibration")
	correction := flags.percent("correction-percent", 0, "to add to what the meter shows, in `PERCENT` of it")
	note := flags.String("note", "", "a `TEXT` to keep with it")
	if err := flags.parse(env, args, 0, 0); err != nil {
		return err
	}
	name, err := flags.bench(*bench)
	if err != nil {
		return err
	}
	at, err := env.moment(*due)
	if err != nil {
		return flags.wrong("--due: %v", err)
	}
	if *role == string(record.Probe) && flags.Changed("correction-percent") {
		return flags.wrong("--correction-percent is for meters")
	}
	calibration := record.Calibration{Bench: name, Role: record.Role(*role), Instrument: *instrument, Certificate: *certificate,
		DueAt: at, CorrectionRatio: *correction / 100, Note: *note, By: flags.by()}
	return flags.change(ctx, env, func(store *history.Store) error {
		kept, err := store.AddCalibration(ctx, calibration)
		if err != nil {
			return err
		}
		return facts(env.stdout,
			"Entered", fmt.Sprintf("calibration of the %s of bench %s", kept.Role, kept.Bench),
			"Instrument", kept.Instrument,
			"Certificate", kept.Certificate,
			"Due", env.when(kept.DueAt),
			"Correction", words.PercentSigned(kept.CorrectionRatio, 4),
			"Id", kept.ID)
	})
}

func runInstrumentCheck(ctx context.Context, env *environment, args []string) error {
	flags := newWriteFlags("instrument check-standard --bench BENCH --standard NAME --nominal OHMS --measured OHMS",
		"Enter a measurement of a stable reference resistor. Measured routinely it tells\na meter that drifts from a winder that drifts.",
		"instrument check-standard --bench north --standard box-10k --nominal 10k --measured 10.002k\n"+
			"instrument check-standard --bench north --standard box-10k --nominal 10k --measured 10.002k --at 21.4")
	bench := flags.String("bench", "", "`NAME` of the bench; with --config and one bench it need not be said")
	standard := flags.String("standard", "", "`NAME` of the resistor")
	nominal := flags.String("nominal", "", "its reference value, in `OHMS`")
	measured := flags.String("measured", "", "what the meter showed, in `OHMS`")
	at := flags.String("at", "", "its temperature, in degrees `CELSIUS`")
	meter := flags.String("meter", "", "make, model and serial number of the meter, as a `TEXT`")
	note := flags.String("note", "", "a `TEXT` to keep with it")
	if err := flags.parse(env, args, 0, 0); err != nil {
		return err
	}
	name, err := flags.bench(*bench)
	if err != nil {
		return err
	}
	check := record.CheckMeasurement{Bench: name, Standard: *standard, Meter: *meter, By: flags.by(), Note: *note}
	if check.NominalOhms, err = parseOhms(*nominal); err != nil {
		return flags.wrong("--nominal: %v", err)
	}
	if check.MeasuredOhms, err = parseOhms(*measured); err != nil {
		return flags.wrong("--measured: %v", err)
	}
	if *at != "" {
		t, err := parseCelsius(*at)
		if err != nil {
			return flags.wrong("--at: %v", err)
		}
		check.TemperatureCelsius = &t
	}
	return flags.change(ctx, env, func(store *history.Store) error {
		kept, err := store.AddCheckMeasurement(ctx, check)
		if err != nil {
			return err
		}
		return facts(env.stdout,
			"Entered", fmt.Sprintf("check of standard %s on bench %s", kept.Standard, kept.Bench),
			"Measured", fmt.Sprintf("%s of %s", words.Ohms(kept.MeasuredOhms), words.Ohms(kept.NominalOhms)),
			"Deviation", words.PercentSigned(kept.DeviationRatio, 4),
			"Id", kept.ID)
	})
}
