package workshop

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"coilkeep/internal/conformity"
	"coilkeep/internal/r20"
	"coilkeep/internal/record"
)

// drawer is a history of coils, an assembly and calibrations, none in a file.
type drawer struct {
	shelf
	assembly     record.Assembly
	calibrations []record.Calibration
	more         string // the cursor of a next page
}

func (d drawer) Assembly(_ context.Context, serial string) (record.Assembly, error) {
	if serial == "" || !slices.Contains([]string{d.assembly.Serial, d.assembly.First, d.assembly.Second}, serial) {
		return record.Assembly{}, record.ErrNotFound
	}
	return d.assembly, nil
}

func (d drawer) Calibrations(context.Context, string) ([]record.Calibration, error) {
	return d.calibrations, nil
}

func (d drawer) Measurements(ctx context.Context, f record.Filter) ([]record.Measurement, string, error) {
	page, _, err := d.shelf.Measurements(ctx, f)
	return page, d.more, err
}

// measured is what a bench records of a coil of some R20, at 22 °C.
func measured(t testing.TB, serial string, r20Ohms float64, change ...func(*record.Measurement)) record.Measurement {
	t.Helper()
	in := r20.Inputs{ResistanceOhms: r20Ohms * (1 + 0.00393*2), Readings: 8, StandardDeviationOhms: 0.2, ResolutionOhms: 0.1,
		MeterPercent: 0.05, MeterOhms: 0.3, TemperatureCelsius: 22, ProbeHalfWidthKelvin: 0.3, CoilDifferenceHalfWidthKelvin: 0.5,
		AlphaPerKelvin: 0.00393, AlphaStandardUncertaintyPerKelvin: 0.00005}
	result, err := r20.Evaluate(in)
	if err != nil {
		t.Fatal(err)
	}
	tolerance := conformity.Tolerance{LowerOhms: 6300, UpperOhms: 7000, GuardFactor: 1}
	judged, err := conformity.Judge(result.R20Ohms, result.StandardUncertaintyOhms, result.ExpandedUncertaintyOhms, tolerance)
	if err != nil {
		t.Fatal(err)
	}
	m := record.Measurement{ID: "id of " + serial, Time: noon, Bench: "north", Batch: "spring", Design: "Harbour", DesignRevision: 2,
		Serial: serial, R20Ohms: result.R20Ohms, ExpandedUncertaintyOhms: result.ExpandedUncertaintyOhms, Verdict: judged.Verdict,
		Tolerance: tolerance, Status: record.Recorded, Stage: record.StageWound, Meter: "EV-40", Probe: "T-3", Inputs: in, Formula: r20.Formula}
	for _, c := range change {
		c(&m)
	}
	return m
}

func void(m *record.Measurement) { m.ID, m.Status, m.Reason = "void "+m.Serial, record.Void, "a slip" }

func TestWhichMeasurementStands(t *testing.T) {
	t.Parallel()
	withdrawn, newer, older := measured(t, "HN-0001", 6690, void), measured(t, "HN-0001", 6691), measured(t, "HN-0001", 6692)
	older.ID = "older"
	for _, c := range []struct {
		name                    string
		list                    []record.Measurement // the newest first
		id                      string
		standing, shown, wanted string
	}{
		{"the newest that stands", []record.Measurement{withdrawn, newer, older}, "", newer.ID, newer.ID, newer.ID},
		{"one that was withdrawn, when it is named", []record.Measurement{withdrawn, newer, older}, withdrawn.ID, newer.ID, withdrawn.ID,
			newer.ID},
		{"an older one, when it is named", []record.Measurement{newer, older}, older.ID, newer.ID, older.ID, newer.ID},
		{"none of another coil", []record.Measurement{newer}, "id of HN-0002", newer.ID, "", newer.ID},
		{"the newest when none stands", []record.Measurement{withdrawn}, "", "", withdrawn.ID, ""},
	} {
		idOf := func(m *record.Measurement) string {
			if m == nil {
				return ""
			}
			return m.ID
		}
		coil := record.Coil{Serial: "HN-0001", Measurements: c.list}
		if got := idOf(Standing(coil)); got != c.standing {
			t.Errorf("%s: %q stands, want %q", c.name, got, c.standing)
		}
		if got := idOf(Shown(coil, c.id)); got != c.shown {
			t.Errorf("%s: %q is shown, want %q", c.name, got, c.shown)
		}
		m, err := StandingMeasurement(t.Context(), shelf(c.list), "hn-0001")
		if got := idOf(m); err != nil || got != c.wanted {
			t.Errorf("%s: found %q, %v, want %q", c.name, got, err, c.wanted)
		}
	}
	if m, err := StandingMeasurement(t.Context(), shelf{}, "HN-0404"); m != nil || err != nil {
		t.Errorf("of a coil never measured: %+v, %v", m, err)
	}
}

// Labels are of the coils in tolerance, or of all: of each what stands, potted or
// wound, in the order of the batch.
func TestLabelledOf(t *testing.T) {
	t.Parallel()
	again := measured(t, "HN-0002", 6600, func(m *record.Measurement) { m.ID, m.Stage = "again", record.StagePotted })
	list := shelf{measured(t, "HN-0001", 6690), measured(t, "HN-0002", 6590), measured(t, "HN-0003", 7200), measured(t, "HN-0004", 6700, void),
		again, measured(t, "HN-0005", 6999)}
	for _, c := range []struct {
		name string
		all  bool
		want []string
	}{
		{"in tolerance", false, []string{"id of HN-0001", "again"}}, // HN-0005 is in doubt
		{"all", true, []string{"id of HN-0001", "id of HN-0003", "again", "id of HN-0005"}},
	} {
		var got []string
		picked, err := LabelledOf(t.Context(), drawer{shelf: list}, "spring", c.all)
		for _, m := range picked {
			got = append(got, m.ID)
		}
		if err != nil || !slices.Equal(got, c.want) {
			t.Errorf("%s: %q, %v, want %q", c.name, got, err, c.want)
		}
	}
	_, err := LabelledOf(t.Context(), drawer{shelf: list}, "autumn", true)
	if !errors.Is(err, record.ErrNotFound) || err.Error() != "batch autumn has no coil to print a label for" {
		t.Errorf("of a batch without coils: %v", err)
	}
	if _, err := LabelledOf(t.Context(), drawer{shelf: list, more: "next"}, "spring", true); !errors.Is(err, ErrNoDocument) ||
		!strings.Contains(err.Error(), "print coil by coil") {
		t.Errorf("of a batch with a second page: %v", err)
	}
}

// A certificate cites what was in force for these instruments when the coil was
// measured, and the revision it was judged by.
func TestCertifiedBy(t *testing.T) {
	t.Parallel()
	d := drawer{calibrations: []record.Calibration{
		{ID: "later", Time: noon.Add(time.Hour), Bench: "north", Role: record.Meter, Instrument: "EV-40"},
		{ID: "another", Time: noon.Add(-time.Hour), Bench: "north", Role: record.Meter, Instrument: "spare"},
		{ID: "meter", Time: noon.Add(-2 * time.Hour), Bench: "north", Role: record.Meter, Instrument: "EV-40"},
		{ID: "probe", Time: noon.Add(-3 * time.Hour), Bench: "north", Role: record.Probe},
	}}
	m := measured(t, "HN-0001", 6690)
	c, err := CertifiedBy(t.Context(), d, m)
	if err != nil {
		t.Fatal(err)
	}
	if c.Meter == nil || c.Meter.ID != "meter" || c.Probe == nil || c.Probe.ID != "probe" || c.Design == nil || c.Design.Revision != 2 ||
		c.Assembly != nil || c.Measurement.ID != m.ID {
		t.Errorf("certified %+v", c)
	}
	if result, err := c.Check(noon.AddDate(0, 0, 1), nil); err != nil || result.R20Ohms != m.R20Ohms {
		t.Errorf("checked: %+v, %v", result, err)
	}
	m.Design = ""
	if c, err := CertifiedBy(t.Context(), drawer{}, m); err != nil || c.Design != nil || c.Meter != nil || c.Probe != nil {
		t.Errorf("without a design and calibrations: %+v, %v", c, err)
	}
}

// Whichever of the three numbers a certificate of an assembly is asked by, it has
// both coils, and both together where that was measured.
func TestCertifiedAssembly(t *testing.T) {
	t.Parallel()
	first, second := measured(t, "HN-0001", 6500), measured(t, "HN-0002", 6700)
	whole := measured(t, "PB-1", 13200, func(m *record.Measurement) { m.Design, m.Verdict = "", "" })
	assembly := record.Assembly{Serial: "PB-1", First: "HN-0001", Second: "HN-0002"}
	for _, c := range []struct {
		name                    string
		asked                   record.Measurement
		kept                    shelf
		first, second, together string
	}{
		{"by its first coil", first, shelf{first, second, whole}, "HN-0001", "HN-0002", "PB-1"},
		{"by its second coil", second, shelf{first, second, whole}, "HN-0002", "HN-0001", "PB-1"},
		{"by its own number", whole, shelf{first, second, whole}, "HN-0001", "HN-0002", "PB-1"},
		{"never measured together", first, shelf{first, second}, "HN-0001", "HN-0002", ""},
	} {
		got, err := CertifiedBy(t.Context(), drawer{shelf: c.kept, assembly: assembly}, c.asked)
		if err != nil || got.Assembly == nil {
			t.Errorf("%s: %+v, %v", c.name, got.Assembly, err)
			continue
		}
		together := ""
		if got.Assembly.Together != nil {
			together = got.Assembly.Together.Serial
		}
		if got.Measurement.Serial != c.first || got.Assembly.Second.Serial != c.second || together != c.together ||
			got.Assembly.Serial != "PB-1" {
			t.Errorf("%s: %s and %s, together %q", c.name, got.Measurement.Serial, got.Assembly.Second.Serial, together)
		}
		if _, err := got.Check(noon, nil); err != nil {
			t.Errorf("%s: %v", c.name, err)
		}
	}
	for asked, kept := range map[string]shelf{
		"HN-0001": {first, measured(t, "HN-0002", 6700, void)}, "PB-1": {whole, measured(t, "HN-0001", 6500, void), second},
	} {
		_, err := CertifiedBy(t.Context(), drawer{shelf: kept, assembly: assembly}, kept[0])
		if !errors.Is(err, ErrNoDocument) || !strings.Contains(err.Error(), "stands; measure it again, or sell another coil with this one") {
			t.Errorf("by %s with a part withdrawn: %v", asked, err)
		}
	}
}

// failing is a history of which one question cannot be answered.
type failing struct {
	drawer
	question string
}

var errBroken = errors.New("broken")

func (f failing) answer(question string) error {
	if f.question == question {
		return fmt.Errorf("%s: %w", question, errBroken)
	}
	return nil
}

func (f failing) Coil(ctx context.Context, serial string) (record.Coil, error) {
	c, err := f.drawer.Coil(ctx, serial)
	return c, errors.Join(err, f.answer("coil"))
}

func (f failing) Measurement(ctx context.Context, id string) (record.Measurement, []record.Reading, error) {
	m, readings, err := f.drawer.Measurement(ctx, id)
	return m, readings, errors.Join(err, f.answer("measurement"))
}

func (f failing) Calibrations(ctx context.Context, bench string) ([]record.Calibration, error) {
	list, err := f.drawer.Calibrations(ctx, bench)
	return list, errors.Join(err, f.answer("calibrations"))
}

func (f failing) DesignRevision(ctx context.Context, name string, revision int) (record.Design, error) {
	d, err := f.drawer.DesignRevision(ctx, name, revision)
	return d, errors.Join(err, f.answer("design"))
}

func (f failing) Assembly(ctx context.Context, serial string) (record.Assembly, error) {
	a, err := f.drawer.Assembly(ctx, serial)
	if broken := f.answer("assembly"); broken != nil {
		return a, broken
	}
	return a, err
}

// A history that cannot answer makes no document that leaves something out.
func TestNothingIsCertifiedWithoutItsRecords(t *testing.T) {
	t.Parallel()
	first, second := measured(t, "HN-0001", 6500), measured(t, "HN-0002", 6700)
	d := drawer{shelf: shelf{first, second}, assembly: record.Assembly{Serial: "PB-1", First: "HN-0001", Second: "HN-0002"}}
	for _, question := range []string{"coil", "measurement", "calibrations", "design", "assembly"} {
		if _, err := CertifiedBy(t.Context(), failing{d, question}, first); !errors.Is(err, errBroken) {
			t.Errorf("without %s: %v", question, err)
		}
	}
}
