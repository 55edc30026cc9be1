package drift

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"coilkeep/internal/statistics"
	"coilkeep/internal/words"
)

// Attribution is one possible cause of a change or trend. The list goes change
// by change, the best supported cause first.
type Attribution struct {
	// Meter, temperature, spool, winder, operator, target, batch, note, flag, pause,
	// time of day or winding: the last when nothing recorded changed there.
	Cause    string `json:"cause"`
	Sequence int    `json:"sequence"` // the first coil of the change it is about
	Evidence string `json:"evidence"` // why
	// Of the shift tested at the place of the cause alone, or of the check
	// standard's or the temperature's own effect, or of the slope; null where
	// nothing was tested, because the data cannot part the cause from the drift.
	P        *float64 `json:"p"`
	Sentence string   `json:"sentence"` // in words

	// headline is the change with its cause, brief the same without the interval,
	// clauses what speaks for and against it, meter what the check standard says,
	// and caution why the winder should be left alone; empty when it need not.
	headline, brief, caution string
	clauses                  []string
	meter                    meterSays
	ratio                    float64 // how far the drift goes
}

// meterSays is the clause about the meter, and whether it is out of suspicion.
type meterSays struct {
	cleared bool
	clause  string
}

// causeSearch looks for what made the steps and trends: whatever else moved, or
// was recorded to change, beside them.
type causeSearch struct {
	*movement
	check *CheckChannel // nil without one
	room  *roomWatch
}

// findCauses looks for the causes of everything found, and gives each step and
// trend its first suspect.
func (cs causeSearch) findCauses() []Attribution {
	all := []Attribution{}
	pauses := cs.pauses()
	for i := range cs.steps {
		c := &cs.steps[i]
		causes := cs.causesOfStep(*c, pauses)
		c.Sentence, c.cause = causes[0].Sentence, causes[0]
		all = append(all, causes...)
	}
	for _, t := range cs.trends() {
		causes := cs.causesOfTrend(t)
		t.Sentence, t.cause = causes[0].Sentence, causes[0]
		all = append(all, causes...)
	}
	if t := cs.inTurn; t != nil {
		all = append(all, t.attribution(cs.keptCoil(0).Sequence))
	}
	return all
}

// suspect is what a cause is sought for.
type suspect struct {
	what     string // "from coil 41, +1.2 % (0.9 to 1.5)"
	brief    string // "from coil 41, +1.2 %"
	sequence int
	ratio    float64
	clauses  []string // what was ruled out, or could not be
	meter    meterSays
	caution  string
}

func (cs causeSearch) causesOfStep(c ChangePoint, pauses map[int]time.Duration) []Attribution {
	brief := fmt.Sprintf("from %s, %s", cs.keptName(c.k), signedPercent(c.ShiftRatio))
	d := suspect{what: fmt.Sprintf("%s (%s)", brief, percentInterval(c.ShiftRatioLow, c.ShiftRatioHigh)), brief: brief,
		sequence: cs.keptCoil(c.k).Sequence, ratio: c.ShiftRatio}
	meter, moved := meterAtStep(cs.check, cs.series, c)
	room, effect := cs.room.roomAtStep(c)
	causes := d.suspectMeterAndRoom(meter, moved, room, effect)
	for _, m := range cs.marksAt(c, pauses) {
		causes = append(causes, d.billMark(m, len(causes) > 0))
	}
	return d.withLastSuspects(causes, room, d.billWinding(&c.P, "nothing recorded changed there"))
}

func (cs causeSearch) causesOfTrend(t *Trend) []Attribution {
	d := suspect{what: t.Sentence, brief: briefTrend(cs.series, t), sequence: t.FromSequence,
		ratio: t.SlopeOhmsPerCoil * float64(t.Count-1) / cs.reference}
	meter, moved := meterInTrend(cs.check, cs.series, t)
	room, effect := cs.room.roomInTrend(t)
	causes := d.suspectMeterAndRoom(meter, moved, room, effect)
	if within := cs.manySpoolsWithin(t); within != "" && len(causes) == 0 && room != movedTogether {
		d.caution = cmp.Or(d.caution, "the wire and the winder cannot be told apart")
		return []Attribution{d.billTo("spool", &t.P, within, "", within)}
	}
	return d.withLastSuspects(causes, room, d.billWinding(&t.P, cs.recordedWithin(t)))
}

// suspectMeterAndRoom bills the drift to those of the two that explain it, and
// takes down what is to be said of the others.
func (d *suspect) suspectMeterAndRoom(meter finding, moved statistics.Difference, room finding, effect roomEffect) []Attribution {
	d.meter, d.caution = meterSays{meter == notTheCause, meterClause(meter, moved)}, cautionOf(meter, room)
	d.addClause(d.meter.clause, meter != explains)
	d.addClause(roomClause(room, effect), room != explains)
	var causes []Attribution
	if meter == explains {
		causes = append(causes, d.billMeter(&moved.P))
	}
	if room == explains {
		causes = append(causes, d.billTemperature(room, effect))
	}
	return causes
}

// withLastSuspects adds what is left to suspect.
func (d suspect) withLastSuspects(causes []Attribution, room finding, otherwise Attribution) []Attribution {
	if room == movedTogether {
		d.clauses = d.clauses[:len(d.clauses)-1] // its own clause is the verdict here
		causes = append(causes, d.billTemperature(room, roomEffect{}))
	}
	if len(causes) == 0 {
		causes = append(causes, otherwise)
	}
	return causes
}

// manySpoolsWithin says that the spool was changed so often during a trend that the
// coils between are too few to show a slope of their own: then the wire may make
// it as well as the winder. Empty otherwise.
func (cs causeSearch) manySpoolsWithin(t *Trend) string {
	changes := 0
	for k := t.first + 1; k < t.last; k++ {
		if cs.keptCoil(k-1).Spool != cs.keptCoil(k).Spool {
			changes++
		}
	}
	if changes == 0 || t.Count/(changes+1) >= minSloped {
		return ""
	}
	return fmt.Sprintf("%s of spool on the way, with too few coils between to tell the wire from the winder", words.Count(changes, "change"))
}

func (d *suspect) addClause(clause string, when bool) {
	if when && clause != "" {
		d.clauses = append(d.clauses, clause)
	}
}

// billTo bills the drift to a cause: with is added to what is told in short, and
// parts are said before the clauses.
func (d suspect) billTo(cause string, p *float64, evidence, with string, parts ...string) Attribution {
	clauses := slices.Concat(parts, d.clauses)
	return Attribution{Cause: cause, Sequence: d.sequence, Evidence: evidence, P: p,
		Sentence: strings.Join(append([]string{d.what}, clauses...), "; "),
		headline: d.what + with, brief: d.brief + with, caution: d.caution, clauses: clauses, meter: d.meter, ratio: d.ratio}
}

func (d suspect) billMeter(p *float64) Attribution {
	return d.billTo("meter", p, d.meter.clause, ", and the check standard with it",
		d.meter.clause+": it is the meter or its leads, not the winder")
}

// billTemperature suspects the temperature: when it explains the drift there is a
// verdict, and when it moved together with it there is none.
func (d suspect) billTemperature(room finding, effect roomEffect) Attribution {
	evidence := roomClause(room, effect)
	if room == movedTogether {
		return d.billTo("temperature", nil, evidence, ", and the temperature with it", evidence)
	}
	return d.billTo("temperature", &effect.P, evidence, ", and the temperature with it",
		evidence+": it is the probe, the coefficient or the room, not the winder")
}

// recordedWithin says what was recorded to change at the first coil of a trend or
// during it: a step on the way was weighed against the slope and describes the
// coils less well.
func (cs causeSearch) recordedWithin(t *Trend) string {
	begins := ""
	for _, k := range cs.recordedPlaces() {
		if k < t.first || k >= t.last {
			continue
		}
		m := recordedDifferences(cs.keptCoil(k-1), cs.keptCoil(k))[0]
		if k > t.first {
			return begins + fmt.Sprintf("%s at %s lies within it, but a step there fits less well", m.what, cs.keptName(k))
		}
		begins = "it begins at " + m.what + "; "
	}
	if begins != "" {
		return begins + "nothing else recorded changed on the way"
	}
	return "nothing recorded changed on the way"
}

// billWinding is the answer when nothing recorded explains it.
func (d suspect) billWinding(p *float64, evidence string) Attribution {
	more := bySign(d.ratio, "less", "more")
	advice := fmt.Sprintf("look at tension, felt, counter and guides; at fixed turns it would be about %.1f %% %s stretch of the wire, "+
		"or as much %s of it", math.Abs(100*d.ratio), more, more)
	return d.billTo("winding", p, evidence, "", evidence+": "+advice)
}

// mark is something recorded that changed at a coil.
type mark struct {
	cause string
	place string // the first coil after it
	what  string
	p     float64 // of the shift tested there
	far   int     // kept coils from the estimated place
}

// billMark is the attribution to something recorded; also is true when there is a
// better one.
func (d suspect) billMark(m mark, also bool) Attribution {
	evidence := fmt.Sprintf("%s at %s, %s; the shift tested there alone has %s", m.what, m.place, distanceText(m.far), words.PValue(m.p))
	with, elsewhere := ", at "+m.what, ""
	if m.far != 0 {
		elsewhere = " at " + m.place
		with = ", with " + m.what + elsewhere
	}
	if also {
		return Attribution{Cause: m.cause, Sequence: d.sequence, Evidence: evidence, P: &m.p,
			Sentence: fmt.Sprintf("from coil %d: it may also be %s%s", d.sequence, m.what, elsewhere)}
	}
	d.what, d.brief = d.what+with, d.brief+with
	return d.billTo(m.cause, &m.p, evidence, "")
}

func distanceText(far int) string {
	switch {
	case far == 0:
		return "exactly where the step is"
	case far > 0:
		return fmt.Sprintf("%s after the likeliest place", words.Count(far, "coil"))
	}
	return fmt.Sprintf("%s before the likeliest place", words.Count(-far, "coil"))
}

// marksAt lists what was recorded to change within the interval of a step, the
// best supported first.
func (cs causeSearch) marksAt(c ChangePoint, pauses map[int]time.Duration) []mark {
	low, high := c.low+1, c.high+1
	var marks []mark
	for k := max(low, c.from+1); k <= min(high, c.to-1); k++ {
		before, after := cs.keptCoil(k-1), cs.keptCoil(k)
		found := recordedDifferences(before, after)
		if before.Doubtful != after.Doubtful {
			found = append(found, mark{cause: "flag", what: flagChange(before, after)})
		}
		if d, ok := pauses[k]; ok {
			found = append(found, mark{cause: "pause", what: fmt.Sprintf("the pause of %s", words.Pause(d))})
		}
		for _, m := range found {
			m.place, m.far, m.p = cs.keptName(k), k-c.k, cs.segments.splitAt(c.from, k, c.to).p
			marks = append(marks, m)
		}
	}
	slices.SortStableFunc(marks, func(x, y mark) int {
		return int(math.Abs(float64(x.far))) - int(math.Abs(float64(y.far)))
	})
	return marks
}

// flagChange names the beginning or the end of coils that were forced.
func flagChange(before, after Coil) string {
	if after.Doubtful == "" {
		return "the end of the coils that were " + before.Doubtful
	}
	return "the first of the coils that were " + after.Doubtful
}

// recordedDifferences are the labels in which two coils differ, likeliest causes first.
func recordedDifferences(before, after Coil) []mark {
	var marks []mark
	for _, l := range []struct{ cause, before, after string }{
		{"spool", before.Spool, after.Spool},
		{"winder", before.Winder, after.Winder},
		{"operator", before.Operator, after.Operator},
		{"target", before.Target, after.Target},
		{"batch", before.Batch, after.Batch},
	} {
		switch {
		case l.before == l.after:
		case l.after == "":
			marks = append(marks, mark{cause: l.cause, what: fmt.Sprintf("the end of %s %s", l.cause, l.before)})
		default:
			marks = append(marks, mark{cause: l.cause, what: fmt.Sprintf("the change to %s %s", l.cause, l.after)})
		}
	}
	if after.Noted != "" {
		marks = append(marks, mark{cause: "note", what: "the note \"" + shortenNote(after.Noted) + "\""})
	}
	return marks
}
