package workshop

import (
	"testing"

	"coilkeep/internal/drift"
)

func TestNews(t *testing.T) {
	points := make([]drift.Point, 12)
	for i := range points {
		points[i].Index = i + 1
	}
	report := func(change func(*drift.Report)) drift.Report {
		r := drift.Report{Points: points, Charts: &drift.Charts{}}
		change(&r)
		return r
	}
	quiet := report(func(*drift.Report) {})
	ewma := report(func(r *drift.Report) { r.Charts.EWMA.Signals = []int{12} })
	passed := report(func(r *drift.Report) { r.Rules = []drift.RuleSignal{{Rule: "WE2", Index: 11}} })
	rule := report(func(r *drift.Report) {
		r.Charts.EWMA.Signals = []int{12}
		r.Rules = []drift.RuleSignal{{Rule: "WE2", Index: 12}}
	})
	// Steps whose last coil of the old level lies within two of each place.
	stepsAt := func(places ...int) drift.Report {
		return report(func(r *drift.Report) {
			for _, k := range places {
				r.ChangePoints = append(r.ChangePoints, drift.ChangePoint{LastBefore: k, Low: k - 2, High: k + 2})
			}
		})
	}
	step := stepsAt(49)
	both := stepsAt(49)
	both.Charts.CUSUM.Signals = []int{12}
	both.Trend = &drift.Trend{FromSequence: 50, ToSequence: 70}
	trendOver := func(from, to int, earlier ...drift.Trend) drift.Report {
		return report(func(r *drift.Report) {
			r.Trend = &drift.Trend{Real: true, FromSequence: from, ToSequence: to}
			r.EarlierTrends = earlier
		})
	}
	trend := trendOver(40, 60)
	ended := drift.Trend{Real: true, FromSequence: 42, ToSequence: 58}
	over := report(func(r *drift.Report) { r.EarlierTrends = []drift.Trend{ended} })
	moved := stepsAt(60)
	moved.EarlierTrends = over.EarlierTrends
	for name, tt := range map[string]struct {
		now, then drift.Report
		want      bool
	}{
		"quiet":                {quiet, drift.Report{}, false},
		"a rule that passed":   {passed, drift.Report{}, false},
		"first":                {ewma, quiet, true},
		"the same":             {ewma, ewma, false},
		"another chart":        {rule, ewma, true},
		"evidence grows":       {step, ewma, true},
		"charts about a step":  {both, step, false},
		"a trend after a step": {trend, step, true},
		// The step at 69 was none after all, and there is one at 89.
		"another step, as many":        {stepsAt(49, 89), stepsAt(49, 69), true},
		"the same steps, nearly":       {stepsAt(51, 66), stepsAt(49, 69), false},
		"a step that was none":         {step, stepsAt(49, 69), false},
		"two steps where one was":      {stepsAt(47, 51), step, true},
		"touching by one coil":         {stepsAt(53), step, false},
		"apart by one coil":            {stepsAt(54), step, true},
		"a trend that goes on":         {trendOver(43, 90), trend, false},
		"a trend that has ended":       {over, trend, false},
		"a trend elsewhere":            {trendOver(70, 90), trend, true},
		"another after one that ended": {trendOver(70, 90, ended), trend, true},
		"a trend that ended elsewhere": {over, trendOver(10, 30), true},
		"a step at the end of a trend": {moved, trend, true},
	} {
		if got := RaisesNews(tt.now, tt.then); got != tt.want {
			t.Errorf("%s: got %v, standing %v after %v", name, got, StandingSignals(tt.now), StandingSignals(tt.then))
		}
	}
}
