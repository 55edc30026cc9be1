package capture_test

import (
	"fmt"
	"math"
	"os"
	"slices"
	"strings"
	"testing"

	"gonum.org/v1/gonum/stat/distuv"

	"coilkeep/internal/conformity"
	"coilkeep/internal/statistics"
)

const (
	// leastCoverage is what no row may be below, and chance how often a row that
	// has just that may be called below it.
	leastCoverage = 0.93
	chance        = 1e-4
	// mostWrong is the largest share of verdicts that may contradict the truth:
	// they are given at a confidence of 95 %.
	mostWrong = 0.05
	// mostBias is the largest mean error, in parts of the median U.
	mostBias = 0.5
)

// estimate is a number with its expanded uncertainty, in ohms.
type estimate struct{ r20Ohms, expandedOhms float64 }

// tally counts what was shown of coils whose truth is known.
type tally struct {
	coils, covered int
	// errorPercent and expandedPercent are in percent of the true R20, one for
	// each coil that had a number.
	errorPercent, expandedPercent []float64
}

func (a *tally) add(e *estimate, trueOhms float64) {
	a.coils++
	if e == nil {
		return
	}
	off := e.r20Ohms - trueOhms
	if math.Abs(off) <= e.expandedOhms {
		a.covered++
	}
	a.errorPercent = append(a.errorPercent, 100*off/trueOhms)
	a.expandedPercent = append(a.expandedPercent, 100*e.expandedOhms/trueOhms)
}

func (a *tally) numbers() int           { return len(a.errorPercent) }
func (a *tally) available() float64     { return float64(a.numbers()) / float64(a.coils) }
func (a *tally) coverage() float64      { return float64(a.covered) / float64(a.numbers()) }
func (a *tally) medianPercent() float64 { return statistics.Median(a.expandedPercent) }

// bias is the mean error in parts of the median U, and its standard error.
func (a *tally) bias() (bias, standardError float64) {
	moments := statistics.MomentsOf(a.errorPercent)
	u := a.medianPercent()
	return moments.Mean / u, moments.StandardError() / u
}

func (a *tally) rmsPercent() float64 {
	var squares float64
	for _, e := range a.errorPercent {
		squares += e * e
	}
	return math.Sqrt(squares / float64(a.numbers()))
}

// verdicts counts those recorded and those that contradict the truth.
type verdicts struct{ given, wrong int }

func (v *verdicts) add(said conformity.Verdict, trueOhms float64, tolerance conformity.Tolerance) {
	truth := conformity.In
	switch {
	case trueOhms > tolerance.UpperOhms:
		truth = conformity.High
	case trueOhms < tolerance.LowerOhms:
		truth = conformity.Low
	}
	if said == conformity.Undecided {
		return
	}
	v.given++
	if said != truth {
		v.wrong++
	}
}

// coverage is what was counted of one row.
type coverage struct {
	row             coverageRow
	at              []tally // as the row's instants
	recorded        tally
	verdicts        verdicts
	secondsToRecord []float64
	// clearSeconds is the time to the record of each clear coil, infinite for
	// one that was not recorded.
	clearSeconds []float64
	// untold counts coils that were taken off unrecorded without a reason given.
	untold   int
	readings int
}

func newCoverage(row coverageRow) *coverage {
	return &coverage{row: row, at: make([]tally, len(row.instants))}
}

// check holds a row to its bounds.
func (c *coverage) check(t *testing.T) {
	t.Helper()
	for i, at := range c.row.instants {
		c.at[i].check(t, fmt.Sprintf("%v after hands off", at), c.row.bias())
		bound, bounded := c.row.widestPercent[at]
		if !bounded {
			continue
		}
		if share := c.at[i].available(); share < leastCoverage {
			t.Errorf("%v after hands off: a number for %.0f %% of the coils, want at least %.0f %%", at, 100*share, 100*leastCoverage)
		}
		if c.at[i].numbers() < 300 {
			bound *= 1.1 // the median of a few coils scatters
		}
		if u := c.at[i].medianPercent(); !(u <= bound) {
			t.Errorf("%v after hands off: median U %.2f %%, want at most %.2f %%", at, u, bound)
		}
	}
	c.recorded.check(t, "at the record", c.row.bias())
	if least := 1 - mostWrong; c.verdicts.given-c.verdicts.wrong < fewest(c.verdicts.given, least) {
		t.Errorf("%d of %d verdicts contradict the truth, want at most %.0f %%", c.verdicts.wrong, c.verdicts.given, 100*mostWrong)
	}
	if c.untold > 0 {
		t.Errorf("%d coils were taken off unrecorded and nobody was told why", c.untold)
	}
	c.checkTimes(t)
}

func (c *coverage) checkTimes(t *testing.T) {
	t.Helper()
	if c.row.worstToRecord == 0 {
		return
	}
	median, worst := statistics.Median(c.clearSeconds), slices.Max(c.clearSeconds)
	if median > c.row.medianToRecord.Seconds() {
		t.Errorf("clear coils are recorded %.1f s after contact (median), want at most %v", median, c.row.medianToRecord)
	}
	if worst > c.row.worstToRecord.Seconds() {
		t.Errorf("the last of the clear coils is recorded %.1f s after contact, want at most %v", worst, c.row.worstToRecord)
	}
}

// check holds what was shown at one moment to the bounds of every row.
// bias is how far the mean error of a row may be from nothing.
func (r coverageRow) bias() float64 {
	if r.mostBias > 0 {
		return r.mostBias
	}
	return mostBias
}

func (a *tally) check(t *testing.T, when string, mostBias float64) {
	t.Helper()
	n := a.numbers()
	if n == 0 {
		return // how often there is a number is bounded where one is asked for
	}
	if least := fewest(n, leastCoverage); a.covered < least {
		t.Errorf("%s: the truth is within U for %d of %d coils (%.1f %%), want at least %d (%.0f %% less chance)",
			when, a.covered, n, 100*a.coverage(), least, 100*leastCoverage)
	}
	bias, standardError := a.bias()
	if allowance := -distuv.UnitNormal.Quantile(chance) * standardError; n > 1 && math.Abs(bias) > mostBias+allowance {
		t.Errorf("%s: the mean error is %+.2f of the median U, want at most %.2f (chance %.2f)", when, bias, mostBias, allowance)
	}
}

// fewest is the lowest count out of n that is not yet below a share: one lower
// comes by chance once in 1/chance times (binomial distribution).
func fewest(n int, share float64) int {
	counts := distuv.Binomial{N: float64(n), P: share}
	least := n
	for least > 0 && counts.CDF(float64(least-1)) > chance {
		least--
	}
	return least
}

// TestFewest compares with the binomial distribution reckoned by hand: of two
// at 0.93 none comes with 0.07² = 0.0049, of four with 0.07⁴ = 0.000024, one of
// four at most with that and 4·0.93·0.07³ = 0.0013.
func TestFewest(t *testing.T) {
	t.Parallel()
	for n, want := range map[int]int{0: 0, 2: 0, 4: 1} {
		if got := fewest(n, 0.93); got != want {
			t.Errorf("of %d: got %d, want %d", n, got, want)
		}
	}
}

// reportCoverage logs the table, and writes it with tabs to COILKEEP_TABLE.
func reportCoverage(t *testing.T, rows []*coverage) {
	t.Helper()
	lines := [][]string{{"row", "when", "coils", "numbers_%", "covered_%", "median_U_%", "rms_%", "bias/U",
		"median_s", "worst_s", "clear_s", "clear_worst_s", "verdicts", "wrong"}}
	readings := 0
	for _, c := range rows {
		if c == nil {
			continue
		}
		readings += c.readings
		for i, at := range c.row.instants {
			lines = append(lines, append([]string{c.row.name, fmt.Sprintf("%.0fs", at.Seconds())}, c.at[i].cells()...))
		}
		last := append([]string{c.row.name, "record"}, c.recorded.cells()...)
		last = append(last, medianAndWorst(c.secondsToRecord)...)
		last = append(last, medianAndWorst(c.clearSeconds)...)
		lines = append(lines, append(last, fmt.Sprint(c.verdicts.given), fmt.Sprint(c.verdicts.wrong)))
	}
	var text strings.Builder
	for _, l := range lines {
		fmt.Fprintf(&text, "\n%-32s", l[0])
		for i, cell := range l[1:] {
			fmt.Fprintf(&text, " %*s", max(len(lines[0][i+1]), 6), cell)
		}
	}
	t.Logf("%d readings\n%s", readings, text.String())
	path := os.Getenv("COILKEEP_TABLE")
	if path == "" {
		return
	}
	var table strings.Builder
	for _, l := range lines {
		table.WriteString(strings.Join(l, "\t") + "\n")
	}
	if err := os.WriteFile(path, []byte(table.String()), 0o644); err != nil {
		t.Error(err)
	}
}

// cells are the figures of a tally; empty where there was no number at all.
func (a *tally) cells() []string {
	cells := []string{fmt.Sprint(a.coils)}
	if a.coils == 0 {
		return append(cells, "", "", "", "", "")
	}
	cells = append(cells, fmt.Sprintf("%.1f", 100*a.available()))
	if a.numbers() == 0 {
		return append(cells, "", "", "", "")
	}
	bias, _ := a.bias()
	return append(cells, fmt.Sprintf("%.1f", 100*a.coverage()), fmt.Sprintf("%.3f", a.medianPercent()),
		fmt.Sprintf("%.3f", a.rmsPercent()), fmt.Sprintf("%+.2f", bias))
}

func medianAndWorst(seconds []float64) []string {
	if len(seconds) == 0 {
		return []string{"", ""}
	}
	return []string{fmt.Sprintf("%.1f", statistics.Median(seconds)), fmt.Sprintf("%.1f", slices.Max(seconds))}
}
