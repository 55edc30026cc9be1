package history

import (
	"math"
	"reflect"
	"testing"
	"time"

	"coilkeep/internal/published"
	"coilkeep/internal/record"
)

// Certified values: NIST Statistical Reference Datasets, univariate. The mean
// is held to 1e-14, the standard deviation to 1e-11, but for NumAcc4, whose
// values double precision cannot hold exactly, to 1e-8.
func TestStatisticsPublished(t *testing.T) {
	t.Parallel()
	for _, set := range published.Table(t, "strd/univariate.csv") {
		name := set.Text("dataset")
		var values []float64
		for _, r := range published.Table(t, "strd/univ_"+name+".csv") {
			values = append(values, r.Number("y"))
		}
		got := statistics(values)
		tolerance := 1e-11
		if name == "NumAcc4" {
			tolerance = 1e-8
		}
		if got.Count != int(set.Number("observations")) {
			t.Errorf("%s: %d values", name, got.Count)
		}
		if want := set.Number("mean"); math.Abs(got.MeanOhms/want-1) > 1e-14 {
			t.Errorf("%s: mean %.17g, want %.17g", name, got.MeanOhms, want)
		}
		if want := set.Number("standard_deviation"); math.Abs(got.StandardDeviationOhms/want-1) > tolerance {
			t.Errorf("%s: standard deviation %.17g, want %.17g", name, got.StandardDeviationOhms, want)
		}
	}
}

func TestStatisticsOfFew(t *testing.T) {
	t.Parallel()
	if got := statistics(nil); got != (record.BatchStatistics{}) {
		t.Errorf("of none: %+v", got)
	}
	if got, want := statistics([]float64{5}), (record.BatchStatistics{Count: 1, MeanOhms: 5, MinimumOhms: 5, MaximumOhms: 5}); got != want {
		t.Errorf("of one: %+v, want %+v", got, want)
	}
}

// Each coil counts once, with the newest measurement that stands.
func TestBatchStatistics(t *testing.T) {
	t.Parallel()
	s := workshop(t)
	at := func(serial string, ohms float64, minutes int, stage string) record.Measurement {
		m, readings := sample(t, serial, ohms, firstInstant.Add(time.Duration(minutes)*time.Minute))
		m.Stage = stage
		stored, err := s.Record(t.Context(), m, readings)
		if err != nil {
			t.Fatal(err)
		}
		return stored
	}
	at("HN-0001", 6690, 0, record.StageWound)
	potted := at("HN-0001", 6650, 5, record.StagePotted)
	wound := at("HN-0002", 6720, 1, record.StageWound)
	void := at("HN-0002", 6000, 6, record.StagePotted)
	must(t)(s.Void(t.Context(), void.ID, "fingers", "ada"))
	got, err := s.BatchStatistics(t.Context(), "B-1")
	want := statistics([]float64{potted.R20Ohms, wound.R20Ohms})
	if err != nil || got != want || got.Count != 2 {
		t.Errorf("got %+v, %v; want %+v", got, err, want)
	}
	got, err = s.BatchStatistics(t.Context(), "B-1", "HN-0001", "HN-0009")
	if want := statistics([]float64{wound.R20Ohms}); err != nil || got != want {
		t.Errorf("without one: %+v, %v; want %+v", got, err, want)
	}
	if none, err := s.BatchStatistics(t.Context(), "B-9"); err != nil || none != (record.BatchStatistics{}) {
		t.Errorf("of no batch: %+v, %v", none, err)
	}
	if withdrawn, err := s.WithdrawnCoils(t.Context()); err != nil || len(withdrawn) != 0 {
		t.Errorf("withdrawn while each has a measurement that stands: %v, %v", withdrawn, err)
	}
	must(t)(s.Void(t.Context(), wound.ID, "a shorted turn", "ada"))
	if withdrawn, err := s.WithdrawnCoils(t.Context()); err != nil || !reflect.DeepEqual(withdrawn, map[string]int{"B-1": 1}) {
		t.Errorf("withdrawn: %v, %v; want the one coil", withdrawn, err)
	}
}
