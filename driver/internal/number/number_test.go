package number_test

import (
	"encoding/csv"
	"math"
	"os"
	"strconv"
	"strings"
	"testing"

	"coilkeep/driver"
	"coilkeep/driver/internal/number"
)

const (
	ohms    = driver.Resistance
	celsius = driver.Temperature
)

// The responses are those of testdata/scpi_numeric.csv; the sources are in the
// README beside it.
func TestDecimalPublishedResponses(t *testing.T) {
	f, err := os.Open("testdata/scpi_numeric.csv")
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	if len(rows) < 10 {
		t.Fatalf("the table has %d rows, want its head and at least 9 more", len(rows))
	}
	for _, row := range rows[1:] {
		text, value, meaning := row[0], row[2], row[3]
		t.Run(text, func(t *testing.T) {
			d, ok := number.ParseDecimal(text)
			if !ok {
				t.Fatalf("ParseDecimal(%q) refuses a published response", text)
			}
			status, _ := number.Classify(d.Value(0), ohms)
			want := map[string]driver.Status{"number": driver.OK, "overload": driver.Overload, "not a number": driver.Impossible}[meaning]
			if status != want {
				t.Errorf("%s is %q, want %q", text, status, want)
			}
			if meaning != "number" {
				return
			}
			wantValue, err := strconv.ParseFloat(value, 64)
			if err != nil {
				t.Fatal(err)
			}
			if got := d.Value(0); got != wantValue {
				t.Errorf("value = %v, want %v", got, wantValue)
			}
		})
	}
}

func TestDecimalStep(t *testing.T) {
	for text, want := range map[string]float64{
		"6690": 1, "6690.5": 0.1, "+6.690E+03": 1, "1.234567E+03": 0.001, "2.73E+2": 1, "0": 1, "12E3": 1000,
	} {
		d, ok := number.ParseDecimal(text)
		if got := d.Step(0); !ok || got != want {
			t.Errorf("step of %s = %v, %v; want %v", text, got, ok, want)
		}
	}
}

func TestDecimalRefuses(t *testing.T) {
	for _, text := range []string{"", "+", ".", "6.", ".5", "6.690E", "6.690E+", "1e400", "0x10", "1_000", "1,5", "6 690", "NaN", "inf",
		"6690V", "--5", "6.6.9"} {
		if d, ok := number.ParseDecimal(text); ok {
			t.Errorf("ParseDecimal(%q) = %v, want it refused", text, d.Value(0))
		}
	}
}

// The forms are those met in the field (common practice, no published source).
func TestFind(t *testing.T) {
	const (
		ok         = driver.OK
		overload   = driver.Overload
		unreadable = driver.Unreadable
		impossible = driver.Impossible
	)
	tests := []struct {
		name, text string
		q          driver.Quantity
		status     driver.Status
		value      float64
		resolution float64
		unit       bool
	}{
		{"bare", "6690", ohms, ok, 6690, 1, false},
		{"label and sign", "R=+6690.5", ohms, ok, 6690.5, 0.1, false},
		{"exponent", "+6.690E+03", ohms, ok, 6690, 1, false},
		{"kiloohm", "6.690 kOhm", ohms, ok, 6690, 1, true},
		{"kiloohm apart", "6.690 k ohm", ohms, ok, 6690, 1, true},
		{"capital kilo", "6.690 KOHM", ohms, ok, 6690, 1, true},
		{"greek omega", "6.690k\u03a9", ohms, ok, 6690, 1, true},
		{"ohm sign", "6690 \u2126", ohms, ok, 6690, 1, true},
		{"megohm", "1.2 MOhms", ohms, ok, 1.2e6, 1e5, true},
		{"gigohm", "1.2 G\u03a9", ohms, ok, 1.2e9, 1e8, true},
		{"milliohm", "123 mohm", ohms, ok, 0.123, 0.001, true},
		{"microohm, both micro signs", "123 \u00b5\u03a9", ohms, ok, 123e-6, 1e-6, true},
		{"microohm, greek mu", "123 \u03bc\u03a9", ohms, ok, 123e-6, 1e-6, true},
		{"prefix alone", "6.69k", ohms, ok, 6690, 10, false},
		{"unit after a separator", "6.690,kOhm", ohms, ok, 6690, 1, true},
		{"point at the end", "6690. ohm", ohms, ok, 6690, 1, true},
		{"sequence number", "0012 6.690 kOhm", ohms, ok, 6690, 1, true},
		{"number sign", "#12 6690", ohms, ok, 6690, 1, false},
		{"clock", "12:30:05 6690", ohms, ok, 6690, 1, false},
		{"date and clock", "2024-05-01T12:30:05Z, 6690.5", ohms, ok, 6690.5, 0.1, false},
		{"channel label", "CH1: 6690", ohms, ok, 6690, 1, false},
		{"second channel in another unit", "6.690 kOhm 21.4 C", ohms, ok, 6690, 1, true},
		{"the other channel", "6.690 kOhm 21.4 C", celsius, ok, 21.4, 0.1, true},
		{"decimal comma", "6,69 kOhm", ohms, ok, 6690, 10, true},
		{"decimal comma, three digits, kilo", "6,690 kOhm", ohms, ok, 6690, 1, true},
		{"negative", "R=-0.1 ohm", ohms, ok, -0.1, 0.1, true},
		{"unicode minus", "\u22120.1 ohm", ohms, ok, -0.1, 0.1, true},
		{"sign apart at the start", "- 3.5 C", celsius, ok, -3.5, 0.1, true},
		{"celsius", "T=21.43 C", celsius, ok, 21.43, 0.01, true},
		{"degree sign", "21.4\u00b0C", celsius, ok, 21.4, 0.1, true},
		{"one-character celsius", "21.4 \u2103", celsius, ok, 21.4, 0.1, true},
		{"deg C", "21.4 deg C", celsius, ok, 21.4, 0.1, true},
		{"celsius comma", "21,4 \u00b0C", celsius, ok, 21.4, 0.1, true},
		{"celsius comma, three digits", "21,375 \u00b0C", celsius, ok, 21.375, 0.001, true},
		{"fahrenheit", "70.5 F", celsius, ok, (70.5 - 32) / 1.8, 0.1 / 1.8, true},
		{"kelvin", "294.5 K", celsius, ok, 294.5 - 273.15, 0.1, true},
		{"humidity beside it", "45 %RH 21.4 C", celsius, ok, 21.4, 0.1, true},
		{"brackets", "<T>21.4</T>", celsius, ok, 21.4, 0.1, false},

		{"channel, value, unit", "CH1,22.60,degC", celsius, ok, 22.6, 0.01, true},
		{"the same with spaces", "CH1, 22.60, degC", celsius, ok, 22.6, 0.01, true},
		{"the same with semicolons and a decimal comma", "CH1;22,60;degC", celsius, ok, 22.6, 0.01, true},
		{"the same with tabs", "CH1\t22.60\tdegC", celsius, ok, 22.6, 0.01, true},
		{"counter, value, unit, status", "000123,+6.75E+03,OHM,0", ohms, ok, 6750, 10, true},
		{"the same with spaces between", "000123 +6.75E+03 OHM 0", ohms, ok, 6750, 10, true},
		{"the same with a decimal comma", "000123;6750,5;OHM;0", ohms, ok, 6750.5, 0.1, true},
		{"unpadded counter", "12,22.60,degC", celsius, ok, 22.6, 0.01, true},
		{"clock and fields", "12:30:05,22.60,degC", celsius, ok, 22.6, 0.01, true},
		{"date, clock and fields", "2024-05-01,12:30:05,22.60,degC", celsius, ok, 22.6, 0.01, true},
		{"two values with units in fields", "45.0,%RH,22.60,degC", celsius, ok, 22.6, 0.01, true},
		{"a fixed word and a value", "RES,6690.5", ohms, ok, 6690.5, 0.1, false},
		{"three digits before the point", "CH1,234.5,OHM", ohms, ok, 234.5, 0.1, true},
		{"empty field", "CH1,,22.60,degC", celsius, ok, 22.6, 0.01, true},
		{"counter and value, both whole", "0012;6690;OHM", ohms, ok, 6690, 1, true},
		{"a unit and its label", "Ohms: 6.690 kOhm", ohms, ok, 6690, 1, true},
		{"comma behind the unit", "T=21,4 °C,H=45 %", celsius, ok, 21.4, 0.1, true},
		{"overload in fields", "000123,OL,OHM,0", ohms, overload, 0, 0, true},
		{"overload mark in fields", "000123,+9.9E37,OHM,0", ohms, overload, 0, 0, true},

		{"unit before the value", "000123,OHM,+6.75E+03,0", ohms, unreadable, 0, 0, false},
		{"the same with spaces, unit first", "000123 OHM +6.75E+03", ohms, unreadable, 0, 0, false},
		{"counter before a unit", "000123,OHM", ohms, unreadable, 0, 0, false},
		{"status between value and unit", "6.75E+03,0,OHM", ohms, unreadable, 0, 0, false},
		{"channel between value and unit", "22.60,1,degC", celsius, unreadable, 0, 0, false},
		{"whole status between", "6690;0;OHM", ohms, unreadable, 0, 0, false},
		{"units first", "%RH,45.0,degC,22.60", celsius, unreadable, 0, 0, false},
		{"units first, whole degrees", "%RH,45.0,degC,22", celsius, unreadable, 0, 0, false},
		{"units first, spaces", "%RH 45.0 degC 22.60", celsius, unreadable, 0, 0, false},
		{"units first, letters", "C 22.6 F 72.7", celsius, unreadable, 0, 0, false},
		{"units as labels", "%RH=45.0 degC=22.60", celsius, unreadable, 0, 0, false},
		{"two channels, units first", "degC,22.60,degC,23.1", celsius, unreadable, 0, 0, false},
		{"volts first", "V,12.5,OHM,6690", ohms, unreadable, 0, 0, false},
		{"mean and deviation", "6690.5,0.3,OHM", ohms, unreadable, 0, 0, false},
		{"label or the beginning of a number", "R1,675 kOhm", ohms, unreadable, 0, 0, false},
		{"label or thousands", "R1,234.5 ohm", ohms, unreadable, 0, 0, false},
		{"channel or the beginning of a number", "CH1,6690,OHM", ohms, unreadable, 0, 0, false},
		{"decimal comma between commas", "CH1,22,60,degC", celsius, unreadable, 0, 0, false},
		{"fraction of a second or value", "12:30:15,6690,OHM", ohms, unreadable, 0, 0, false},
		{"thousands or counter", "1,234.5,OHM", ohms, unreadable, 0, 0, false},
		{"thousands or decimal comma", "1,234", ohms, unreadable, 0, 0, false},
		{"points between thousands", "6.690,21", ohms, unreadable, 0, 0, false},
		{"cut head of a comma", ",690 kOhm", ohms, unreadable, 0, 0, false},
		{"counter and bare value", "000123,+6750", ohms, unreadable, 0, 0, false},

		{"overload", "OL", ohms, overload, 0, 0, false},
		{"overload with unit", "OL MOhm", ohms, overload, 0, 0, true},
		{"overload glued to its unit", "OLk\u03a9", ohms, overload, 0, 0, true},
		{"overload with a point", "R= O.L kOhm", ohms, overload, 0, 0, true},
		{"overload as seven segments", "0.L", ohms, overload, 0, 0, false},
		{"overload word", "OVER", ohms, overload, 0, 0, false},
		{"minus overload", "-OL", ohms, overload, 0, 0, false},
		{"dashes", "----", ohms, overload, 0, 0, false},
		{"dashes with a point", "--.-- C", celsius, overload, 0, 0, true},
		{"beyond every meter", "1.0E+20", ohms, overload, 0, 0, false},
		{"infinity", "inf", ohms, overload, 0, 0, false},
		{"overload mark of SCPI", "+9.90000000E+37", ohms, overload, 0, 0, false},
		{"overload of the other channel", "OL MOhm 21.4 C", celsius, ok, 21.4, 0.1, true},
		{"not a number", "9.91E37", ohms, impossible, 0, 0, false},

		{"volts", "0.0132 V", ohms, impossible, 0, 0, false},
		{"millivolts DC", "13.2 mVDC", ohms, impossible, 0, 0, false},
		{"kilovolts apart", "6.69 k V", ohms, impossible, 0, 0, false},
		{"farads", "6.69 nF", ohms, impossible, 0, 0, false},
		{"celsius from a meter", "21.4 \u00b0C", ohms, impossible, 0, 0, false},
		{"ohms from a thermometer", "107.8 ohm", celsius, impossible, 0, 0, false},
		{"number beside another unit", "6690 21.4 C", ohms, impossible, 0, 0, false},
		{"power-on value", "85.00 C", celsius, impossible, 0, 0, true},
		{"no answer from the sensor", "-127.00", celsius, impossible, 0, 0, false},
		{"shorted platinum sensor", "-242.02 C", celsius, impossible, 0, 0, true},
		{"ohms without a unit, taken for a temperature", "1078", celsius, impossible, 0, 0, false},

		{"empty", "", ohms, unreadable, 0, 0, false},
		{"banner", "ELDER VALE LX-4 ready", ohms, unreadable, 0, 0, false},
		{"two bare numbers", "0012 6690", ohms, unreadable, 0, 0, false},
		{"two values", "6.690 kOhm 6.691 kOhm", ohms, unreadable, 0, 0, false},
		{"merged", "6.690 kOhm6.691 kOhm", ohms, unreadable, 0, 0, false},
		{"merged with labels", "R=6690R=6691", ohms, unreadable, 0, 0, false},
		{"merged exponents", "6.690E+036.691E+03", ohms, unreadable, 0, 0, false},
		{"merged signs", "+6.690E+03+6.691E+03", ohms, unreadable, 0, 0, false},
		{"merged points", "66.90.66.91", ohms, unreadable, 0, 0, false},
		{"cut exponent", "6.690E+", ohms, unreadable, 0, 0, false},
		{"cut unit", "6.690 kO", ohms, unreadable, 0, 0, false},
		{"cut head", ".690 kOhm", ohms, unreadable, 0, 0, false},
		{"thousands comma", "6,690 ohm", ohms, unreadable, 0, 0, false},
		{"bare comma", "6690,21", ohms, unreadable, 0, 0, false},
		{"comma and point", "6,690.5 ohm", ohms, unreadable, 0, 0, false},
		{"comma-separated, unit after a comma", "12,6690,ohm", ohms, unreadable, 0, 0, false},
		{"thousands space", "6 690 ohm", ohms, unreadable, 0, 0, false},
		{"thousands no-break space", "6\u00a0690 ohm", ohms, unreadable, 0, 0, false},
		{"thousands apostrophe", "6'690 ohm", ohms, unreadable, 0, 0, false},
		{"minus or dash", "12 - 3.5 C", celsius, unreadable, 0, 0, false},
		{"unit in the heading", "R(kOhm) 6.690", ohms, unreadable, 0, 0, false},
		{"unit before a colon", "kOhm: 6.690", ohms, unreadable, 0, 0, false},
		{"value and overload", "OL 6.690 kOhm", ohms, unreadable, 0, 0, false},
		{"channel and value", "1:6690", ohms, unreadable, 0, 0, false},
		{"hexadecimal", "0x1A22", ohms, unreadable, 0, 0, false},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			got, unit := number.Find(tt.text, tt.q, number.BaseUnit(tt.q))
			if got.Status != tt.status || !near(got.Value, tt.value) || !near(got.Resolution, tt.resolution) || unit != tt.unit {
				t.Errorf("Find(%q) = %+v, unit %v; want %s %v step %v, unit %v", tt.text, got, unit, tt.status, tt.value, tt.resolution, tt.unit)
			}
			if (got.Reason == "") != (got.Status == driver.OK) {
				t.Errorf("Find(%q) has status %s and reason %q", tt.text, got.Status, got.Reason)
			}
		})
	}
}

// near allows for the last bit: prefixes move the decimal point exactly, but
// the expected values of the table are computed in binary.
func near(got, want float64) bool {
	return math.Abs(got-want) <= 1e-12*math.Abs(want)
}

// What cannot be read in one way only says how to mend that.
func TestFindNamesThePattern(t *testing.T) {
	for _, text := range []string{"000123,OHM,+6.75E+03,0", "CH1,6690,OHM", "1,234", "6690,21", "0012 6690", "CH1,22,60,degC",
		"R(kOhm) 6.690"} {
		if got, _ := number.Find(text, ohms, number.BaseUnit(ohms)); !strings.Contains(got.Reason, "pattern = '") {
			t.Errorf("Find(%q) gives the reason %q, which names no pattern", text, got.Reason)
		}
	}
}

func TestFindConfiguredUnit(t *testing.T) {
	kilo, err := number.ParseUnit("kohm", ohms)
	if err != nil {
		t.Fatal(err)
	}
	if got, _ := number.Find("6.690", ohms, kilo); got.Value != 6690 || got.Resolution != 1 {
		t.Errorf("6.690 in kohm = %+v, want 6690 ohms in steps of 1", got)
	}
	if got, _ := number.Find("6690 ohm", ohms, kilo); got.Value != 6690 {
		t.Errorf("6690 ohm where kohm is configured = %+v, want 6690 ohms", got)
	}
}

func TestParseUnit(t *testing.T) {
	for _, text := range []string{"ohm", "Ohms", "kohm", "\u03a9", "M\u2126", "k"} {
		if _, err := number.ParseUnit(text, ohms); err != nil {
			t.Errorf("ParseUnit(%q): %v", text, err)
		}
	}
	for _, text := range []string{"", "V", "C", "°C", "ohm ", "kohmx"} {
		if _, err := number.ParseUnit(text, ohms); err == nil {
			t.Errorf("ParseUnit(%q) of resistance succeeds", text)
		}
	}
	for _, text := range []string{"C", "°C", "celsius", "ohm"} {
		_, err := number.ParseUnit(text, celsius)
		if want := strings.Contains(text, "C"); (err == nil) != want {
			t.Errorf("ParseUnit(%q) of temperature = %v, want success %v", text, err, want)
		}
	}
}

func TestTyped(t *testing.T) {
	tests := []struct {
		text  string
		q     driver.Quantity
		value float64
		good  bool
	}{
		{"6690", ohms, 6690, true},
		{" 6.69k ", ohms, 6690, true},
		{"6,69k", ohms, 6690, true},
		{"6.69 kΩ", ohms, 6690, true},
		{"1.2M", ohms, 1.2e6, true},
		{"6690 ohm", ohms, 6690, true},
		{"6690,5", ohms, 6690.5, true},
		{"21.4", celsius, 21.4, true},
		{"21,4 °C", celsius, 21.4, true},
		{"-3", celsius, -3, true},
		{"70.5F", celsius, (70.5 - 32) / 1.8, true},
		{"294 K", celsius, 294 - 273.15, true},
		{"85.00", celsius, 85, true},
		{"", ohms, 0, false},
		{"6,690", ohms, 0, false},
		{"6690 6691", ohms, 0, false},
		{"R=6690", ohms, 0, false},
		{"6690!", ohms, 0, false},
		{"21 C", ohms, 0, false},
		{"5 V", ohms, 0, false},
		{"OL", ohms, 0, false},
		{"six", ohms, 0, false},
		{"1e30", ohms, 0, false},
		{"9.91e37", ohms, 0, false},
		{"-300", celsius, 0, false},
	}
	for _, tt := range tests {
		got, err := number.Typed(tt.text, tt.q)
		if (err == nil) != tt.good || !near(got.Value, tt.value) {
			t.Errorf("Typed(%q) = %+v, %v; want %v, good %v", tt.text, got, err, tt.value, tt.good)
		}
	}
}

func TestFromParts(t *testing.T) {
	tests := []struct {
		name, value, prefix, unit string
		status                    driver.Status
		want                      float64
	}{
		{"value", "6690", "", "", driver.OK, 6690},
		{"prefix and unit", "6.690", "k", "ohm", driver.OK, 6690},
		{"prefix alone", "6.690", "k", "", driver.OK, 6690},
		{"unit with prefix", "6.690", "", "kΩ", driver.OK, 6690},
		{"comma", "6,690", "k", "", driver.OK, 6690},
		{"sign apart", "- 0,5", "", "ohm", driver.OK, -0.5},
		{"overload", "O.L", "M", "Ohm", driver.Overload, 0},
		{"volts", "6.690", "m", "V", driver.Impossible, 0},
		{"no number", "6.6.9", "", "", driver.Unreadable, 0},
		{"empty", "", "", "", driver.Unreadable, 0},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			got, _ := number.FromParts(tt.value, tt.prefix, tt.unit, ohms, number.BaseUnit(ohms))
			if got.Status != tt.status || got.Value != tt.want {
				t.Errorf("got %+v, want %s %v", got, tt.status, tt.want)
			}
		})
	}
}

// FuzzFind holds that no text panics, that a reading is complete, and that an
// accepted value without a unit prints back the same.
func FuzzFind(f *testing.F) {
	for _, seed := range []string{
		"R=+6690.5", "6.690 kOhm", "0012 6.690 kOhm", "12:30:05 6690", "T=21.43 C", "21,4 °C", "OL MOhm", "----",
		"+9.9E37", "9.91E37", "6,690.5 ohm", "6.690E+036.691E+03", "2024-05-01T12:30:05Z 6690", "#1 - 5", "k: 1",
		"CH1,22.60,degC", "000123,+6.75E+03,OHM,0", "CH1;22,60;degC", "CH1\t22.60\tdegC", "%RH,45.0,degC,22.60", "1,234.5,OHM",
		"12:30:15,234.5,OHM", "2024-05-01,12:30:05,22.60,degC", "R1,675 kOhm", ",,5", "\x1f1\x1fohm", "6.75E+03,0,OHM",
	} {
		f.Add(seed, true)
		f.Add(seed, false)
	}
	f.Fuzz(func(t *testing.T, text string, resistance bool) {
		q := celsius
		if resistance {
			q = ohms
		}
		got, _ := number.Find(text, q, number.BaseUnit(q))
		if got.Status == "" || (got.Reason == "") != (got.Status == driver.OK) {
			t.Fatalf("Find(%q) = %+v: a status and a reason belong together", text, got)
		}
		if got.Status != driver.OK {
			if got.Value != 0 {
				t.Fatalf("Find(%q) = %+v: a value without driver.OK", text, got)
			}
			return
		}
		again, _ := number.Find(strconv.FormatFloat(got.Value, 'g', -1, 64), q, number.BaseUnit(q))
		if again.Value != got.Value {
			t.Fatalf("Find(%q) = %v, which reads back as %+v", text, got.Value, again)
		}
	})
}

func FuzzDecimal(f *testing.F) {
	for _, seed := range []string{"+6.690E+03", "9.91E37", "-0.005", "273", "1e-300", "00012.50"} {
		f.Add(seed)
	}
	f.Fuzz(func(t *testing.T, text string) {
		d, ok := number.ParseDecimal(text)
		if !ok {
			return
		}
		want, err := strconv.ParseFloat(text, 64)
		if err != nil || d.Value(0) != want {
			t.Fatalf("ParseDecimal(%q) = %v; strconv says %v, %v", text, d.Value(0), want, err)
		}
	})
}

func BenchmarkFind(b *testing.B) {
	for b.Loop() {
		number.Find("0012 R=+6.690 kOhm 21.4 C", ohms, number.BaseUnit(ohms))
	}
}
