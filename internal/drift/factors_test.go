package drift

import (
	"encoding/json"
	"slices"
	"strings"
	"testing"
	"time"
)

// A coil that is measured again days later, or whose successors are, makes no
// pause in the winding: it was wound when it was measured first.
func TestMeasuringAgainIsNoPause(t *testing.T) {
	w := newWorkshop(15).wind(40, "SP-07", unmoved).wind(40, "SP-07", movedBy(-0.015))
	for i := range w.coils[40:] {
		c := &w.coils[40+i]
		c.FirstMeasured, c.Time = c.Time, c.Time.Add(72*time.Hour)
	}
	r := analysed(t, w.coils, ordinary())
	if len(r.Attribution) != 1 || r.Attribution[0].Cause != "winding" {
		t.Errorf("causes %+v, want winding alone", r.Attribution)
	}
}

// Several measurements of a check standard beside one coil count each for itself.
func TestChecksBesideOneCoil(t *testing.T) {
	coils := newWorkshop(16).wind(60, "SP-07", unmoved).coils
	for i := range coils {
		coils[i].CheckStandardOhms = nil
	}
	coils[5].CheckStandardOhms = []float64{10000, 10001, 9999, 10000.5}
	coils[20].CheckStandardOhms = []float64{9999.5, 10000, 10001, 10000}
	coils[40].CheckStandardOhms = []float64{10100, 10101}
	r := analysed(t, coils, ordinary())
	c := r.CheckStandard
	if c.Count != 10 || len(c.Signals) != 1 || c.Signals[0] != 41 {
		t.Errorf("%d readings, signals at %v; want 10, and coil 41 once", c.Count, c.Signals)
	}
}

// A temperature that rose coil by coil with the drift is suspected without a
// verdict, and no probability stands beside it that nobody computed.
func TestTogetherHasNoP(t *testing.T) {
	coils := newWorkshop(17).wind(60, "SP-07", func(i int) float64 { return 0.0005 * float64(i) }).coils
	for i := range coils {
		celsius := 20 + 0.05*float64(i)
		coils[i].TemperatureCelsius = &celsius
	}
	r := analysed(t, coils, ordinary())
	if len(r.Attribution) == 0 || r.Attribution[0].Cause != "temperature" || r.Attribution[0].P != nil {
		t.Fatalf("causes %+v, want the temperature, untested", r.Attribution)
	}
	if s := r.Attribution[0].Sentence; strings.Contains(s, "not the winder") || !strings.Contains(s, "cannot be told apart") {
		t.Errorf("says %q", s)
	}
	text, err := json.Marshal(r.Attribution[0])
	if err != nil || !strings.Contains(string(text), `"p":null`) {
		t.Errorf("as JSON %s, %v", text, err)
	}
}

// What the report cannot say is null or absent, and a note says why.
func TestNotesSayWhatIsMissing(t *testing.T) {
	few := newWorkshop(18).wind(12, "SP-07", unmoved).coils
	for i := range few {
		few[i].CheckStandardOhms, few[i].Operator = nil, few[i].Serial
		if i > 3 {
			few[i].TemperatureCelsius = nil
		}
	}
	still := newWorkshop(19).wind(40, "SP-07", unmoved).coils
	for i := range still {
		celsius := 21.0
		still[i].TemperatureCelsius, still[i].CheckStandardOhms = &celsius, nil
	}
	still[3].CheckStandardOhms = []float64{10000, 10001, 9999, 10000, 10001, 9999, 10000, 10001}
	checked := newWorkshop(20).wind(30, "SP-07", unmoved).coils
	for name, tt := range map[string]struct {
		coils   []Coil
		missing func(Report) bool
		says    []string
	}{
		"few": {few, func(r Report) bool {
			return r.CheckStandard == nil && r.Temperature == nil && r.Autocorrelation == nil && !slices.ContainsFunc(r.Factors,
				func(f Factor) bool { return f.Factor == "operator" })
		}, []string{"no check standard was measured", "4 coils with a temperature: whether R20 depends on it takes 8",
			"whether neighbouring coils are alike cannot be told from 12 coils: it takes 20", "the coils cannot be compared by operator: "}},
		"a room that stood still, checks at one coil": {still, func(r Report) bool { return r.Temperature == nil && r.CheckStandard.P == nil },
			[]string{"whether R20 depends on the temperature cannot be told: ", "no trend of the check standard: "}},
		"few checks": {checked, func(r Report) bool { return r.CheckStandard.P == nil },
			[]string{"the check standard was measured 6 times, too few for a trend of it: 8 are needed"}},
		"a handful": {few[:4], func(r Report) bool { return r.Autocorrelation == nil && r.Trend == nil },
			[]string{"too few coils for a step: 4 of 6"}},
	} {
		r := analysed(t, tt.coils, ordinary())
		if !tt.missing(r) {
			t.Errorf("%s: it is told after all", name)
		}
		contains(t, name, strings.Join(r.Notes, "\n"), tt.says...)
	}
}
