package words_test

import (
	"encoding/json"
	"math"
	"os"
	"testing"
	"time"

	"coilkeep/internal/conformity"
	"coilkeep/internal/record"
	"coilkeep/internal/words"
)

func TestCelsiusToStep(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		celsius, resolution float64
		want                string
	}{
		{21.44, 0, "21.4 °C"},
		{21.44, 0.1, "21.4 °C"},
		{21.44, 0.01, "21.44 °C"},
		{21.44, 0.0555, "21.44 °C"},
		{21.44, 1, "21 °C"},
		{21.44, 10, "21 °C"},
		{-5.5, 0.1, "−5.5 °C"},
		{-0.04, 0.1, "0.0 °C"},
		{0, 1, "0 °C"},
		{math.NaN(), 0.1, "no value"},
		{math.Inf(-1), 0.1, "no value"},
	} {
		if got := words.CelsiusToStep(c.celsius, c.resolution); got != c.want {
			t.Errorf("CelsiusToStep(%v, %v) = %q, want %q", c.celsius, c.resolution, got, c.want)
		}
	}
}

// A probability is never certainty: the last digit says so.
func TestChance(t *testing.T) {
	t.Parallel()
	for p, want := range map[float64]string{1: "more than 99.9 %", 0.99951: "more than 99.9 %", 0.9989: "99.9 %", 0.5: "50.0 %",
		0.0011: "0.1 %", 0: "less than 0.1 %"} {
		if got := words.Chance(p); got != want {
			t.Errorf("%g: got %q, want %q", p, got, want)
		}
	}
}

func TestKelvinWithin(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		kelvin, within float64
		want           string
	}{
		{4.23, 2.9, "4.2 K"}, {27.4, 11.6, "27 K"}, {-0.218, 0.5, "−0.2 K"}, {0.0142, 0.04, "0.01 K"}, {-0.04, 0.5, "0.0 K"}, {-0.4, 12, "0 K"},
	} {
		if got := words.KelvinWithin(c.kelvin, c.within); got != c.want {
			t.Errorf("%g K within %g K: got %q, want %q", c.kelvin, c.within, got, c.want)
		}
	}
}

// The texts that the pages' script writes too: TestScriptWritesTheSame in
// cmd/coilkeep holds numbers.js and times.js to the same file.
func TestTextsOfTheScript(t *testing.T) {
	t.Parallel()
	content, err := os.ReadFile("testdata/words.json")
	if err != nil {
		t.Fatal(err)
	}
	var table struct {
		Significant []struct {
			Value  float64
			Digits int
			Text   string
		}
		Ohms, Celsius []struct {
			Value float64
			Text  string
		}
		Verdict []struct{ Value, Text string }
		Times   struct {
			Zone string
			Time []struct {
				Value time.Time
				Text  string
			}
		}
	}
	if err := json.Unmarshal(content, &table); err != nil {
		t.Fatal(err)
	}
	if len(table.Significant) == 0 || len(table.Ohms) == 0 || len(table.Celsius) == 0 || len(table.Verdict) == 0 ||
		len(table.Times.Time) == 0 {
		t.Fatal("words.json lacks a table")
	}
	check := func(of any, got, want string) {
		t.Helper()
		if got != want {
			t.Errorf("%v: got %q, want %q", of, got, want)
		}
	}
	for _, c := range table.Significant {
		check(c.Value, words.Significant(c.Value, c.Digits), c.Text)
	}
	for _, c := range table.Ohms {
		check(c.Value, words.OhmsLive(c.Value), c.Text)
	}
	for _, c := range table.Celsius {
		check(c.Value, words.CelsiusLive(c.Value), c.Text)
	}
	for _, c := range table.Verdict {
		check(c.Value, words.Verdict(c.Value), c.Text)
	}
	zone, err := time.LoadLocation(table.Times.Zone)
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range table.Times.Time {
		check(c.Value, words.Time(c.Value, zone), c.Text)
	}
}

func TestTexts(t *testing.T) {
	t.Parallel()
	zone := time.FixedZone("CET", 3600)
	at := time.Date(2026, 3, 14, 23, 30, 5, 0, time.UTC)
	for _, c := range []struct{ rule, got, want string }{
		{"Minus", words.Minus("-1.4 % (-1.7 to -1.1), HN-0042 of B-2 on 2026-03-14, a - b -"),
			"−1.4 % (−1.7 to −1.1), HN-0042 of B-2 on 2026-03-14, a - b -"},
		{"Plain", words.Plain(7024.5), "7024.5"},
		{"Plain", words.Plain(-1e-7), "-0.0000001"},
		{"Plain", words.Plain(1e21), "1000000000000000000000"},
		{"Fixed", words.Fixed(-1.26, 1), "−1.3"},
		{"Fixed", words.Fixed(-0.04, 1), "0.0"},
		{"Fixed", words.Fixed(2.5, 0), "2"},
		{"Fixed", words.Fixed(math.Inf(-1), 1), "-Inf"},
		{"Signed", words.Signed(1.26, 1), "+1.3"},
		{"Signed", words.Signed(-1.26, 1), "−1.3"},
		{"Signed", words.Signed(-0.04, 1), "+0.0"},
		{"Signed", words.Signed(math.NaN(), 1), "NaN"},
		{"Signed", words.Signed(math.Inf(1), 1), "+Inf"},
		{"Signed", words.Signed(math.Inf(-1), 1), "-Inf"},
		{"Significant", words.Significant(0, 5), "0.0000"},
		{"Significant", words.Significant(0.0123, 2), "0.012"},
		{"Significant", words.Significant(-1234, 2), "−1234"},
		{"AtMost", words.AtMost(6690, 6), "6690"},
		{"AtMost", words.AtMost(0.5, 3), "0.5"},
		{"AtMost", words.AtMost(99.96, 2), "100"},

		{"Ohms", words.Ohms(6690), "6.69 kΩ"},
		{"Ohms", words.Ohms(6355.5), "6.3555 kΩ"},
		{"Ohms", words.Ohms(520), "520 Ω"},
		{"Ohms", words.Ohms(6.69 * 1.05), "7.0245 Ω"}, // 7.0245000000000001 to a float64
		{"OhmsInLetters", words.OhmsInLetters(6690, 42), "6.690 +- 0.042 kohm"},
		{"OhmsRoughly", words.OhmsRoughly(6694), "6.69 kΩ"},
		{"OhmsRoughly", words.OhmsRoughly(480e3), "480 kΩ"},
		{"OhmsRoughly", words.OhmsRoughly(0), "no value"},
		{"OhmsSpread", words.OhmsSpread(4.16), "4.2 Ω"},
		{"OhmsSpread", words.OhmsSpread(123.6), "124 Ω"},
		{"OhmsInPassing", words.OhmsInPassing(6690), "6.69 kΩ"},
		{"OhmsInPassing", words.OhmsInPassing(0.30), "0.3 Ω"},
		{"OhmsInPassing", words.OhmsInPassing(0), "0 Ω"},

		{"Celsius", words.Celsius(21.44), "21.4 °C"},
		{"KelvinInPassing", words.KelvinInPassing(0.42), "0.4 K"},
		{"KelvinInPassing", words.KelvinInPassing(12.4), "12 K"},
		{"KelvinSigned", words.KelvinSigned(3.42), "+3.4 K"},
		{"KelvinSigned", words.KelvinSigned(-0.21), "−0.2 K"},

		{"PercentSigned", words.PercentSigned(0.012, 2), "+1.20 %"},
		{"PercentSigned", words.PercentSigned(-0.05, 1), "−5.0 %"},
		{"PercentOff", words.PercentOff(6910, 6910), "+0.00 %"},
		{"PercentOff", words.PercentOff(6909.9, 6910), "+0.00 %"},
		{"PercentOff", words.PercentOff(6979.1, 6910), "+1.00 %"},
		{"PercentOff", words.PercentOff(6840.9, 6910), "−1.00 %"},
		{"PercentOff", words.PercentOff(6910, 0), ""},
		{"PercentWithin", words.PercentWithin(0.268), "± 0.27 %"},
		{"PercentRoughly", words.PercentRoughly(4), "4 %"},
		{"PercentRoughly", words.PercentRoughly(0.2683), "0.27 %"},
		{"PercentRoughly", words.PercentRoughly(123), "123 %"},
		{"Percent", words.Percent(0), "0 %"},
		{"Percent", words.Percent(0.00009), "< 0.01 %"},
		{"Percent", words.Percent(0.0042), "0.42 %"},
		{"Percent", words.Percent(0.426), "43 %"},
		{"PercentApart", words.PercentApart(-0.0024), "0.24 %"},
		{"PercentApart", words.PercentApart(0.00004), "under 0.01 %"},
		{"ChanceWhole", words.ChanceWhole(0.97), "97 %"},
		{"ChanceWhole", words.ChanceWhole(0.996), "> 99 %"},
		{"ChanceWhole", words.ChanceWhole(0.004), "< 1 %"},
		{"ChanceInWords", words.ChanceInWords(0.9), "very likely"},
		{"ChanceInWords", words.ChanceInWords(0.5), "likely"},
		{"ChanceInWords", words.ChanceInWords(0.2), "possible"},
		{"ChanceInWords", words.ChanceInWords(0.05), "less likely"},
		{"ChanceInWords", words.ChanceInWords(0.01), "unlikely"},
		{"ChanceInWords", words.ChanceInWords(0.009), "very unlikely"},
		{"ShareOutside", words.ShareOutside(0), "0 %"},
		{"ShareOutside", words.ShareOutside(1e-7), "under 1 in a million"},
		{"ShareOutside", words.ShareOutside(0.00012), "120 in a million"},
		{"ShareOutside", words.ShareOutside(0.025), "2.5 %"},
		{"PValue", words.PValue(0.00009), "p < 0.0001"},
		{"PValue", words.PValue(0.0321), "p = 0.032"},

		{"Count", words.Count(1, "coil"), "1 coil"},
		{"Count", words.Count(0, "coil"), "0 coils"},
		{"Times", words.Times(1), "once"},
		{"Times", words.Times(0), "0 times"},
		{"Times", words.Times(2), "2 times"},
		{"And", words.And(nil), ""},
		{"And", words.And([]string{"a"}), "a"},
		{"And", words.And([]string{"a", "b"}), "a and b"},
		{"And", words.And([]string{"a", "b", "c"}), "a, b and c"},

		{"TimestampUTC", words.TimestampUTC(at.In(zone)), "2026-03-14T23:30:05Z"},
		{"Time", words.Time(at, zone), "2026-03-15 00:30:05"},
		{"Minute", words.Minute(at, zone), "2026-03-15 00:30"},
		{"MinuteInZone", words.MinuteInZone(at, zone), "2026-03-15 00:30 CET"},
		{"Clock", words.Clock(at, zone), "00:30"},
		{"Day", words.Day(at, zone), "2026-03-15"},
		{"DayInWords", words.DayInWords(at), "Saturday, 14 March 2026"},
		{"Pause", words.Pause(90 * time.Minute), "90 minutes"},
		{"Pause", words.Pause(2 * time.Hour), "2 hours"},
		{"Pause", words.Pause(72 * time.Hour), "3 days"},
		{"MinutesWithin", words.MinutesWithin(252, 18), "4.2 ± 0.3 min"},

		{"Verdict", words.Verdict(conformity.In), "in tolerance"},
		{"Verdict", words.Verdict(conformity.High), "too high"},
		{"Verdict", words.Verdict(conformity.Low), "too low"},
		{"Verdict", words.Verdict(conformity.Undecided), "undecided"},
		{"Verdict", words.Verdict(conformity.Verdict("")), "not judged"},
		{"Status", words.Status(record.Recorded), ""},
		{"Status", words.Status(record.Forced), "forced"},
		{"Status", words.Status(record.Manual), "typed in"},
		{"Status", words.Status(record.Void), "void"},
		{"Status", words.Status(record.Superseded), "replaced"},
	} {
		if c.got != c.want {
			t.Errorf("%s: got %q, want %q", c.rule, c.got, c.want)
		}
	}
}
