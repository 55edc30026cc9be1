package statistics

import (
	"fmt"
	"strings"
)

// Leaf is the values of one innermost group and where it belongs: the names of
// its groups from the outermost inward, at least one.
type Leaf struct {
	Path   []string
	Values Moments
}

// Component is the variance that one level adds.
type Component struct {
	// Variance is never negative.
	Variance float64
	// Raw is the estimate before it was clipped at zero.
	Raw float64
	// Clipped is true when the estimate was negative: the level adds less than
	// the data can show.
	Clipped bool
	Groups  int
	// DegreesOfFreedom of the mean square of the level.
	DegreesOfFreedom int
}

// Nested is the components of a nested analysis of variance.
type Nested struct {
	// Levels go from the outermost to the innermost group.
	Levels []Component
	// Within is the variance inside the innermost groups.
	Within Component
}

// AnalyseNested estimates how much each level of nested groups adds to the
// variance, groups of any size, by equating each sum of squares to what it is
// expected to be (Henderson's first method; Searle, Casella and McCulloch 1992,
// Variance Components, chapter 5). Every leaf has the same number of levels.
// Each level needs more groups than the one outside it.
func AnalyseNested(leaves []Leaf) (Nested, error) {
	if len(leaves) == 0 {
		return Nested{}, fmt.Errorf("nested groups: %w; there are none", ErrTooFew)
	}
	depth := len(leaves[0].Path)
	n := Nested{Levels: make([]Component, depth)}
	count, within, origin := 0, 0.0, leaves[0].Values.Mean
	for _, leaf := range leaves {
		if len(leaf.Path) != depth || depth == 0 {
			return Nested{}, fmt.Errorf("nested groups: %s has %d levels, others have %d", strings.Join(leaf.Path, "/"), len(leaf.Path), depth)
		}
		count += leaf.Values.Count
		within += leaf.Values.SumOfSquares
	}
	levels := make([][]nestGroup, depth+1) // level 0 is all values as one group
	for level := range levels {
		levels[level] = groupsAtLevel(leaves, level, origin)
	}
	leafGroups := len(levels[depth])
	if leafGroups != len(leaves) {
		return Nested{}, fmt.Errorf("nested groups: two leaves have the same path")
	}
	if count <= leafGroups {
		return Nested{}, fmt.Errorf("nested groups: %w; no group has two values", ErrTooFew)
	}
	n.Within = Component{Variance: within / float64(count-leafGroups), Raw: within / float64(count-leafGroups), Groups: leafGroups,
		DegreesOfFreedom: count - leafGroups}
	raw := make([]float64, depth+1)
	for level := depth; level >= 1; level-- {
		df := len(levels[level]) - len(levels[level-1])
		if df < 1 {
			return Nested{}, fmt.Errorf("nested groups: %w; level %d has no more groups than the one outside it", ErrTooFew, level)
		}
		// Expected sum of squares: df·within + Σ (k(level) − k(level−1))·component.
		left := uncorrectedSum(levels[level]) - uncorrectedSum(levels[level-1]) - float64(df)*n.Within.Variance
		for inner := level + 1; inner <= depth; inner++ {
			left -= (componentCoefficient(levels, level, inner) - componentCoefficient(levels, level-1, inner)) * raw[inner]
		}
		raw[level] = left / (componentCoefficient(levels, level, level) - componentCoefficient(levels, level-1, level))
		n.Levels[level-1] = Component{Variance: max(0, raw[level]), Raw: raw[level], Clipped: raw[level] < 0, Groups: len(levels[level]),
			DegreesOfFreedom: df}
	}
	return n, nil
}

// nestGroup is one group of one level: how many values, their sum about the
// origin, and its path.
type nestGroup struct {
	path  []string
	count float64
	sum   float64
}

func groupsAtLevel(leaves []Leaf, level int, origin float64) []nestGroup {
	var groups []nestGroup
	index := map[string]int{}
	for _, leaf := range leaves {
		path := leaf.Path[:level]
		key := strings.Join(path, "\x00")
		i, ok := index[key]
		if !ok {
			i = len(groups)
			index[key] = i
			groups = append(groups, nestGroup{path: path})
		}
		n := float64(leaf.Values.Count)
		groups[i].count += n
		groups[i].sum += n * (leaf.Values.Mean - origin)
	}
	return groups
}

func uncorrectedSum(groups []nestGroup) float64 {
	t := 0.0
	for _, g := range groups {
		t += g.sum * g.sum / g.count
	}
	return t
}

// componentCoefficient is what the component of the level inner counts in the expected
// uncorrected sum of squares of the level outer, which contains it.
func componentCoefficient(levels [][]nestGroup, outer, inner int) float64 {
	squares := map[string]float64{}
	for _, g := range levels[inner] {
		squares[strings.Join(g.path[:outer], "\x00")] += g.count * g.count
	}
	t := 0.0
	for _, g := range levels[outer] {
		t += squares[strings.Join(g.path, "\x00")] / g.count
	}
	return t
}
