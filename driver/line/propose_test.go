package line_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"coilkeep/driver"
	"coilkeep/driver/line"
)

// shape is an invented layout of lines: value stands for the number as the
// instrument writes it.
type shape struct {
	name   string
	q      driver.Quantity
	unit   string // of the settings, where the lines show none and it is not the base unit
	format func(value float64) string
	line   func(n int, value string) string
	// scale is what the number is multiplied with to give ohms or °C.
	scale float64
	// byEye is true where the lines cannot tell which number it is, so that the
	// right pattern need only be among those proposed.
	byEye bool
}

func fixed(decimals int) func(float64) string {
	return func(v float64) string { return fmt.Sprintf("%.*f", decimals, v) }
}

func comma(f func(float64) string) func(float64) string {
	return func(v float64) string { return strings.Replace(f(v), ".", ",", 1) }
}

func exponent(v float64) string { return fmt.Sprintf("%+.4E", v) }

func layout(format string) func(int, string) string {
	return func(n int, value string) string {
		return strings.NewReplacer("{n}", fmt.Sprint(n), "{pad}", fmt.Sprintf("%06d", n), "{clock}", fmt.Sprintf("12:30:%02d", n%60), "{v}",
			value).Replace(format)
	}
}

// The layouts are invented; what varies is what is met in the field (common
// practice, no source).
func shapes() []shape {
	const ohms, celsius = driver.Resistance, driver.Temperature
	return []shape{
		{"fields", ohms, "", exponent, layout("{pad},{v},OHM,0"), 1, false},
		{"unit first", ohms, "", exponent, layout("{pad},OHM,{v},0"), 1, false},
		{"unit first, plain", ohms, "", fixed(1), layout("{n},OHM,{v}"), 1, false},
		{"whole numbers", ohms, "", fixed(0), layout("CH1,{v},OHM"), 1, false},
		{"kilohms by configuration", ohms, "kohm", fixed(4), layout("{n};{v};1"), 1000, false},
		{"kilohms with a decimal comma", ohms, "kohm", comma(fixed(3)), layout("{n};{v};21,4"), 1000, true},
		{"channel", celsius, "", fixed(2), layout("CH1,{v},degC"), 1, false},
		{"channel, decimal comma between commas", celsius, "", comma(fixed(2)), layout("CH1,{v},degC"), 1, false},
		{"semicolons", celsius, "", comma(fixed(2)), layout("CH1;{v};degC"), 1, false},
		{"tabs", celsius, "", fixed(2), layout("CH1\t{v}\tdegC\t45.0\t%RH"), 1, false},
		{"bars", ohms, "", fixed(1), layout("{pad}|{v}|OK"), 1, false},
		{"units first", celsius, "", fixed(2), layout("%RH,45.0,degC,{v}"), 1, false},
		{"units first, blanks", celsius, "", fixed(1), layout("%RH 45 degC {v}"), 1, false},
		{"labels", celsius, "", fixed(2), layout("H=45.{n},T={v}"), 1, false},
		{"labels with units", celsius, "", fixed(2), layout("%RH=45.0 degC={v}"), 1, false},
		{"labelled among others", ohms, "", fixed(1), layout("U=1.25;R={v};I=0.10"), 1, false},
		{"status before the unit", ohms, "", exponent, layout("{v},0,OHM"), 1, false},
		{"mean and deviation", ohms, "", fixed(1), layout("{v},0.3,OHM"), 1, true},
		{"clock", ohms, "", fixed(0), layout("{clock},{v},OHM"), 1, false},
		{"counter and value, bare", ohms, "", fixed(0), layout("{n} {v}"), 1, false},
		{"counter and value, commas", ohms, "", fixed(0), layout("{n},{v}"), 1, false},
		{"counter with unit behind both", ohms, "", fixed(0), layout("{n},{v},ohm"), 1, false},
		{"glued label", ohms, "", fixed(0), layout("1:{v}"), 1, false},
		{"glued unit among fields", ohms, "", fixed(1), layout("{n},{v}ohm,21.4C,23.1C"), 1, false},
		{"two channels", ohms, "", fixed(1), layout("{v} ohm 12.0 ohm"), 1, true},
		{"heading", ohms, "kohm", fixed(4), layout("R(kOhm) {v}"), 1000, false},
		{"blanks beside commas", ohms, "", fixed(0), layout("CH1 , {v} , OHM"), 1, false},
		{"leading blanks", ohms, "", fixed(0), layout("  {n}  {v}"), 1, false},
		{"whole number and status", ohms, "", fixed(0), layout("{pad},OHM,{v},0"), 1, false},
		{"unit as a label", ohms, "", fixed(4), layout("kOhm: {v}"), 1000, false},
		{"unit as a label among others", celsius, "", fixed(2), layout("{n};degC={v};%RH=45"), 1, false},
		{"quotes", ohms, "", fixed(0), layout("'a',{n},{v},OHM"), 1, false},
	}
}

// A pattern worked out from a handful of lines reads other lines of the same
// instrument, and says overload when the clips are open.
func TestProposeReadsOtherLines(t *testing.T) {
	for _, s := range shapes() {
		t.Run(s.name, func(t *testing.T) {
			random := rand.New(rand.NewPCG(7, 7))
			truth := func() float64 {
				if s.q == driver.Temperature {
					return 21 + 3*random.Float64()
				}
				return (6600 + 90*random.Float64()) / s.scale
			}
			var raw [][]byte
			for n := range 5 {
				raw = append(raw, []byte(s.line(9+n, s.format(truth()))))
			}
			proposals := line.Propose(raw, s.q, s.unit)
			if len(proposals) == 0 {
				t.Fatalf("no proposal for %q", raw[0])
			}
			right := -1
			for i, p := range proposals {
				if strings.Contains(p.Pattern, "'") {
					t.Errorf("the pattern %s cannot stand between single quotes", p.Pattern)
				}
				if right < 0 && readsTruth(t, s, p.Pattern, truth) {
					right = i
				}
			}
			if right < 0 || right > 0 && !s.byEye {
				t.Errorf("for %q the right one is number %d of %+v", raw, right+1, proposals)
			}
			overload := s.line(20, "O.L")
			p, err := line.NewParser(s.q, proposals[max(right, 0)].Pattern, s.unit)
			if err != nil {
				t.Fatal(err)
			}
			if r, _ := p.Parse([]byte(overload)); r.Status != driver.Overload {
				t.Errorf("pattern %s reads %q as %+v, want an overload", proposals[max(right, 0)].Pattern, overload, r)
			}
		})
	}
}

// readsTruth reads a hundred other lines and reports whether every one gives
// its value to the digits shown.
func readsTruth(t *testing.T, s shape, pattern string, truth func() float64) bool {
	t.Helper()
	p, err := line.NewParser(s.q, pattern, s.unit)
	if err != nil {
		t.Fatalf("pattern %s: %v", pattern, err)
	}
	for n := range 100 {
		value := truth()
		r, _ := p.Parse([]byte(s.line(100+n, s.format(value))))
		if r.Status != driver.OK || math.Abs(r.Value-value*s.scale) > r.Resolution {
			return false
		}
	}
	return true
}

func TestProposeNothing(t *testing.T) {
	for _, raw := range [][]string{nil, {""}, {"Elder Vale ready"}, {"\xff\xff"}, {"U=1.2 V", "U=1.3 V"}, {"12:30:05"}} {
		var lines [][]byte
		for _, text := range raw {
			lines = append(lines, []byte(text))
		}
		if got := line.Propose(lines, driver.Resistance, ""); len(got) != 0 {
			t.Errorf("Propose(%q) = %+v, want nothing", raw, got)
		}
	}
}

// FuzzPropose holds that no lines panic, and that what is proposed reads them.
func FuzzPropose(f *testing.F) {
	for _, s := range shapes() {
		f.Add(s.line(9, s.format(21.5)), s.line(10, s.format(21.7)), s.q == driver.Resistance)
	}
	f.Fuzz(func(t *testing.T, first, second string, resistance bool) {
		q := driver.Temperature
		if resistance {
			q = driver.Resistance
		}
		for _, proposal := range line.Propose([][]byte{[]byte(first), []byte(second)}, q, "") {
			p, err := line.NewParser(q, proposal.Pattern, "")
			if err != nil {
				t.Fatal(err)
			}
			if strings.ContainsAny(proposal.Pattern, "'\n") {
				t.Fatalf("pattern %q cannot be pasted", proposal.Pattern)
			}
			a, _ := p.Parse([]byte(first))
			b, _ := p.Parse([]byte(second))
			latest := proposal.Latest
			same := func(r driver.Reading) bool { return r.Status == latest.Status && r.Value == latest.Value }
			if !same(a) && !same(b) || latest.Status != driver.OK && latest.Status != driver.Overload {
				t.Fatalf("pattern %s is said to read %+v; it reads %+v and %+v", proposal.Pattern, latest, a, b)
			}
		}
	})
}
