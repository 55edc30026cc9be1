package main

import (
	"encoding/csv"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"coilkeep/internal/conformity"
	"coilkeep/internal/copper"
	"coilkeep/internal/history"
	"coilkeep/internal/r20"
	"coilkeep/internal/record"
)

// testShop is a folder with a configuration of one bench, north.
type testShop struct {
	folder, config, history string
}

func newWorkshop(t *testing.T) testShop {
	t.Helper()
	folder := t.TempDir()
	w := testShop{folder, filepath.Join(folder, "workshop.toml"), filepath.Join(folder, "coils.db")}
	text := `
history.path = "coils.db"
[[bench]]
name = "north"
serials = "HN-%04d"
meter = { driver = "manual", accuracy = { percent = 0.05, ohms = 0.3 } }
probe = { driver = "manual", accuracy = { kelvin = 0.3 } }
`
	if err := os.WriteFile(w.config, []byte(text), 0o644); err != nil {
		t.Fatal(err)
	}
	return w
}

// ok runs a command line on the workshop's configuration.
func (w testShop) ok(t *testing.T, args ...string) string {
	t.Helper()
	return ok(t, append(args, "--config", w.config)...)
}

// refused runs a command line that must fail and returns its complaint.
func (w testShop) refused(t *testing.T, code int, args ...string) string {
	t.Helper()
	got := start(t, append(args, "--config", w.config)...)
	if got.code != code {
		t.Fatalf("coilkeep %s: exit %d, want %d\n%s%s", strings.Join(args, " "), got.code, code, got.stdout, got.stderr)
	}
	return got.stderr
}

var anyID = regexp.MustCompile(`[0-9a-f]{8}(-[0-9a-f]{4}){3}-[0-9a-f]{12}`)

// golden compares what changes from run to run under fixed names.
func (w testShop) golden(t *testing.T, name, got string) {
	t.Helper()
	got = anyID.ReplaceAllString(strings.ReplaceAll(got, w.folder, "FOLDER"), "ID")
	golden(t, filepath.Join("records", name), filepath.ToSlash(got))
}

// fill adds a design, opens a batch, and measures coils of the given
// resistances in it, one a minute.
func (w testShop) fill(t *testing.T, resistancesOhms ...float64) {
	t.Helper()
	w.ok(t, "design", "add", "larkspur", "--target", "6.69k", "--tolerance", "5", "--gauge", "42", "--who", "Mira")
	w.ok(t, "batch", "start", "spring-3", "--design", "larkspur", "--spool", "S-17", "--winder", "W2", "--operator", "Jo", "--who", "Mira")
	store, err := history.Open(t.Context(), w.history, history.Options{})
	if err != nil {
		t.Fatal(err)
	}
	defer store.Close()
	for i, resistanceOhms := range resistancesOhms {
		serial, err := store.NextSerial(t.Context(), "HN-%04d")
		if err != nil {
			t.Fatal(err)
		}
		if _, err := store.Record(t.Context(), typed(t, serial, resistanceOhms, noon.Add(time.Duration(i)*time.Minute)), nil); err != nil {
			t.Fatal(err)
		}
	}
}

// typed is a measurement typed in at the bench of the workshop.
func typed(t *testing.T, serial string, resistanceOhms float64, at time.Time) record.Measurement {
	t.Helper()
	in := r20.Inputs{ResistanceOhms: resistanceOhms, Readings: 1, ResolutionOhms: 1, MeterPercent: 0.05, MeterOhms: 0.3,
		TemperatureCelsius: 21.4, ProbeHalfWidthKelvin: 0.3, CoilDifferenceHalfWidthKelvin: 0.5,
		AlphaPerKelvin: float64(copper.Standard), AlphaStandardUncertaintyPerKelvin: copper.StandardUncertaintyPerKelvin}
	result, err := r20.Evaluate(in)
	if err != nil {
		t.Fatal(err)
	}
	tolerance := conformity.Tolerance{LowerOhms: 6690 * (1 - 5.0/100), UpperOhms: 6690 * (1 + 5.0/100), GuardFactor: 1}
	judged, err := conformity.Judge(result.R20Ohms, result.StandardUncertaintyOhms, result.ExpandedUncertaintyOhms, tolerance)
	if err != nil {
		t.Fatal(err)
	}
	return record.Measurement{
		Time: at, Bench: "north", Batch: "spring-3", Design: "larkspur", DesignRevision: 1, Serial: serial,
		ResistanceOhms: resistanceOhms, TemperatureCelsius: in.TemperatureCelsius, R20Ohms: result.R20Ohms,
		ExpandedUncertaintyOhms: result.ExpandedUncertaintyOhms, CoverageFactor: result.CoverageFactor,
		Verdict: judged.Verdict, ConformityProbability: judged.Probability, Status: record.Manual,
		Spool: "S-17", Winder: "W2", Operator: "Jo", Meter: "manual", Probe: "manual", Stage: record.StageWound,
		AlphaPerKelvin: in.AlphaPerKelvin, Formula: r20.Formula, Inputs: in, Tolerance: tolerance, Budget: result.Budget,
	}
}

func TestDesigns(t *testing.T) {
	w := newWorkshop(t)
	added := w.ok(t, "design", "add", "larkspur", "--target", "6.69k", "--tolerance", "5", "--gauge", "42", "--turns", "7000",
		"--straight-mm", "58", "--core-radius-mm", "2.5", "--build-mm", "3.5", "--time-constant", "8m", "--note", "bridge", "--who", "Mira")
	w.golden(t, "design-add.txt", added)
	w.ok(t, "design", "add", "tern", "--target", "8.2k", "--lower", "7.8k", "--upper", "8.5k", "--conductivity", "98", "--guard", "0")
	w.golden(t, "design-list.txt", w.ok(t, "design", "list"))
	var wanted record.Design
	w.ok(t, "design", "add", "wren", "--target", "7k", "--tolerance", "3", "--wanted-uncertainty-percent", "0.3")
	w.golden(t, "design-wanted.txt", w.ok(t, "design", "show", "wren"))
	w.ok(t, "design", "revise", "wren", "--wanted-uncertainty-percent", "0.4%")
	if fromJSON(t, w.ok(t, "design", "show", "wren", "--json"), &wanted); wanted.WantedUncertaintyPercent != 0.4 {
		t.Errorf("wanted %g %%, want 0.4", wanted.WantedUncertaintyPercent)
	}

	// A moved target takes a symmetrical tolerance along, and nothing else.
	w.golden(t, "design-revise.txt", w.ok(t, "design", "revise", "larkspur", "--target", "6.6k"))
	var first, second record.Design
	fromJSON(t, w.ok(t, "design", "show", "larkspur", "--revision", "1", "--json"), &first)
	fromJSON(t, w.ok(t, "design", "show", "larkspur", "--json"), &second)
	if first.TargetOhms != 6690 || second.TargetOhms != 6600 || second.Revision != 2 || second.Turns != 7000 ||
		second.AlphaPerKelvin != first.AlphaPerKelvin {
		t.Errorf("first %+v\nsecond %+v", first, second)
	}
	if !first.CreatedAt.Equal(noon) {
		t.Errorf("created at %v, want %v", first.CreatedAt, noon)
	}

	var complaints strings.Builder
	for _, args := range [][]string{
		{"design", "add", "heron", "--tolerance", "5"},
		{"design", "add", "heron", "--target", "6.69k"},
		{"design", "add", "heron", "--target", "many", "--tolerance", "5"},
		{"design", "add", "heron", "--target", "6.69k", "--tolerance", "5", "--lower", "6k"},
		{"design", "add", "heron", "--target", "6.69k", "--tolerance", "500"},
		{"design", "add", "heron", "--target", "6.69k", "--tolerance", "5", "--time-constant", "soon"},
		{"design", "add", "heron", "--target", "6.69k", "--tolerance", "5", "--conductivity", "0.98"},
		{"design", "add", "heron", "--target", "6.69k", "--lower", "7k", "--upper", "8k"},
		{"design", "revise", "tern", "--target", "8.3k"},
	} {
		complaints.WriteString(w.refused(t, exitUsage, args...))
	}
	for _, args := range [][]string{
		{"design", "add", "larkspur", "--target", "6.69k", "--tolerance", "5"},
		{"design", "show", "heron"},
		{"design", "revise", "heron", "--turns", "1"},
	} {
		complaints.WriteString(w.refused(t, exitFault, args...))
	}
	w.golden(t, "design-refused.txt", complaints.String())
}

func TestBatches(t *testing.T) {
	w := newWorkshop(t)
	if got := w.refused(t, exitFault, "batch", "list"); !strings.Contains(got, "no history file") {
		t.Errorf("reading a database that is not there: %s", got)
	}
	w.fill(t, 6650, 6712, 7400)
	w.golden(t, "batch-list.txt", w.ok(t, "batch", "list"))
	w.golden(t, "batch-spool.txt", w.ok(t, "batch", "spool", "S-18", "--who", "Mira"))
	w.golden(t, "batch-show.txt", w.ok(t, "batch", "show", "spring-3"))
	var shown batchView
	fromJSON(t, w.ok(t, "batch", "show", "spring-3", "--json"), &shown)
	if len(shown.Measurements) != 3 || shown.Measurements[2].Verdict != conformity.High || shown.Spool() != "S-18" {
		t.Errorf("batch as JSON: %+v", shown)
	}
	w.golden(t, "batch-close.txt", w.ok(t, "batch", "close", "--who", "Mira"))
	w.golden(t, "batch-none-open.txt", w.ok(t, "batch", "list", "--open"))

	var complaints strings.Builder
	for _, args := range [][]string{
		{"batch", "start"},
		{"batch", "start", "--design", "larkspur", "--bench", "nroth"},
		{"batch", "close", "spring-3", "--bench", "north"},
	} {
		complaints.WriteString(w.refused(t, exitUsage, args...))
	}
	for _, args := range [][]string{
		{"batch", "close"},
		{"batch", "close", "spring-3"},
		{"batch", "start", "--design", "heron"},
		{"batch", "start", "spring-3", "--design", "larkspur"},
		{"batch", "spool", "S-19", "--batch", "spring-3"},
	} {
		complaints.WriteString(w.refused(t, exitFault, args...))
	}
	w.golden(t, "batch-refused.txt", complaints.String())

	// Without a name a batch is called after the day and its design.
	if got := w.ok(t, "batch", "start", "--design", "larkspur"); !strings.Contains(got, "2026-03-14 larkspur") {
		t.Errorf("a batch without a name:\n%s", got)
	}
}

func TestCoils(t *testing.T) {
	w := newWorkshop(t)
	w.fill(t, 6650, 6712, 7400)
	w.golden(t, "coil-list.txt", w.ok(t, "coil", "list"))
	w.golden(t, "coil-list-latest.txt", w.ok(t, "coil", "list", "--limit", "2", "--from", "2026-03-14 14:00", "--to", "2026-03-14 15:00"))
	w.golden(t, "coil-list-none.txt", w.ok(t, "coil", "list", "--from", "2026-03-15"))
	w.golden(t, "coil-show.txt", w.ok(t, "coil", "show", "HN-0002"))

	var coil record.Coil
	fromJSON(t, w.ok(t, "coil", "show", "HN-0002", "--json"), &coil)
	id := coil.Measurements[0].ID
	w.golden(t, "coil-void.txt", w.ok(t, "coil", "void", "HN-0002", "--reason", "clip on the wrong wire", "--who", "Mira"))
	fromJSON(t, w.ok(t, "coil", "show", "HN-0002", "--json"), &coil)
	if m := coil.Measurements[0]; m.ID != id || m.Status != record.Void || m.Reason != "clip on the wrong wire" {
		t.Errorf("after voiding: %+v", m)
	}
	w.golden(t, "journal.txt", w.ok(t, "journal"))

	var complaints strings.Builder
	for _, args := range [][]string{
		{"coil", "void", "HN-0001"},
		{"coil", "list", "--from", "yesterday"},
		{"coil", "list", "--limit", "0"},
		{"journal", "--limit", "-1"},
	} {
		complaints.WriteString(w.refused(t, exitUsage, args...))
	}
	for _, args := range [][]string{
		{"coil", "show", "HN-9999"},
		{"coil", "void", "HN-0002", "--reason", "again"},
		{"coil", "void", "HN-0001", "--reason", "mistaken", "--id", "0199e4c2-7d1a-7c33-9f0e-3f6f0c1b2a4d"},
	} {
		complaints.WriteString(w.refused(t, exitFault, args...))
	}
	w.golden(t, "coil-refused.txt", complaints.String())
}

func TestInstruments(t *testing.T) {
	w := newWorkshop(t)
	w.ok(t, "design", "add", "larkspur", "--target", "6.69k", "--tolerance", "5")
	w.golden(t, "instrument-none.txt", w.ok(t, "instrument", "list"))
	w.golden(t, "instrument-calibrate.txt", w.ok(t, "instrument", "calibrate", "--role", "meter", "--certificate", "K-118",
		"--due", "2027-03-01", "--correction-percent", "-0.012", "--who", "Mira"))
	w.golden(t, "instrument-check.txt", w.ok(t, "instrument", "check-standard", "--standard", "box-10k", "--nominal", "10k",
		"--measured", "10.002k", "--at", "21.4", "--who", "Mira"))
	w.golden(t, "instrument-list.txt", w.ok(t, "instrument", "list"))
	var known instrumentsView
	fromJSON(t, w.ok(t, "instrument", "list", "--json"), &known)
	if len(known.Calibrations) != 1 || known.Calibrations[0].CorrectionRatio != -0.00012 || len(known.CheckMeasurements) != 1 {
		t.Errorf("as JSON: %+v", known)
	}

	var complaints strings.Builder
	for _, args := range [][]string{
		{"instrument", "calibrate", "--due", "soon"},
		{"instrument", "calibrate", "--role", "probe", "--correction-percent", "1"},
		{"instrument", "check-standard", "--standard", "box-10k", "--nominal", "10k"},
		{"instrument", "check-standard", "--standard", "box-10k", "--nominal", "10k", "--measured", "10k", "--at", "warm"},
	} {
		complaints.WriteString(w.refused(t, exitUsage, args...))
	}
	complaints.WriteString(w.refused(t, exitFault, "instrument", "calibrate", "--role", "clip"))
	w.golden(t, "instrument-refused.txt", complaints.String())
}

func TestDatabaseOutAndBack(t *testing.T) {
	w := newWorkshop(t)
	w.fill(t, 6650, 6712, 7400)
	w.golden(t, "verify.txt", w.ok(t, "verify"))

	csv := w.ok(t, "export")
	if lines := strings.Count(csv, "\n"); lines != 4 || !strings.HasPrefix(csv, "id,time,bench,batch,sequence,") {
		t.Errorf("a CSV of %d lines:\n%s", lines, csv)
	}
	file := filepath.Join(w.folder, "all.jsonl")
	w.ok(t, "export", "--format", "jsonl", "--output", file)
	w.golden(t, "export-refused.txt", w.refused(t, exitFault, "export", "--output", file)+
		w.refused(t, exitUsage, "export", "--format", "xml"))
	w.ok(t, "export", "--format", "jsonl", "--output", file, "--overwrite")
	if left, err := filepath.Glob(filepath.Join(w.folder, "*.part-*")); err != nil || len(left) > 0 {
		t.Errorf("left behind: %v, %v", left, err)
	}

	other := filepath.Join(w.folder, "other.db")
	w.golden(t, "import.txt", ok(t, "import", file, "--history", other))
	if got := ok(t, "export", "--history", other); got != csv {
		t.Errorf("the import exports as\n%s\nwant\n%s", got, csv)
	}

	backup := filepath.Join(w.folder, "backup.db")
	w.golden(t, "backup.txt", w.ok(t, "backup", backup))
	w.golden(t, "backup-refused.txt", w.refused(t, exitFault, "backup", backup))
	w.ok(t, "coil", "void", "HN-0001", "--reason", "after the backup")
	if got := w.ok(t, "restore", backup); !strings.Contains(got, "with 3 measurements") || !strings.Contains(got, "Kept") {
		t.Errorf("restore said\n%s", got)
	}
	if got := w.ok(t, "export"); got != csv {
		t.Errorf("restored, it exports as\n%s\nwant\n%s", got, csv)
	}
	got := w.refused(t, exitFault, "restore", w.config)
	if !strings.Contains(got, "damaged") && !strings.Contains(got, "not a history") {
		t.Errorf("restoring a text file: %s", got)
	}
}

// Coils of a spreadsheet from before the workshop had this program, and an
// export that is brought back, through the command line.
func TestImportCSV(t *testing.T) {
	w := newWorkshop(t)
	w.ok(t, "design", "add", "larkspur", "--target", "6.69k", "--tolerance", "5", "--who", "Mira")
	write := func(name, text string) string {
		path := filepath.Join(w.folder, name)
		if err := os.WriteFile(path, []byte(text), 0o644); err != nil {
			t.Fatal(err)
		}
		return path
	}
	const header = "serial,time,resistance_ohms,temperature_celsius,batch,status\n"
	old := write("Old.CSV", header+"A-1,2019-05-02T16:20:00Z,6701,21.5,May 2019,\nA-2,2019-05-02T16:30:00Z,7402,21.5,May "+
		"2019,\nA-3,2019-05-02T16:40:00Z,120,21.5,May 2019,void\n")

	var complaints strings.Builder
	for _, args := range [][]string{
		{"import", old, "--format", "xml"},
		{"import", old, "--bench", "nroth"},
		{"import", old, "--meter-percent", "0.8"},
		{"import", "all.jsonl", "--lead-ohms", "0.2"},
	} {
		complaints.WriteString(w.refused(t, exitUsage, args...))
	}
	for _, args := range [][]string{
		{"import", old},
		{"import", old, "--design", "larkspurr"},
		{"import", write("bad.csv", header+"A-1,yesterday,6701,21.5,,\n"), "--design", "larkspur"},
	} {
		complaints.WriteString(strings.ReplaceAll(w.refused(t, exitFault, args...), w.history, "coils.db"))
	}
	w.golden(t, "import-csv-refused.txt", complaints.String())

	w.golden(t, "import-csv.txt", w.ok(t, "import", old, "--design", "larkspur", "--lead-ohms", "0.5"))
	var counts history.Imported
	fromJSON(t, w.ok(t, "import", old, "--design", "larkspur", "--json"), &counts)
	if counts != (history.Imported{Known: 2, LeftOut: 1}) {
		t.Errorf("again: %+v", counts)
	}
	w.golden(t, "import-csv-verify.txt", w.ok(t, "verify"))
	w.golden(t, "import-csv-coil.txt", w.ok(t, "coil", "show", "A-2"))

	// A spreadsheet writes no zones.
	zoned := filepath.Join(w.folder, "zoned.db")
	ok(t, "design", "add", "larkspur", "--target", "6.69k", "--tolerance", "5%", "--history", zoned)
	ok(t, "import", write("sheet.csv", header+"B-1,2019-07-02 16:20,6701,21.5,,\n"), "--design", "larkspur", "--bench", "attic",
		"--meter-percent", "0.8%", "--meter-ohms", "2", "--temperature-uncertainty", "1", "--zone", "Europe/Vienna", "--history", zoned)
	if got := ok(t, "export", "--history", zoned); !strings.Contains(got, "2019-07-02T14:20:00") {
		t.Errorf("16:20 in Vienna is exported as\n%s", got)
	}

	// Brought back into a history that has the design, from the standard input,
	// the numbers are those of the export: also U, and k.
	exported := w.ok(t, "export")
	other := filepath.Join(w.folder, "other.db")
	ok(t, "design", "add", "larkspur", "--target", "6.69k", "--tolerance", "5", "--history", other)
	bringBack := []string{"import", "-", "--history", other, "--format", "csv"}
	if got := startWith(t, exported, bringBack...); got.code != exitFault || !strings.Contains(got.stderr, "column r20_ohms: the file says") {
		t.Errorf("without the leads: exit %d\n%s", got.code, got.stderr)
	}
	if got := startWith(t, exported, append(bringBack, "--lead-ohms", "0.5")...); got.code != exitOK {
		t.Fatalf("exit %d\n%s", got.code, got.stderr)
	}
	ok(t, "verify", "--history", other)
	want, got := numbersOf(t, exported), numbersOf(t, ok(t, "export", "--history", other))
	if len(want) != 2 || !slices.Equal(got, want) {
		t.Errorf("it exports as\n%s\nwant\n%s", got, want)
	}
}

// numbersOf gives the rows of a CSV export without the reason, which says
// where a row came from, and with the probability to nine digits.
func numbersOf(t *testing.T, text string) (list []string) {
	t.Helper()
	table, err := csv.NewReader(strings.NewReader(text)).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	reason, probability := slices.Index(table[0], "reason"), slices.Index(table[0], "conformity_probability")
	for _, row := range table[1:] {
		p, err := strconv.ParseFloat(row[probability], 64)
		if err != nil {
			t.Fatal(err)
		}
		row[reason], row[probability] = "", strconv.FormatFloat(p, 'f', 9, 64)
		list = append(list, strings.Join(row, ","))
	}
	return list
}

func TestVerifyFindsDamage(t *testing.T) {
	w := newWorkshop(t)
	if err := os.WriteFile(w.history, []byte(strings.Repeat("no database", 1000)), 0o644); err != nil {
		t.Fatal(err)
	}
	got := w.refused(t, exitFault, "verify")
	if !strings.Contains(got, "damaged or not a history") || strings.Contains(got, "goroutine") {
		t.Errorf("verify of garbage: %s", got)
	}
}

func TestBadConfigurationIsSaidLineByLine(t *testing.T) {
	w := newWorkshop(t)
	if err := os.WriteFile(w.config, []byte("[history]\npth = \"a.db\"\n[[bench]]\nname = \"north\"\n"), 0o644); err != nil {
		t.Fatal(err)
	}
	w.golden(t, "bad-configuration.txt", w.refused(t, exitFault, "design", "list"))
}
