package quantity_test

import (
	"math"
	"strings"
	"testing"
	"unicode/utf8"

	"coilkeep/internal/quantity"
	"coilkeep/internal/words"
)

func near(got, want, tolerance float64) bool { return math.Abs(got-want) <= tolerance }

func TestParseOhms(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		text             string
		ohms, resolution float64
	}{
		{"6690", 6690, 1},
		{"6690.0", 6690, 0.1},
		{"+6690", 6690, 1},
		{" 6690 ", 6690, 1},
		{"6.69k", 6690, 10},
		{"6.69K", 6690, 10},
		{"6.690k", 6690, 1},
		{"6.69 kΩ", 6690, 10},      // U+03A9
		{"6.69 k\u2126", 6690, 10}, // U+2126
		{"6.69\u00a0kΩ", 6690, 10}, // no-break space
		{"6.69 k Ω", 6690, 10},
		{"6,69k", 6690, 10},
		{"6,690k", 6690, 1},
		{"6,690 kΩ", 6690, 1},
		{"6690,5", 6690.5, 0.1},
		{"1234,567", 1234.567, 0.001},
		{"0,690", 0.69, 0.001},
		{"0,690k", 690, 1},
		{"6k69", 6690, 10}, // IEC 60062
		{"6K69", 6690, 10},
		{"6k69Ω", 6690, 10},
		{"1M2", 1.2e6, 1e5},
		{"4R7", 4.7, 0.1},
		{"6690R", 6690, 1},
		{"1.2M", 1.2e6, 1e5},
		{"1.2 MΩ", 1.2e6, 1e5},
		{"1.2 Mohm", 1.2e6, 1e5},
		{"1.2 megohms", 1.2e6, 1e5},
		{"0.5G", 5e8, 1e8},
		{"1T", 1e12, 1e12},
		{"6690 ohm", 6690, 1},
		{"6690ohms", 6690, 1},
		{"6690 Ohm", 6690, 1},
		{"6.69 kohm", 6690, 10},
		{"6.69 KOHM", 6690, 10},
		{"6.69 kilohm", 6690, 10},
		{"6.69 kiloohms", 6690, 10},
		{"6.69e3", 6690, 10},
		{"6.69E+3", 6690, 10},
		{"6690e-3k", 6690, 1},
		{".5k", 500, 100},
		{"8.k", 8000, 1000},
		{"8k", 8000, 1000},
		{"007.5k", 7500, 100},
	} {
		t.Run(c.text, func(t *testing.T) {
			t.Parallel()
			ohms, resolution, err := quantity.ParseOhms(c.text)
			if err != nil {
				t.Fatal(err)
			}
			if ohms != c.ohms || resolution != c.resolution {
				t.Errorf("got %v to %v, want %v to %v", ohms, resolution, c.ohms, c.resolution)
			}
		})
	}
}

func TestParseOhmsRefuses(t *testing.T) {
	t.Parallel()
	for _, c := range []struct{ name, text, want string }{
		{"nothing", "", "no resistance given: type it like 6690, 6.69k or 6.69 kΩ"},
		{"spaces", " \t ", "no resistance given"},
		{"text", "coil", `resistance "coil" is not a number: type it like 6690, 6.69k or 6.69 kΩ`},
		{"unit only", "kΩ", "is not a number"},
		{"point only", ".", "is not a number"},
		{"point and prefix", ".k", "is not a number"},
		{"overload", "OL", "is not a number"},
		{"not a number", "NaN", "is not a number"},
		{"infinity", "inf", "is not a number"},
		{"infinity sign", "∞", "is not a number"},
		{"hexadecimal", "0x1A2A", `has the unit "x1A2A"`},
		{"two lines", "6690\n6700", "is not a number"},
		{"zero", "0", "is not above zero"},
		{"zero kiloohms", "0.00 kΩ", "is not above zero"},
		{"negative", "-6690", "is not above zero"},
		{"negative, typeset", "−6690", "is not above zero"},
		{"tiny", "0.0005", "is less than 0.001 Ω"},
		{"enormous", "1.1e12", "is more than 1e+12 Ω"},
		{"overload number", "9.9e37", "is more than 1e+12 Ω"},
		{"exponent too long", "1e999", "is not one number"},
		{"thousands or a decimal comma", "6,690", `may mean 6690 or 6.690`},
		{"the same with a unit", "6,690 Ω", `may mean 6690 or 6.690`},
		{"several commas", "1,234,567", "leave out separators between thousands"},
		{"comma and point", "6,690.5", "leave out separators between thousands"},
		{"point and comma", "6.690,5", "leave out separators between thousands"},
		{"space within", "6 690", "leave out separators between thousands"},
		{"apostrophe within", "6'690", "leave out separators between thousands"},
		{"two points", "6.6.9", "leave out separators between thousands"},
		{"milli", "6.69 mΩ", "for megohms write M"},
		{"milli for mega", "1.2m", "for megohms write M"},
		{"volts", "6.69 V", `has the unit "V", which is no resistance`},
		{"degrees", "21.4 °C", `has the unit "°C"`},
		{"micro", "6.69 µΩ", `has the unit "µΩ"`},
		{"unit twice", "6690 ohm ohm", `has the unit "ohm ohm"`},
		{"point twice", "6.6k9", "has digits on both sides of \"k\""},
		{"letter point with another prefix", "6R8k", `has the unit "Rk"`},
		{"two prefixes", "6kk", `has the unit "kk"`},
		{"range", "6690-6700", `has the unit "-6700"`},
		{"too many digits", "6690.123456789012", "has more than 15 digits"},
		{"too many digits after a letter", "6k690123456789012", "has more than 15 digits"},
		{"too long", strings.Repeat("1", 5000), "is too long"},
		{"not text", "66\xff90", "is not text"},
		{"other digits", "٦٦٩٠", "is not a number"},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			ohms, resolution, err := quantity.ParseOhms(c.text)
			if err == nil || !strings.Contains(err.Error(), c.want) || ohms != 0 || resolution != 0 {
				t.Errorf("%q: got %v to %v, error %v; want an error with %q", c.text, ohms, resolution, err, c.want)
			}
			if err != nil && len(err.Error()) > 300 {
				t.Errorf("error of %d bytes", len(err.Error()))
			}
		})
	}
}

func TestParseCelsius(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		text                string
		celsius, resolution float64
	}{
		{"21.4", 21.4, 0.1},
		{"21,4 °C", 21.4, 0.1},
		{"21.4C", 21.4, 0.1},
		{"21.40 º C", 21.4, 0.01},
		{"21.4℃", 21.4, 0.1},
		{"21 deg C", 21, 1},
		{"21 Celsius", 21, 1},
		{"21,400", 21.4, 0.001},
		{"0", 0, 1},
		{"-5.5", -5.5, 0.1},
		{"−5.5 °C", -5.5, 0.1},
		{"70.5F", 385.0 / 18, 0.1 / 1.8},
		{"68 °F", 20, 1 / 1.8},
		{"-40 f", -40, 1 / 1.8},
		{"294 K", 20.85, 1},
		{"293.15 K", 20, 0.01},
	} {
		t.Run(c.text, func(t *testing.T) {
			t.Parallel()
			celsius, resolution, err := quantity.ParseCelsius(c.text)
			if err != nil {
				t.Fatal(err)
			}
			if !near(celsius, c.celsius, 1e-12) || !near(resolution, c.resolution, 1e-12) {
				t.Errorf("got %v to %v, want %v to %v", celsius, resolution, c.celsius, c.resolution)
			}
		})
	}
}

func TestParseCelsiusRefuses(t *testing.T) {
	t.Parallel()
	for _, c := range []struct{ name, text, want string }{
		{"nothing", "", "no temperature given: type it like 21.4, 21.4 °C or 70.5 °F"},
		{"text", "warm", `temperature "warm" is not a number`},
		{"not a number", "nan", "is not a number"},
		{"ohms", "21.4 Ω", `has the unit "Ω", which is no temperature`},
		{"kiloohms", "6.69kΩ", `has the unit "kΩ"`},
		{"two numbers", "21 22", "is not one number"},
		{"below absolute zero", "-273.2", "is below absolute zero"},
		{"below absolute zero in kelvin", "-1 K", "is below absolute zero"},
		{"hot", "1200", "is above 1000 °C"},
		{"exponent", "1e50", "is above 1000 °C"},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			celsius, resolution, err := quantity.ParseCelsius(c.text)
			if err == nil || !strings.Contains(err.Error(), c.want) || celsius != 0 || resolution != 0 {
				t.Errorf("%q: got %v to %v, error %v; want an error with %q", c.text, celsius, resolution, err, c.want)
			}
		})
	}
}

func FuzzParseOhms(f *testing.F) {
	for _, text := range []string{"6690", "6.69k", "6,69 kΩ", "6k69", "1.2M", "6690 ohm", "6,690", "1e12", "-0.0", "6.69 k\u2126", "∞",
		"1e-99T", "000000000000000000000000000000000000001"} {
		f.Add(text)
	}
	f.Fuzz(func(t *testing.T, text string) {
		ohms, resolution, err := quantity.ParseOhms(text)
		if err != nil {
			if ohms != 0 || resolution != 0 || !utf8.ValidString(err.Error()) || len(err.Error()) > 500 {
				t.Fatalf("%v to %v with error %q", ohms, resolution, err)
			}
			return
		}
		if !(ohms >= 1e-3 && ohms <= 1e12) || !(resolution > 0 && resolution <= ohms) {
			t.Fatalf("%q is %v to %v", text, ohms, resolution)
		}
		// What is accepted prints back the same, down to the picohm.
		written := words.OhmsToStep(ohms, resolution)
		again, step, err := quantity.ParseOhms(written)
		if err != nil {
			t.Fatalf("%q is written %q: %v", text, written, err)
		}
		exact := again == ohms && step == resolution
		if !exact && (resolution >= 1e-12 || !near(again, ohms, 1e-12)) {
			t.Fatalf("%q is %v to %v, written %q that is %v to %v", text, ohms, resolution, written, again, step)
		}
	})
}

func FuzzParseCelsius(f *testing.F) {
	for _, text := range []string{"21.4", "21,4 °C", "70.5F", "294 K", "-273.15", "−5", "1e3", "0", "-0"} {
		f.Add(text)
	}
	f.Fuzz(func(t *testing.T, text string) {
		celsius, resolution, err := quantity.ParseCelsius(text)
		if err != nil {
			if celsius != 0 || resolution != 0 || !utf8.ValidString(err.Error()) || len(err.Error()) > 500 {
				t.Fatalf("%v to %v with error %q", celsius, resolution, err)
			}
			return
		}
		if !(celsius >= -273.15 && celsius <= 1000) || !(resolution > 0) {
			t.Fatalf("%q is %v to %v", text, celsius, resolution)
		}
		written := words.CelsiusToStep(celsius, resolution)
		again, _, err := quantity.ParseCelsius(written)
		if err != nil {
			t.Fatalf("%q is written %q: %v", text, written, err)
		}
		if !near(again, celsius, max(resolution, 1)/2*1.000001) {
			t.Fatalf("%q is %v, written %q that is %v", text, celsius, written, again)
		}
	})
}

func TestMeantOhms(t *testing.T) {
	t.Parallel()
	for ohms, want := range map[float64]string{6.69: "6.69 kΩ", 6.7e6: "6.7 kΩ", 0.05: "", 1e9: ""} {
		if got := quantity.MeantOhms(ohms, 100, 200e3); got != want {
			t.Errorf("%g Ω: %q, want %q", ohms, got, want)
		}
	}
}
