package drift

import (
	"cmp"
	"fmt"
	"math"

	"coilkeep/internal/statistics"
	"coilkeep/internal/words"
)

// SpoolEntry is one spool in the spool book. Spools of one gauge may lawfully
// differ by several percent.
type SpoolEntry struct {
	Spool string `json:"spool"` // its name
	Count int    `json:"count"` // how many coils of it count
	// The first of them, counted through all batches that were looked at.
	FirstSequence int     `json:"first_sequence"`
	MeanOhms      float64 `json:"mean_ohms"` // mean R20
	// The first coil at which the level moved while the spool was on, 0 when it did
	// not; then its coils do not tell the turns.
	MovedAt int `json:"moved_at"`
	// Mean R20 over the turns of the design; null when they are not known, the level
	// moved, or no spool has two coils.
	OhmsPerTurn     *float64 `json:"ohms_per_turn"`
	OhmsPerTurnLow  *float64 `json:"ohms_per_turn_low"`  // interval of 95 %
	OhmsPerTurnHigh *float64 `json:"ohms_per_turn_high"` // interval of 95 %
	// Mean R20 against the spool before, 0.01 is 1 %; null for the first, and where
	// there are too few coils.
	DifferenceRatio *float64 `json:"difference_ratio"`
	DifferenceLow   *float64 `json:"difference_low"`  // interval of 95 %, a ratio too
	DifferenceHigh  *float64 `json:"difference_high"` // interval of 95 %, a ratio too
	P               *float64 `json:"p"`               // of no difference
	// How many turns of this wire make the target; null when turns or target are not
	// known.
	TurnsForTarget     *float64 `json:"turns_for_target"`
	TurnsForTargetLow  *float64 `json:"turns_for_target_low"`  // interval of 95 %
	TurnsForTargetHigh *float64 `json:"turns_for_target_high"` // interval of 95 %
	Sentence           string   `json:"sentence"`              // the same in words
}

// bookSpools lists the spools in the order of first use.
func bookSpools(m *movement, o Options) []SpoolEntry {
	groups := m.groupsBy(func(c Coil) string { return c.Spool })
	kept := m.keptOhms()
	moments := make([]statistics.Moments, len(groups))
	for j, g := range groups {
		moments[j] = statistics.MomentsOf(valuesAt(kept, g.kept))
	}
	scatter := scatterWithin(moments)
	entries := []SpoolEntry{}
	for j, g := range groups {
		e := SpoolEntry{Spool: g.name, Count: moments[j].Count, FirstSequence: m.keptCoil(g.kept[0]).Sequence, MeanOhms: moments[j].Mean}
		if j > 0 {
			e.compareWithSpoolBefore(moments[j-1], moments[j])
		}
		e.MovedAt = movedOnSpool(m, g.name)
		if e.MovedAt == 0 {
			e.countTurns(o, ohmsPerTurn(m, g.kept, o.Winding.Turns), scatter, m.usualError)
		}
		e.Sentence = e.sentence(o.Winding.Turns != 0)
		entries = append(entries, e)
	}
	return entries
}

// spoolScatter is a standard deviation within spools, with its degrees of freedom.
type spoolScatter struct{ sigma, df float64 }

// scatterWithin pools the scatter of all spools, so that even the first coils of a
// new spool can be told with an interval; it is 0 when none has two coils.
func scatterWithin(spools []statistics.Moments) (s spoolScatter) {
	squares := 0.0
	for _, m := range spools {
		squares += m.SumOfSquares
		s.df += float64(m.Count - 1)
	}
	if s.df > 0 {
		s.sigma = math.Sqrt(squares / s.df)
	}
	return s
}

// ohmsPerTurn is the mean over kept coils, of which some may have turns of their
// own.
func ohmsPerTurn(m *movement, kept []int, turns float64) float64 {
	values := make([]float64, len(kept))
	for j, k := range kept {
		c := m.keptCoil(k)
		values[j] = c.R20Ohms / cmp.Or(c.Turns, turns)
	}
	return statistics.MomentsOf(values).Mean
}

func (e *SpoolEntry) compareWithSpoolBefore(before, m statistics.Moments) {
	d, err := statistics.Compare(before, m)
	if err != nil {
		return // a single coil has no scatter to be compared by
	}
	low, high := d.Interval(confidence)
	value, low, high := d.Value/before.Mean, low/before.Mean, high/before.Mean
	e.DifferenceRatio, e.DifferenceLow, e.DifferenceHigh, e.P = &value, &low, &high, &d.P
}

// countTurns tells what a turn of the spool's wire has, which is perTurn ohms on
// the mean, and how many make the target.
func (e *SpoolEntry) countTurns(o Options, perTurn float64, within spoolScatter, usualError float64) {
	w := o.Winding
	if w.Turns == 0 || within.df == 0 {
		return
	}
	// The measuring is the same for all coils: no number of them reduces it.
	half := math.Hypot(statistics.StudentQuantile(0.5+confidence/2, within.df)*within.sigma/math.Sqrt(float64(e.Count)), 2*usualError)
	low, high := perTurn-half/w.Turns, perTurn+half/w.Turns
	e.OhmsPerTurn, e.OhmsPerTurnLow, e.OhmsPerTurnHigh = &perTurn, &low, &high
	if o.TargetOhms == 0 {
		return
	}
	// Of coils with the turns of today.
	c, _, _ := w.turnsToTarget(o.TargetOhms, perTurn*w.Turns, half)
	turns, least, most := w.Turns+c.turns, w.Turns+c.low, w.Turns+c.high
	e.TurnsForTarget, e.TurnsForTargetLow, e.TurnsForTargetHigh = &turns, &least, &most
}

// movedOnSpool is the first coil at which the level moved while a spool was on, 0
// when it never did: then its coils are of several windings, and their mean tells
// nothing of the wire.
func movedOnSpool(m *movement, spool string) (sequence int) {
	on := func(k int) bool { return m.keptCoil(k).Spool == spool }
	for _, c := range m.steps {
		if on(c.k-1) && on(c.k) {
			return m.keptCoil(c.k).Sequence
		}
	}
	for _, t := range m.trends() {
		for k := t.first + 1; k < t.last; k++ {
			if on(k-1) && on(k) {
				return m.keptCoil(k).Sequence
			}
		}
	}
	return 0
}

func (e *SpoolEntry) sentence(turnsKnown bool) string {
	s := fmt.Sprintf("spool %s, %s from coil %d", e.Spool, words.Count(e.Count, "coil"), e.FirstSequence)
	if e.OhmsPerTurn != nil {
		s += fmt.Sprintf(": %.4f ohms a turn", *e.OhmsPerTurn)
	}
	if e.DifferenceRatio != nil && *e.P < alpha {
		s += fmt.Sprintf("; %s against the spool before (%s)", signedPercent(*e.DifferenceRatio),
			percentInterval(*e.DifferenceLow, *e.DifferenceHigh))
	}
	if e.MovedAt != 0 && turnsKnown {
		s += fmt.Sprintf("; its coils move at coil %d, so they do not tell the turns", e.MovedAt)
	}
	if e.TurnsForTarget != nil {
		s += fmt.Sprintf("; the target takes %.0f turns (%.0f to %.0f)", *e.TurnsForTarget, *e.TurnsForTargetLow, *e.TurnsForTargetHigh)
	}
	return s
}
