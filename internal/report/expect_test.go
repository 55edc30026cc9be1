package report_test

import (
	"math"
	"strconv"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"coilkeep/internal/copper"
	"coilkeep/internal/published"
	"coilkeep/internal/report"
)

func exactly(ohms float64) report.Expected {
	return report.Expected{Ohms: ohms, LowOhms: ohms, HighOhms: ohms}
}

// testdata/networks/parallel.csv; 1/R = 1/R1 + 1/R2.
func TestParallel(t *testing.T) {
	t.Parallel()
	for _, row := range published.Table(t, "networks/parallel.csv") {
		coil, control, want := row.Number("coil_ohms"), row.Number("control_ohms"), row.Number("reading_ohms")
		got := report.Parallel(exactly(coil), exactly(control)).Ohms
		if math.Abs(got-want) > 0.0005 {
			t.Errorf("%s: %g Ω across %g Ω reads %.4f Ω, want %.3f", row.Text("id"), control, coil, got, want)
		}
		if lower := 100 * (1 - got/coil); math.Abs(lower-row.Number("lower_percent")) > 0.005 {
			t.Errorf("%s: reads %.3f %% low, want %.2f", row.Text("id"), lower, row.Number("lower_percent"))
		}
	}
}

// Rows p6 and p7 of the same table are the ends of the control's tolerance.
func TestControlTolerance(t *testing.T) {
	t.Parallel()
	limits := map[string]float64{}
	for _, row := range published.Table(t, "networks/parallel.csv") {
		limits[row.Text("id")] = row.Number("reading_ohms")
	}
	got := report.Parallel(exactly(8000), report.Control(500e3))
	if math.Abs(got.LowOhms-limits["p6"]) > 0.0005 || math.Abs(got.HighOhms-limits["p7"]) > 0.0005 {
		t.Errorf("8 kΩ through a 500 kΩ control reads %.3f to %.3f Ω, want %.3f to %.3f", got.LowOhms, got.HighOhms, limits["p6"], limits["p7"])
	}
}

// Every cell of a certificate's tables, once more by another way: IEC 60028 for
// the temperature, conductances for the control.
func TestTablesFollowCopperAndOhm(t *testing.T) {
	t.Parallel()
	c := certificate(t, assembly(t))
	if len(c.Tables) != 4 {
		t.Fatalf("%d tables for an assembly, want 4", len(c.Tables))
	}
	atTwenty := map[string]float64{
		"both in series, as measured together": 13170,
		"both in parallel":                     6690 * 6480 / (6690.0 + 6480),
		"coil HN-0042 alone":                   6690,
		"coil HN-0043 alone":                   6480,
	}
	for _, table := range c.Tables {
		want20, ok := atTwenty[table.Title]
		if !ok {
			t.Errorf("table %q is not expected", table.Title)
		}
		if len(table.Rows) != 6 || table.Rows[0].Celsius != 10 || table.Rows[5].Celsius != 35 {
			t.Errorf("%s: rows %v, want six from 10 to 35 °C", table.Title, table.Rows)
		}
		for _, row := range table.Rows {
			bare, err := copper.Standard.Convert(want20, 20, row.Celsius)
			if err != nil {
				t.Fatal(err)
			}
			for k, controlOhms := range []float64{math.Inf(1), 500e3, 250e3} {
				want := 1 / (1/bare + 1/controlOhms)
				got := row.Readings[k]
				if math.Abs(got.Ohms-want) > 1e-9*want {
					t.Errorf("%s, %g °C, %s: %.3f Ω, want %.3f", table.Title, row.Celsius, table.Columns[k], got.Ohms, want)
				}
				if !(got.LowOhms < got.Ohms && got.Ohms < got.HighOhms) {
					t.Errorf("%s, %g °C, %s: %g is not between %g and %g", table.Title, row.Celsius, table.Columns[k], got.Ohms, got.LowOhms, got.HighOhms)
				}
			}
		}
	}
}

func TestAssemblyWithoutATogetherAddsUp(t *testing.T) {
	t.Parallel()
	s := assembly(t)
	s.Assembly.Together = nil
	table := certificate(t, s).Tables[0]
	got := table.Rows[2].Readings[0] // 20 °C, bare
	u := s.Measurement.ExpandedUncertaintyOhms + s.Assembly.Second.ExpandedUncertaintyOhms
	if table.Title != "both in series" || math.Abs(got.Ohms-13170) > 1e-6 || math.Abs(got.HighOhms-got.Ohms-u) > 1e-6 {
		t.Errorf("%s: %.3f Ω up to %.3f, want 13170 and %.3f more", table.Title, got.Ohms, got.HighOhms, u)
	}
}

// What is printed never promises more than is known, and says the number itself.
func TestPrintedRangesHoldTheLimits(t *testing.T) {
	t.Parallel()
	scale := map[string]float64{"Ω": 1, "kΩ": 1e3, "MΩ": 1e6}
	rapid.Check(t, func(rt *rapid.T) {
		s := subject(t)
		s.Measurement = measure(t, "HN-0042", rapid.Float64Range(20, 900e3).Draw(rt, "R20"))
		for _, row := range certificate(t, s).Tables[0].Rows {
			for _, r := range row.Readings {
				number, unit, _ := strings.Cut(r.Value, " ")
				low, high, _ := strings.Cut(r.Range, " to ")
				v, errV := strconv.ParseFloat(number, 64)
				l, errL := strconv.ParseFloat(low, 64)
				h, errH := strconv.ParseFloat(high, 64)
				if errV != nil || errL != nil || errH != nil || scale[unit] == 0 {
					rt.Fatalf("%q, %q do not read back", r.Value, r.Range)
				}
				size, slack := scale[unit], 1e-5*(r.HighOhms-r.LowOhms)
				if l*size > r.LowOhms+slack || h*size < r.HighOhms-slack {
					rt.Errorf("%s %s is printed for %g to %g Ω", r.Range, unit, r.LowOhms, r.HighOhms)
				}
				if math.Abs(v*size-r.Ohms) > (r.HighOhms-r.LowOhms)/4 {
					rt.Errorf("%s is printed for %g Ω within %g to %g", r.Value, r.Ohms, r.LowOhms, r.HighOhms)
				}
			}
		}
	})
}
