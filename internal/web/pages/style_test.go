package pages

import (
	"io/fs"
	"math"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"coilkeep/internal/chart"
)

// TestContrast computes the contrast of every text colour on its grounds, by
// day, by night and on paper: at least 4.5 : 1 (WCAG 2.2, success criterion 1.4.3, with
// the relative luminance defined there).
func TestContrast(t *testing.T) {
	t.Parallel()
	style, err := files.ReadFile("assets/style.css")
	if err != nil {
		t.Fatal(err)
	}
	themes := regexp.MustCompile(`(?s):root \{(.*?)\}`).FindAllSubmatch(style, -1)
	if len(themes) != 3 {
		t.Fatalf("got %d themes, want one for the day, one for the night and one for paper", len(themes))
	}
	for _, theme := range themes {
		colours := map[string]string{}
		for _, m := range regexp.MustCompile(`--([\w-]+): (#[0-9a-f]{6})`).FindAllSubmatch(theme[1], -1) {
			colours[string(m[1])] = string(m[2])
		}
		for _, pair := range [][2]string{
			{"ink", "paper"}, {"ink", "sheet"}, {"soft", "paper"}, {"soft", "sheet"}, {"copper", "sheet"},
			{"in", "paper"}, {"in", "sheet"}, {"out", "paper"}, {"out", "sheet"}, {"open", "sheet"},
			{"ink", "copper-wash"}, {"copper", "paper"}, {"mark", "copper"}, {"mark", "out"}, {"mark", "in"}, {"mark", "open"},
		} {
			text, ground := luminance(t, colours[pair[0]]), luminance(t, colours[pair[1]])
			if got := (max(text, ground) + 0.05) / (min(text, ground) + 0.05); got < 4.5 {
				t.Errorf("%s (%s) on %s (%s): got contrast %.2f, want at least 4.5",
					pair[0], colours[pair[0]], pair[1], colours[pair[1]], got)
			}
		}
	}
}

// luminance is the relative luminance of an sRGB colour such as #a5281b.
func luminance(t *testing.T, colour string) float64 {
	t.Helper()
	if len(colour) != 7 {
		t.Fatalf("there is no such colour: %q", colour)
	}
	sum := 0.0
	for i, weight := range []float64{0.2126, 0.7152, 0.0722} {
		value, err := strconv.ParseUint(colour[1+2*i:3+2*i], 16, 8)
		if err != nil {
			t.Fatal(err)
		}
		c := float64(value) / 255
		if c <= 0.04045 {
			c /= 12.92
		} else {
			c = math.Pow((c+0.055)/1.055, 2.4)
		}
		sum += weight * c
	}
	return sum
}

// TestNarrowIsOfScreens has no rule for narrow windows be one for paper: a sheet
// is about as wide as a telephone held flat, and is no telephone.
func TestNarrowIsOfScreens(t *testing.T) {
	t.Parallel()
	sheets, err := fs.Glob(files, "assets/*.css")
	if err != nil || len(sheets) < 4 {
		t.Fatalf("got the style sheets %q, %v", sheets, err)
	}
	for _, name := range sheets {
		style, err := files.ReadFile(name)
		if err != nil {
			t.Fatal(err)
		}
		for _, rule := range regexp.MustCompile(`@media [^{]*max-width[^{]*`).FindAllString(string(style), -1) {
			if !strings.HasPrefix(rule, "@media screen and ") {
				t.Errorf("%s: %q holds on paper as well", name, rule)
			}
		}
	}
}

// TestAssetsAreSmall adds up everything that pages fetch besides themselves: no
// page needs more than all of it.
func TestAssetsAreSmall(t *testing.T) {
	t.Parallel()
	total := len(chart.Stylesheet())
	entries, err := files.ReadDir("assets")
	if err != nil || len(entries) < 10 {
		t.Fatalf("got %d assets, %v", len(entries), err)
	}
	for _, entry := range entries {
		content, err := files.ReadFile("assets/" + entry.Name())
		if err != nil {
			t.Fatal(err)
		}
		total += len(content)
	}
	if t.Logf("%d bytes", total); total > 150_000 {
		t.Errorf("the assets of all pages are %d bytes, more than 150 000", total)
	}
}

// TestOnlyWithdrawnNumbersAreStruck has no style strike through a number that
// stands.
func TestOnlyWithdrawnNumbersAreStruck(t *testing.T) {
	t.Parallel()
	style, err := files.ReadFile("assets/records.css")
	if err != nil {
		t.Fatal(err)
	}
	rules := regexp.MustCompile(`(?m)^\s*([^{}\n]+?) \{[^{}]*line-through`).FindAllStringSubmatch(string(style), -1)
	if len(rules) < 2 {
		t.Fatalf("got %d rules that strike something through, want those of a coil and of a list", len(rules))
	}
	withdrawn := regexp.MustCompile(`\.(withdrawn|void|superseded)\b`)
	for _, rule := range rules {
		for _, selector := range strings.Split(rule[1], ",") {
			if !withdrawn.MatchString(selector) {
				t.Errorf("%q strikes through what was not withdrawn", strings.TrimSpace(selector))
			}
		}
	}
}
