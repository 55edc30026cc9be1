package main

import (
	"math"
	"path/filepath"
	"strings"
	"testing"

	"coilkeep/internal/copper"
	"coilkeep/internal/r20"
)

func TestNormalizeText(t *testing.T) {
	golden(t, "normalize-unknown-meter.txt", ok(t, "normalize", "6690", "--at", "23.4"))
	golden(t, "normalize-known-meter.txt", ok(t, "normalize", "6.69k", "--at", "23.4", "--to", "25",
		"--meter-percent", "0.05", "--meter-ohms", "0.3", "--lead-ohms", "0.2", "--temperature-uncertainty", "0.5"))
}

// R20 = R/(1 + α20·(t − 20)), α20 = 0.00393 /K (IEC 60028), worked by hand:
// 6690/(1 + 0.00393·3.4) = 6690/1.013362 = 6601.787.
func TestNormalizeJSON(t *testing.T) {
	var got normalized
	fromJSON(t, ok(t, "normalize", "6690", "--at", "23.4", "--json"), &got)
	if want := 6601.787; math.Abs(got.R20Ohms-want) > 0.0005 {
		t.Errorf("r20_ohms = %v, want %v to the digits worked", got.R20Ohms, want)
	}
	if len(got.Assumptions) != 2 {
		t.Errorf("assumptions = %q, want one about the meter and one about the temperature", got.Assumptions)
	}
	// The budget adds up to the combined uncertainty (JCGM 100:2008, 5.1.2).
	var variance float64
	for _, c := range got.Budget {
		variance += c.ContributionOhms * c.ContributionOhms
	}
	if want := got.CoverageFactor * math.Sqrt(variance); len(got.Budget) == 0 || math.Abs(got.ExpandedUncertaintyOhms-want) > 1e-9*want {
		t.Errorf("expanded_uncertainty_ohms = %v, the budget of %d lines gives %v", got.ExpandedUncertaintyOhms, len(got.Budget), want)
	}
}

func TestNormalizeNames(t *testing.T) {
	var got map[string]any
	fromJSON(t, ok(t, "normalize", "6690", "--at", "23.4", "--to", "25", "--json"), &got)
	for _, name := range []string{"r20_ohms", "expanded_uncertainty_ohms", "coverage_factor", "budget", "inputs", "at", "assumptions"} {
		if got[name] == nil {
			t.Errorf("the JSON has no %s", name)
		}
	}
}

func TestNormalizeTakesWhatItIsTold(t *testing.T) {
	for _, test := range []struct {
		name string
		args []string
		want r20.Inputs
	}{
		{"nothing: an ordinary handheld of 0.8 % and two digits", nil,
			r20.Inputs{MeterPercent: 0.8, MeterOhms: 20, ProbeHalfWidthKelvin: 1, AlphaPerKelvin: 0.00393}},
		{"percent alone", []string{"--meter-percent", "0.05"},
			r20.Inputs{MeterPercent: 0.05, ProbeHalfWidthKelvin: 1, AlphaPerKelvin: 0.00393}},
		{"ohms alone", []string{"--meter-ohms", "3"},
			r20.Inputs{MeterOhms: 3, ProbeHalfWidthKelvin: 1, AlphaPerKelvin: 0.00393}},
		{"a perfect meter", []string{"--meter-percent", "0", "--meter-ohms", "0", "--temperature-uncertainty", "0"},
			r20.Inputs{AlphaPerKelvin: 0.00393}},
		{"wire of 98 %", []string{"--conductivity", "98", "--lead-ohms", "0.4"},
			r20.Inputs{MeterPercent: 0.8, MeterOhms: 20, LeadOhms: 0.4, ProbeHalfWidthKelvin: 1, AlphaPerKelvin: 0.98 * 0.00393}},
		{"its own coefficient", []string{"--alpha", "0.0039"},
			r20.Inputs{MeterPercent: 0.8, MeterOhms: 20, ProbeHalfWidthKelvin: 1, AlphaPerKelvin: 0.0039}},
	} {
		t.Run(test.name, func(t *testing.T) {
			var got normalized
			fromJSON(t, ok(t, append([]string{"normalize", "6.69k", "--at", "21,5", "--json"}, test.args...)...), &got)
			want := test.want
			want.ResistanceOhms, want.ResolutionOhms, want.Readings, want.TemperatureCelsius = 6690, 10, 1, 21.5
			want.AlphaStandardUncertaintyPerKelvin = copper.StandardUncertaintyPerKelvin
			if got.Inputs != want {
				t.Errorf("inputs\n got %+v\nwant %+v", got.Inputs, want)
			}
		})
	}
}

func TestNormalizeRefuses(t *testing.T) {
	for name, args := range map[string][]string{
		"no temperature":        {"6690"},
		"no number":             {"lots", "--at", "20"},
		"negative":              {"--at", "20", "--", "-6690"},
		"nan":                   {"nan", "--at", "20"},
		"too hot":               {"6690", "--at", "300"},
		"fahrenheit for kelvin": {"6690", "--at", "20", "--temperature-uncertainty", "-1"},
		"conductivity as ratio": {"6690", "--at", "20", "--conductivity", "0.98"},
		"two coefficients":      {"6690", "--at", "20", "--conductivity", "98", "--alpha", "0.0039"},
		"no copper":             {"6690", "--at", "20", "--alpha", "0.39"},
		"leads above the coil":  {"6690", "--at", "20", "--lead-ohms", "7000"},
		"other end too cold":    {"6690", "--at", "20", "--to", "-273"},
	} {
		t.Run(name, func(t *testing.T) {
			got := start(t, append([]string{"normalize"}, args...)...)
			if got.code != exitUsage || got.stdout != "" {
				t.Fatalf("exit %d, stdout %q", got.code, got.stdout)
			}
			golden(t, filepath.Join("refused", "normalize-"+strings.ReplaceAll(name, " ", "-")+".txt"), got.stderr)
		})
	}
}
