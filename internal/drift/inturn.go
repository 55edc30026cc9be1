package drift

import (
	"fmt"
	"math"

	"coilkeep/internal/statistics"
	"coilkeep/internal/words"
)

// InTurn is coils that differ by who wound them, from what, or when, all through:
// two winders in turn, say, or afternoons. That is no drift, but no one correction
// suits both.
type InTurn struct {
	Factor          string  `json:"factor"`           // spool, winder, operator, time of day or flag
	High            string  `json:"high"`             // the value of it whose coils are highest
	Low             string  `json:"low"`              // the value of it whose coils are lowest
	DifferenceRatio float64 `json:"difference_ratio"` // between their means
	DifferenceLow   float64 `json:"difference_low"`   // interval of 95 %, a ratio too
	DifferenceHigh  float64 `json:"difference_high"`  // interval of 95 %, a ratio too
	P               float64 `json:"p"`                // of the one-way analysis of variance
	Sentence        string  `json:"sentence"`         // in words
	// The two in short: "the coils of operator bo stand +0.80 % above those of ada".
	Words string `json:"words"`
}

// fewestInTurn is how often a value must come back after another for the two to
// have been in turn.
const fewestInTurn = 2

// takeOutTurns looks for what was recorded to change to and fro and describes the
// coils better than steps and trends do. Its effect is then taken out before they
// are looked for; taken for steps, it would be one at every turn.
func (m *movement) takeOutTurns(y, w []float64) {
	var best []float64
	least := math.Inf(1)
	for _, f := range recordedFactors {
		groups := m.groupsBy(f.valueOf)
		if !takenInTurn(groups) {
			continue
		}
		found, rest, ok := compareInTurn(f.name, groups, y, m.widening(), m.reference)
		if !ok {
			continue
		}
		s := newSegmenter(rest, w, m.widening(), m.recordedPlaces())
		pieces := s.describePieces()
		// Both are weighed by the same scatter, that of what is left.
		// Steps at recorded places cost nothing elsewhere; here each pays for its level,
		// or one at every turn would be free.
		with := s.costOfPieces(pieces) + float64(len(pieces)+len(groups))*s.price
		without := m.cost + float64(len(m.pieces)-1)*s.price + m.rss*(1/s.variance-1/m.segments.variance)
		if with < without && with < least {
			least, best, m.inTurn = with, rest, found
		}
	}
	if best != nil {
		m.cutIntoPieces(best, w, m.widening())
	}
}

// takenInTurn says whether values of a factor came back often enough after others.
func takenInTurn(groups []group) bool {
	if len(groups) < 2 {
		return false
	}
	back := 0
	for _, g := range groups {
		for j := 1; j < len(g.kept); j++ {
			if g.kept[j] > g.kept[j-1]+1 {
				back++
			}
		}
	}
	return back >= fewestInTurn
}

// compareInTurn compares the groups of a factor, and returns the values with what
// sets them apart taken out; ok is false when chance may have made it.
func compareInTurn(factor string, groups []group, y []float64, widening, reference float64) (found *InTurn, rest []float64, ok bool) {
	values := make([][]float64, len(groups))
	moments := make([]statistics.Moments, len(groups))
	high, low := -1, -1
	for j, g := range groups {
		values[j] = valuesAt(y, g.kept)
		moments[j] = statistics.MomentsOf(values[j])
		if moments[j].Count < 2 {
			continue // one coil has no scatter to be compared by
		}
		if high < 0 || moments[j].Mean > moments[high].Mean {
			high = j
		}
		if low < 0 || moments[j].Mean < moments[low].Mean {
			low = j
		}
	}
	analysed, err := statistics.AnalyseOneWay(values)
	if err != nil || high == low {
		return nil, nil, false // nothing repeated, or nothing differs
	}
	p := statistics.FisherP(analysed.F/(widening*widening), float64(len(groups)-1), float64(analysed.DFWithin))
	difference, err := statistics.Compare(moments[low], moments[high])
	if err != nil || p >= alphaEach {
		return nil, nil, false
	}
	mean := statistics.MomentsOf(y).Mean
	rest = append(rest, y...)
	for j, g := range groups {
		for _, k := range g.kept {
			rest[k] += mean - moments[j].Mean
		}
	}
	from, to := difference.Interval(confidence)
	found = &InTurn{Factor: factor, High: groups[high].name, Low: groups[low].name, P: p,
		DifferenceRatio: difference.Value / reference, DifferenceLow: from / reference, DifferenceHigh: to / reference}
	found.setSentences()
	return found, rest, true
}

func (t *InTurn) setSentences() {
	high, low := fmt.Sprintf("the coils of %s %s", t.Factor, t.High), "those of "+t.Low
	switch t.Factor {
	case "time of day":
		high, low = "the coils of the "+t.High, "those of the "+t.Low
	case "flag":
		high, low = t.High+" coils", t.Low+" ones"
	}
	t.Words = fmt.Sprintf("%s stand %s above %s", high, signedPercent(t.DifferenceRatio), low)
	t.Sentence = fmt.Sprintf("%s (%s), in turn all through; %s", t.Words, percentInterval(t.DifferenceLow, t.DifferenceHigh),
		words.PValue(t.P))
}

// attribution is the same in the list of causes.
func (t *InTurn) attribution(sequence int) Attribution {
	return Attribution{Cause: t.Factor, Sequence: sequence, Evidence: t.Sentence, P: &t.P, Sentence: t.Sentence}
}
