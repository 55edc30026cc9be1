package history

import (
	"context"
	"encoding/json"
	"fmt"
	"math"
	"path/filepath"
	"sync/atomic"
	"testing"
	"time"

	"coilkeep/internal/conformity"
	"coilkeep/internal/r20"
	"coilkeep/internal/record"
)

// firstInstant is when the invented workshop of the tests begins its day.
var firstInstant = time.Date(2026, 3, 2, 8, 0, 0, 0, time.UTC)

// stepClock is a clock that moves on by a second each time it is read.
func stepClock() func() time.Time {
	var steps atomic.Int64
	return func() time.Time { return firstInstant.Add(time.Duration(steps.Add(1)) * time.Second) }
}

func openStore(t testing.TB, path string, opts Options) *Store {
	t.Helper()
	if opts.Now == nil {
		opts.Now = stepClock()
	}
	s, err := Open(t.Context(), path, opts)
	if err != nil {
		t.Fatalf("open %s: %v", path, err)
	}
	t.Cleanup(func() {
		if err := s.Close(); err != nil {
			t.Errorf("close: %v", err)
		}
	})
	return s
}

func newStore(t testing.TB) *Store {
	t.Helper()
	return openStore(t, filepath.Join(t.TempDir(), "coilkeep.db"), Options{})
}

// wren is an invented design.
func wren() record.Design {
	return record.Design{Name: "wren", TargetOhms: 6700, LowerOhms: 6500, UpperOhms: 6900, GuardFactor: 1,
		GaugeAWG: 42, Turns: 8200, Bobbin: &record.Bobbin{StraightMM: 54, CoreRadiusMM: 2.5, BuildMM: 3},
		AlphaPerKelvin: 0.00393, AlphaStandardUncertaintyPerKelvin: 0.00002, Note: "bright, hand wound"}
}

// workshop is a store with the design wren and its batch B-1 open at bench north.
func workshop(t testing.TB) *Store {
	t.Helper()
	s := newStore(t)
	must(t)(s.AddDesign(t.Context(), wren(), "ada"))
	must(t)(s.OpenBatch(t.Context(), record.BatchStart{Name: "B-1", Bench: "north", Design: "wren", Winder: "W2", Operator: "ada",
		Spool: "S-17", Who: "ada"}))
	return s
}

// must fails the test when a call with one result fails.
func must(t testing.TB) func(any, error) {
	return func(_ any, err error) {
		t.Helper()
		if err != nil {
			t.Fatal(err)
		}
	}
}

// record stores a fixture, changed as the caller likes.
func recordCoil(t testing.TB, s *Store, serial string, change ...func(*record.Measurement)) record.Measurement {
	t.Helper()
	m, readings := sample(t, serial, 6690, firstInstant)
	for _, c := range change {
		c(&m)
	}
	stored, err := s.RecordBy(t.Context(), m, readings, "grace")
	if err != nil {
		t.Fatalf("record %s: %v", serial, err)
	}
	return stored
}

// sample is a whole measurement of batch B-1 with the readings behind it: an
// approach of two, and a window of eight of which one is an outlier.
func sample(t testing.TB, serial string, meanOhms float64, at time.Time) (record.Measurement, []record.Reading) {
	t.Helper()
	var readings []record.Reading
	add := func(role record.Role, value float64, window, outlier bool) {
		readings = append(readings, record.Reading{
			Time: at.Add(time.Duration(len(readings)-20) * 200 * time.Millisecond), Role: role, Value: value, Resolution: 0.1,
			Status: "ok", Raw: fmt.Sprintf("%.1f", value), InWindow: window, Outlier: outlier})
	}
	readings = append(readings, record.Reading{Time: at.Add(-5 * time.Second), Role: record.Meter, Status: "overload", Reason: "open leads",
		Raw: "+9.90000000E+37"})
	add(record.Meter, meanOhms+40, false, false)
	add(record.Probe, 22.4, false, false)
	offsets := []float64{0.3, -0.3, 0.1, -0.1, 0.2, -0.2, 0}
	var squares float64
	for _, d := range offsets {
		add(record.Meter, meanOhms+d, true, false)
		squares += d * d
	}
	add(record.Meter, meanOhms+9, true, true)

	in := r20.Inputs{ResistanceOhms: windowMean(readings), Readings: len(offsets),
		StandardDeviationOhms: math.Sqrt(squares / float64(len(offsets)-1)), ResolutionOhms: 0.1, DriftOhms: -0.02,
		MeterPercent: 0.05, MeterOhms: 0.3, LeadOhms: 0.2, LeadHalfWidthOhms: 0.05,
		TemperatureCelsius: 22.4, ProbeHalfWidthKelvin: 0.3, CoilDifferenceHalfWidthKelvin: 0.5,
		AlphaPerKelvin: 0.00393, AlphaStandardUncertaintyPerKelvin: 0.00002}
	result, err := r20.Evaluate(in)
	if err != nil {
		t.Fatalf("evaluate fixture: %v", err)
	}
	tolerance := conformity.Tolerance{LowerOhms: 6500, UpperOhms: 6900, GuardFactor: 1}
	judgement, err := conformity.Judge(result.R20Ohms, result.StandardUncertaintyOhms, result.ExpandedUncertaintyOhms, tolerance)
	if err != nil {
		t.Fatalf("judge fixture: %v", err)
	}
	return record.Measurement{
		Time: at, Bench: "north", Batch: "B-1", Design: "wren", DesignRevision: 1, Serial: serial,
		ResistanceOhms: in.ResistanceOhms, TemperatureCelsius: in.TemperatureCelsius, R20Ohms: result.R20Ohms,
		ExpandedUncertaintyOhms: result.ExpandedUncertaintyOhms, CoverageFactor: result.CoverageFactor,
		Verdict: judgement.Verdict, ConformityProbability: judgement.Probability, Status: record.Recorded,
		Spool: "S-17", Winder: "W2", Operator: "ada", Meter: "Plover Instruments,PM-6,0042,1.3", Probe: "line tcp:127.0.0.1:4001",
		Stage: record.StageWound, AlphaPerKelvin: in.AlphaPerKelvin, Formula: r20.Formula, Inputs: in, Tolerance: tolerance,
		Budget: result.Budget, Settings: json.RawMessage(`{"readings": 8, "seconds": 1.5}`),
		Context: json.RawMessage(`{"state":"open"}`), Notes: []string{"1 outlier left out"}, CaptureSeconds: 4.2,
	}, readings
}

func windowMean(readings []record.Reading) float64 {
	w := windowOf(readings)
	return w.meanOhms()
}

// count asks the store for a number.
func count(t testing.TB, s *Store, query string, args ...any) (n int) {
	t.Helper()
	if err := s.readers.QueryRowContext(context.Background(), query, args...).Scan(&n); err != nil {
		t.Fatalf("%s: %v", query, err)
	}
	return n
}

// verifies fails the test unless the whole history is in order.
func verifies(t testing.TB, s *Store) record.Report {
	t.Helper()
	report, err := s.Verify(t.Context(), nil)
	if err != nil {
		t.Fatalf("verify: %v", err)
	}
	for _, f := range report.Faults {
		t.Errorf("verify: %s %s: %s", f.Kind, f.ID, f.Problem)
	}
	return report
}
