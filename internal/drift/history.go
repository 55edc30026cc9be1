package drift

import (
	"fmt"
	"slices"
	"strings"

	"coilkeep/internal/control"
	"coilkeep/internal/statistics"
)

// History takes a design's coils one at a time, over all its batches and
// winders, in memory that grows with the number of spools in batches and not
// with the coils. Make one with [NewHistory].
type History struct {
	monitor  *control.Monitor
	baseline Baseline
	all      statistics.Accumulator
	leaves   map[leafKey]*statistics.Accumulator
	order    []leafKey
	signals  int
	last     control.Step
	current  *statistics.Accumulator
	key      leafKey
}

type leafKey struct{ winder, batch, spool string }

// NewHistory starts a history whose charts judge by a baseline, which must have a
// mean and a sigma above 0.
func NewHistory(baseline Baseline, scheme control.Scheme) (*History, error) {
	if err := baseline.check(); err != nil {
		return nil, err
	}
	m, err := control.NewMonitor(scheme)
	if err != nil {
		return nil, err
	}
	return &History{monitor: m, baseline: baseline, leaves: map[leafKey]*statistics.Accumulator{}}, nil
}

// Add takes the next coil and returns where the charts stand. A value that
// cannot be is refused and leaves the history as it was. Outliers are the
// caller's to leave out.
func (h *History) Add(c Coil) (control.Step, error) {
	if err := c.check(); err != nil {
		return control.Step{}, err
	}
	key := leafKey{c.Winder, c.Batch, c.Spool}
	if h.current == nil || key != h.key {
		h.key, h.current = key, h.leaves[key]
		if h.current == nil {
			h.current = &statistics.Accumulator{}
			h.leaves[key] = h.current
			h.order = append(h.order, key)
		}
	}
	ohms := c.R20Ohms * c.comparisonFactor()
	h.current.Add(ohms)
	h.all.Add(ohms)
	h.last = h.monitor.Add((ohms - h.baseline.MeanOhms) / h.baseline.SigmaWithinOhms)
	if h.last.Signal() {
		h.signals++
	}
	return h.last, nil
}

// Component is what one level adds to the spread of a design's coils.
type Component struct {
	Level string `json:"level"` // within, spool, batch, winder
	// SigmaOhms is 0 where the variance came out negative, which Clipped says: the
	// level adds less than the data can show.
	SigmaOhms float64 `json:"sigma_ohms"`
	Percent   float64 `json:"percent"` // of the total variance
	Raw       float64 `json:"raw_variance"`
	Clipped   bool    `json:"clipped"`
	Groups    int     `json:"groups"`
}

// DesignHistory is what a history amounts to.
type DesignHistory struct {
	Count            int         `json:"count"`
	MeanOhms         float64     `json:"mean_ohms"`
	SigmaOverallOhms float64     `json:"sigma_overall_ohms"` // 0 with one coil
	Components       []Component `json:"components"`
	// Signals is how many coils the charts signalled at.
	Signals  int      `json:"signals"`
	Sentence string   `json:"sentence"`
	Notes    []string `json:"notes"`
}

// Summary splits the variance by winder, batch within winder and spool within
// batch. Levels with nothing to compare are left out and named in the notes.
func (h *History) Summary() DesignHistory {
	m := h.all.Moments()
	d := DesignHistory{Count: m.Count, MeanOhms: m.Mean, Signals: h.signals, Components: []Component{}, Notes: []string{}}
	if m.Count > 1 {
		d.SigmaOverallOhms = m.StandardDeviation()
	}
	names, keep := h.levelsWithChoice(&d)
	if len(keep) == 0 {
		if m.Count > 1 {
			d.addComponent("within", statistics.Component{Variance: m.Variance(), Raw: m.Variance(), Groups: 1}, m.Variance())
			d.Sentence = d.sentence()
		}
		return d
	}
	nested, err := statistics.AnalyseNested(h.nestedLeaves(keep))
	if err != nil {
		d.Notes = append(d.Notes, fmt.Sprintf("the spread cannot be split up: %v", err))
		return d
	}
	total := nested.Within.Variance
	for _, l := range nested.Levels {
		total += l.Variance
	}
	d.addComponent("within", nested.Within, total)
	for i := len(names) - 1; i >= 0; i-- {
		d.addComponent(names[i], nested.Levels[i], total)
	}
	d.Sentence = d.sentence()
	return d
}

func (d *DesignHistory) addComponent(name string, c statistics.Component, total float64) {
	x := Component{Level: name, SigmaOhms: rootOrZero(c.Variance), Raw: c.Raw, Clipped: c.Clipped, Groups: c.Groups}
	if total > 0 {
		x.Percent = 100 * c.Variance / total
	}
	if c.Clipped {
		d.Notes = append(d.Notes, fmt.Sprintf("the variance between %s came out negative (%.3g ohm²) and is taken as 0: they differ less than "+
			"chance", pluralOfLevel(name), c.Raw))
	}
	d.Components = append(d.Components, x)
}

// splitSpread runs the kept coils through a history of their own; nil without a
// baseline, and when the coils are all of one winder, batch and spool.
func splitSpread(s *series, b *Baseline, scheme control.Scheme, said *notes) *DesignHistory {
	if b == nil {
		return nil
	}
	h, err := NewHistory(*b, scheme)
	for k := 0; k < len(s.kept) && err == nil; k++ {
		_, err = h.Add(s.keptCoil(k))
	}
	if err != nil {
		said.add("the spread cannot be split up: %v", err)
		return nil
	}
	if len(h.order) < 2 {
		return nil
	}
	return new(h.Summary())
}

// levelsWithChoice are the levels, the outermost first, that have more groups
// than the level outside them; keep says which parts of a key they are.
func (h *History) levelsWithChoice(d *DesignHistory) (names []string, keep []int) {
	groups := 1
	for part, name := range []string{"winder", "batch", "spool"} {
		seen := map[string]bool{}
		for _, k := range h.order {
			seen[strings.Join(k.levelNames()[:part+1], "\x00")] = true
		}
		if len(seen) > groups {
			groups = len(seen)
			names, keep = append(names, name), append(keep, part)
		} else {
			d.Notes = append(d.Notes, fmt.Sprintf("%s cannot be told apart from what they lie in: one of each", pluralOfLevel(name)))
		}
	}
	return names, keep
}

func (k leafKey) levelNames() []string { return []string{k.winder, k.batch, k.spool} }

// nestedLeaves are the innermost groups with the path of the levels kept. A
// level left out names no group of its own, so the paths stay distinct.
func (h *History) nestedLeaves(keep []int) []statistics.Leaf {
	leaves := make([]statistics.Leaf, 0, len(h.order))
	for _, k := range h.order {
		parts := k.levelNames()
		var path []string
		for _, part := range keep {
			path = append(path, parts[part])
		}
		leaves = append(leaves, statistics.Leaf{Path: path, Values: h.leaves[k].Moments()})
	}
	return leaves
}

func (d *DesignHistory) sentence() string {
	largest := slices.MaxFunc(d.Components, func(x, y Component) int {
		switch {
		case x.Percent < y.Percent:
			return -1
		case x.Percent > y.Percent:
			return 1
		}
		return 0
	})
	if largest.Level == "within" {
		return fmt.Sprintf("most of the spread, %.0f %%, is from coil to coil on the same spool", largest.Percent)
	}
	return fmt.Sprintf("most of the spread, %.0f %%, is between %s", largest.Percent, pluralOfLevel(largest.Level))
}

func pluralOfLevel(level string) string {
	if level == "batch" {
		return "batches"
	}
	return level + "s"
}
