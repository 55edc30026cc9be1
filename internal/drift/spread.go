package drift

import (
	"cmp"
	"fmt"
	"slices"
	"strings"

	"coilkeep/internal/control"
	"coilkeep/internal/statistics"
)

// Component is what one level adds to the spread of a design's coils.
type Component struct {
	Level string `json:"level"` // within, spool, batch or winder
	// 0 where the variance came out negative: the level adds less than the data can
	// show.
	SigmaOhms float64 `json:"sigma_ohms"`
	Percent   float64 `json:"percent"`      // of the total variance
	Raw       float64 `json:"raw_variance"` // the variance as it came out
	Clipped   bool    `json:"clipped"`      // whether it came out negative
	Groups    int     `json:"groups"`       // how many there are
}

// Spread is where the spread of the coils comes from.
type Spread struct {
	Count            int         `json:"count"`              // how many coils
	MeanOhms         float64     `json:"mean_ohms"`          // their mean
	SigmaOverallOhms float64     `json:"sigma_overall_ohms"` // their standard deviation
	Components       []Component `json:"components"`         // what each level adds
	Signals          int         `json:"signals"`            // how many coils the charts signalled at
	Sentence         string      `json:"sentence"`           // in words
	Notes            []string    `json:"notes"`              // what else a reader should know
}

// splitSpread splits the variance of the kept coils by winder, batch within winder
// and spool within batch. Levels with nothing to compare are left out and named in
// its notes. It is nil without a baseline, by which the charts signal, and when the
// coils are all of one.
func splitSpread(s *series, b *Baseline, scheme control.Scheme, said *notes) *Spread {
	path := func(c Coil) []string { return []string{c.Winder, c.Batch, c.Spool} }
	groups := s.groupsBy(func(c Coil) string { return strings.Join(path(c), "\x00") })
	if b == nil || len(groups) < 2 {
		return nil
	}
	monitor, err := control.NewMonitor(scheme)
	if err != nil {
		said.add("the spread cannot be split up: %v", err)
		return nil
	}
	d := &Spread{Components: []Component{}, Notes: []string{}}
	kept := s.keptOhms()
	for _, ohms := range kept {
		if monitor.Add((ohms - b.MeanOhms) / b.SigmaWithinOhms).Signal() {
			d.Signals++
		}
	}
	m := momentsInTurn(kept)
	d.Count, d.MeanOhms, d.SigmaOverallOhms = m.Count, m.Mean, m.StandardDeviation()
	leaves := make([]statistics.Leaf, len(groups))
	for j, g := range groups {
		leaves[j] = statistics.Leaf{Path: path(s.keptCoil(g.kept[0])), Values: momentsInTurn(valuesAt(kept, g.kept))}
	}
	d.addComponents(leaves)
	return d
}

// momentsInTurn takes values one at a time, in the order of winding.
func momentsInTurn(values []float64) statistics.Moments {
	var a statistics.Accumulator
	for _, v := range values {
		a.Add(v)
	}
	return a.Moments()
}

// addComponents splits the variance of the leaves, whose paths name winder, batch
// and spool.
func (d *Spread) addComponents(leaves []statistics.Leaf) {
	names, keep := d.levelsWithChoice(leaves)
	for i, leaf := range leaves {
		// A level left out names no group of its own, so the paths stay distinct.
		var path []string
		for _, part := range keep {
			path = append(path, leaf.Path[part])
		}
		leaves[i].Path = path
	}
	nested, err := statistics.AnalyseNested(leaves)
	if err != nil {
		d.Notes = append(d.Notes, fmt.Sprintf("the spread cannot be split up: %v", err))
		return
	}
	total := nested.Within.Variance
	for _, l := range nested.Levels {
		total += l.Variance
	}
	d.addComponent("within", nested.Within, total)
	for i, name := range slices.Backward(names) {
		d.addComponent(name, nested.Levels[i], total)
	}
	d.Sentence = d.sentence()
}

func (d *Spread) addComponent(name string, c statistics.Component, total float64) {
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

// levelsWithChoice are the levels, the outermost first, that have more groups
// than the level outside them; keep says which parts of a path they are.
func (d *Spread) levelsWithChoice(leaves []statistics.Leaf) (names []string, keep []int) {
	groups := 1
	for part, name := range []string{"winder", "batch", "spool"} {
		seen := map[string]bool{}
		for _, leaf := range leaves {
			seen[strings.Join(leaf.Path[:part+1], "\x00")] = true
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

func (d *Spread) sentence() string {
	largest := slices.MaxFunc(d.Components, func(x, y Component) int { return cmp.Compare(x.Percent, y.Percent) })
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
