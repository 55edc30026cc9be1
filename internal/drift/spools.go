package drift

import (
	"fmt"
	"math"

	"coilkeep/internal/statistics"
)

// SpoolEntry is one spool in the spool book. Spools of one gauge may lawfully
// differ by several percent.
type SpoolEntry struct {
	Spool         string  `json:"spool"`
	Count         int     `json:"count"`
	FirstSequence int     `json:"first_sequence"`
	MeanOhms      float64 `json:"mean_ohms"`
	// MovedAt is the first coil at which the level moved while the spool was on; 0
	// when it did not.
	MovedAt int `json:"moved_at"`
	// OhmsPerTurn and its interval; null when the turns are not known, or the level
	// moved.
	OhmsPerTurn     *float64 `json:"ohms_per_turn"`
	OhmsPerTurnLow  *float64 `json:"ohms_per_turn_low"`
	OhmsPerTurnHigh *float64 `json:"ohms_per_turn_high"`
	// DifferenceRatio is to the spool before, with its interval and P; null for the
	// first, and with one coil.
	DifferenceRatio *float64 `json:"difference_ratio"`
	DifferenceLow   *float64 `json:"difference_low"`
	DifferenceHigh  *float64 `json:"difference_high"`
	P               *float64 `json:"p"`
	// TurnsForTarget is how many turns of this wire make the target; null when
	// turns or target are not known.
	TurnsForTarget     *float64 `json:"turns_for_target"`
	TurnsForTargetLow  *float64 `json:"turns_for_target_low"`
	TurnsForTargetHigh *float64 `json:"turns_for_target_high"`
	Sentence           string   `json:"sentence"`
}

// bookSpools lists the spools in the order of first use.
func (a *analysis) bookSpools() {
	var order []string
	values, perTurn := map[string][]float64{}, map[string][]float64{}
	first := map[string]int{}
	for _, i := range a.kept {
		name := a.coils[i].Spool
		if name == "" {
			continue
		}
		if _, ok := values[name]; !ok {
			order = append(order, name)
			first[name] = a.coils[i].Sequence
		}
		values[name] = append(values[name], a.ohms[i])
		perTurn[name] = append(perTurn[name], a.coils[i].R20Ohms/a.turnsOf(i))
	}
	within := a.spoolScatter(values)
	var before statistics.Moments
	for _, name := range order {
		m := statistics.MomentsOf(values[name])
		e := SpoolEntry{Spool: name, Count: m.Count, FirstSequence: first[name], MeanOhms: m.Mean}
		e.compare(before, m)
		e.MovedAt = a.movedWithin(name)
		if e.MovedAt == 0 {
			a.countSpoolTurns(&e, statistics.MomentsOf(perTurn[name]).Mean, within)
		}
		e.Sentence = e.sentence(a.options.Winding.Turns != 0)
		a.report.Spools = append(a.report.Spools, e)
		before = m
	}
}

// spoolScatter is the standard deviation within spools, so that even the first
// coils of a new spool can be told with an interval; 0 when none has two coils.
func (a *analysis) spoolScatter(values map[string][]float64) (scatter struct{ sigma, df float64 }) {
	squares := 0.0
	for _, v := range values {
		squares += statistics.MomentsOf(v).SumOfSquares
		scatter.df += float64(len(v) - 1)
	}
	if scatter.df > 0 {
		scatter.sigma = math.Sqrt(squares / scatter.df)
	}
	return scatter
}

func (e *SpoolEntry) compare(before, m statistics.Moments) {
	d, err := statistics.Compare(before, m)
	if err != nil {
		return // the first spool, or a single coil: nothing to compare
	}
	low, high := d.Interval(confidence)
	value, low, high := d.Value/before.Mean, low/before.Mean, high/before.Mean
	e.DifferenceRatio, e.DifferenceLow, e.DifferenceHigh, e.P = &value, &low, &high, &d.P
}

// turnsOf are the turns on coil i, 0 when not known.
func (a *analysis) turnsOf(i int) float64 {
	if n := a.coils[i].Turns; n != 0 {
		return n
	}
	return a.options.Winding.Turns
}

// countSpoolTurns tells what a turn of the spool's wire has, which is perTurn ohms
// on the mean, and how many make the target.
func (a *analysis) countSpoolTurns(e *SpoolEntry, perTurn float64, within struct{ sigma, df float64 }) {
	w := a.options.Winding
	if w.Turns == 0 || within.df == 0 {
		return
	}
	// The measuring is the same for all coils: no number of them reduces it.
	half := math.Hypot(statistics.StudentQuantile(0.5+confidence/2, within.df)*within.sigma/math.Sqrt(float64(e.Count)), 2*a.usual)
	low, high := perTurn-half/w.Turns, perTurn+half/w.Turns
	e.OhmsPerTurn, e.OhmsPerTurnLow, e.OhmsPerTurnHigh = &perTurn, &low, &high
	target := a.options.TargetOhms
	if target == 0 {
		return
	}
	// Of coils with the turns of today.
	c, _, _ := w.correct(target, perTurn*w.Turns, half)
	turns, least, most := w.Turns+c.turns, w.Turns+c.low, w.Turns+c.high
	e.TurnsForTarget, e.TurnsForTargetLow, e.TurnsForTargetHigh = &turns, &least, &most
}

// movedWithin is the first coil at which the level moved while a spool was on, 0
// when it never did: then its coils are of several windings, and their mean tells
// nothing of the wire.
func (a *analysis) movedWithin(spool string) (sequence int) {
	on := func(k int) bool { return a.coils[a.kept[k]].Spool == spool }
	for _, c := range a.report.ChangePoints {
		if on(c.k-1) && on(c.k) {
			return a.coils[a.kept[c.k]].Sequence
		}
	}
	for _, t := range a.trends() {
		for k := t.first + 1; k < t.last; k++ {
			if on(k-1) && on(k) {
				return a.coils[a.kept[k]].Sequence
			}
		}
	}
	return 0
}

func (e *SpoolEntry) sentence(turnsKnown bool) string {
	s := fmt.Sprintf("spool %s, %s from coil %d", e.Spool, countOf(e.Count, "coil"), e.FirstSequence)
	if e.OhmsPerTurn != nil {
		s += fmt.Sprintf(": %.4f ohms a turn", *e.OhmsPerTurn)
	}
	if e.DifferenceRatio != nil && *e.P < alpha {
		s += fmt.Sprintf("; %s against the spool before (%s)", signedPercent(*e.DifferenceRatio), percentInterval(*e.DifferenceLow, *e.DifferenceHigh))
	}
	if e.MovedAt != 0 && turnsKnown {
		s += fmt.Sprintf("; its coils move at coil %d, so they do not tell the turns", e.MovedAt)
	}
	if e.TurnsForTarget != nil {
		s += fmt.Sprintf("; the target takes %.0f turns (%.0f to %.0f)", *e.TurnsForTarget, *e.TurnsForTargetLow, *e.TurnsForTargetHigh)
	}
	return s
}
