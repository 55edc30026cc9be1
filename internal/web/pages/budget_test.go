package pages

import (
	"math"
	"testing"

	"coilkeep/internal/r20"
	"coilkeep/internal/record"
)

// The bar is as wide as the shares add up to, and what each source leaves open alone
// adds up to U as squares do (JCGM 100:2008, 5.1.2).
func TestBudgetParts(t *testing.T) {
	t.Parallel()
	in := r20.Inputs{ResistanceOhms: 6720, Readings: 8, StandardDeviationOhms: 6, ResolutionOhms: 0.1, MeterPercent: 0.3, MeterOhms: 3,
		TemperatureCelsius: 22.4, ProbeHalfWidthKelvin: 0.8, CoilDifferenceHalfWidthKelvin: 0.5, CopperExcessUncertaintyKelvin: 0.4,
		AlphaPerKelvin: 0.00393, AlphaStandardUncertaintyPerKelvin: 0.00005}
	result, err := r20.Evaluate(in)
	if err != nil {
		t.Fatal(err)
	}
	m := record.Measurement{R20Ohms: result.R20Ohms, ExpandedUncertaintyOhms: result.ExpandedUncertaintyOhms,
		CoverageFactor: result.CoverageFactor, Budget: result.Budget}
	parts := budgetParts(m)
	if len(parts) < 3 {
		t.Fatalf("got %+v", parts)
	}
	end, squares := 0.0, 0.0
	for i, p := range parts {
		if math.Abs(p.FromPercent-end) > 1e-9 || p.Words == m.Budget[i].Source {
			t.Errorf("%+v begins after %g %%", p, end)
		}
		end += p.WidthPercent
		squares += m.Budget[i].ContributionOhms * m.Budget[i].ContributionOhms
	}
	if end < 95 || end > 100+1e-9 {
		t.Errorf("the bar is %g %% wide", end)
	}
	if u := m.CoverageFactor * math.Sqrt(squares); math.Abs(u/m.ExpandedUncertaintyOhms-1) > 0.03 {
		t.Errorf("the parts make %g Ω, U is %g Ω", u, m.ExpandedUncertaintyOhms)
	}
	if len(budgetParts(record.Measurement{})) != 0 {
		t.Error("a bar without a budget")
	}
}
