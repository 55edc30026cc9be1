package history

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"os"
	"reflect"
	"strings"
	"testing"

	"coilkeep/internal/compare"
	"coilkeep/internal/r20"
	"coilkeep/internal/record"
)

// Each fault that is put into a sound history is found, and nothing else.
func TestVerifyFinds(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		name  string
		table string // whose triggers are in the way
		spoil string
		kind  record.FaultKind
		want  string
	}{
		{"R20", "measurements", `UPDATE measurements SET r20_ohms = r20_ohms * 1.0000001 WHERE number = 3`, record.FaultResult, "r20_ohms"},
		{"uncertainty", "measurements", `UPDATE measurements SET expanded_uncertainty_ohms = expanded_uncertainty_ohms * 1.0000001 WHERE ` +
			`number = 3`, record.FaultResult, "expanded_uncertainty_ohms"},
		{"impossible input", "measurements", `UPDATE measurements SET meter_percent = -1 WHERE number = 3`, record.FaultResult, "give no result"},
		{"verdict", "measurements", `UPDATE measurements SET verdict = 'high' WHERE number = 3`, record.FaultVerdict, `"high"`},
		{"probability", "measurements", `UPDATE measurements SET conformity_probability = 0.5 WHERE number = 3`, record.FaultVerdict,
			"conformity_probability"},
		{"tolerance", "measurements", `UPDATE measurements SET lower_ohms = 0 WHERE number = 3`, record.FaultVerdict, "cannot be judged"},
		{"reading", "measurement_details",
			`UPDATE measurement_details SET readings = json_set(readings, '$[5][3]', 6699.5) WHERE measurement = 3`, record.FaultWindow,
			"resistance_ohms"},
		{"reading lost", "measurement_details", `UPDATE measurement_details SET readings = json_remove(readings, '$[5]') WHERE measurement = 3`,
			record.FaultWindow, "6 readings"},
		{"reading that is no number", "measurement_details", `UPDATE measurement_details
			SET readings = json_set(readings, '$[5]', json('[200000, 2, "OL", null, null, "overload"]')) WHERE measurement = 3`,
			record.FaultWindow, "not numbers"},
		{"outlier counted", "measurement_details",
			`UPDATE measurement_details SET readings = json_set(readings, '$[10][1]', 2) WHERE measurement = 3`, record.FaultWindow, "8 readings"},
		{"readings that are none", "measurement_details",
			`UPDATE measurement_details SET readings = json_set(readings, '$[5]', json('[200000]')) WHERE measurement = 3`, record.FaultWindow,
			"reading 6 has 1 fields"},
		{"reading in a row", "readings", `UPDATE readings SET value = value + 0.1 WHERE measurement = 3 AND position = 5`, record.FaultWindow,
			"resistance_ohms"},
		{"row of a reading lost", "readings", `DELETE FROM readings WHERE measurement = 3 AND position = 5`, record.FaultWindow, "6 readings"},
		{"row of a reading that is no number", "readings", `UPDATE readings SET status = 'overload' WHERE measurement = 3 AND position = 5`,
			record.FaultWindow, "not numbers"},
		{"outlier in a row counted", "readings", `UPDATE readings SET outlier = 0 WHERE measurement = 3`, record.FaultWindow, "8 readings"},
		{"coil lost from a batch", "measurements", `UPDATE measurements SET sequence = 7 WHERE serial = 'HN-0002'`, record.FaultSequence,
			"1 to 7"},
		{"two coils in one place", "measurements", `UPDATE measurements SET sequence = 1 WHERE serial = 'HN-0002'`, record.FaultSequence,
			"2 coils"},
		{"two standing", "annotations", `DELETE FROM annotations WHERE measurement = 1`, record.FaultRecord, "2 standing"},
		{"details lost", "measurement_details", `DELETE FROM measurement_details WHERE measurement = 3`, record.FaultRecord, "budget"},
		{"a coil said to be measured", "soaks", `INSERT INTO unrecorded VALUES (99, 'u-99', 1, 'north', 'HN-0099', 'wound', 1, 'too-short',` +
			` 'off', 2, 'measured', '')`, record.FaultRecord, "no such measurement"},
		{"a curve of no design", "cooling_curves", `UPDATE cooling_curves SET design = 'finch'`, record.FaultRecord, `"finch"`},
		{"a soak of no batch", "soaks", `UPDATE soaks SET batch = 'B-9' WHERE batch <> ''`, record.FaultRecord, `"B-9"`},
		{"measurement lost", "measurements", `DELETE FROM measurements WHERE number = 3`, record.FaultDamage, "refers to measurements"},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			s := busyWorkshop(t)
			if c.table == "readings" { // which only older measurements have
				s = schema9(t)
			}
			verifies(t, s)
			execute(t, s.Path(),
				"DROP TRIGGER "+c.table+"_no_update", "DROP TRIGGER "+c.table+"_no_delete", c.spoil)
			report, err := s.Verify(t.Context(), nil)
			if err != nil {
				t.Fatal(err)
			}
			found := report.Of(c.kind)
			if len(found) == 0 || len(found) != len(report.Faults) {
				t.Fatalf("faults %+v, want some of kind %s and no other", report.Faults, c.kind)
			}
			if !strings.Contains(found[0].Problem, c.want) || found[0].Remedy == "" {
				t.Errorf("fault %+v, want one with %q and a remedy", found[0], c.want)
			}
			if (found[0].ID == "") != (c.kind == record.FaultDamage) {
				t.Errorf("fault names %q", found[0].ID)
			}
		})
	}
}

// A result by another formula, as every one is once the formula goes up, is no
// fault: it is told that it was not computed again, and it can be exported and
// imported.
func TestResultsOfAnotherFormula(t *testing.T) {
	t.Parallel()
	s := workshop(t)
	recordCoil(t, s, "HN-0001")
	for _, serial := range []string{"HN-0002", "HN-0003"} {
		recordCoil(t, s, serial, func(m *record.Measurement) { m.Formula, m.R20Ohms = r20.Formula+1, m.R20Ohms+0.01 })
	}
	c := compared(t, s, "HN-0001", 6280)
	c.Result.Formula = compare.Formula + 1
	must(t)(s.AddComparison(t.Context(), c))
	want := []record.NotRecomputed{{What: "results", Count: 2, Rules: r20.Formula + 1, Known: r20.Formula},
		{What: "comparisons", Count: 1, Rules: compare.Formula + 1, Known: compare.Formula}}
	if report := verifies(t, s); !reflect.DeepEqual(report.NotRecomputed, want) {
		t.Errorf("not computed again: %+v, want %+v", report.NotRecomputed, want)
	}
	var file bytes.Buffer
	if err := s.Export(t.Context(), &file, record.JSONL, record.Filter{}); err != nil {
		t.Fatal(err)
	}
	fresh := newStore(t)
	if counts, err := fresh.Import(t.Context(), &file); err != nil || counts.Measurements != 3 {
		t.Fatalf("imported %+v, %v; want 3 measurements", counts, err)
	}
	if report := verifies(t, fresh); !reflect.DeepEqual(report.NotRecomputed, want) {
		t.Errorf("not computed again after an import: %+v, want %+v", report.NotRecomputed, want)
	}
}

func TestVerifyFindsDamage(t *testing.T) {
	t.Parallel()
	s := workshop(t)
	for i := range 50 {
		recordCoil(t, s, fmt.Sprintf("HN-%04d", i))
	}
	path := s.Path()
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	f, err := os.OpenFile(path, os.O_RDWR, 0)
	if err != nil {
		t.Fatal(err)
	}
	info, err := f.Stat()
	if err != nil {
		t.Fatal(err)
	}
	_, err = f.WriteAt([]byte(strings.Repeat("\xa5", 3*4096)), info.Size()-3*4096)
	if err := errors.Join(err, f.Close()); err != nil {
		t.Fatal(err)
	}
	report, err := openStore(t, path, Options{}).Verify(t.Context(), nil)
	if err != nil || len(report.Of(record.FaultDamage)) == 0 {
		t.Errorf("report %+v, %v; want damage", report, err)
	}
}

func TestVerifyProgress(t *testing.T) {
	t.Parallel()
	s := workshop(t)
	for i := range 5 {
		recordCoil(t, s, fmt.Sprintf("HN-%04d", i))
	}
	var calls []int
	report, err := s.Verify(t.Context(), func(done, total int) { calls = append(calls, done, total) })
	if err != nil || report.Measurements != 5 || report.Readings != 5*11 {
		t.Errorf("report %+v, %v; want 5 measurements and 55 readings", report, err)
	}
	if fmt.Sprint(calls) != "[5 5]" {
		t.Errorf("progress %v, want [5 5]", calls)
	}
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	if _, err := s.Verify(ctx, nil); !errors.Is(err, context.Canceled) {
		t.Errorf("cancelled: %v", err)
	}
}

// A value typed in has no readings behind it.
func TestVerifyManual(t *testing.T) {
	t.Parallel()
	s := workshop(t)
	m, _ := sample(t, "HN-0001", 6690, firstInstant)
	m.Status = record.Manual
	must(t)(s.Record(t.Context(), m, nil))
	verifies(t, s)
}
