package words_test

import (
	"math"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"coilkeep/internal/published"
	"coilkeep/internal/quantity"
	"coilkeep/internal/words"
)

func near(got, want, tolerance float64) bool { return math.Abs(got-want) <= tolerance }

func TestOhmsToStep(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		ohms, resolution float64
		want             string
	}{
		{6690, 10, "6.69 kΩ"},
		{6690, 1, "6.690 kΩ"},
		{6690.04, 0.1, "6.6900 kΩ"},
		{6690, 0, "6.69 kΩ"},
		{6690.123456, 0, "6.69012 kΩ"},
		{100, 100, "0.1 kΩ"},
		{999.96, 0.1, "1.0000 kΩ"},
		{999.94, 0.1, "999.9 Ω"},
		{1000, 1, "1.000 kΩ"},
		{1e6, 1000, "1.000 MΩ"},
		{1.2e6, 1e5, "1.2 MΩ"},
		{4.7, 0.1, "4.7 Ω"},
		{0.02, 0, "0.02 Ω"},
		{5e8, 1e8, "0.5 GΩ"},
		{1e12, 1e12, "1 TΩ"},
		{6690, 0.5, "6.6900 kΩ"},
		{8000, 1e-300, "8.00000000000000 kΩ"},
		{0, 1, "no value"},
		{-5, 1, "no value"},
		{math.NaN(), 1, "no value"},
		{math.Inf(1), 1, "no value"},
	} {
		if got := words.OhmsToStep(c.ohms, c.resolution); got != c.want {
			t.Errorf("OhmsToStep(%v, %v) = %q, want %q", c.ohms, c.resolution, got, c.want)
		}
	}
}

func TestOhmsWithin(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		ohms, uncertainty float64
		want              string
	}{
		{6690, 42, "6.690 ± 0.042 kΩ"},
		{6690, 41.6, "6.690 ± 0.042 kΩ"},
		{6690, 42.3, "6.690 ± 0.042 kΩ"}, // 0.7 % less
		{6690, 420, "6.69 ± 0.42 kΩ"},
		{6690, 4.2, "6.6900 ± 0.0042 kΩ"},
		{66900, 42000, "67 ± 42 kΩ"},
		{7845.633, 20.863, "7.846 ± 0.021 kΩ"},
		{7845.633, 99.7, "7.85 ± 0.10 kΩ"},
		{7845.633, 12.4, "7.846 ± 0.013 kΩ"}, // 12 would be 3 % less
		{7845.633, 95.05, "7.846 ± 0.095 kΩ"},
		{999.97, 1.2, "1.0000 ± 0.0012 kΩ"},
		{52.347, 0.26, "52.35 ± 0.26 Ω"},
		{6690, 0, "6.69 kΩ"},
		{6690, 1e-320, "6.69 kΩ"},
		{6690, math.NaN(), "6.69 kΩ"},
		{math.NaN(), 1, "no value"},
	} {
		if got := words.OhmsWithin(c.ohms, c.uncertainty); got != c.want {
			t.Errorf("OhmsWithin(%v, %v) = %q, want %q", c.ohms, c.uncertainty, got, c.want)
		}
	}
}

// JCGM 100:2008, 7.2.6: how an uncertainty and its value are rounded.
func TestRoundingPublished(t *testing.T) {
	t.Parallel()
	var examples struct {
		Rounding struct {
			Cases []struct {
				Value, To, Y, U float64
				Reported        float64 `json:"y_reported"`
			}
		} `json:"GUM_7.2.6"`
	}
	published.JSON(t, "uncertainty/gum_examples.json", &examples)
	if len(examples.Rounding.Cases) < 3 {
		t.Fatal("gum_examples.json lacks 7.2.6")
	}
	for _, c := range examples.Rounding.Cases {
		value, uncertainty, wantValue, wantUncertainty := c.Y, c.U, c.Reported, c.U
		if c.Value != 0 { // an uncertainty alone: give it a value of whole ohms
			value, uncertainty, wantValue, wantUncertainty = 500, c.Value, 500, c.To
		}
		got := words.OhmsWithin(value, uncertainty)
		number, rest, found := strings.Cut(got, " ± ")
		if !found {
			t.Fatalf("%q has no uncertainty", got)
		}
		gotValue, _, err := quantity.ParseOhms(number)
		if err != nil {
			t.Fatal(err)
		}
		gotUncertainty, _, err := quantity.ParseOhms(rest)
		if err != nil {
			t.Fatal(err)
		}
		if gotValue != wantValue || gotUncertainty != wantUncertainty {
			t.Errorf("%g ± %g is written %q, want %g ± %g", value, uncertainty, got, wantValue, wantUncertainty)
		}
	}
}

// What is written is never further from the value than the digits shown, and
// the uncertainty shown is never 1 % less than it is.
func TestFormatIsHonest(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		ohms := math.Pow(10, rapid.Float64Range(2, 8).Draw(t, "log ohms"))
		uncertainty := ohms * math.Pow(10, rapid.Float64Range(-4, -0.5).Draw(t, "log relative uncertainty"))
		text := words.OhmsWithin(ohms, uncertainty)
		number, rest, found := strings.Cut(text, " ± ")
		if !found {
			t.Fatalf("%q has no uncertainty", text)
		}
		_, suffix, _ := strings.Cut(rest, " ")
		shown, step, err := quantity.ParseOhms(number + suffix)
		if err != nil {
			t.Fatal(err)
		}
		shownUncertainty, _, err := quantity.ParseOhms(rest)
		if err != nil {
			t.Fatal(err)
		}
		if !near(shown, ohms, step*0.500001) {
			t.Fatalf("%v ± %v is written %q", ohms, uncertainty, text)
		}
		if shownUncertainty < uncertainty*0.9899 || shownUncertainty > uncertainty*1.11 {
			t.Fatalf("%v ± %v is written %q", ohms, uncertainty, text)
		}
	})
}

func TestOhmsInPieces(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		ohms, expanded      float64
		value, within, unit string
	}{
		{6637.25, 32, "6.637", "0.032", "kΩ"},
		{520.25, 0.26, "520.25", "0.26", "Ω"},
		{520.25, 0, "520.25", "", "Ω"},
		{0, 0, "no", "", "value"},
	} {
		if got := words.OhmsInPieces(c.ohms, c.expanded); got.Value != c.value || got.Within != c.within || got.Unit != c.unit {
			t.Errorf("%g ± %g: got %+v", c.ohms, c.expanded, got)
		}
	}
}
