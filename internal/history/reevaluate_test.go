package history

import (
	"errors"
	"strings"
	"testing"
	"time"

	"coilkeep/internal/r20"
	"coilkeep/internal/record"
)

// A new result takes the place of the old one in one step, or nothing is changed.
func TestReevaluate(t *testing.T) {
	t.Parallel()
	s := workshop(t)
	old := recordCoil(t, s, "HN-0001")
	recordCoil(t, s, "HN-0002")
	newer := func(change ...func(*record.Measurement)) (record.Measurement, []record.Reading) {
		m, readings, err := s.Measurement(t.Context(), old.ID)
		if err != nil {
			t.Fatal(err)
		}
		m.ID, m.Supersedes, m.Reason = "", old.ID, "evaluated again: newer rules"
		for _, c := range change {
			c(&m)
		}
		return m, readings
	}
	for _, c := range []struct {
		name, why string
		change    func(*record.Measurement)
		want      error // nil for a *FieldError
	}{
		{"no reason", "", func(*record.Measurement) {}, nil},
		{"nothing replaced", "newer rules", func(m *record.Measurement) { m.Supersedes = "" }, nil},
		{"another coil", "newer rules", func(m *record.Measurement) { m.Serial = "HN-0002" }, nil},
		{"another stage", "newer rules", func(m *record.Measurement) { m.Stage = record.StagePotted }, nil},
		{"another time", "newer rules", func(m *record.Measurement) { m.Time = m.Time.Add(time.Second) }, record.ErrConflict},
		{"another batch", "newer rules", func(m *record.Measurement) { m.Batch = "" }, record.ErrConflict},
		{"none there", "newer rules", func(m *record.Measurement) { m.Supersedes = "no such id" }, record.ErrNotFound},
	} {
		m, readings := newer(c.change)
		_, err := s.Reevaluate(t.Context(), m, readings, c.why, "ada")
		var field *record.FieldError
		if c.want == nil && !errors.As(err, &field) || c.want != nil && !errors.Is(err, c.want) {
			t.Errorf("%s: %v", c.name, err)
		}
	}
	if coil, err := s.Coil(t.Context(), "HN-0001"); err != nil || len(coil.Measurements) != 1 || !coil.Measurements[0].Stands() {
		t.Fatalf("what was refused changed the coil: %+v, %v", coil.Measurements, err)
	}

	m, readings := newer()
	kept, err := s.Reevaluate(t.Context(), m, readings, "newer rules", "ada")
	if err != nil {
		t.Fatal(err)
	}
	if kept.ID == "" || kept.ID == old.ID || kept.Sequence != old.Sequence {
		t.Errorf("kept as %s, number %d", kept.ID, kept.Sequence)
	}
	coil, err := s.Coil(t.Context(), "HN-0001")
	if err != nil || len(coil.Measurements) != 2 || coil.Measurements[0].ID != kept.ID ||
		coil.Measurements[1].Reason != "evaluated again: newer rules" ||
		coil.Measurements[1].Status != record.Superseded {
		t.Errorf("the coil has %+v, %v", coil.Measurements, err)
	}
	if _, err := s.Reevaluate(t.Context(), m, readings, "once more", "ada"); !errors.Is(err, record.ErrConflict) {
		t.Errorf("once more: %v", err)
	}
	deeds, err := s.Journal(t.Context(), record.JournalFilter{Action: "reevaluate"})
	if err != nil || len(deeds) != 1 || deeds[0].Who != "ada" || deeds[0].Subject != "HN-0001" ||
		!strings.Contains(deeds[0].Detail, "newer rules") {
		t.Errorf("journal %+v, %v", deeds, err)
	}
	verifies(t, s)
}

// What is taken to be known of the copper of coils that nobody watched counts in
// the rows of a table that tell no uncertainty, and in no other.
func TestRowsThatNobodyWatched(t *testing.T) {
	t.Parallel()
	s := workshop(t)
	o := CSVOptions{File: "old.csv", Design: "wren", Bench: "attic", Instruments: func(string) (r20.Inputs, bool) {
		return r20.Inputs{MeterPercent: 0.1, ProbeHalfWidthKelvin: 0.3, CoilDifferenceHalfWidthKelvin: 0.5,
			CopperExcessUncertaintyKelvin: 0.8, CopperExcessOrigin: "not watched"}, true
	}}
	importCSV(t, s, "serial,time,resistance_ohms,temperature_celsius,expanded_uncertainty_ohms,coverage_factor\n"+
		"A-1,2019-05-02T16:20:00Z,6701,21.5,,\nA-2,2019-05-02T16:30:00Z,6702,21.5,12,2\n", o)
	for serial, want := range map[string]float64{"A-1": 0.8, "A-2": 0} {
		coil, err := s.Coil(t.Context(), serial)
		if err != nil {
			t.Fatal(err)
		}
		if in := coil.Measurements[0].Inputs; in.CopperExcessUncertaintyKelvin != want || (in.CopperExcessOrigin != "") != (want > 0) {
			t.Errorf("%s: %+v", serial, in)
		}
	}
}
