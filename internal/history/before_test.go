package history

import (
	"compress/gzip"
	"io"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"coilkeep/internal/record"
)

// unzip reads a file of testdata.
func unzip(t *testing.T, name string) []byte {
	t.Helper()
	f, err := os.Open(filepath.Join("testdata", name+".gz"))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	z, err := gzip.NewReader(f)
	if err != nil {
		t.Fatal(err)
	}
	content, err := io.ReadAll(z)
	if err != nil {
		t.Fatal(err)
	}
	return content
}

// schema9 opens a history that the program before schema 10 wrote.
func schema9(t *testing.T) *Store {
	t.Helper()
	path := filepath.Join(t.TempDir(), "history.db")
	writeFile(t, path, unzip(t, "before-0010.db"))
	return openStore(t, path, Options{})
}

// A history of schema 9 is migrated with a copy kept, verifies, gives the export
// that the program of its day gave, and goes on being used; that export is read.
func TestAHistoryOfSchema9(t *testing.T) {
	t.Parallel()
	s := schema9(t)
	if copies, err := filepath.Glob(s.Path() + ".before-version-*"); err != nil || len(copies) != 1 {
		t.Fatalf("copies %v, %v; want one", copies, err)
	}
	verifies(t, s)
	before := string(unzip(t, "before-0010.jsonl"))
	// The lines of comparisons have another form since.
	const comparison = `"type":"comparison"`
	today := export(t, s, record.JSONL, record.Filter{})
	if body(today, comparison) != body(before, comparison) {
		t.Errorf("the export is another than before:\n%s", today)
	}
	list, _, err := s.Measurements(t.Context(), record.Filter{})
	must(t)(list, err)
	for _, m := range list {
		if m.MeterCalibrationID != nil || m.ProbeCalibrationID != nil {
			t.Errorf("measurement %s names calibrations that nobody kept", m.ID)
		}
	}
	fresh := newStore(t)
	must(t)(fresh.Import(t.Context(), strings.NewReader(before)))
	verifies(t, fresh)
	if got := export(t, fresh, record.JSONL, record.Filter{}); body(got, "import") != body(today, "") {
		t.Errorf("the export of what was imported is another:\n%s", got)
	}
	recordCoil(t, s, "HN-0009", func(m *record.Measurement) { m.Batch, m.DesignRevision = "B-2", 2 })
	verifies(t, s)
}

// The calibrations that were applied go with a measurement, in whole and in parts.
func TestAppliedCalibrationsAreKept(t *testing.T) {
	t.Parallel()
	s := workshop(t)
	add := func(role record.Role) string {
		c, err := s.AddCalibration(t.Context(), record.Calibration{Bench: "north", Role: role})
		must(t)(c, err)
		return c.ID
	}
	meter, probe, none := add(record.Meter), add(record.Probe), ""
	add(record.Meter) // which nobody measured with
	m := recordCoil(t, s, "HN-0001", func(m *record.Measurement) { m.MeterCalibrationID, m.ProbeCalibrationID = &meter, &probe })
	recordCoil(t, s, "HN-0002", func(m *record.Measurement) { m.MeterCalibrationID, m.ProbeCalibrationID = &none, &none })
	recordCoil(t, s, "HN-0003")
	verifies(t, s)
	for _, f := range []record.Filter{{}, {Serial: "HN-0001"}} {
		fresh := newStore(t)
		must(t)(fresh.Import(t.Context(), strings.NewReader(export(t, s, record.JSONL, f))))
		got, _, err := fresh.Measurement(t.Context(), m.ID)
		if err != nil || got.MeterCalibrationID == nil || *got.MeterCalibrationID != meter || *got.ProbeCalibrationID != probe {
			t.Errorf("imported %+v, %v", got, err)
		}
		verifies(t, fresh)
		if n := count(t, fresh, `SELECT COUNT(*) FROM calibrations`); f.Serial != "" && n != 2 {
			t.Errorf("a part of the history brought %d calibrations, want the 2 that were applied", n)
		}
	}
	list, _, err := s.Measurements(t.Context(), record.Filter{})
	if err != nil || *list[1].MeterCalibrationID != "" || list[2].MeterCalibrationID != nil {
		t.Errorf("listed %+v, %v", list, err)
	}
	gone := "gone"
	n := recordCoil(t, s, "HN-0004", func(m *record.Measurement) { m.ProbeCalibrationID = &gone })
	report, err := s.Verify(t.Context(), nil)
	if err != nil || len(report.Faults) != 1 || report.Faults[0].ID != n.ID ||
		!strings.Contains(report.Faults[0].Problem, "calibration gone") {
		t.Errorf("verify found %+v, %v", report.Faults, err)
	}
}
