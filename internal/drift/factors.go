package drift

import (
	"fmt"
	"time"

	"coilkeep/internal/statistics"
	"coilkeep/internal/words"
)

// Factor is the coils compared by something recorded about them.
type Factor struct {
	Factor string  `json:"factor"` // spool, winder, operator, batch, time of day or flag
	Groups []Group `json:"groups"` // the coils of each value of it
	// Of the one-way analysis of variance; null where nothing varies within the
	// groups.
	F          *float64 `json:"f"`
	P          float64  `json:"p"`           // of it
	EtaSquared float64  `json:"eta_squared"` // the share of the sum of squares between the groups
	// The standard deviation between groups; 0 when its variance came out negative.
	BetweenOhms    float64 `json:"between_sigma_ohms"`
	BetweenClipped bool    `json:"between_clipped"` // whether it came out negative
	Sentence       string  `json:"sentence"`        // in words
}

// Group is the coils that share one value of a factor.
type Group struct {
	Name     string  `json:"name"`      // the value
	Count    int     `json:"count"`     // how many coils
	MeanOhms float64 `json:"mean_ohms"` // their mean
}

// recordedFactor is something recorded about every coil that they can be compared by.
type recordedFactor struct {
	name    string
	valueOf func(Coil) string
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
func compareFactors(m *movement, said *notes) []Factor {
	factors := []Factor{}
	levelled := valuesAt(m.levelledOhms(), m.kept)
	for _, f := range recordedFactors {
		values := m.keptOhms()
		if f.levelled {
			values = levelled
		}
		if factor, ok := compareByFactor(f.name, m.groupsBy(f.valueOf), values, said); ok {
			factors = append(factors, factor)
		}
	}
	return factors
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

// levelledOhms are all coils as if the process had stood where it began.
func (m *movement) levelledOhms() []float64 {
	levels := m.levels()
	values := make([]float64, len(levels))
	for i, l := range levels {
		values[i] = m.ohms[i] - l + levels[0]
	}
	return values
}

// group is the kept coils that share one value of a factor.
type group struct {
	name string
	kept []int // places among the kept coils
}

// groupsBy parts the kept coils by a factor, in the order of first appearance.
// A coil that it was not recorded for is in no group.
func (s *series) groupsBy(valueOf func(Coil) string) []group {
	var groups []group
	index := map[string]int{}
	for k := range s.kept {
		key := valueOf(s.keptCoil(k))
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

// compareByFactor compares the groups of a factor by the values of the kept coils;
// false when they cannot be.
func compareByFactor(name string, groups []group, kept []float64, said *notes) (Factor, bool) {
	f := Factor{Factor: name}
	if len(groups) < 2 {
		return Factor{}, false // one value, or not recorded: nothing to compare
	}
	values := make([][]float64, len(groups))
	for j, g := range groups {
		values[j] = valuesAt(kept, g.kept)
		f.Groups = append(f.Groups, Group{Name: g.name})
	}
	analysed, err := statistics.AnalyseOneWay(values)
	if err != nil {
		said.add("the coils cannot be compared by %s: %v", name, err)
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
	f.Sentence = fmt.Sprintf("by %s: no difference (%s)", name, words.PValue(f.P))
	if f.P < alpha {
		f.Sentence = fmt.Sprintf("by %s: the means differ (%s) and account for %.0f %% of the variation", name, words.PValue(f.P),
			100*f.EtaSquared)
	}
	return f, true
}

// pauses are the kept coils that were wound after a pause: four times as long
// after the one before as is usual, and half an hour at least.
func (s *series) pauses() map[int]time.Duration {
	var gaps []float64
	for k := 1; k < len(s.kept); k++ {
		if d := s.gapBefore(k); d > 0 {
			gaps = append(gaps, d.Seconds())
		}
	}
	pauses := map[int]time.Duration{}
	if len(gaps) == 0 {
		return pauses
	}
	least := max(30*time.Minute, time.Duration(4*statistics.MedianInPlace(gaps)*float64(time.Second)))
	for k := 1; k < len(s.kept); k++ {
		if d := s.gapBefore(k); d >= least {
			pauses[k] = d
		}
	}
	return pauses
}

// gapBefore is the time from kept coil k−1 to k, 0 when not known.
func (s *series) gapBefore(k int) time.Duration {
	from, to := s.keptCoil(k-1).WoundAt(), s.keptCoil(k).WoundAt()
	if from.IsZero() || to.IsZero() {
		return 0
	}
	return to.Sub(from)
}
