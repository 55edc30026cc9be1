package workshop

import (
	"fmt"
	"math/rand/v2"
	"reflect"
	"slices"
	"testing"
	"time"

	"coilkeep/internal/record"
)

var noon = time.Date(2026, 11, 3, 12, 0, 0, 0, time.UTC)

func TestCalibrationInForce(t *testing.T) {
	t.Parallel()
	mine := record.Calibration{ID: "mine", Time: noon.Add(-3 * time.Hour), Role: record.Meter, Instrument: "EV-40", CorrectionRatio: 0.01}
	unnamed := record.Calibration{ID: "unnamed", Time: noon.Add(-5 * time.Hour), Role: record.Meter}
	others := []record.Calibration{
		{ID: "spare", Time: noon.Add(-time.Hour), Role: record.Meter, Instrument: "spare meter 2"},
		{ID: "probe", Time: noon.Add(-time.Minute), Role: record.Probe, Instrument: "EV-40"},
		{ID: "planned", Time: noon.Add(time.Hour), Role: record.Meter, Instrument: "EV-40", CorrectionRatio: 0.5},
		{ID: "planned for all", Time: noon.Add(time.Hour), Role: record.Meter},
	}
	inForce := func(list []record.Calibration, at time.Time) string {
		slices.SortStableFunc(list, func(a, b record.Calibration) int { return b.Time.Compare(a.Time) })
		if c := CalibrationInForce(list, record.Meter, at, "EV-40"); c != nil {
			return c.ID
		}
		return ""
	}
	for _, c := range []struct {
		list []record.Calibration
		at   time.Time
		want string
	}{
		{nil, noon, ""},
		{others, noon, ""},
		{[]record.Calibration{mine}, noon, "mine"},
		{[]record.Calibration{mine}, mine.Time, "mine"},
		{[]record.Calibration{mine}, mine.Time.Add(-time.Microsecond), ""},
		{[]record.Calibration{unnamed, mine}, noon, "mine"},
		{[]record.Calibration{unnamed, mine}, noon.Add(-4 * time.Hour), "unnamed"},
		{append([]record.Calibration{mine}, others...), noon, "mine"},
		{append([]record.Calibration{mine}, others...), noon.Add(2 * time.Hour), "planned"},
	} {
		if got := inForce(slices.Clone(c.list), c.at); got != c.want {
			t.Errorf("of %v at %v: %q, want %q", c.list, c.at, got, c.want)
		}
	}
	// Without a label it has what names no instrument, never what names another.
	list := append([]record.Calibration{mine, unnamed}, others...)
	slices.SortStableFunc(list, func(a, b record.Calibration) int { return b.Time.Compare(a.Time) })
	if c := CalibrationInForce(list, record.Meter, noon, ""); c == nil || c.ID != "unnamed" {
		t.Errorf("without a label: %+v", c)
	}
}

// Whatever is entered of other instruments, when it says it was made and in which
// order it is entered: the answer about this one is the same.
func TestOthersNeverChangeWhatIsInForce(t *testing.T) {
	t.Parallel()
	random := rand.New(rand.NewPCG(1, 2))
	for range 500 {
		// Few hours, so that several are as new.
		hour := func() time.Time { return noon.Add(time.Duration(random.IntN(8)-5) * time.Hour) }
		var mine, all []entry
		for n := range 1 + random.IntN(4) {
			mine = append(mine, entry{fmt.Sprint("mine ", n), hour(), "A"})
		}
		all = slices.Clone(mine)
		for n := range random.IntN(6) {
			other := entry{fmt.Sprint("other ", n), hour(), []string{"B", "spare meter 2", "a", "A "}[random.IntN(4)]}
			all = slices.Insert(all, random.IntN(len(all)+1), other)
		}
		if want, got := inForceOf(mine), inForceOf(all); want != got {
			t.Fatalf("of %v: %q in force; with others, %v: %q", mine, want, all, got)
		}
	}
}

// entry is a calibration and a lead zero of an instrument, made at a time.
type entry struct {
	id         string
	made       time.Time
	instrument string
}

// inForceOf are the ids of the calibration and the lead zero in force for A at
// noon, of those entered in this order.
func inForceOf(entered []entry) (ids [2]string) {
	var list []record.Calibration
	var zeros []record.LeadZero
	for _, e := range slices.Backward(entered) { // as the history lists them: of those as new, the one entered last
		list = append(list, record.Calibration{ID: e.id, Time: e.made, Role: record.Meter, Instrument: e.instrument})
		zeros = append(zeros, record.LeadZero{ID: e.id, Time: e.made, Meter: e.instrument})
	}
	slices.SortStableFunc(list, func(a, b record.Calibration) int { return b.Time.Compare(a.Time) })
	slices.SortStableFunc(zeros, func(a, b record.LeadZero) int { return b.Time.Compare(a.Time) })
	if c := CalibrationInForce(list, record.Meter, noon, "A"); c != nil {
		ids[0] = c.ID
	}
	if z := LeadZeroInForce(zeros, noon, "A"); z != nil {
		ids[1] = z.ID
	}
	return ids
}

func TestLeadZeroInForce(t *testing.T) {
	t.Parallel()
	list := []record.LeadZero{ // the newest first
		{ID: "B", Time: noon.Add(-time.Hour), Meter: "B", Ohms: 0.4},
		{ID: "A twice", Time: noon.Add(-2 * time.Hour), Meter: "A", Ohms: 0.3},
		{ID: "A twice, before", Time: noon.Add(-2 * time.Hour), Meter: "A", Ohms: 0.2},
	}
	for meter, want := range map[string]string{"A": "A twice", "B": "B", "C": ""} {
		got := LeadZeroInForce(list, noon, meter)
		if (got == nil) != (want == "") || got != nil && got.ID != want {
			t.Errorf("of meter %s: %+v, want %q", meter, got, want)
		}
	}
}

func TestCalibrationsBehind(t *testing.T) {
	t.Parallel()
	list := []record.Calibration{
		{ID: "meter", Time: noon, Role: record.Meter, Instrument: "EV-40", CorrectionRatio: 0.01},
		{ID: "probe", Time: noon, Role: record.Probe, Instrument: "T-3"},
	}
	m := record.Measurement{Time: noon.Add(time.Hour), Meter: "EV-40", Probe: "T-3"}
	m.Inputs.CorrectionRatio = 0.01
	if meter, probe := CalibrationsBehind(list, m); !reflect.DeepEqual(meter, &list[0]) || !reflect.DeepEqual(probe, &list[1]) {
		t.Errorf("got %+v, %+v", meter, probe)
	}
	// One that was in force but not applied is not cited.
	m.Inputs.CorrectionRatio = 0
	if meter, probe := CalibrationsBehind(list, m); meter != nil || probe == nil {
		t.Errorf("got %+v, %+v", meter, probe)
	}
}

// A measurement that names its calibrations rests on those, whatever was entered
// since as if it had been made before.
func TestCalibrationsBehindAreThoseApplied(t *testing.T) {
	t.Parallel()
	list := []record.Calibration{ // the newest first
		{ID: "entered later, another ratio", Time: noon, Role: record.Meter, Instrument: "EV-40", CorrectionRatio: 0.02},
		{ID: "entered later", Time: noon.Add(-time.Minute), Role: record.Meter, Instrument: "EV-40", CorrectionRatio: 0.01},
		{ID: "probe, entered later", Time: noon.Add(-time.Minute), Role: record.Probe, Instrument: "T-3"},
		{ID: "applied", Time: noon.Add(-time.Hour), Role: record.Meter, Instrument: "EV-40", CorrectionRatio: 0.01},
		{ID: "probe", Time: noon.Add(-time.Hour), Role: record.Probe, Instrument: "T-3"},
	}
	for ids, want := range map[[2]string][2]*record.Calibration{
		{"applied", "probe"}:     {&list[3], &list[4]},
		{"", ""}:                 {nil, nil},
		{"in another file", "-"}: {nil, nil},
	} {
		m := record.Measurement{Time: noon.Add(time.Hour), Meter: "EV-40", Probe: "T-3", MeterCalibrationID: &ids[0], ProbeCalibrationID: &ids[1]}
		m.Inputs.CorrectionRatio = 0.01
		if meter, probe := CalibrationsBehind(list, m); meter != want[0] || probe != want[1] {
			t.Errorf("of %q: %+v, %+v; want %+v", ids, meter, probe, want)
		}
	}
}
