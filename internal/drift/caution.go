package drift

import (
	"cmp"
	"fmt"
	"math"

	"coilkeep/internal/words"
)

// cautionOf is why the winder should be left alone when a drift made the present
// level, by what the check standard and the temperature have to do with it; empty
// when nothing else is suspected before the winder and the wire.
func cautionOf(meter, room finding) string {
	switch {
	case meter == explains:
		return "look at the meter first: the check standard moved with the coils"
	case meter == explainsPart:
		return "look at the meter first: the check standard moved too"
	case meter == movedOpposite:
		return "look at the meter first: the check standard moved the other way"
	case room == explains:
		return "look at the temperature first: it moved with the coils"
	case room == movedTogether:
		return "measure an earlier coil again first: the temperature moved together with the coils"
	}
	return ""
}

// leaveTheWinder is what the causes found say against turning anything for a level
// that is off target by a ratio. What made the present level counts. So do earlier
// steps that did not come of the winder, when together they make up more than half
// of the offset.
func (a adviser) leaveTheWinder(offset float64) string {
	part := math.Abs(offset) / 4 // less than this does not matter to what is turned
	if c := a.check; c != nil && c.AwayRatio != nil && math.Abs(*c.AwayRatio) > part {
		return "look at the meter first: the check standard stands " + signedPercent(*c.AwayRatio) + " from where it began"
	}
	doubtful, caution := 0.0, ""
	for i, e := range a.latestFirst() {
		if e.cause.caution == "" {
			continue
		}
		if i == 0 && math.Abs(e.cause.ratio) > part {
			return e.cause.caution
		}
		doubtful += e.cause.ratio
		caution = cmp.Or(caution, e.cause.caution)
	}
	if math.Abs(doubtful) > math.Abs(offset)/2 {
		return caution
	}
	return ""
}

// doubtBehind says whether the meter may be what puts the level off target by a
// ratio: when its check standard reads more than half of that away from its
// reference, or from its first readings. A doubt needs no test, so a few readings
// are enough.
func (c *CheckChannel) doubtBehind(offset float64) string {
	if c == nil {
		return ""
	}
	doubtful := func(ratio float64) bool { return math.Abs(ratio) > math.Abs(offset)/2 }
	if off := c.OffReferenceRatio; off != nil && doubtful(*off) {
		return fmt.Sprintf("look at the meter first: the check standard reads %s from its reference", signedPercent(*off))
	}
	if moved := c.movedRatio(); doubtful(moved) {
		return fmt.Sprintf("measure the check standard again first: it reads %s from what it read at first", signedPercent(moved))
	}
	return ""
}

// freshChange names a change of spool or winder, or a note, that has too few coils
// behind it to judge the level by; empty when there is none since the present
// level began.
func (a adviser) freshChange() string {
	begins, n := a.kept[a.pieces[len(a.pieces)-1].first], len(a.coils)
	if next := a.options.Next; next != nil {
		if what := changeThatMovesLevel(a.coils[n-1], *next); what != "" && !a.knownAtPresentLevel(*next, begins, n) {
			return fmt.Sprintf("no coil yet since %s; wind %d before judging", what, fewestToAct)
		}
	}
	behind := 0
	for i := n - 1; i > begins; i-- {
		if !a.outlier[i] {
			behind++
		}
		if behind >= fewestToAct {
			break
		}
		if what := changeThatMovesLevel(a.coils[i-1], a.coils[i]); what != "" && !a.knownAtPresentLevel(a.coils[i], begins, i) {
			return fmt.Sprintf("only %s since %s; wind %d more before judging", words.Count(behind, "good coil"), what, fewestToAct-behind)
		}
	}
	return ""
}

// knownAtPresentLevel says whether a coil comes back to a spool and winder of which
// enough coils stand at the present level: those who take turns never have so many
// in a row. A note is no coming back.
func (a adviser) knownAtPresentLevel(c Coil, from, to int) bool {
	n := 0
	for i := from; i < to; i++ {
		if !a.outlier[i] && a.coils[i].Spool == c.Spool && a.coils[i].Winder == c.Winder {
			n++
		}
	}
	return n >= fewestToAct && c.Noted == ""
}

// lastPairWaits says whether the last two coils may be a new level.
func (a adviser) lastPairWaits() bool {
	n := len(a.outliers)
	return n > 1 && a.outliers[n-2].Provisional
}

// changeThatMovesLevel is what changed on record between two coils that moves the
// level: wire, winder, or what somebody did about a signal. Empty when nothing did.
func changeThatMovesLevel(before, after Coil) string {
	for _, m := range recordedDifferences(before, after) {
		if m.cause == "spool" || m.cause == "winder" || m.cause == "note" {
			return m.what
		}
	}
	return ""
}
