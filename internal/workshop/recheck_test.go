package workshop

import (
	"context"
	"errors"
	"fmt"
	"math"
	"runtime"
	"testing"
	"time"

	"coilkeep/internal/conformity"
	"coilkeep/internal/record"
)

// TestRecheckMeasurement compares with what the formula of R20 says by itself
// (IEC 60028): it is in proportion to the corrected reading less the leads, and
// over 1 + α (t − 20 °C).
func TestRecheckMeasurement(t *testing.T) {
	t.Parallel()
	m := measured(t, "HN-0001", 6990, func(m *record.Measurement) {
		m.Tolerance = conformity.Tolerance{LowerOhms: 6355.5, UpperOhms: 7024.5}
		m.Verdict = conformity.In
	})
	in := m.Inputs
	meter := func(percent float64) float64 {
		return m.R20Ohms * (in.ResistanceOhms*(1+percent/100) - in.LeadOhms) / (in.ResistanceOhms*(1+in.CorrectionRatio) - in.LeadOhms)
	}
	copper := in.TemperatureCelsius + in.CopperExcessKelvin
	for _, c := range []struct {
		correction Correction
		want       float64
		verdict    conformity.Verdict
	}{
		{Correction{record.Meter, 100 * in.CorrectionRatio}, m.R20Ohms, conformity.In},
		{Correction{record.Meter, -2}, meter(-2), conformity.In},
		{Correction{record.Meter, 2}, meter(2), conformity.High},
		{Correction{record.Probe, 5}, m.R20Ohms * (1 + in.AlphaPerKelvin*(copper-20)) / (1 + in.AlphaPerKelvin*(copper-15)), conformity.In},
	} {
		got := RecheckMeasurement(m, c.correction)
		if got.Trouble != "" || math.Abs(got.Corrected.R20Ohms/c.want-1) > 1e-12 || got.NewVerdict != c.verdict {
			t.Errorf("%+v: got %.6f Ω, %s, %q, want %.6f Ω, %s", c.correction, got.Corrected.R20Ohms, got.NewVerdict, got.Trouble, c.want, c.verdict)
		}
		if got.Changed() != (c.verdict != m.Verdict) {
			t.Errorf("%+v: got changed %t", c.correction, got.Changed())
		}
	}
	if hot := RecheckMeasurement(m, Correction{record.Probe, 1000}); hot.Trouble == "" || hot.Changed() {
		t.Errorf("a copper of a thousand degrees: got %+v", hot)
	}
	for _, status := range []record.Status{record.Void, record.Superseded} {
		gone := m
		gone.Status = status
		if got := RecheckMeasurement(gone, Correction{record.Meter, 5}); got.Changed() || got.NewVerdict != conformity.High {
			t.Errorf("one that is %s: got %s, changed %t", status, got.NewVerdict, got.Changed())
		}
	}
	unjudged := m
	unjudged.Verdict = ""
	if got := RecheckMeasurement(unjudged, Correction{record.Meter, 5}); got.Changed() || got.NewVerdict != "" || got.Trouble != "" {
		t.Errorf("a coil that was not judged: got %+v", got)
	}
}

// uses are measurements of all instruments, as the history tells them one by one.
type uses struct {
	count int
	of    func(i int) record.Measurement
	fail  error
}

func (u uses) EachUse(_ context.Context, f record.UseFilter, fn func(record.Measurement) error) error {
	for i := range u.count {
		m := u.of(i)
		if m.Bench != f.Bench || f.Role == record.Meter && m.Meter != f.Identity || f.Role == record.Probe && m.Probe != f.Identity {
			continue
		}
		if err := fn(m); err != nil {
			return err
		}
	}
	return u.fail
}

func TestRecheck(t *testing.T) {
	t.Parallel()
	tolerance := conformity.Tolerance{LowerOhms: 6355.5, UpperOhms: 7024.5}
	coil := func(serial string, ohms float64, change ...func(*record.Measurement)) record.Measurement {
		m := measured(t, serial, ohms, change...)
		m.Tolerance, m.Verdict = tolerance, conformity.In
		return m
	}
	list := []record.Measurement{
		coil("HN-0001", 6690), coil("HN-0002", 6990), coil("HN-0002", 6991),
		coil("HN-0003", 6990, func(m *record.Measurement) { m.Status = record.Void }),
		coil("HN-0004", 6990, func(m *record.Measurement) { m.Status = record.Superseded }),
		coil("HN-0005", 6990, func(m *record.Measurement) { m.Meter = "spare meter 2" }),
		coil("HN-0006", 6990, func(m *record.Measurement) { m.Bench = "south" }),
		coil("HN-0007", 6690, func(m *record.Measurement) { m.Inputs.AlphaPerKelvin = 0 }), // nothing can be computed of it
	}
	instrument := record.Instrument{Bench: list[0].Bench, Role: record.Meter, Identity: list[0].Meter}
	request := RecheckRequest{Instrument: instrument, Correction: Correction{record.Meter, 2}}
	store := uses{len(list), func(i int) record.Measurement { return list[i] }, nil}
	a, err := Recheck(t.Context(), store, request)
	if err != nil {
		t.Fatal(err)
	}
	if a.Count != 6 || a.Coils != 5 || a.ChangedCount() != 2 || len(a.Same) != 4 || a.Troubled != 1 || a.Cut {
		t.Errorf("got %d measurements of %d coils, %d changed, %d the same, %d in trouble, cut %t; want 6, 5, 2, 4, 1, false",
			a.Count, a.Coils, a.ChangedCount(), len(a.Same), a.Troubled, a.Cut)
	}
	if math.Abs(a.MeanShift-0.02) > 1e-3 || math.Abs(a.LargestShift-0.02) > 1e-3 {
		t.Errorf("R20 moves by %g, at most %g, want 0.02", a.MeanShift, a.LargestShift)
	}
	unknown := request
	unknown.Instrument.Bench = "east"
	if a, err := Recheck(t.Context(), store, unknown); err != nil || a.Count != 0 || a.MeanShift != 0 {
		t.Errorf("of a bench without measurements: %+v, %v", a, err)
	}
	torn := errors.New("torn")
	store.fail = torn
	if a, err := Recheck(t.Context(), store, request); !errors.Is(err, torn) || a.Count != 0 || a.Same != nil {
		t.Errorf("after an error: %+v, %v", a, err)
	}
}

func TestRecheckRefuses(t *testing.T) {
	t.Parallel()
	known := record.Instrument{Bench: "north", Role: record.Probe, Identity: "T-3"}
	for field, r := range map[string]RecheckRequest{
		"instrument": {},
		"to":         {Instrument: known, From: noon, To: noon.Add(-time.Hour)},
		"correction": {Instrument: known, Correction: Correction{record.Probe, math.NaN()}},
	} {
		var wrong *record.FieldError
		if _, err := Recheck(t.Context(), uses{}, r); !errors.As(err, &wrong) || wrong.Field != field {
			t.Errorf("got %v, want one about %s", err, field)
		}
	}
	for value, fine := range map[float64]bool{-10: true, 10: true, 10.1: false, math.Inf(-1): false} {
		if err := (RecheckRequest{Instrument: known, Correction: Correction{record.Probe, value}}).Check(); (err == nil) != fine {
			t.Errorf("by %g K: %v", value, err)
		}
	}
}

// TestRecheckIsBounded goes through more measurements than are computed: that is
// said, and what is held in memory does not grow with them. Alone, as it measures
// the heap.
func TestRecheckIsBounded(t *testing.T) {
	m := measured(t, "", 6690)
	instrument := record.Instrument{Bench: m.Bench, Role: record.Meter, Identity: m.Meter}
	var early, late uint64
	heap := func() uint64 {
		runtime.GC()
		var stats runtime.MemStats
		runtime.ReadMemStats(&stats)
		return stats.HeapAlloc
	}
	store := uses{MostRechecked + 1, func(i int) record.Measurement {
		switch i {
		case MostRechecked / 10:
			early = heap()
		case MostRechecked:
			late = heap()
		}
		one := m
		one.Serial = fmt.Sprintf("HN-%05d", i)
		return one
	}, nil}
	a, err := Recheck(t.Context(), store, RecheckRequest{Instrument: instrument, Correction: Correction{record.Meter, 1}})
	if err != nil {
		t.Fatal(err)
	}
	if !a.Cut || a.Count != MostRechecked || a.Coils != MostRechecked || len(a.Same) != ListedRechecked ||
		a.MoreSame != MostRechecked-ListedRechecked {
		t.Errorf("got %d measurements of %d coils, %d and %d more, cut %t", a.Count, a.Coils, len(a.Same), a.MoreSame, a.Cut)
	}
	t.Logf("heap after %d: %d KiB, after %d: %d KiB", MostRechecked/10, early/1024, MostRechecked, late/1024)
	if grown := int64(late) - int64(early); grown > 4<<20 { // the serial numbers
		t.Errorf("what is held grew by %d KiB", grown/1024)
	}
	store.count = MostRechecked
	if a, err = Recheck(t.Context(), store, RecheckRequest{Instrument: instrument}); err != nil || a.Cut {
		t.Errorf("exactly as many as are computed: cut %t, %v", a.Cut, err)
	}
}
