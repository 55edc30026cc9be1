package main

import (
	"fmt"
	"math"
	"path/filepath"
	"strings"
	"testing"
)

func TestWireText(t *testing.T) {
	golden(t, "wire-turns.txt", ok(t, "wire", "--gauge", "42", "--turns", "7000", "--straight-mm", "58", "--core-radius-mm", "2.5",
		"--build-mm", "3.5"))
	golden(t, "wire-rounded.txt", ok(t, "wire", "--gauge", "43", "--ohms", "6.69k", "--family", "rounded"))
	golden(t, "wire-metric.txt", ok(t, "wire", "--diameter-mm", "0.063", "--length", "1200"))
}

// 42 AWG by the formula of the gauge, d = 0.127 mm · 92^((36−42)/39)
// (ASTM B258), at 1/58 Ω·mm²/m (IEC 60028), worked by hand: d = 0.063341 mm,
// 5.4716 Ω/m, so 1000 m have 5471.6 Ω.
func TestWireJSON(t *testing.T) {
	var got wireAnswer
	fromJSON(t, ok(t, "wire", "--gauge", "42", "--length", "1000", "--json"), &got)
	if math.Abs(got.DiameterMM-0.063341) > 5e-7 || math.Abs(got.R20Ohms-5471.6) > 0.05 {
		t.Errorf("diameter %v mm and %v Ω, want 0.063341 and 5471.6", got.DiameterMM, got.R20Ohms)
	}
	if got.Turns != nil {
		t.Errorf("%v turns without a bobbin", *got.Turns)
	}
}

func TestWireEitherWayRound(t *testing.T) {
	bobbin := []string{"wire", "--gauge", "43", "--straight-mm", "58", "--core-radius-mm", "2.5", "--build-mm", "3.5", "--json"}
	var wound, again wireAnswer
	fromJSON(t, ok(t, append(bobbin, "--turns", "8000")...), &wound)
	for name, value := range map[string]float64{"--ohms": wound.R20Ohms, "--length": wound.LengthMetres, "--turns": *wound.Turns} {
		fromJSON(t, ok(t, append(bobbin, name, fmt.Sprintf("%.9f", value))...), &again)
		for what, pair := range map[string][2]float64{
			"ohms": {again.R20Ohms, wound.R20Ohms}, "length": {again.LengthMetres, wound.LengthMetres}, "turns": {*again.Turns, 8000},
		} {
			if math.Abs(pair[0]/pair[1]-1) > 1e-9 {
				t.Errorf("by %s: %s %v, want %v", name, what, pair[0], pair[1])
			}
		}
	}
	// Two straight sides and a circle through the middle of the build:
	// 2·58 + 2π·(2.5 + 1.75) = 142.7035 mm.
	if math.Abs(*wound.MeanTurnMM-142.7035) > 5e-5 {
		t.Errorf("mean turn %v mm, want 142.7035", *wound.MeanTurnMM)
	}
}

func TestWireRefuses(t *testing.T) {
	for name, args := range map[string][]string{
		"no wire":             {"--ohms", "6690"},
		"two wires":           {"--gauge", "42", "--diameter-mm", "0.063", "--ohms", "6690"},
		"nothing known":       {"--gauge", "42"},
		"two things known":    {"--gauge", "42", "--ohms", "6690", "--length", "1000"},
		"turns of nothing":    {"--gauge", "42", "--turns", "7000"},
		"bobbin in part":      {"--gauge", "42", "--turns", "7000", "--straight-mm", "58"},
		"thick wire":          {"--gauge", "2", "--ohms", "6690"},
		"unknown family":      {"--gauge", "42", "--ohms", "6690", "--family", "pointed"},
		"family of metric":    {"--diameter-mm", "0.063", "--ohms", "6690", "--family", "rounded"},
		"negative length":     {"--gauge", "42", "--length", "-3"},
		"infinite turns":      {"--gauge", "42", "--turns", "inf", "--straight-mm", "58", "--core-radius-mm", "2.5", "--build-mm", "3.5"},
		"conductivity of tin": {"--gauge", "42", "--ohms", "6690", "--conductivity", "15"},
	} {
		t.Run(name, func(t *testing.T) {
			got := start(t, append([]string{"wire"}, args...)...)
			if got.code != exitUsage || got.stdout != "" {
				t.Fatalf("exit %d, stdout %q", got.code, got.stdout)
			}
			golden(t, filepath.Join("refused", "wire-"+strings.ReplaceAll(name, " ", "-")+".txt"), got.stderr)
		})
	}
}
