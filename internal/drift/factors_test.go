package drift

import (
	"testing"
	"time"
)

// A coil that is measured again days later, or whose successors are, makes no
// pause in the winding: it was wound when it was measured first.
func TestMeasuringAgainIsNoPause(t *testing.T) {
	w := newWorkshop(15).wind(40, "SP-07", none).wind(40, "SP-07", by(-0.015))
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
	coils := newWorkshop(16).wind(60, "SP-07", none).coils
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
