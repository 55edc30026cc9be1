package drift

import (
	"fmt"
	"time"

	"coilkeep/internal/statistics"
)

// Factor compares the coils by something recorded about them.
type Factor struct {
	Factor string  `json:"factor"` // spool, winder, operator, batch, time of day, flag
	Groups []Group `json:"groups"`
	// F and P are of the one-way analysis of variance; F is null where nothing
	// varies within the groups.
	F *float64 `json:"f"`
	P float64  `json:"p"`
	// EtaSquared is the share of the sum of squares between the groups.
	EtaSquared float64 `json:"eta_squared"`
	// BetweenOhms is the standard deviation between groups, 0 and BetweenClipped
	// when its variance came out negative.
	BetweenOhms    float64 `json:"between_sigma_ohms"`
	BetweenClipped bool    `json:"between_clipped"`
	Sentence       string  `json:"sentence"`
}

// Group is the coils that share one value of a factor.
type Group struct {
	Name     string  `json:"name"`
	Count    int     `json:"count"`
	MeanOhms float64 `json:"mean_ohms"`
}

// recordedFactor is something recorded about every coil that they can be compared by.
type recordedFactor struct {
	name string
	valueOf   func(Coil) string
	// level is true where steps and trends are taken out first, which would
	// otherwise pass for an effect of the hour they fell on.
	levelled bool
}

var recordedFactors = []recordedFactor{
	{"spool", func(c Coil) string { return c.Spool }, false},
	{"winder", func(c Coil) string { return c.Winder }, false},
	{"operator", func(c Coil) string { return c.Operator }, false},
	{"batch", func(c Coil) string { return c.Batch }, false},
	{"time of day", timeOfDay, true},
	{"flag", flagOrOrdinary, true},
}

// compareFactors runs a one-way analysis of variance by everything recorded with
// two values or more.
func (a *analysis) compareFactors() {
	for _, f := range recordedFactors {
		values := a.ohms
		if f.levelled {
			values = a.levelled()
		}
		if factor, ok := a.factor(f, values); ok {
			a.report.Factors = append(a.report.Factors, factor)
		}
	}
}

// timeOfDay is the quarter of the day a coil was measured in, by its own zone.
func timeOfDay(c Coil) string {
	if c.Time.IsZero() {
		return ""
	}
	switch h := c.Time.Hour(); {
	case h < 6:
		return "night"
	case h < 12:
		return "morning"
	case h < 18:
		return "afternoon"
	default:
		return "evening"
	}
}

func flagOrOrdinary(c Coil) string {
	if c.Doubtful == "" {
		return "ordinary"
	}
	return c.Doubtful
}

// levelled are all coils as if the process had stood where it began.
func (a *analysis) levelled() []float64 {
	levels := a.levels()
	values := make([]float64, len(levels))
	for i, l := range levels {
		values[i] = a.ohms[i] - l + levels[0]
	}
	return values
}

// group is the kept coils that share one value of a factor.
type group struct {
	name string
	kept []int // places among the kept coils
}

// groups parts the kept coils by a factor, in the order of first appearance.
// Coils it was not recorded for are in none.
func (a *analysis) groups(of func(Coil) string) []group {
	var groups []group
	index := map[string]int{}
	for k, i := range a.kept {
		key := of(a.coils[i])
		if key == "" {
			continue
		}
		j, ok := index[key]
		if !ok {
			j = len(groups)
			index[key] = j
			groups = append(groups, group{name: key})
		}
		groups[j].kept = append(groups[j].kept, k)
	}
	return groups
}

func (a *analysis) factor(by recordedFactor, ohms []float64) (Factor, bool) {
	f := Factor{Factor: by.name}
	groups := a.groups(by.valueOf)
	if len(groups) < 2 {
		return Factor{}, false // one value, or not recorded: nothing to compare
	}
	kept := valuesAt(ohms, a.kept)
	values := make([][]float64, len(groups))
	for j, g := range groups {
		values[j] = valuesAt(kept, g.kept)
		f.Groups = append(f.Groups, Group{Name: g.name})
	}
	analysed, err := statistics.AnalyseOneWay(values)
	if err != nil {
		a.note("the coils cannot be compared by %s: %v", by.name, err)
		return Factor{}, false
	}
	for j, v := range values {
		f.Groups[j].Count, f.Groups[j].MeanOhms = len(v), statistics.MomentsOf(v).Mean
	}
	if analysed.MeanSquareWithin > 0 {
		f.F = &analysed.F
	}
	f.P, f.EtaSquared = analysed.P, analysed.EtaSquared
	f.BetweenOhms, f.BetweenClipped = rootOrZero(analysed.BetweenComponent), analysed.BetweenComponentClipped
	f.Sentence = fmt.Sprintf("by %s: no difference (%s)", by.name, chanceText(f.P))
	if f.P < alpha {
		f.Sentence = fmt.Sprintf("by %s: the means differ (%s) and account for %.0f %% of the variation", by.name, chanceText(f.P), 100*f.EtaSquared)
	}
	return f, true
}

// pauses are the kept coils that were wound after a pause: four times as long
// after the one before as is usual, and half an hour at least.
func (a *analysis) pauses() map[int]time.Duration {
	var gaps []float64
	for k := 1; k < len(a.kept); k++ {
		if d := a.gap(k); d > 0 {
			gaps = append(gaps, d.Seconds())
		}
	}
	pauses := map[int]time.Duration{}
	if len(gaps) == 0 {
		return pauses
	}
	least := max(30*time.Minute, time.Duration(4*statistics.MedianInPlace(gaps)*float64(time.Second)))
	for k := 1; k < len(a.kept); k++ {
		if d := a.gap(k); d >= least {
			pauses[k] = d
		}
	}
	return pauses
}

// gap is the time from kept coil k−1 to k, 0 when not known.
func (a *analysis) gap(k int) time.Duration {
	from, to := a.coils[a.kept[k-1]].WoundAt(), a.coils[a.kept[k]].WoundAt()
	if from.IsZero() || to.IsZero() {
		return 0
	}
	return to.Sub(from)
}
