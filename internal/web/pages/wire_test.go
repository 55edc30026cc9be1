package pages

import (
	"math"
	"testing"

	"coilkeep/internal/copper"
	"coilkeep/internal/record"
	"coilkeep/internal/workshop"
)

// TestWireOfADesign compares with the definition of the gauge (ASTM B258), the
// resistivity of IEC 60028 and the geometry of the bobbin, computed a second
// way.
func TestWireOfADesign(t *testing.T) {
	t.Parallel()
	d := workshop.BlankDesign()
	d.TargetOhms, d.LowerOhms, d.UpperOhms, d.GaugeAWG, d.Turns = 6690, 6355.5, 7024.5, 42, 5600
	d.Bobbin = &record.Bobbin{StraightMM: 52, CoreRadiusMM: 2.4, BuildMM: 4.2}
	d.AlphaPerKelvin = 0.98 * 0.00393 // 98 % conductivity
	view := newWireView(d)
	if view == nil || view.Trouble != "" || len(view.Gauges) != 3 {
		t.Fatalf("got %+v", view)
	}
	meanTurn := 2*52 + 2*math.Pi*(2.4+2.1)
	for i, gauge := range []int{41, 42, 43} {
		diameter := 0.127 * math.Pow(92, float64(36-gauge)/39)
		perMetre := 0.017241 / 0.98 / (math.Pi / 4 * diameter * diameter)
		got := view.Gauges[i]
		if got.Gauge != gauge || got.Own != (gauge == 42) {
			t.Errorf("got gauge %d, own %t", got.Gauge, got.Own)
		}
		for name, pair := range map[string][2]float64{
			"diameter":   {got.DiameterMM, diameter},
			"per metre":  {got.OhmsPerMetre, perMetre},
			"length":     {got.LengthMetres, 6690 / perMetre},
			"turns":      {*got.Turns, 6690 / perMetre / meanTurn * 1000},
			"mean turn":  {*got.MeanTurnOhms, perMetre * meanTurn / 1000},
			"outer turn": {*got.OutermostTurnOhms, perMetre * (2*52 + 2*math.Pi*(2.4+4.2)) / 1000},
		} {
			// The resistivity is 1/58 exactly, printed as 0.017241.
			if math.Abs(pair[0]/pair[1]-1) > 1e-4 {
				t.Errorf("%d AWG, %s: got %g, want %g", gauge, name, pair[0], pair[1])
			}
		}
	}
	if want := *view.Own.MeanTurnOhms * 5600; math.Abs(*view.Nominal-want) > 1e-6 {
		t.Errorf("5600 turns: got %g Ω, want %g Ω", *view.Nominal, want)
	}
	if !(view.LeastOhms < 6690 && view.GreatestOhms > 6690) {
		t.Errorf("got %g to %g Ω by the standard for the wire, want the target between", view.LeastOhms, view.GreatestOhms)
	}
}

func TestWireOfADesignThatTellsLittle(t *testing.T) {
	t.Parallel()
	none := workshop.BlankDesign()
	none.TargetOhms = 6690
	if got := newWireView(none); got != nil {
		t.Errorf("without a gauge: got %+v, want none", got)
	}
	d := none
	d.GaugeAWG, d.Turns = copper.MaxGauge, 6690
	got := newWireView(d)
	if len(got.Gauges) != 2 || got.Own.Turns != nil || got.Nominal != nil || got.PerTurnOhms != 1 {
		t.Errorf("the finest gauge without a bobbin: got %+v", got)
	}
	d.GaugeAWG = 20
	if got := newWireView(d); got.Trouble == "" {
		t.Errorf("a gauge that is no coil wire: got %+v", got)
	}
	d.GaugeAWG, d.Bobbin = 42, &record.Bobbin{StraightMM: 50}
	if got := newWireView(d); got.Trouble != "" || got.Own.Turns != nil {
		t.Errorf("half a bobbin: got %+v", got)
	}
}
