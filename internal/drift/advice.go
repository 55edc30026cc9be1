package drift

import (
	"fmt"
	"math"

	"coilkeep/internal/statistics"
	"coilkeep/internal/words"
)

// Advice is what to do to the winder now.
type Advice struct {
	// Turns to add to a coil that bring the level to target, to take off when
	// negative; null when ohms per turn are not known.
	Turns      *float64 `json:"turns"`
	Low        *float64 `json:"low"`         // at least
	High       *float64 `json:"high"`        // at most
	Act        bool     `json:"act"`         // false when it should be left alone
	OffsetOhms float64  `json:"offset_ohms"` // the present level less target
	// Lower end of its interval, which includes what the measuring leaves open for
	// all coils together.
	OffsetLow   float64  `json:"offset_low"`
	OffsetHigh  float64  `json:"offset_high"`  // upper end
	OffsetRatio float64  `json:"offset_ratio"` // the same over the target
	Coils       int      `json:"coils"`        // how many coils the present level is known from
	TurnOhms    *float64 `json:"turn_ohms"`    // what one turn on the outside changes, ohms
	// The stretch of wire that would make the same offset at fixed turns: resistance
	// goes with length over cross-section, the length on the bobbin is fixed by the
	// turns, and the cross-section shrinks by the strain.
	StretchRatio float64 `json:"stretch_ratio"`
	// What to do in few words, or that the level is off target where that is all
	// that can be told.
	Do string `json:"do"`
	// The reason for nothing, or how far it is off; empty where turns are told.
	Why      string `json:"why"`
	Headline string `json:"headline"` // both
	Sentence string `json:"sentence"` // in a sentence
}

// setHeadline sets what to do, and why.
func (d *Advice) setHeadline(do, why string) {
	d.Do, d.Why, d.Headline = do, why, do
	if why != "" {
		d.Headline += ": " + why
	}
}

// fewestToAct is the least number of coils at a level that an adjustment may
// rest on. A single coil's deviation never may.
const fewestToAct = 5

// tampering is the cost of adjusting without evidence: correcting for every
// single deviation doubles the variance (Deming 1986, Out of the Crisis, chapter
// 11, the funnel, rule 2).
const tampering = "adjusting after every coil by what it is off widens the spread by about 41 %"

// adviser says what to do to the winder, from how the process moved and what of it
// came of the meter or the room.
type adviser struct {
	*movement
	options  Options
	check    *CheckChannel // nil without one
	outliers []Outlier
}

// advise compares the present level with the target; nil when it cannot.
func (a adviser) advise(said *notes) *Advice {
	target := a.options.TargetOhms
	if target == 0 {
		said.add("no target is known, so no turns can be advised")
		return nil
	}
	if len(a.kept) < 2 {
		said.add("one coil is too few to advise on")
		return nil
	}
	now, standardError, df, n := a.presentLevel()
	d := &Advice{OffsetOhms: now - target, OffsetRatio: now/target - 1, StretchRatio: now/target - 1, Coils: n}
	// The measuring is the same for all coils: no number of them reduces it.
	half := math.Hypot(statistics.HalfInterval(standardError, df, confidence), 2*a.usualError)
	d.OffsetLow, d.OffsetHigh = d.OffsetOhms-half, d.OffsetOhms+half
	c, source, ok := a.options.Winding.turnsToTarget(target, now, half)
	if ok {
		d.Turns, d.Low, d.High, d.TurnOhms = &c.turns, &c.low, &c.high, &c.turnOhms
	} else {
		said.add("neither the turns nor gauge and bobbin of the design are known, so the offset cannot be told in turns")
	}
	why := a.reasonToLeave(d, statistics.TestP(d.OffsetOhms, standardError, df))
	d.Act = why == ""
	d.setSentences(why, source, target)
	if t := a.latest; d.Act && d.Turns != nil && t != nil && t.Real {
		d.Sentence += "; the level is still moving, so find the cause as well"
	}
	return d
}

// presentLevel is the level at the last coil, with its standard error, the degrees
// of freedom of that, and how many coils it is known from.
func (m *movement) presentLevel() (now, standardError, df float64, n int) {
	if t := m.latest; t != nil && t.Real {
		return t.end, t.endError, t.df, t.Count
	}
	last := m.pieces[len(m.pieces)-1]
	n = last.last - last.first
	// A short piece takes its scatter from all pieces.
	r := m.residuals(m.keptOhms())
	df = float64(max(1, len(r)-len(m.pieces)))
	squares := 0.0
	for _, v := range r {
		squares += v * v
	}
	return last.level, math.Sqrt(squares/df/float64(n)) * m.widening(), df, n
}

// reasonToLeave is why nothing should be changed, empty when something should. p is
// the probability of such an offset by chance.
func (a adviser) reasonToLeave(d *Advice, p float64) string {
	other, fresh := a.leaveTheWinder(d.OffsetRatio), a.freshChange()
	switch {
	case other != "":
		return other
	case a.inTurn != nil && math.Abs(a.inTurn.DifferenceRatio) > math.Abs(d.OffsetRatio)/2:
		return a.inTurn.Words + ", and no one correction suits both"
	case math.Abs(d.OffsetRatio) > mostOffsetRatio:
		return "it is so far off that the target, the gauge or the design is likely another one"
	case fresh != "":
		return fresh
	case a.lastPairWaits():
		return "the last two coils stand apart; wind one more before judging"
	case d.Coils < fewestToAct:
		return fmt.Sprintf("only %s since the last change; wind %d more before judging", words.Count(d.Coils, "coil"), fewestToAct-d.Coils)
	case p >= alpha:
		return "the level is not shown to be off target"
	case math.Abs(d.OffsetOhms) <= 2*a.usualError:
		return fmt.Sprintf("the level is off by less than the measuring itself leaves open (%.3g Ω)", 2*a.usualError)
	case d.Turns != nil && math.Abs(*d.Turns) < 1:
		return "the level is off by less than one turn"
	case d.Turns != nil && (*d.Low < 1 && *d.High > -1):
		return d.uncertainTurns()
	case d.OffsetLow < 0 && d.OffsetHigh > 0:
		return "the level may be on target within what the measuring leaves open"
	case d.Turns == nil && a.options.UpperOhms > 0 && math.Abs(d.OffsetOhms) < smallShare*(a.options.UpperOhms-a.options.LowerOhms)/2:
		return "the level is off by less than a tenth of the tolerance"
	}
	return a.check.doubtBehind(d.OffsetRatio)
}

// uncertainTurns says that the turns may be none.
func (d *Advice) uncertainTurns() string {
	much, most := "many", math.Max(-*d.Low, *d.High)
	if *d.Turns > 0 {
		much = "few"
	}
	return fmt.Sprintf("about %.0f turns too %s, but it may be none or as many as %.0f", math.Abs(*d.Turns), much, most)
}

// mostOffsetRatio is as far as a winder is ever off by its turns; wire within its
// standard may be off by half of that (common practice, no source).
const mostOffsetRatio = 0.15

// smallShare of the tolerance is too little to correct when nobody knows whether
// it is a whole turn.
const smallShare = 0.1

// setSentences writes headline and sentence: why it should be left alone, if it
// should, or the turns and what they come from.
func (d *Advice) setSentences(why, source string, target float64) {
	off := fmt.Sprintf("the level is %s from target (%s)", signedPercent(d.OffsetRatio),
		percentInterval(d.OffsetLow/target, d.OffsetHigh/target))
	if why != "" {
		d.setHeadline("leave it alone", why)
		d.Sentence = fmt.Sprintf("%s; %s; %s", d.Headline, off, tampering)
		return
	}
	if d.Turns == nil {
		d.setHeadline("the level is off target", signedPercent(d.OffsetRatio))
		d.Sentence = off + "; whether that is worth a correction, and of how many turns, can be told with the turns or the gauge and bobbin " +
			"of the design"
		return
	}
	do, low, high := "wind on", *d.Low, *d.High
	if *d.Turns < 0 {
		do, low, high = "take off", -*d.High, -*d.Low
	}
	d.setHeadline(fmt.Sprintf("%s %.0f turns (%.0f to %.0f) on the outside", do, math.Abs(*d.Turns), math.Max(0, low), high), "")
	d.Sentence = fmt.Sprintf("%s: %s; by %s; at fixed turns the same would come of %s stretch of the wire", d.Headline, off, source,
		signedPercent(d.StretchRatio))
}
