package pages

import (
	"math"
	"slices"

	"coilkeep/internal/bench"
	"coilkeep/internal/record"
	"coilkeep/internal/words"
)

// worthTelling is by how much U must get better before the page speaks of it: by
// more than a tenth.
const worthTelling = 0.9

// gainWords says how well R20 is known and what leaving the coil on gives; "" when
// nothing is known. Recorded is the measurement of the coil on the clips, nil
// before there is one.
func gainWords(s bench.Snapshot, recorded *record.Measurement) string {
	now := math.NaN()
	if s.R20Ohms != nil && s.ExpandedUncertaintyOhms != nil {
		now = 100 * *s.ExpandedUncertaintyOhms / *s.R20Ohms
	}
	ahead := math.NaN()
	if s.AheadPercent != nil {
		ahead = *s.AheadPercent
	}
	soon := "in " + words.Fixed(s.AheadSeconds, 0) + " s"
	if recorded == nil {
		switch {
		case math.IsNaN(now):
			return ""
		case ahead < worthTelling*now:
			return words.PercentWithin(now) + " now, " + soon + " " + words.PercentWithin(ahead)
		}
		return words.PercentWithin(now)
	}
	first := 100 * recorded.ExpandedUncertaintyOhms / recorded.R20Ohms
	better := ""
	if now < worthTelling*first {
		better = words.PercentWithin(now) + " now"
	}
	if ahead < worthTelling*first && !(ahead >= worthTelling*now) {
		if better != "" {
			better += ", "
		}
		better += words.PercentWithin(ahead) + " " + soon
	}
	if better == "" {
		return ""
	}
	return "recorded; leaving it on makes it better: " + words.PercentWithin(first) + " → " + better
}

// copperWords says how much warmer the copper is than the probe, and how well that
// is known: an estimate is never said without that. It is "" while nothing is known.
func copperWords(s bench.Snapshot) string {
	if s.DifferenceKelvin == nil || s.DifferenceHalfWidthKelvin == nil {
		return ""
	}
	difference, halfWidth := *s.DifferenceKelvin, max(*s.DifferenceHalfWidthKelvin, 0.1) // finer says nothing in passing
	within := "± " + words.KelvinWithin(halfWidth, halfWidth)
	size := words.KelvinWithin(math.Abs(difference), halfWidth)
	switch {
	case size == words.KelvinWithin(0, halfWidth):
		return "copper as warm as the probe, " + within
	case difference < 0:
		return "copper about " + size + " " + within + " below the probe"
	}
	return "copper about " + size + " " + within + " above the probe"
}

// shownUnrecorded is how many coils that were not recorded a page shows in full.
const shownUnrecorded = 3

// lostView are the coils of a bench that were not recorded.
type lostView struct {
	Bench string
	// Shown are in full, the one asked about first; More are below them.
	Shown, More []bench.Unrecorded
}

// newLost puts the coil that is asked about before the others.
func newLost(s bench.Snapshot) lostView {
	list := slices.Clone(s.Unrecorded)
	slices.SortStableFunc(list, func(a, b bench.Unrecorded) int {
		switch {
		case a.Asked == b.Asked:
			return 0
		case a.Asked:
			return -1
		}
		return 1
	})
	shown := min(len(list), shownUnrecorded)
	return lostView{Bench: s.Bench, Shown: list[:shown], More: list[shown:]}
}

// asked is the coil of which must be said whether it is the next one; nil when
// nothing is asked.
func (v lostView) asked() *bench.Unrecorded {
	if len(v.Shown) == 0 || !v.Shown[0].Asked {
		return nil
	}
	return &v.Shown[0]
}

// withoutFirsts leaves out the first results of coils that stayed on the clips and
// were measured better: each was one coil measured once.
func withoutFirsts(list []record.Measurement) []record.Measurement {
	return slices.DeleteFunc(slices.Clone(list), func(m record.Measurement) bool {
		return m.Status == record.Superseded && m.Reason == record.MeasuredLonger
	})
}

// alertView is a coil that was not recorded, with its bench.
type alertView struct {
	Bench string
	bench.Unrecorded
}

func newAlert(name string, u bench.Unrecorded) alertView { return alertView{name, u} }
