package history

import (
	"encoding/csv"
	"fmt"
	"maps"
	"math"
	"strconv"
	"strings"
	"testing"
	"time"

	"coilkeep/internal/conformity"
	"coilkeep/internal/r20"
	"coilkeep/internal/record"
)

// old is what is known of the invented workshop's old bench: a meter of
// ±(0.1 % + 0.5 Ω) behind leads of 0.2 Ω, and a thermometer of ±1 K.
func old(string) (r20.Inputs, bool) {
	return r20.Inputs{MeterPercent: 0.1, MeterOhms: 0.5, LeadOhms: 0.2, LeadHalfWidthOhms: 0.02, ProbeHalfWidthKelvin: 1}, true
}

var oldBench = CSVOptions{File: "old.csv", Design: "wren", Bench: "attic", Instruments: old}

func importCSV(t testing.TB, s *Store, text string, o CSVOptions) Imported {
	t.Helper()
	counts, err := s.ImportCSV(t.Context(), strings.NewReader(text), o)
	if err != nil {
		t.Fatal(err)
	}
	verifies(t, s)
	return counts
}

// table reads an export as one map a row.
func table(t testing.TB, text string) (list []map[string]string) {
	t.Helper()
	rows, err := csv.NewReader(strings.NewReader(text)).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	for _, row := range rows[1:] {
		cells := map[string]string{}
		for i, name := range rows[0] {
			cells[name] = row[i]
		}
		list = append(list, cells)
	}
	return list
}

// written is a table of all columns, as a spreadsheet would save it.
func written(t testing.TB, list []map[string]string) string {
	t.Helper()
	var out strings.Builder
	w := csv.NewWriter(&out)
	row := func(cell func(name string) string) {
		cells := make([]string, len(csvColumns))
		for i, column := range csvColumns {
			cells[i] = cell(column.name)
		}
		if err := w.Write(cells); err != nil {
			t.Fatal(err)
		}
	}
	row(func(name string) string { return name })
	for _, cells := range list {
		row(func(name string) string { return cells[name] })
	}
	w.Flush()
	return out.String()
}

// productive is a history as the demo makes it: two batches, changes of spool,
// noise that rules some uncertainties, coils measured again, void and potted.
func productive(t testing.TB) *Store {
	t.Helper()
	s := workshop(t)
	for i := range 30 {
		serial := fmt.Sprintf("HN-%04d", i+1)
		if i == 15 {
			must(t)(s.CloseBatch(t.Context(), "B-1", "ada"))
			must(t)(s.ReviseDesign(t.Context(), func() record.Design { d := wren(); d.UpperOhms, d.AlphaPerKelvin = 6850, 0.003851; return d }(),
				"ada"))
			must(t)(s.OpenBatch(t.Context(), record.BatchStart{Name: "B-2", Bench: "north", Design: "wren", Winder: "W2", Spool: "S-18"}))
		}
		change := func(m *record.Measurement) {
			m.Batch, m.Operator, m.Meter = "B-1", "=ada", "Plover Instruments,\"PM-6\""
			m.Time = firstInstant.Add(time.Duration(i-40) * 61234567 * time.Microsecond)
			if i >= 15 {
				m.Batch, m.DesignRevision, m.Spool = "B-2", 2, "S-18"
				m.Inputs.AlphaPerKelvin, m.Tolerance.UpperOhms = 0.003851, 6850
			}
			m.Inputs.ResistanceOhms = 6600 + 337.77*float64(i%7)/3
			m.Inputs.TemperatureCelsius = 19.2 + float64(i%11)/3
			m.Inputs.Readings, m.Inputs.StandardDeviationOhms = 4, 60*float64(i%3)
			again(t, m)
		}
		at := func(m record.Measurement) {
			t.Helper()
			if _, err := s.Record(t.Context(), m, nil); err != nil {
				t.Fatal(err)
			}
		}
		m, _ := sample(t, serial, 6690, firstInstant)
		m.Status = record.Manual // its readings need not be here
		change(&m)
		at(m)
		switch i % 9 {
		case 2:
			coil, err := s.Coil(t.Context(), serial)
			if err != nil {
				t.Fatal(err)
			}
			m.Supersedes, m.Time = coil.Measurements[0].ID, m.Time.Add(time.Second)
			at(m)
		case 4:
			m.Stage, m.Time = record.StagePotted, m.Time.Add(time.Hour/4)
			at(m)
		case 5:
			coil, err := s.Coil(t.Context(), serial)
			if err != nil {
				t.Fatal(err)
			}
			must(t)(s.Void(t.Context(), coil.Measurements[0].ID, "torn", "ada"))
		}
	}
	verifies(t, s)
	return s
}

// again computes a fixture anew after a change of its inputs.
func again(t testing.TB, m *record.Measurement) {
	t.Helper()
	result, err := r20.Evaluate(m.Inputs)
	if err != nil {
		t.Fatal(err)
	}
	judged, err := conformity.Judge(result.R20Ohms, result.StandardUncertaintyOhms, result.ExpandedUncertaintyOhms, m.Tolerance)
	if err != nil {
		t.Fatal(err)
	}
	m.ResistanceOhms, m.TemperatureCelsius, m.AlphaPerKelvin = m.Inputs.ResistanceOhms, m.Inputs.TemperatureCelsius, m.Inputs.AlphaPerKelvin
	m.R20Ohms, m.ExpandedUncertaintyOhms, m.CoverageFactor = result.R20Ohms, result.ExpandedUncertaintyOhms, result.CoverageFactor
	m.Verdict, m.ConformityProbability, m.Budget = judged.Verdict, judged.Probability, result.Budget
}

// designsOnly is a history that has the designs of another, and nothing else.
func designsOnly(t testing.TB, from *Store) *Store {
	t.Helper()
	s := newStore(t)
	revisions, err := from.DesignRevisions(t.Context(), "wren")
	if err != nil {
		t.Fatal(err)
	}
	for i, d := range revisions {
		d.Revision = i // it is made of the one before
		if i == 0 {
			must(t)(s.AddDesign(t.Context(), d, "ada"))
		} else {
			must(t)(s.ReviseDesign(t.Context(), d, "ada"))
		}
	}
	return s
}

func TestImportCSVBringsAnExportBack(t *testing.T) {
	t.Parallel()
	from := productive(t)
	text := export(t, from, record.CSV, record.Filter{})
	to := designsOnly(t, from)
	leads := CSVOptions{File: "export.csv", Instruments: func(string) (r20.Inputs, bool) { return r20.Inputs{LeadOhms: 0.2}, false }}
	counts := importCSV(t, to, text, leads)

	var want []map[string]string
	withdrawn := 0
	for _, row := range table(t, text) {
		if row["status"] == string(record.Void) || row["status"] == string(record.Superseded) {
			withdrawn++
			continue
		}
		want = append(want, row)
	}
	if counts.Measurements != len(want) || counts.LeftOut != withdrawn || counts.Batches != 2 || counts.Renumbered == 0 || withdrawn < 5 {
		t.Errorf("counts %+v of %d rows and %d withdrawn", counts, len(want), withdrawn)
	}
	got := table(t, export(t, to, record.CSV, record.Filter{}))
	if len(got) != len(want) {
		t.Fatalf("%d rows, want %d", len(got), len(want))
	}
	factors := map[string]bool{}
	for i, w := range want {
		g := got[i]
		factors[w["coverage_factor"]] = true
		for _, name := range []string{"id", "time", "bench", "batch", "design", "design_revision", "serial", "resistance_ohms",
			"temperature_celsius",
			"r20_ohms", "expanded_uncertainty_ohms", "coverage_factor", "verdict", "spool", "winder", "operator", "meter", "probe", "stage",
			"alpha_per_kelvin"} {
			if g[name] != w[name] {
				t.Errorf("coil %s, %s: %q, want %q", w["serial"], name, g[name], w[name])
			}
		}
		// U over k and the standard uncertainty it was made of differ in their
		// last bits.
		if a, b := float(t, g["conformity_probability"]), float(t, w["conformity_probability"]); math.Abs(a-b) > 1e-12 {
			t.Errorf("coil %s: probability %g, want %g", w["serial"], a, b)
		}
		if g["status"] != string(record.Manual) || !strings.HasPrefix(g["reason"], "from export.csv, line ") {
			t.Errorf("coil %s is %s: %s", w["serial"], g["status"], g["reason"])
		}
	}
	if len(factors) < 2 {
		t.Error("all have the same coverage factor, which proves little")
	}
	// Into the history it came from, or once more, it adds nothing.
	for _, s := range []*Store{from, to} {
		before := export(t, s, record.JSONL, record.Filter{Bench: "north"})
		again := importCSV(t, s, text, leads)
		if again.added() != 0 || again.Known != len(want) {
			t.Errorf("again: %+v", again)
		}
		if after := export(t, s, record.JSONL, record.Filter{Bench: "north"}); strings.Split(after, "\n")[1] != strings.Split(before,
			"\n")[1] || len(after) != len(before) {
			t.Error("importing what is known changed something")
		}
	}
	// What was imported goes through JSON Lines whole.
	copied := newStore(t)
	must(t)(copied.Import(t.Context(), strings.NewReader(export(t, to, record.JSONL, record.Filter{}))))
	verifies(t, copied)
	if export(t, copied, record.CSV, record.Filter{}) != export(t, to, record.CSV, record.Filter{}) {
		t.Error("a copy by JSON Lines is another")
	}
}

func float(t testing.TB, text string) float64 {
	t.Helper()
	v, err := strconv.ParseFloat(text, 64)
	if err != nil {
		t.Fatal(err)
	}
	return v
}

func TestImportCSVOfASpreadsheet(t *testing.T) {
	t.Parallel()
	s := workshop(t)
	// A byte order mark, columns in another order, a line of commas, no ids.
	const text = "\ufeffSerial,time,temperature_celsius,resistance_ohms,batch,spool,reason\r\n" +
		"OLD-2,2019-05-02T16:20:00+02:00,23.4,6690,May 2019,S-2,\r\n" +
		"OLD-1,2019-05-02T16:10:00+02:00, 21,6702.5,May 2019,S-1,wound by daylight\r\n" +
		",,,,,,\r\n" +
		"OLD-3,2019-05-02T16:30:00+02:00,2.35E+01,7.1E+03,,,\r\n"
	counts := importCSV(t, s, text, oldBench)
	if counts != (Imported{Measurements: 3, Batches: 1}) {
		t.Errorf("counts %+v", counts)
	}
	coil, err := s.Coil(t.Context(), "OLD-2")
	if err != nil {
		t.Fatal(err)
	}
	m, readings, err := s.Measurement(t.Context(), coil.Measurements[0].ID)
	if err != nil {
		t.Fatal(err)
	}
	// By hand: f = 1.013362, R20 = 6689.8/f. Half-widths over √3: meter 7.19 Ω,
	// leads 0.02 Ω, temperature 1 K and half a step of 0.1 K; a step of 1 Ω over
	// √12; u(α) = 0.00002 /K over 3.4 K. U = 1.95996·u.
	const f = 1.013362
	r := 6689.8 / f
	u := math.Sqrt((7.19*7.19/3+0.02*0.02/3+1.0/12)/(f*f) + math.Pow(0.00393*r/f, 2)*1.05*1.05/3 + math.Pow(3.4*r/f*0.00002, 2))
	if math.Abs(m.R20Ohms-r) > 1e-9 || math.Abs(m.ExpandedUncertaintyOhms-1.959964*u) > 1e-4 {
		t.Errorf("R20 %.9g ± %.9g, want %.9g ± %.9g", m.R20Ohms, m.ExpandedUncertaintyOhms, r, 1.959964*u)
	}
	if m.Status != record.Manual || m.Reason != "from old.csv, line 2" || m.Bench != "attic" || m.Stage != record.StageWound ||
		m.Sequence != 2 ||
		m.DesignRevision != 1 || !m.Time.Equal(time.Date(2019, 5, 2, 14, 20, 0, 0, time.UTC)) {
		t.Errorf("got %+v", m)
	}
	if len(readings) != 2 || readings[0].Raw != "23.4" || readings[1].Raw != "6690" || readings[1].Resolution != 1 {
		t.Errorf("readings %+v", readings)
	}
	b, err := s.Batch(t.Context(), "May 2019")
	if err != nil {
		t.Fatal(err)
	}
	if b.ClosedAt == nil || b.LastSequence != 2 || len(b.Spools) != 2 || b.Spools[1].FromSequence != 2 || b.Bench != "attic" ||
		b.OpenedAt.After(*b.ClosedAt) {
		t.Errorf("batch %+v", b)
	}
	if again := importCSV(t, s, text, oldBench); again != (Imported{Known: 3}) {
		t.Errorf("again %+v", again)
	}
	// A spreadsheet that has grown adds what is new, at the end of its batch.
	grown := importCSV(t, s, text+"OLD-4,2019-05-02T16:40:00+02:00,21,6700,May 2019,S-2,\r\n", oldBench)
	if grown != (Imported{Measurements: 1, Known: 3}) {
		t.Errorf("grown %+v", grown)
	}
}

// What was told is what the result is checked against.
func TestVerifyFindsToldUncertainty(t *testing.T) {
	t.Parallel()
	s := workshop(t)
	importCSV(t, s, "serial,time,resistance_ohms,temperature_celsius,expanded_uncertainty_ohms,coverage_factor\n"+
		"A,2019-05-02T16:20:00Z,6690,21,25.1,2\n", oldBench)
	execute(t, s.Path(), "DROP TRIGGER measurements_no_update", `UPDATE measurements SET told_expanded_uncertainty_ohms = 25.2`)
	report, err := s.Verify(t.Context(), nil)
	if err != nil || len(report.Faults) != 1 || report.Faults[0].Kind != record.FaultResult ||
		!strings.Contains(report.Faults[0].Problem, "expanded_uncertainty_ohms is stored as 25.1, the inputs give 25.2") {
		t.Errorf("report %+v, %v", report, err)
	}
}

// A batch has no holes: what was left out, or never stood in the file, does
// not count.
func TestImportCSVClosesHoles(t *testing.T) {
	t.Parallel()
	s := workshop(t)
	row := func(serial string, sequence int, status record.Status) map[string]string {
		return map[string]string{"serial": serial, "time": "2019-05-02T16:20:00Z", "resistance_ohms": "6690", "temperature_celsius": "21",
			"batch": "M", "sequence": strconv.Itoa(sequence), "status": string(status)}
	}
	list := []map[string]string{row("C", 5, record.Recorded), row("A", 2, record.Forced), row("B", 3, record.Void)}
	counts := importCSV(t, s, written(t, list), oldBench)
	if counts != (Imported{Measurements: 2, Batches: 1, LeftOut: 1, Renumbered: 2}) {
		t.Errorf("counts %+v", counts)
	}
	for serial, want := range map[string]string{"A": "1 from old.csv, line 3, where it is forced [coil 2 of its batch in the file]",
		"C": "2 from old.csv, line 2, where it is recorded [coil 5 of its batch in the file]"} {
		coil, err := s.Coil(t.Context(), serial)
		if err != nil {
			t.Fatal(err)
		}
		m := coil.Measurements[0]
		if got := fmt.Sprint(m.Sequence, " ", m.Reason, " ", m.Notes); got != want {
			t.Errorf("coil %s: %s, want %s", serial, got, want)
		}
	}
	// One that belongs between those is not put behind them.
	_, err := s.ImportCSV(t.Context(), strings.NewReader(written(t, append(list, row("D", 1, "")))), oldBench)
	if err == nil || !strings.Contains(err.Error(), "batch M has 2 coils already, and coil D, number 1 of the file, is none of them") {
		t.Errorf("error %v", err)
	}
}

func TestImportCSVRefuses(t *testing.T) {
	t.Parallel()
	good := map[string]string{"serial": "OLD-1", "time": "2019-05-02T16:20:00Z", "resistance_ohms": "6690", "temperature_celsius": "21",
		"design": "wren", "bench": "attic"}
	const told = "expanded_uncertainty_ohms"
	for _, c := range []struct {
		name   string
		change []string // column, cell
		want   string
	}{
		{"no serial", []string{"serial", " "}, "line 2, column serial: is empty"},
		{"no time", []string{"time", ""}, "line 2, column time: is empty"},
		{"no zone", []string{"time", "2019-05-02 16:20"}, `line 2, column time: "2019-05-02 16:20" will not do; write a time with its zone,` +
			` like 2026-01-31T15:04:00Z`},
		{"ancient", []string{"time", "0001-01-01T00:00:00Z"}, "line 2, column time"},
		{"not yet", []string{"time", "2126-01-01T00:00:00Z"}, "line 2: column time: 2126-01-01T00:00:00.000000Z has not come yet"},
		{"no resistance", []string{"resistance_ohms", ""}, "line 2, column resistance_ohms: is empty"},
		{"prefix", []string{"resistance_ohms", "6.69k"}, `line 2, column resistance_ohms: "6.69k" is not a number; write a plain number ` +
			`like 6690.5`},
		{"comma", []string{"resistance_ohms", "6690,5"}, `line 2, column resistance_ohms: "6690,5" is not a number`},
		{"infinite", []string{"resistance_ohms", "inf"}, `"inf" is not a number`},
		{"not a number", []string{"resistance_ohms", "nan"}, `"nan" is not a number`},
		{"hexadecimal", []string{"resistance_ohms", "0x1p12"}, "is not a number"},
		{"overload mark", []string{"resistance_ohms", "9.9E37"}, "is not a number"},
		{"zero", []string{"resistance_ohms", "0"}, "line 2: resistance_ohms is 0; it must be a number above 0"},
		{"negative", []string{"resistance_ohms", "-6690"}, "line 2: resistance_ohms is -6690"},
		{"fahrenheit", []string{"temperature_celsius", "70.5 °F"}, "line 2, column temperature_celsius"},
		{"too hot", []string{"temperature_celsius", "210"}, "line 2: temperature_celsius is 210; copper is computed from -50 to 150 °C"},
		{"unknown design", []string{"design", "heron"}, `line 2: column design: design "heron" not found; add it first (coilkeep design add)`},
		{"unknown revision", []string{"design_revision", "7"}, `line 2: column design: design "wren" revision 7 not found; add it first`},
		{"revision zero", []string{"design_revision", "0"}, `line 2, column design_revision: "0" will not do; write a whole number, at least 1`},
		{"place without batch", []string{"sequence", "3"}, "line 2, column sequence: 3 is a place in a batch, but there is no batch"},
		{"place zero", []string{"batch", "M", "sequence", "0"}, "line 2, column sequence: 0 is no place in a batch"},
		{"place and a half", []string{"batch", "M", "sequence", "1.5"}, "line 2, column sequence"},
		{"stage", []string{"stage", "waxed"}, `line 2, column stage: must be one of wound, potted, assembled, not "waxed"`},
		{"status", []string{"status", "Good"}, `line 2, column status: "good" is not known; write recorded`},
		{"U without k", []string{told, "12"}, "line 2, column coverage_factor: is empty beside an expanded uncertainty"},
		{"k without U", []string{"coverage_factor", "2"}, "line 2, column expanded_uncertainty_ohms: is empty beside a coverage factor"},
		{"U of zero", []string{told, "0", "coverage_factor", "2"}, "line 2: expanded_uncertainty_ohms is 0, and no measurement is that good"},
		{"U negative", []string{told, "-1", "coverage_factor", "2"}, "line 2: expanded_uncertainty_ohms is -1"},
		{"one sigma", []string{told, "12", "coverage_factor", "1"}, "line 2: coverage_factor is 1; it must be a number from 1.95 to 12.75"},
		{"coefficient", []string{"alpha_per_kelvin", "0"}, "line 2: alpha_per_kelvin is no coefficient of copper"},
		{"another R20", []string{"r20_ohms", "6690.0"}, "line 2: column r20_ohms: the file says 6690.0, but 6690 Ω at 21 °C give 6663.61"},
		{"another verdict", []string{"verdict", "high"}, `line 2: column verdict: the file says "high", but 6663.6`},
		{"another probability", []string{"conformity_probability", "0.5"}, "line 2: column conformity_probability: the file says 0.5, but"},
		{"bad batch name", []string{"batch", strings.Repeat("x", 65)}, "line 2: batch: must be at most 64"},
		{"long serial", []string{"serial", strings.Repeat("x", 41)}, "line 2: serial: must be at most 40"},
		{"not text", []string{"spool", "S\xff"}, "line 2: spool: must be UTF-8"},
		{"another batch's design", []string{"batch", "B-9"}, `line 2: not possible now: batch "B-9" is of design "finch", the measurement ` +
			`of "wren"`},
		{"known in capitals", []string{"serial", "hn-0001"}, "line 2: serial: HN-0001 exists: write it so, or choose another"},
		{"stands already", []string{"serial", "HN-0001"}, `line 2: coil "HN-0001" exists already at stage "wound"`},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			s := workshop(t)
			other := wren()
			other.Name = "finch"
			must(t)(s.AddDesign(t.Context(), other, "ada"))
			must(t)(s.OpenBatch(t.Context(), record.BatchStart{Name: "B-9", Bench: "south", Design: "finch"}))
			recordCoil(t, s, "HN-0001")
			row := maps.Clone(good)
			for i := 0; i < len(c.change); i += 2 {
				row[c.change[i]] = c.change[i+1]
			}
			second := maps.Clone(good)
			second["serial"] = "OLD-2"
			counts, err := s.ImportCSV(t.Context(), strings.NewReader(written(t, []map[string]string{row, second})), oldBench)
			if err == nil || !strings.Contains(err.Error(), c.want) || !strings.HasPrefix(err.Error(), "import old.csv: ") ||
				!strings.HasSuffix(err.Error(), "; nothing was imported") {
				t.Errorf("error %v, want one with %s", err, c.want)
			}
			if n := count(t, s, `SELECT COUNT(*) FROM measurements`); n != 1 || counts != (Imported{}) ||
				count(t, s, `SELECT COUNT(*) FROM batches`) != 2 {
				t.Errorf("something was imported: %+v", counts)
			}
		})
	}
}

func TestImportCSVRefusesFiles(t *testing.T) {
	t.Parallel()
	const header, row = "serial,time,resistance_ohms,temperature_celsius,batch,sequence,id,stage\n", "A,2019-05-02T16:20:00Z,6690,21,"
	for _, c := range []struct{ name, text, want string }{
		{"empty", "", "the file is empty"},
		{"semicolons", "serial;time;resistance_ohms\n", "not parted by commas"},
		{"unknown column", "serial,time,resistance_ohm,temperature_celsius\n",
			`column "resistance_ohm" is not known; did you mean resistance_ohms?; the columns are id, time`},
		{"column twice", "serial,time,Serial\n", "column serial comes twice"},
		{"no temperature", "serial,time,resistance_ohms\n", "no column temperature_celsius"},
		{"short line", header + "A,B\n", "line 2: cells: 2, and columns: 8"},
		{"open quote", header + "\"A,2019\n", "quotes come in pairs"},
		{"coil twice", header + row + ",,,\n" + row + ",,,\n", "line 3, column serial: coil A, wound, stands in line 2 already; keep the " +
			"row that counts"},
		{"id twice", header + row + ",,x,\n" + row + ",,x,potted\n", "line 3, column id: x stands in line 2 already"},
		{"two numbers", header + row + "M,1,,\n" + row + "M,2,,potted\n", "line 3, column sequence: coil A is number 1 of batch M already"},
		{"two coils", header + row + "M,1,,\nB" + row[1:] + "M,1,,\n", "line 3, column sequence: 1 of batch M is coil A already"},
		{"half numbered", header + row + "M,1,,\nB" + row[1:] + "M,,,\n", "line 3, column sequence: some coils of batch M have a number"},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			_, err := workshop(t).ImportCSV(t.Context(), strings.NewReader(c.text), oldBench)
			if err == nil || !strings.Contains(err.Error(), c.want) {
				t.Errorf("error %v, want one with %s", err, c.want)
			}
		})
	}
}

// What the file does not say and nobody told is asked for.
func TestImportCSVAsks(t *testing.T) {
	t.Parallel()
	const text = "serial,time,resistance_ohms,temperature_celsius\nA,2019-05-02T16:20:00Z,6690,21\n"
	for _, c := range []struct {
		name string
		o    CSVOptions
		want string
	}{
		{"design", CSVOptions{Bench: "attic"}, "line 2, column design: there is none; fill in the column, or say --design"},
		{"bench", CSVOptions{Design: "wren"}, "line 2, column bench: there is none; fill in the column, or say --bench"},
		{"accuracies", CSVOptions{Design: "wren", Bench: "attic"}, "line 2: nothing says how well coil A was measured; fill in " +
			"expanded_uncertainty_ohms and coverage_factor, or tell the accuracies of bench attic by --config"},
	} {
		_, err := workshop(t).ImportCSV(t.Context(), strings.NewReader(text), c.o)
		if err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: error %v, want one with %s", c.name, err, c.want)
		}
	}
}

// A row that the history has with other readings is no news.
func TestImportCSVConflict(t *testing.T) {
	t.Parallel()
	s := workshop(t)
	m := recordCoil(t, s, "HN-0001")
	for name, row := range map[string]map[string]string{
		"by id":   {"id": m.ID, "serial": "HN-0001", "time": "2026-03-02T08:00:00Z", "resistance_ohms": "6691", "temperature_celsius": "22.4"},
		"by time": {"serial": "HN-0001", "time": "2026-03-02T08:00:00Z", "resistance_ohms": "6690", "temperature_celsius": "22.5"},
	} {
		_, err := s.ImportCSV(t.Context(), strings.NewReader(written(t, []map[string]string{row})), oldBench)
		want := fmt.Sprintf(`line 2: not possible now: the history has measurement %s, of coil "HN-0001", wound, at `+
			`2026-03-02T08:00:00.000000Z, as 6690 Ω at 22.4 °C`, m.ID)
		if err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%s: error %v, want one with %s", name, err, want)
		}
	}
}
