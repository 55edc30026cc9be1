package pages

import (
	"testing"

	"coilkeep/internal/r20"
)

// Leads that nobody measured are not known to be nothing.
func TestLeadsThatWereNotMeasured(t *testing.T) {
	t.Parallel()
	in := r20.Inputs{ResistanceOhms: 6690, Readings: 1, MeterOhms: 1, ProbeHalfWidthKelvin: 0.3, TemperatureCelsius: 21,
		AlphaPerKelvin: 0.00393}
	for want, half := range map[string]float64{"lead zero, not measured: none": 0, "lead zero: 0 Ω": 0.05} {
		in.LeadHalfWidthOhms = half
		result, err := r20.Evaluate(in)
		if err != nil {
			t.Fatal(err)
		}
		for _, c := range result.Budget {
			if got := budgetSource(c) + ": " + estimate(c); c.Source == r20.LeadSource && got != want {
				t.Errorf("got %q, want %q", got, want)
			}
		}
	}
}
