package history

import (
	"errors"
	"math"
	"reflect"
	"testing"
	"time"

	"coilkeep/internal/record"
)

func TestCalibrations(t *testing.T) {
	t.Parallel()
	s := newStore(t)
	add := func(c record.Calibration) record.Calibration {
		t.Helper()
		stored, err := s.AddCalibration(t.Context(), c)
		if err != nil {
			t.Fatal(err)
		}
		return stored
	}
	old := add(record.Calibration{Time: firstInstant.AddDate(-1, 0, 0), Bench: "north", Role: record.Meter, Instrument: "PM-6",
		Certificate: "C-1", DueAt: firstInstant.AddDate(0, 0, 10), CorrectionRatio: 0.0002, By: "ada"})
	add(record.Calibration{Bench: "north", Role: record.Meter, Instrument: "PM-6", CorrectionRatio: 0.0001})
	planned := add(record.Calibration{Time: firstInstant.AddDate(1, 0, 0), Bench: "north", Role: record.Meter, Instrument: "PM-6"})
	add(record.Calibration{Bench: "north", Role: record.Probe, Instrument: "T-1"})
	add(record.Calibration{Bench: "south", Role: record.Meter, Instrument: "PM-7"})
	list, err := s.Calibrations(t.Context(), "north")
	if err != nil || len(list) != 4 || !reflect.DeepEqual(list[0], planned) || !reflect.DeepEqual(list[3], old) {
		t.Errorf("calibrations %+v, %v", list, err)
	}
	if all, err := s.Calibrations(t.Context(), ""); err != nil || len(all) != 5 {
		t.Errorf("%d calibrations of all benches, %v; want 5", len(all), err)
	}
	for field, c := range map[string]record.Calibration{
		"role":             {Bench: "north", Role: "clip"},
		"bench":            {Role: record.Meter},
		"correction_ratio": {Bench: "north", Role: record.Meter, CorrectionRatio: math.NaN()},
		"due_at":           {Bench: "north", Role: record.Meter, Time: firstInstant, DueAt: firstInstant.Add(-time.Hour)},
	} {
		_, err := s.AddCalibration(t.Context(), c)
		var fault *record.FieldError
		if !errors.As(err, &fault) || fault.Field != field {
			t.Errorf("error %v, want one about %s", err, field)
		}
	}
	if _, err := s.AddCalibration(t.Context(), old); !errors.Is(err, record.ErrDuplicate) {
		t.Errorf("same id twice: %v, want ErrDuplicate", err)
	}
}

func TestCheckMeasurements(t *testing.T) {
	t.Parallel()
	s := newStore(t)
	celsius := 21.5
	first, err := s.AddCheckMeasurement(t.Context(), record.CheckMeasurement{Bench: "north", Standard: "R6k8", NominalOhms: 6800,
		MeasuredOhms: 6803.4, TemperatureCelsius: &celsius, Meter: "PM-6", By: "ada"})
	if err != nil || math.Abs(first.DeviationRatio-0.0005) > 1e-12 {
		t.Fatalf("stored %+v, %v; want a deviation of 0.0005", first, err)
	}
	second, err := s.AddCheckMeasurement(t.Context(), record.CheckMeasurement{Bench: "north", Standard: "R6k8", NominalOhms: 6800,
		MeasuredOhms: 6799})
	if err != nil {
		t.Fatal(err)
	}
	if got, err := s.CheckMeasurements(t.Context(), record.CheckFilter{Bench: "north"}); err != nil ||
		!reflect.DeepEqual(got, []record.CheckMeasurement{second, first}) {
		t.Errorf("got %+v, %v", got, err)
	}
	if got, err := s.CheckMeasurements(t.Context(), record.CheckFilter{Limit: 1}); err != nil ||
		!reflect.DeepEqual(got, []record.CheckMeasurement{second}) {
		t.Errorf("newest one: %+v, %v", got, err)
	}
	early, err := s.AddCheckMeasurement(t.Context(), record.CheckMeasurement{Time: first.Time.Add(-time.Hour), Bench: "north",
		Standard: "R6k8", NominalOhms: 6800, MeasuredOhms: 6801})
	if err != nil {
		t.Fatal(err)
	}
	if got, err := s.CheckMeasurements(t.Context(), record.CheckFilter{From: early.Time, To: first.Time}); err != nil ||
		!reflect.DeepEqual(got, []record.CheckMeasurement{early}) {
		t.Errorf("of one hour: %+v, %v; want the first moment and not the last", got, err)
	}
	for field, c := range map[string]record.CheckMeasurement{
		"nominal_ohms":  {Bench: "north", Standard: "R", MeasuredOhms: 1},
		"measured_ohms": {Bench: "north", Standard: "R", NominalOhms: 1, MeasuredOhms: math.Inf(1)},
		"standard":      {Bench: "north", NominalOhms: 1, MeasuredOhms: 1},
	} {
		_, err := s.AddCheckMeasurement(t.Context(), c)
		var fault *record.FieldError
		if !errors.As(err, &fault) || fault.Field != field {
			t.Errorf("error %v, want one about %s", err, field)
		}
	}
}

func TestInstruments(t *testing.T) {
	t.Parallel()
	s := workshop(t)
	recordCoil(t, s, "HN-0001")
	recordCoil(t, s, "HN-0002", func(m *record.Measurement) { m.Time = m.Time.Add(time.Hour); m.Meter = "Plover Instruments,PM-7" })
	recordCoil(t, s, "HN-0003", func(m *record.Measurement) { m.Probe = "" })
	got, err := s.Instruments(t.Context(), "north")
	want := []record.Instrument{
		{Bench: "north", Role: record.Meter, Identity: "Plover Instruments,PM-6,0042,1.3", FirstAt: firstInstant},
		{Bench: "north", Role: record.Probe, Identity: "line tcp:127.0.0.1:4001", FirstAt: firstInstant},
		{Bench: "north", Role: record.Meter, Identity: "Plover Instruments,PM-7", FirstAt: firstInstant.Add(time.Hour)},
	}
	if err != nil || !reflect.DeepEqual(got, want) {
		t.Errorf("got %+v, %v\nwant %+v", got, err, want)
	}
}

func TestJournal(t *testing.T) {
	t.Parallel()
	s := workshop(t)
	entry, err := s.AddJournal(t.Context(), record.JournalEntry{Bench: "north", Who: "ada", Action: "configuration", Subject: "north",
		Detail: "poll 200 ms"})
	if err != nil || entry.ID == "" || entry.Time.IsZero() {
		t.Fatalf("stored %+v, %v", entry, err)
	}
	all, err := s.Journal(t.Context(), record.JournalFilter{})
	if err != nil || len(all) != 3 || all[0] != entry {
		t.Errorf("journal %+v, %v", all, err)
	}
	for _, f := range []record.JournalFilter{{Action: "configuration"}, {Bench: "north", Limit: 1}, {Subject: "north"}, {From: entry.Time}} {
		if got, err := s.Journal(t.Context(), f); err != nil || !reflect.DeepEqual(got, []record.JournalEntry{entry}) {
			t.Errorf("%+v: %+v, %v", f, got, err)
		}
	}
	if _, err := s.AddJournal(t.Context(), record.JournalEntry{}); !errors.Is(err, record.ErrInvalid) {
		t.Errorf("empty entry: %v, want ErrInvalid", err)
	}
}

func TestLeadZeros(t *testing.T) {
	t.Parallel()
	s := newStore(t)
	var last record.LeadZero
	for i, ohms := range []float64{0.31, 0.25} {
		z, err := s.AddLeadZero(t.Context(), record.LeadZero{Time: firstInstant.Add(time.Duration(i-2) * time.Hour), Bench: "north",
			Meter: "PM-6", Ohms: ohms, HalfWidthOhms: 0.05, Readings: 10, By: "ada"})
		if err != nil {
			t.Fatal(err)
		}
		last = z
	}
	if list, err := s.LeadZeros(t.Context(), "north"); err != nil || len(list) != 2 || list[0] != last {
		t.Errorf("lead zeros %+v, %v", list, err)
	}
	for field, z := range map[string]record.LeadZero{
		"ohms":            {Bench: "north", Ohms: 6690, Readings: 1},
		"half_width_ohms": {Bench: "north", HalfWidthOhms: -1, Readings: 1},
		"readings":        {Bench: "north"},
		"bench":           {Readings: 1},
	} {
		_, err := s.AddLeadZero(t.Context(), z)
		var fault *record.FieldError
		if !errors.As(err, &fault) || fault.Field != field {
			t.Errorf("error %v, want one about %s", err, field)
		}
	}
}
