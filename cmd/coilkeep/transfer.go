package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"time"
	_ "time/tzdata" // import --zone knows its names on machines that have no list of them

	"coilkeep/internal/capture"
	"coilkeep/internal/config"
	"coilkeep/internal/history"
	"coilkeep/internal/r20"
	"coilkeep/internal/record"
)

func runExport(ctx context.Context, env *environment, args []string) error {
	flags := newDatabaseFlags("export", "Write measurements, the oldest first: as CSV for a spreadsheet, one line each, or\nas JSON "+
		"Lines with everything behind them. import takes both; only JSON Lines\nbring everything back.",
		"export > measurements.csv\nexport --batch spring-3 --output batch.csv\nexport --format jsonl --output everything.jsonl")
	format := flags.String("format", record.CSV, "csv or jsonl, as a `WORD`")
	output := flags.String("output", "", "write to this `FILE` instead of the standard output")
	overwrite := flags.Bool("overwrite", false, "replace a FILE that is there already")
	pick := flags.pick()
	if err := flags.parse(env, args, 0, 1); err != nil {
		return err
	}
	if flags.NArg() > 0 {
		return flags.wrong("%q is one word too many; to write a file of that name say --output %s", flags.Arg(0), flags.Arg(0))
	}
	if *format != record.CSV && *format != record.JSONL {
		return flags.wrong("--format %q is not known; choose csv or jsonl", *format)
	}
	filter, err := pick.filter(env, flags.flagSet)
	if err != nil {
		return err
	}
	return flags.read(ctx, env, func(store *history.Store) error {
		write := func(w io.Writer) error { return store.Export(ctx, w, *format, filter) }
		if *output == "" {
			return write(env.stdout)
		}
		return writeFile(*output, *overwrite, write)
	})
}

// writeFile gives a file its name only when it is whole, so that a half one is
// never taken for an export.
func writeFile(path string, overwrite bool, write func(io.Writer) error) (err error) {
	if _, err := os.Stat(path); err == nil && !overwrite {
		return fmt.Errorf("write %s: %w; choose another name, or --overwrite it", path, fs.ErrExist)
	}
	temporary, err := os.CreateTemp(filepath.Dir(path), filepath.Base(path)+".part-*")
	if err != nil {
		return fmt.Errorf("write %s: %w", path, err)
	}
	defer func() {
		if err != nil {
			err = errors.Join(err, os.Remove(temporary.Name()))
		}
	}()
	if err := errors.Join(write(temporary), temporary.Sync(), temporary.Close()); err != nil {
		return fmt.Errorf("write %s: %w", path, err)
	}
	return os.Rename(temporary.Name(), path)
}

// importFlags are the flags of import; those from design on are for CSV.
type importFlags struct {
	databaseFlags
	format, design, bench, zone                     *string
	meterPercent, meterOhms, temperatureUncertainty *float64
	leadOhms, correctionPercent                     *float64
	json                                            *bool
}

// csvFlags are the flags of import that say what a CSV file does not.
var csvFlags = []string{"design", "bench", "meter-percent", "meter-ohms", "temperature-uncertainty", "lead-ohms", "correction-percent",
	"zone"}

func newImportFlags() importFlags {
	f := importFlags{databaseFlags: newDatabaseFlags("import FILE",
		`Add the records of a JSON Lines export, or the coils of a CSV table; - reads the
standard input. What is there already is left alone, so a file may be imported
twice. It is all or nothing.

A CSV file has a line of column names, those of export in any order. Needed are
serial, time, resistance_ohms and temperature_celsius, and a design that is
there: a column or --design. Each row becomes a typed value (status manual) whose
R20 and verdict are computed here; where the row has r20_ohms, verdict or
conformity_probability, they must agree. How good it is say the columns
expanded_uncertainty_ohms and coverage_factor, or else the accuracies of the
row's bench in --config, with what a coil nobody watched may differ from its probe
(coils_arrive), or the flags. What the meter showed goes into
resistance_ohms: leads are taken off here. Rows that are void or superseded are
left out. A batch that is not there is made, and closed; its coils are numbered
in the order of the column sequence, without holes. A row is known by its id, or
without one by serial, time and stage.`,
		"import everything.jsonl --history copy.db\nimport - --config coilkeep.toml < everything.jsonl\n"+
			"import old-coils.csv --design larkspur --bench north --config coilkeep.toml\n"+
			"import old-coils.csv --bench north --meter-percent 0.8 --meter-ohms 2 --temperature-uncertainty 1")}
	f.format = f.String("format", "", "csv or jsonl, as a `WORD` (default: csv for a name that ends in .csv, else jsonl)")
	f.design = f.String("design", "", "CSV: design of rows that name none, by `NAME`; its newest revision")
	f.bench = f.String("bench", "", "CSV: bench of rows that name none, by `NAME` (default: the only one of --config)")
	f.meterPercent = f.percent("meter-percent", 0, "CSV: accuracy of the meter, in `PERCENT` of the reading either way")
	f.meterOhms = f.Float64("meter-ohms", 0, "CSV: and in `OHMS` either way")
	f.temperatureUncertainty = f.Float64("temperature-uncertainty", 0,
		"CSV: how far the copper may be from temperature_celsius, in `KELVIN` either way")
	f.leadOhms = f.Float64("lead-ohms", 0, "CSV: resistance of the leads, to take off, in `OHMS` (default: as --config says of the bench)")
	f.correctionPercent = f.percent("correction-percent", 0, "CSV: what the meter's calibration adds to its readings, in `PERCENT`")
	f.zone = f.String("zone", "", "CSV: time zone of times that name none, by `NAME` such as Europe/Vienna; Local is that of this machine")
	f.json = f.Bool("json", false, "print JSON: how many records of each kind")
	return f
}

// isCSV says which format the file has.
func (f importFlags) isCSV() (bool, error) {
	switch *f.format {
	case record.CSV:
		return true, nil
	case record.JSONL:
	case "":
		if strings.EqualFold(filepath.Ext(f.Arg(0)), ".csv") {
			return true, nil
		}
	default:
		return false, f.wrong("--format %q is not known; choose csv or jsonl", *f.format)
	}
	for _, name := range csvFlags {
		if f.Changed(name) {
			return false, f.wrong("--%s is for CSV; JSON Lines say all themselves. For CSV add --format csv", name)
		}
	}
	return false, nil
}

// csvOptions says what the file does not.
func (f importFlags) csvOptions() (history.CSVOptions, error) {
	o := history.CSVOptions{File: record.Label(filepath.Base(f.Arg(0))), Design: *f.design, Bench: *f.bench}
	if f.Arg(0) == "-" {
		o.File = "the standard input"
	}
	if *f.zone != "" {
		zone, err := time.LoadLocation(*f.zone)
		if err != nil {
			return o, f.wrong("--zone %q is not known; write it like Europe/Vienna, UTC or Local", *f.zone)
		}
		o.Zone = zone
	}
	benches := map[string]config.Bench{}
	if *f.configFile != "" {
		cfg, err := config.Load(*f.configFile)
		if err != nil {
			return o, err
		}
		for _, b := range cfg.Benches {
			benches[b.Name] = b
		}
		if *f.bench != "" || len(benches) == 1 {
			if o.Bench, err = f.databaseFlags.bench(*f.bench); err != nil {
				return o, err
			}
		}
	}
	meter := f.Changed("meter-percent") || f.Changed("meter-ohms")
	if meter != f.Changed("temperature-uncertainty") {
		return o, f.wrong("the accuracies go together: say --meter-percent or --meter-ohms or both, and --temperature-uncertainty")
	}
	o.Instruments = func(bench string) (r20.Inputs, bool) {
		b, known := benches[bench]
		return f.instruments(b, known)
	}
	return o, nil
}

// instruments is what is known of the instruments of a bench; flags go before
// the configuration.
func (f importFlags) instruments(b config.Bench, known bool) (in r20.Inputs, accurate bool) {
	in.CorrectionRatio = *f.correctionPercent / 100
	if known {
		in.LeadOhms, in.LeadHalfWidthOhms, in.ResolutionOhms = b.Meter.LeadOhms, b.Meter.LeadHalfWidthOhms, b.Meter.ResolutionOhms
	}
	if f.Changed("lead-ohms") {
		in.LeadOhms, in.LeadHalfWidthOhms = *f.leadOhms, math.Abs(*f.leadOhms)/10
	}
	if f.Changed("temperature-uncertainty") {
		in.MeterPercent, in.MeterOhms, in.ProbeHalfWidthKelvin = *f.meterPercent, *f.meterOhms, *f.temperatureUncertainty
		return in, true
	}
	if !known || b.Probe == nil {
		return in, false
	}
	in.MeterPercent, in.MeterOhms = b.Meter.Accuracy.Percent, b.Meter.Accuracy.Ohms
	in.ProbeHalfWidthKelvin, in.CoilDifferenceHalfWidthKelvin = b.Probe.Accuracy.Kelvin, b.Probe.CoilDifferenceKelvin
	unwatched := capture.Settings{Arrive: b.Arrive, TimeConstant: b.Steady.TimeConstant}
	return unwatched.Unwatched(in), true
}

func runImport(ctx context.Context, env *environment, args []string) (err error) {
	flags := newImportFlags()
	if err := flags.parse(env, args, 1, 1); err != nil {
		return err
	}
	isCSV, err := flags.isCSV()
	if err != nil {
		return err
	}
	var options history.CSVOptions
	if isCSV {
		if options, err = flags.csvOptions(); err != nil {
			return err
		}
	}
	input := env.stdin
	if name := flags.Arg(0); name != "-" {
		file, err := os.Open(name)
		if err != nil {
			return fmt.Errorf("import: %w", err)
		}
		defer file.Close()
		input = file
	}
	return flags.create(ctx, env, func(store *history.Store) error {
		var added history.Imported
		if isCSV {
			added, err = store.ImportCSV(ctx, input, options)
		} else {
			added, err = store.Import(ctx, input)
		}
		if err != nil {
			return err
		}
		if *flags.json {
			return printJSON(env.stdout, added)
		}
		return printImported(env.stdout, store.Path(), added, isCSV)
	})
}

func printImported(w io.Writer, path string, added history.Imported, isCSV bool) error {
	pairs := []string{"Imported into", path}
	if isCSV { // which holds no records but these
		pairs = append(pairs,
			"Measurements, typed", strconv.Itoa(added.Measurements),
			"Batches", strconv.Itoa(added.Batches),
			"Numbered anew in their batch", strconv.Itoa(added.Renumbered),
			"Left out, void or superseded", strconv.Itoa(added.LeftOut))
	} else {
		for _, c := range added.Added() {
			pairs = append(pairs, c.Kind, strconv.Itoa(c.Records))
		}
	}
	return facts(w, append(pairs, "Known already", strconv.Itoa(added.Known))...)
}
