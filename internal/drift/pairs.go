package drift

import (
	"cmp"
	"fmt"
	"math"
	"slices"
)

// Stocked is a coil on the shelf.
type Stocked struct {
	Serial  string
	R20Ohms float64
	// TargetOhms is that of its design; 0 compares plain ohms.
	TargetOhms float64
}

// Pair is two coils for one assembly.
type Pair struct {
	First  string `json:"first"`  // serial number
	Second string `json:"second"` // serial number
	// How far apart they are, each against the target of its design: the logarithm
	// of the ratio, without a sign; 0.01 is 1 %.
	DifferenceRatio float64 `json:"difference_ratio"`
}

// PickList is the pairs and what is left over.
type PickList struct {
	Pairs    []Pair   `json:"pairs"`
	LeftOver []string `json:"left_over"`
}

// maxStock bounds the work of pairing two stocks, which grows with the product.
const maxStock = 5000

// PairWithin pairs the coils of one stock so that as many as possible are within
// maxRatio of each other and, among those choices, the sum of squared
// differences is least. In the order of resistance only neighbours ever pair,
// so that the best choice is found exactly. maxRatio is above 0.
func PairWithin(stock []Stocked, maxRatio float64) (PickList, error) {
	if err := checkStock(stock, maxRatio); err != nil {
		return PickList{}, err
	}
	s := sortedByPlace(stock)
	best := make([]choice, len(s)+1)
	for i := 1; i <= len(s); i++ {
		best[i] = best[i-1].leaving(leaveFirst)
		if i >= 2 {
			if c := best[i-2].withPair(logDifference(s[i-2], s[i-1]), maxRatio); c.betterThan(best[i]) {
				best[i] = c
			}
		}
	}
	list := emptyPickList()
	for i := len(s); i > 0; {
		if best[i].step == leaveFirst {
			list.LeftOver = append(list.LeftOver, s[i-1].Serial)
			i--
			continue
		}
		list.Pairs = append(list.Pairs, Pair{s[i-2].Serial, s[i-1].Serial, math.Abs(logDifference(s[i-2], s[i-1]))})
		i -= 2
	}
	return list, nil
}

// PairAcross pairs coils of one stock with coils of another by the same measure.
// With convex costs on a line no two pairs ever cross, so that the best choice is
// found exactly by going along both in order.
func PairAcross(first, second []Stocked, maxRatio float64) (PickList, error) {
	if err := checkStock(first, maxRatio); err != nil {
		return PickList{}, err
	}
	if err := checkStock(second, maxRatio); err != nil {
		return PickList{}, err
	}
	a, b := sortedByPlace(first), sortedByPlace(second)
	steps := alignStocks(a, b, maxRatio)
	list := emptyPickList()
	for i, j := len(a), len(b); i > 0 || j > 0; {
		switch steps[i][j] {
		case leaveFirst:
			i--
			list.LeftOver = append(list.LeftOver, a[i].Serial)
		case leaveSecond:
			j--
			list.LeftOver = append(list.LeftOver, b[j].Serial)
		default:
			i, j = i-1, j-1
			list.Pairs = append(list.Pairs, Pair{a[i].Serial, b[j].Serial, math.Abs(logDifference(a[i], b[j]))})
		}
	}
	return list, nil
}

// alignStocks returns the last step of the best choice for every beginning of
// both stocks.
func alignStocks(a, b []Stocked, maxRatio float64) [][]step {
	steps := make([][]step, len(a)+1)
	before, now := make([]choice, len(b)+1), make([]choice, len(b)+1)
	for i := range steps {
		steps[i] = make([]step, len(b)+1)
		for j := range now {
			switch {
			case i == 0 && j == 0:
				now[j] = choice{}
				continue
			case i == 0:
				now[j] = now[j-1].leaving(leaveSecond)
			default:
				now[j] = before[j].leaving(leaveFirst)
				if j > 0 {
					if c := now[j-1].leaving(leaveSecond); c.betterThan(now[j]) {
						now[j] = c
					}
					if c := before[j-1].withPair(logDifference(a[i-1], b[j-1]), maxRatio); c.betterThan(now[j]) {
						now[j] = c
					}
				}
			}
			steps[i][j] = now[j].step
		}
		before, now = now, before
	}
	return steps
}

// step is how a choice ends.
type step uint8

const (
	leaveFirst  step = iota // the coil of the first stock stays
	leaveSecond             // the coil of the second stays
	join
)

// choice is how well a beginning of the stock can be paired.
type choice struct {
	pairs int
	cost  float64
	step  step
}

func (c choice) leaving(s step) choice { c.step = s; return c }

// withPair adds a pair; one too far apart makes the choice worse than any.
func (c choice) withPair(difference, maxRatio float64) choice {
	if math.Abs(difference) > maxRatio {
		return choice{pairs: -1}
	}
	return choice{c.pairs + 1, c.cost + difference*difference, join}
}

func (c choice) betterThan(than choice) bool {
	return c.pairs > than.pairs || c.pairs == than.pairs && c.cost < than.cost
}

// placeOnLine is where a coil stands on the line.
func (s Stocked) placeOnLine() float64 {
	if s.TargetOhms > 0 {
		return s.R20Ohms / s.TargetOhms
	}
	return s.R20Ohms
}

// logDifference is relative to the target, or to the mean of both without one: the
// logarithm, which is the same within the half of its square.
func logDifference(a, b Stocked) float64 { return math.Log(a.placeOnLine() / b.placeOnLine()) }

func sortedByPlace(stock []Stocked) []Stocked {
	s := slices.Clone(stock)
	slices.SortStableFunc(s, func(x, y Stocked) int { return cmp.Compare(x.placeOnLine(), y.placeOnLine()) })
	return s
}

func emptyPickList() PickList { return PickList{Pairs: []Pair{}, LeftOver: []string{}} }

func checkStock(stock []Stocked, maxRatio float64) error {
	if !(maxRatio > 0) {
		return fmt.Errorf("pairs within a ratio of %g: %w; give more than 0", maxRatio, ErrInput)
	}
	if len(stock) > maxStock {
		return fmt.Errorf("a stock of %d coils: %w; at most %d are paired at once", len(stock), ErrInput, maxStock)
	}
	for _, s := range stock {
		if !isResistance(s.R20Ohms) || s.TargetOhms != 0 && !isResistance(s.TargetOhms) {
			return fmt.Errorf("coil %s of %g ohms, target %g: %w", s.Serial, s.R20Ohms, s.TargetOhms, ErrInput)
		}
	}
	return nil
}
