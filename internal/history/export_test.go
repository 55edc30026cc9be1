package history

import (
	"bytes"
	"encoding/csv"
	"errors"
	"fmt"
	"reflect"
	"strings"
	"testing"
	"time"

	"coilkeep/internal/record"
)

// busyWorkshop has something of everything: revisions, a closed and an open
// batch, spools, stages, a void, a superseded and a forced measurement,
// calibrations, check measurements, a coil measured longer, coils that were not
// recorded, soaks, a cooling curve and a journal.
func busyWorkshop(t testing.TB) *Store {
	t.Helper()
	s := workshop(t)
	revised := wren()
	revised.Bobbin, revised.Note = nil, "tighter"
	revised.TimeConstantSeconds, revised.TimeConstantRatio, revised.QuickShare, revised.QuickShareDeviation = 444, 0.1, 0.2, 0.05
	revised.WantedUncertaintyPercent = 0.3
	must(t)(s.ReviseDesign(t.Context(), revised, "ada"))
	first := recordCoil(t, s, "HN-0001")
	recordCoil(t, s, "HN-0001", func(m *record.Measurement) { m.Supersedes, m.Status, m.Reason = first.ID, record.Forced, "fingers" })
	must(t)(s.ChangeSpool(t.Context(), "B-1", "S-18", "ada"))
	second := recordCoil(t, s, "HN-0002", func(m *record.Measurement) { m.Spool, m.Notes = "S-18", nil })
	must(t)(s.Void(t.Context(), second.ID, "wrong coil,\n\"mixed up\"", "grace"))
	recordCoil(t, s, "HN-0002")
	recordCoil(t, s, "HN-0001", func(m *record.Measurement) { m.Stage, m.Batch = record.StagePotted, "" })
	must(t)(s.CloseBatch(t.Context(), "B-1", "ada"))
	must(t)(s.OpenBatch(t.Context(), record.BatchStart{Name: "B-2", Bench: "north", Design: "wren", Who: "ada"}))
	third := recordCoil(t, s, "HN-0003", func(m *record.Measurement) {
		m.Batch, m.DesignRevision, m.Settings, m.Context, m.Time = "B-2", 2, nil, nil, m.Time.Add(time.Hour)
	})
	celsius := 21.5
	must(t)(s.AddCalibration(t.Context(), record.Calibration{Bench: "north", Role: record.Meter, Instrument: "PM-6",
		DueAt: firstInstant.AddDate(1, 0, 0), CorrectionRatio: 0.0002}))
	must(t)(s.AddCalibration(t.Context(), record.Calibration{Bench: "north", Role: record.Probe}))
	must(t)(s.AddCheckMeasurement(t.Context(), record.CheckMeasurement{Bench: "north", Standard: "R6k8", NominalOhms: 6800,
		MeasuredOhms: 6801, TemperatureCelsius: &celsius}))
	must(t)(s.AddLeadZero(t.Context(), record.LeadZero{Bench: "north", Meter: "PM-6", Ohms: 0.25, HalfWidthOhms: 0.05, Readings: 10,
		By: "ada"}))
	must(t)(s.AddBaseline(t.Context(), steadyBaseline()))
	must(t)(s.AddAssembly(t.Context(), record.Assembly{Serial: "HN-A1", First: "HN-0001", Second: "HN-0002", Note: "for the long neck",
		By: "ada"}, false))
	must(t)(s.AddStudyReading(t.Context(), studyReading("coil 1", "ada")))
	must(t)(s.AddCoolingCurve(t.Context(), coolingCurve("HN-0002")))
	must(t)(s.AddSoak(t.Context(), record.Soak{Bench: "north", Serial: "HN-0004", Who: "ada"}))
	must(t)(s.AddSoak(t.Context(), record.Soak{Bench: "north", Batch: "B-2"}))
	must(t)(s.AddUnrecorded(t.Context(), lost("HN-0003")))
	recordCoil(t, s, "HN-0003", func(m *record.Measurement) {
		m.Batch, m.DesignRevision, m.Supersedes, m.Reason = "B-2", 2, third.ID, record.MeasuredLonger
	})
	dismissed, err := s.AddUnrecorded(t.Context(), lost("HN-0005"))
	must(t)(dismissed, err)
	must(t)(s.Dismiss(t.Context(), dismissed.ID, "ada"))
	must(t)(s.AddUnrecorded(t.Context(), lost("")))
	must(t)(s.AddComparison(t.Context(), compared(t, s, "HN-0001", 6280)))
	return s
}

func export(t testing.TB, s *Store, format string, f record.Filter) string {
	t.Helper()
	var out bytes.Buffer
	if err := s.Export(t.Context(), &out, format, f); err != nil {
		t.Fatal(err)
	}
	return out.String()
}

// The columns are those of the JSON of a measurement, in their order.
func TestCSVColumns(t *testing.T) {
	t.Parallel()
	const contract = "id,time,bench,batch,sequence,design,design_revision,serial,resistance_ohms,temperature_celsius,r20_ohms," +
		"expanded_uncertainty_ohms,coverage_factor,verdict,conformity_probability,status,reason,spool,winder,operator,meter,probe,stage," +
		"alpha_per_kelvin"
	s := workshop(t)
	if got := export(t, s, record.CSV, record.Filter{}); got != contract+"\r\n" {
		t.Errorf("header\n%s\nwant\n%s", got, contract)
	}
	var names []string
	fields := reflect.TypeFor[record.Measurement]()
	for i := range len(csvColumns) {
		names = append(names, fields.Field(i).Tag.Get("json"))
	}
	if got := strings.Join(names, ","); got != contract {
		t.Errorf("JSON names\n%s\nwant\n%s", got, contract)
	}
}

func TestCSV(t *testing.T) {
	t.Parallel()
	s := busyWorkshop(t)
	table, err := csv.NewReader(strings.NewReader(export(t, s, record.CSV, record.Filter{Batch: "B-1"}))).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	var got []string
	for _, row := range table[1:] {
		got = append(got, strings.Join([]string{row[1], row[4], row[7], row[8], row[13], row[15], row[16], row[17]}, "|"))
	}
	want := []string{
		"2026-03-02T08:00:00.000000Z|1|HN-0001|6690|in|superseded|measured again: fingers|S-17",
		"2026-03-02T08:00:00.000000Z|1|HN-0001|6690|in|forced|fingers|S-17",
		"2026-03-02T08:00:00.000000Z|2|HN-0002|6690|in|void|wrong coil,\n\"mixed up\"|S-18",
		"2026-03-02T08:00:00.000000Z|2|HN-0002|6690|in|recorded||S-17",
	}
	if !reflect.DeepEqual(got, want) {
		t.Errorf("got\n%s\nwant\n%s", strings.Join(got, "\n"), strings.Join(want, "\n"))
	}
}

// A text that a spreadsheet would run gets an apostrophe; numbers never do.
func TestCSVIsSafe(t *testing.T) {
	t.Parallel()
	s := workshop(t)
	recordCoil(t, s, "=HYPERLINK(1)", func(m *record.Measurement) {
		m.Spool, m.Winder, m.Operator, m.Meter, m.Probe, m.Reason = "+S", "-W", "@ada", "=M", "=P", "=R"
		m.TemperatureCelsius = -3.5
		m.Inputs.TemperatureCelsius = -3.5
	})
	table, err := csv.NewReader(strings.NewReader(export(t, s, record.CSV, record.Filter{}))).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	for i, cell := range table[1] {
		if table[0][i] == "temperature_celsius" {
			if cell != "-3.5" {
				t.Errorf("temperature is %q, want -3.5", cell)
			}
		} else if cell != "" && strings.ContainsAny(cell[:1], "=+-@") {
			t.Errorf("column %s can run: %q", table[0][i], cell)
		}
	}
}

func TestExportRefuses(t *testing.T) {
	t.Parallel()
	s := workshop(t)
	for _, err := range []error{
		s.Export(t.Context(), &bytes.Buffer{}, "xlsx", record.Filter{}),
		s.Export(t.Context(), &bytes.Buffer{}, record.CSV, record.Filter{Limit: 3}),
		s.Export(t.Context(), &bytes.Buffer{}, record.JSONL, record.Filter{Newest: true}),
	} {
		if !errors.Is(err, record.ErrInvalid) {
			t.Errorf("error %v, want ErrInvalid", err)
		}
	}
	recordCoil(t, s, "HN-0001")
	for _, format := range []string{record.CSV, record.JSONL} {
		if err := s.Export(t.Context(), brokenPipe{}, format, record.Filter{}); !errors.Is(err, errPipe) {
			t.Errorf("%s to a broken pipe: %v", format, err)
		}
	}
}

var errPipe = errors.New("broken pipe")

type brokenPipe struct{}

func (brokenPipe) Write([]byte) (int, error) { return 0, errPipe }

// What an import makes of an export gives the very same export again, but for
// the time of the export and the import's own journal entry.
func TestImportRestoresEverything(t *testing.T) {
	t.Parallel()
	s := busyWorkshop(t)
	file := export(t, s, record.JSONL, record.Filter{})
	fresh := newStore(t)
	counts, err := fresh.Import(t.Context(), strings.NewReader(file))
	if err != nil {
		t.Fatal(err)
	}
	want := Imported{Designs: 2, Batches: 2, Measurements: 7, Calibrations: 2, CheckMeasurements: 1, LeadZeros: 1, Assemblies: 1,
		Comparisons: 1, Baselines: 1, StudyReadings: 1,
		CoolingCurves: 1, Soaks: 2, Unrecorded: 3, Journal: 21}
	if counts != want {
		t.Errorf("imported %+v, want %+v", counts, want)
	}
	if got := export(t, fresh, record.JSONL, record.Filter{}); body(got, `"action":"import"`) != body(file, "") {
		t.Errorf("exported again\n%s\nwant\n%s", body(got, `"action":"import"`), body(file, ""))
	}
	for _, table := range tableNames(t, s) {
		if table == "journal" || table == "backups" {
			continue
		}
		if got, want := count(t, fresh, `SELECT COUNT(*) FROM `+table), count(t, s, `SELECT COUNT(*) FROM `+table); got != want {
			t.Errorf("%s has %d rows, want %d", table, got, want)
		}
	}
	verifies(t, fresh)

	again, err := fresh.Import(t.Context(), strings.NewReader(file))
	if want := (Imported{Known: 46}); err != nil || again != want {
		t.Errorf("imported again: %+v, %v; want %+v", again, err, want)
	}
}

// body is an export without its first and last line, and without lines that
// hold a text.
func body(file, without string) string {
	var kept []string
	all := strings.Split(strings.TrimSpace(file), "\n")
	for _, l := range all[1 : len(all)-1] {
		if without == "" || !strings.Contains(l, without) {
			kept = append(kept, l)
		}
	}
	return strings.Join(kept, "\n")
}

// A part of a history can be imported by itself, and the rest later.
func TestImportInParts(t *testing.T) {
	t.Parallel()
	s := busyWorkshop(t)
	fresh := newStore(t)
	for _, f := range []record.Filter{{Batch: "B-2"}, {Serial: "HN-0001"}, {Serial: "HN-0002"}, {}} {
		if _, err := fresh.Import(t.Context(), strings.NewReader(export(t, s, record.JSONL, f))); err != nil {
			t.Errorf("%+v: %v", f, err)
		}
	}
	verifies(t, fresh)
	if got, want := count(t, fresh, `SELECT COUNT(*) FROM measurements`), 7; got != want {
		t.Errorf("%d measurements, want %d", got, want)
	}
}

// What happened to known records since is added: spools, the closing of a
// batch, voids and replacements.
func TestImportCatchesUp(t *testing.T) {
	t.Parallel()
	s := workshop(t)
	one := recordCoil(t, s, "HN-0001")
	two := recordCoil(t, s, "HN-0002")
	fresh := newStore(t)
	must(t)(fresh.Import(t.Context(), strings.NewReader(export(t, s, record.JSONL, record.Filter{}))))
	must(t)(s.Void(t.Context(), one.ID, "fingers", "ada"))
	recordCoil(t, s, "HN-0002", func(m *record.Measurement) { m.Supersedes = two.ID })
	must(t)(s.ChangeSpool(t.Context(), "B-1", "S-18", "ada"))
	must(t)(s.CloseBatch(t.Context(), "B-1", "ada"))
	file := export(t, s, record.JSONL, record.Filter{})
	counts, err := fresh.Import(t.Context(), strings.NewReader(file))
	if want := (Imported{Measurements: 1, Journal: 4, Changed: 3, Known: 3}); err != nil || counts != want {
		t.Errorf("imported %+v, %v; want %+v", counts, err, want)
	}
	if got := export(t, fresh, record.JSONL, record.Filter{Batch: "B-1"}); body(got,
		"") != body(export(t, s, record.JSONL, record.Filter{Batch: "B-1"}), "") {
		t.Errorf("not the same after catching up:\n%s", got)
	}
	verifies(t, fresh)
}

// A bad line is named, and nothing of the file is applied.
func TestImportRefuses(t *testing.T) {
	t.Parallel()
	s := busyWorkshop(t)
	good := strings.Split(strings.TrimSpace(export(t, s, record.JSONL, record.Filter{})), "\n")
	first := func(kind string) int {
		for i, l := range good {
			if strings.HasPrefix(l, `{"type":"`+kind+`"`) {
				return i
			}
		}
		t.Fatalf("no line of type %s", kind)
		return 0
	}
	replace := func(kind, old, new string) func([]string) []string {
		return func(lines []string) []string {
			i := first(kind)
			if !strings.Contains(lines[i], old) {
				t.Fatalf("no %s in %s", old, lines[i])
			}
			lines[i] = strings.Replace(lines[i], old, new, 1)
			return lines
		}
	}
	line := func(kind string) string { return fmt.Sprintf("line %d:", first(kind)+1) }
	last := len(good)
	for _, c := range []struct {
		name   string
		change func([]string) []string
		want   string
	}{
		{"nothing", func([]string) []string { return nil }, "line 1:"},
		{"not from its beginning", func(l []string) []string { return l[1:] }, "line 1:"},
		{"cut short", func(l []string) []string { return l[:last-1] }, "end is missing"},
		{"cut within a line", func(l []string) []string { l[last-2] = l[last-2][:20]; return l[:last-1] }, fmt.Sprintf("line %d:", last-1)},
		{"a line lost", func(l []string) []string { return append(l[:last-2], l[last-1]) }, "some are lost"},
		{"something after the end", func(l []string) []string { return append(l, l[1]) }, fmt.Sprintf("line %d:", last+1)},
		{"a blank line", func(l []string) []string { l[2] = ""; return l }, "line 3:"},
		{"newer version", replace("history", `"version":1`, `"version":2`), "line 1:"},
		{"unknown field", replace("design", `"revision"`, `"colour":1,"revision"`), line("design")},
		{"unknown type", replace("design", `"type":"design"`, `"type":"sofa"`), line("design")},
		{"type of another record", replace("design", `"type":"design"`, `"type":"batch"`), line("design")},
		{"two values", func(l []string) []string { l[1] += l[1]; return l }, "line 2:"},
		{"impossible design", replace("design", `"target_ohms":6700`, `"target_ohms":-1`), line("design")},
		{"batch of no design", replace("batch", `"design":"wren"`, `"design":"emu"`), line("batch")},
		{"a changed result", replace("measurement", `"r20_ohms":6`, `"r20_ohms":5`), line("measurement")},
		{"a changed verdict", replace("measurement", `"verdict":"in"`, `"verdict":"low"`), line("measurement")},
		{"a changed reading", replace("measurement", `"value":6690.3`, `"value":6695.3`), line("measurement")},
		{"a changed input", replace("measurement", `"meter_percent":0.05`, `"meter_percent":0.5`), line("measurement")},
		{"no sequence", replace("measurement", `"sequence":1`, `"sequence":0`), line("measurement")},
		{"withdrawn without a reason", replace("measurement", `"reason":"measured again: fingers","who"`, `"reason":"","who"`),
			line("measurement")},
		{"unknown role", replace("calibration", `"role":"meter"`, `"role":"clip"`), line("calibration")},
		{"impossible standard", replace("check_measurement", `"nominal_ohms":6800`, `"nominal_ohms":0`), line("check_measurement")},
		{"no action", replace("journal", `"action":"add design"`, `"action":""`), line("journal")},
	} {
		t.Run(c.name, func(t *testing.T) {
			file := strings.Join(c.change(append([]string(nil), good...)), "\n")
			fresh := newStore(t)
			counts, err := fresh.Import(t.Context(), strings.NewReader(file))
			if err == nil {
				t.Fatalf("imported %+v, want a refusal", counts)
			}
			if c.name != "nothing" && !strings.Contains(err.Error(), c.want) {
				t.Errorf("error %v, want one with %q", err, c.want)
			}
			if !strings.Contains(err.Error(), "nothing was imported") {
				t.Errorf("error does not say that nothing was imported: %v", err)
			}
			if n := count(t, fresh, `SELECT (SELECT COUNT(*) FROM designs) + (SELECT COUNT(*) FROM journal)`); n != 0 {
				t.Errorf("%d rows were applied", n)
			}
		})
	}
}

func TestImportConflicts(t *testing.T) {
	t.Parallel()
	s := workshop(t)
	recordCoil(t, s, "HN-0001")
	file := export(t, s, record.JSONL, record.Filter{})
	for _, c := range []struct {
		name  string
		setup func(t *testing.T, other *Store)
		want  error
	}{
		{"design of that name", func(t *testing.T, other *Store) {
			d := wren()
			d.Turns++
			must(t)(other.AddDesign(t.Context(), d, ""))
		}, record.ErrConflict},
		{"bench has a batch open", func(t *testing.T, other *Store) {
			d := wren()
			d.Name = "finch"
			must(t)(other.AddDesign(t.Context(), d, ""))
			must(t)(other.OpenBatch(t.Context(), record.BatchStart{Name: "B-7", Bench: "north", Design: "finch"}))
		}, record.ErrConflict},
		{"batch of that name", func(t *testing.T, other *Store) {
			d := wren()
			d.Name = "finch"
			must(t)(other.AddDesign(t.Context(), d, ""))
			must(t)(other.OpenBatch(t.Context(), record.BatchStart{Name: "B-1", Bench: "south", Design: "finch"}))
		}, record.ErrConflict},
		{"coil of that serial", func(t *testing.T, other *Store) {
			must(t)(other.Import(t.Context(), strings.NewReader(file)))
			m, readings := sample(t, "HN-0002", 6690, firstInstant)
			must(t)(other.Record(t.Context(), m, readings))
			m, readings = sample(t, "HN-0002", 6691, firstInstant)
			must(t)(s.Record(t.Context(), m, readings))
			file = export(t, s, record.JSONL, record.Filter{})
		}, record.ErrDuplicate},
	} {
		other := newStore(t)
		c.setup(t, other)
		if _, err := other.Import(t.Context(), strings.NewReader(file)); !errors.Is(err, c.want) || !strings.Contains(err.Error(), "line ") {
			t.Errorf("%s: %v, want %v with the line", c.name, err, c.want)
		}
	}
}

func FuzzDecodeLine(f *testing.F) {
	for l := range strings.Lines(export(f, busyWorkshop(f), record.JSONL, record.Filter{})) {
		f.Add([]byte(l))
	}
	f.Fuzz(func(t *testing.T, text []byte) {
		l, err := decodeLine(text)
		if err != nil {
			return
		}
		if l.kind != "measurement" {
			return
		}
		m, readings, _, err := l.measurement()
		if err != nil {
			return
		}
		if m, readings, err = normalise(m, readings); err == nil {
			checkMeasurement(m, windowOf(readings))
		}
	})
}
