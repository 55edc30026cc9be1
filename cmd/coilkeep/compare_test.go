package main

import (
	"path/filepath"
	"strings"
	"testing"

	"coilkeep/internal/compare"
	"coilkeep/internal/history"
	"coilkeep/internal/record"
)

// A coil of 6.69 kΩ in a room of 23 °C, 6612 Ω at 20 °C, read as 6.28 kΩ.
func TestCompareText(t *testing.T) {
	ours := []string{"compare", "--r20", "6612", "--uncertainty", "13"}
	for name, args := range map[string][]string{
		"cold":         {"--theirs", "6.28k"},
		"cold-letter":  {"--theirs", "6.28k", "--letter"},
		"agree":        {"--theirs", "6.66k", "--temperature", "21", "--clips", "leads", "--hands", "off"},
		"agree-letter": {"--theirs", "6.66k", "--temperature", "21", "--clips", "leads", "--hands", "off", "--letter"},
		"jack":         {"--theirs", "6,55k", "--temperature", "70 °F", "--clips", "jack", "--control", "500k", "--control-full"},
		"short": {"--theirs", "5.3k", "--turns", "7200", "--temperature", "23", "--clips", "leads", "--hands", "off", "--meter-percent",
			"0.5", "--meter-digits", "1"},
		"overload": {"--theirs", "OL"},
		"two":      {"--theirs", "6.28k", "--also", "6.63k temperature=21 clips=leads", "--letter"},
	} {
		t.Run(name, func(t *testing.T) {
			golden(t, filepath.Join("compare", name+".txt"), ok(t, append(ours[:len(ours):len(ours)], args...)...))
		})
	}
}

func TestCompareJSON(t *testing.T) {
	text := ok(t, "compare", "--r20", "6612", "--uncertainty", "13", "--theirs", "6.28k", "--json")
	var names map[string]any
	fromJSON(t, text, &names)
	for _, name := range []string{"expected_ohms", "expected_expanded_uncertainty_ohms", "e_n", "agrees", "assumptions", "explanations"} {
		if names[name] == nil {
			t.Errorf("the JSON has no %s", name)
		}
	}
	first := names["explanations"].([]any)[0].(map[string]any)
	for _, name := range []string{"cause", "probability", "parameter", "value", "unit", "low", "high", "sentence", "test"} {
		if first[name] == nil {
			t.Errorf("an explanation has no %s", name)
		}
	}
	var got compare.Result
	fromJSON(t, text, &got)
	if got.Explanations[0].Cause != compare.Temperature || got.Agrees {
		t.Errorf("%s first, agrees %v", got.Explanations[0].Cause, got.Agrees)
	}
}

// What is kept is found again, with who answered; and only with a coil.
func TestCompareKeeps(t *testing.T) {
	w := newWorkshop(t)
	w.fill(t, 6690)
	text := w.ok(t, "compare", "--serial", "HN-0001", "--theirs", "6.28k", "--keep", "--who", "Wren", "--note", "rang at noon")
	store, err := history.Open(t.Context(), w.history, history.Options{})
	if err != nil {
		t.Fatal(err)
	}
	defer store.Close()
	kept, _, err := store.Comparisons(t.Context(), record.ComparisonFilter{Serial: "HN-0001"})
	if err != nil || len(kept) != 1 {
		t.Fatalf("%d answers are kept, %v; want one", len(kept), err)
	}
	if c := kept[0]; c.By != "Wren" || c.Note != "rang at noon" || c.Letter != c.Result.Answer ||
		!strings.Contains(text, "Kept as "+c.ID) || c.Input.Theirs[0].Ohms != 6280 || c.Measurement == "" {
		t.Errorf("kept %+v", c)
	}
	// Capitals do not matter.
	if text := w.ok(t, "compare", "--serial", "hn-0001", "--theirs", "6.28k", "--keep"); !strings.Contains(text, "on the page of HN-0001") {
		t.Errorf("of hn-0001 it says %s", text)
	}
	for args, says := range map[string]string{
		"compare --serial HN-0001 --mate hn-0001 --theirs 6.28k":    "--mate: HN-0001 is the coil itself",
		"compare --r20 6612 --uncertainty 13 --theirs 6.28k --keep": "--keep goes with --serial",
		"compare --serial HN-0001 --theirs 6.28k --note x":          "--who and --note go with --keep",
	} {
		if text := w.refused(t, 2, strings.Fields(args)...); !strings.Contains(text, says) {
			t.Errorf("%s says %q, want %q", args, text, says)
		}
	}
}

// With a serial number everything comes from the record, and the coils of the
// batch are those it may have been swapped with.
func TestCompareWithRecord(t *testing.T) {
	w := newWorkshop(t)
	w.fill(t, 6690, 6720, 7010)
	var got compare.Result
	fromJSON(t, w.ok(t, "compare", "--serial", "HN-0001", "--theirs", "7.01k", "--temperature", "21.4", "--temperature-uncertainty", "0.2",
		"--meter-percent", "0.1", "--meter-digits", "1", "--clips", "leads", "--hands", "off", "--json"), &got)
	if first := got.Explanations[0]; first.Cause != compare.OtherCoil || !strings.Contains(first.Sentence, "HN-0003") ||
		!strings.Contains(first.Test, "HN-0001") {
		t.Errorf("first: %+v", first)
	}
	fromJSON(t, w.ok(t, "compare", "--serial", "HN-0001", "--mate", "HN-0002", "--theirs", "13.41k", "--temperature", "21.4", "--json"), &got)
	if first := got.Explanations[0]; first.Cause != compare.WiringSeries {
		t.Errorf("first with a mate: %+v", first)
	}
	fromJSON(t, w.ok(t, "compare", "--serial", "HN-0001", "--mate", "HN-0002", "--wiring", "series", "--theirs", "13.41k", "--temperature",
		"21.4", "--json"), &got)
	if !got.Agrees {
		t.Errorf("the pair in series does not agree: E_n %.2f", got.EN)
	}
	if got := w.refused(t, exitFault, "compare", "--serial", "HN-9999", "--theirs", "6.6k"); !strings.Contains(got, "HN-9999") ||
		!strings.Contains(got, "coilkeep coil list") {
		t.Errorf("an unknown coil: %s", got)
	}
}

// A measurement that was withdrawn is no record to compare with.
func TestCompareLeavesOutWithdrawn(t *testing.T) {
	w := newWorkshop(t)
	w.fill(t, 6690)
	store, err := history.Open(t.Context(), w.history, history.Options{})
	if err != nil {
		t.Fatal(err)
	}
	coil, err := store.Coil(t.Context(), "HN-0001")
	if err != nil {
		t.Fatal(err)
	}
	if _, err := store.Void(t.Context(), coil.Measurements[0].ID, "clip on the wrong wire", "Mira"); err != nil {
		t.Fatal(err)
	}
	if err := store.Close(); err != nil {
		t.Fatal(err)
	}
	if got := w.refused(t, exitFault, "compare", "--serial", "HN-0001", "--theirs", "6.6k"); !strings.Contains(got,
		"no measurement that still counts") {
		t.Errorf("said %s", got)
	}
}

func TestCompareRefuses(t *testing.T) {
	ours := []string{"--r20", "6612", "--uncertainty", "13"}
	reading := append(ours[:len(ours):len(ours)], "--theirs", "6.28k")
	for name, args := range map[string][]string{
		"no reading":           ours,
		"no coil":              {"--theirs", "6.28k"},
		"no uncertainty":       {"--r20", "6612", "--theirs", "6.28k"},
		"two coils":            {"--serial", "HN-0001", "--r20", "6612", "--theirs", "6.28k"},
		"text":                 append(ours[:4:4], "--theirs", "low"),
		"negative":             append(ours[:4:4], "--theirs=-6280"),
		"zero":                 append(ours[:4:4], "--theirs", "0"),
		"absurd unit":          append(ours[:4:4], "--theirs", "6.28 kg"),
		"a million megohms":    append(ours[:4:4], "--theirs", "1e12"),
		"overload":             append(ours[:4:4], "--theirs", "O.L", "--also", "6.28k"),
		"below absolute zero":  append(reading[:6:6], "--temperature", "-300"),
		"too cold for copper":  append(reading[:6:6], "--temperature", "-100"),
		"not a number":         append(reading[:6:6], "--meter-percent", "half"),
		"nan":                  append(reading[:6:6], "--meter-percent", "nan"),
		"unknown clips":        append(reading[:6:6], "--clips", "bridge"),
		"series without mate":  append(reading[:6:6], "--wiring", "series"),
		"tiny control":         append(reading[:6:6], "--control", "5"),
		"coil of megohms":      {"--r20", "66M", "--uncertainty", "13", "--theirs", "6.28k"},
		"also unknown":         append(reading[:6:6], "--also", "6.63k temprature=21"),
		"also bad":             append(reading[:6:6], "--also", "6.63k temperature=warm"),
		"also out of range":    append(reading[:6:6], "--also", "6.63k temperature=-90"),
		"also nothing":         append(reading[:6:6], "--also", ""),
		"odd copper":           append(reading[:6:6], "--conductivity", "0.98"),
		"kelvin without value": append(reading[:6:6], "--temperature-uncertainty", "2"),
	} {
		t.Run(name, func(t *testing.T) {
			got := start(t, append([]string{"compare"}, args...)...)
			if got.code != exitUsage || got.stdout != "" {
				t.Fatalf("exit %d, stdout %q, stderr %q", got.code, got.stdout, got.stderr)
			}
			golden(t, filepath.Join("refused", "compare-"+strings.ReplaceAll(name, " ", "-")+".txt"), got.stderr)
		})
	}
}
