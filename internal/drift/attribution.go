package drift

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"time"
)

// Attribution is one possible cause of a change or trend. The list goes change
// by change, the best supported cause first.
type Attribution struct {
	// Cause is meter, temperature, spool, winder, operator, target, batch, note,
	// flag, pause, time of day or winding: the last when nothing recorded changed there.
	Cause string `json:"cause"`
	// Sequence is the first coil of the change it is about.
	Sequence int    `json:"sequence"`
	Evidence string `json:"evidence"`
	// P is of the shift tested at the place of the cause alone, or of the check
	// standard's or the temperature's own effect, or of the slope; null where nothing
	// was tested, because the data cannot part the cause from the drift.
	P        *float64 `json:"p"`
	Sentence string   `json:"sentence"`

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

// attribute looks for the causes of everything found.
func (a *analysis) attribute() {
	pauses := a.pauses()
	for i := range a.report.ChangePoints {
		c := &a.report.ChangePoints[i]
		causes := a.causesOfStep(*c, pauses)
		c.Sentence, c.cause = causes[0].Sentence, causes[0]
		a.report.Attribution = append(a.report.Attribution, causes...)
	}
	for _, t := range a.trends() {
		causes := a.causesOfTrend(t)
		t.Sentence, t.cause = causes[0].Sentence, causes[0]
		a.report.Attribution = append(a.report.Attribution, causes...)
	}
	if t := a.report.InTurn; t != nil {
		a.report.Attribution = append(a.report.Attribution, t.attribution(a.coils[a.kept[0]].Sequence))
	}
}

// trends are the real ones, the oldest first.
func (a *analysis) trends() []*Trend {
	var real []*Trend
	for i := range a.report.EarlierTrends {
		real = append(real, &a.report.EarlierTrends[i])
	}
	if t := a.report.Trend; t != nil && t.Real {
		real = append(real, t)
	}
	return real
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

func (a *analysis) causesOfStep(c ChangePoint, pauses map[int]time.Duration) []Attribution {
	sequence := a.coils[a.kept[c.k]].Sequence
	brief := fmt.Sprintf("from %s, %s", a.place(c.k), signedPercent(c.ShiftRatio))
	d := suspect{what: fmt.Sprintf("%s (%s)", brief, percentInterval(c.ShiftRatioLow, c.ShiftRatioHigh)), brief: brief, sequence: sequence, ratio: c.ShiftRatio}
	meter, moved := a.meterAtStep(c)
	room, effect := a.roomAtStep(c)
	var causes []Attribution
	d.meter, d.caution = meterSays{meter == excluded, a.meterClause(meter, moved)}, cautionOf(meter, room)
	d.add(d.meter.clause, meter != explains)
	d.add(roomClause(room, effect), room != explains)
	if meter == explains {
		causes = append(causes, d.billMeter(&moved.P))
	}
	if room == explains {
		causes = append(causes, d.billTemperature(room, effect))
	}
	marks := a.marksAt(c, pauses)
	for j, m := range marks {
		causes = append(causes, d.mark(m, j > 0 || len(causes) > 0))
	}
	return withLastSuspects(d, causes, room, d.winding(&c.P, "nothing recorded changed there"))
}

// withLastSuspects adds what is left to suspect.
func withLastSuspects(d suspect, causes []Attribution, room finding, otherwise Attribution) []Attribution {
	if room == together {
		d := d
		d.clauses = d.clauses[:len(d.clauses)-1] // its own clause is the verdict here
		causes = append(causes, d.billTemperature(room, roomEffect{}))
	}
	if len(causes) == 0 {
		causes = append(causes, otherwise)
	}
	return causes
}

func (a *analysis) causesOfTrend(t *Trend) []Attribution {
	d := suspect{what: t.Sentence, brief: a.briefTrend(t), sequence: t.FromSequence, ratio: t.SlopeOhmsPerCoil * float64(t.Count-1) / a.reference()}
	meter, moved := a.meterInTrend(t)
	room, effect := a.roomInTrend(t)
	d.meter, d.caution = meterSays{meter == excluded, a.meterClause(meter, moved)}, cautionOf(meter, room)
	d.add(d.meter.clause, meter != explains)
	d.add(roomClause(room, effect), room != explains)
	var causes []Attribution
	if meter == explains {
		causes = append(causes, d.billMeter(&moved.P))
	}
	if room == explains {
		causes = append(causes, d.billTemperature(room, effect))
	}
	if within := a.manyWithin(t); within != "" && len(causes) == 0 && room != together {
		if d.caution == "" {
			d.caution = "the wire and the winder cannot be told apart"
		}
		return []Attribution{d.to("spool", &t.P, within, "", within)}
	}
	return withLastSuspects(d, causes, room, d.winding(&t.P, a.recordedWithin(t)))
}

// manyWithin says that the spool was changed so often during a trend that the
// coils between are too few to show a slope of their own: then the wire may make
// it as well as the winder. Empty otherwise.
func (a *analysis) manyWithin(t *Trend) string {
	changes := 0
	for k := t.first + 1; k < t.last; k++ {
		if a.coils[a.kept[k-1]].Spool != a.coils[a.kept[k]].Spool {
			changes++
		}
	}
	if changes == 0 || t.Count/(changes+1) >= minSloped {
		return ""
	}
	return fmt.Sprintf("%s of spool on the way, with too few coils between to tell the wire from the winder", countOf(changes, "change"))
}

func (d *suspect) add(clause string, when bool) {
	if when && clause != "" {
		d.clauses = append(d.clauses, clause)
	}
}

// to bills the drift to a cause: with is added to what is told in short, and
// parts are said before the clauses.
func (d suspect) to(cause string, p *float64, evidence, with string, parts ...string) Attribution {
	clauses := slices.Concat(parts, d.clauses)
	return Attribution{Cause: cause, Sequence: d.sequence, Evidence: evidence, P: p, Sentence: strings.Join(append([]string{d.what}, clauses...), "; "),
		headline: d.what + with, brief: d.brief + with, caution: d.caution, clauses: clauses, meter: d.meter, ratio: d.ratio}
}

func (d suspect) billMeter(p *float64) Attribution {
	return d.to("meter", p, d.meter.clause, ", and the check standard with it", d.meter.clause+": it is the meter or its leads, not the winder")
}

// billTemperature suspects the temperature: when it explains the drift there is a
// verdict, and when it moved together with it there is none.
func (d suspect) billTemperature(room finding, effect roomEffect) Attribution {
	evidence := roomClause(room, effect)
	if room == together {
		return d.to("temperature", nil, evidence, ", and the temperature with it", evidence)
	}
	return d.to("temperature", &effect.P, evidence, ", and the temperature with it", evidence+": it is the probe, the coefficient or the room, not the winder")
}

// recordedWithin says what was recorded to change at the first coil of a trend or
// during it: a step on the way was weighed against the slope and describes the
// coils less well.
func (a *analysis) recordedWithin(t *Trend) string {
	begins := ""
	for _, k := range a.recorded() {
		if k < t.first || k >= t.last {
			continue
		}
		m := recordedDifferences(a.coils[a.kept[k-1]], a.coils[a.kept[k]])[0]
		if k > t.first {
			return begins + fmt.Sprintf("%s at %s lies within it, but a step there fits less well", m.what, a.place(k))
		}
		begins = "it begins at " + m.what + "; "
	}
	if begins != "" {
		return begins + "nothing else recorded changed on the way"
	}
	return "nothing recorded changed on the way"
}

// winding is the answer when nothing recorded explains it.
func (d suspect) winding(p *float64, evidence string) Attribution {
	advice := fmt.Sprintf("look at tension, felt, counter and guides; at fixed turns it would be about %.1f %% more stretch of the wire, or as much more of it", 100*d.ratio)
	if d.ratio < 0 {
		advice = fmt.Sprintf("look at tension, felt, counter and guides; at fixed turns it would be about %.1f %% less stretch of the wire, or as much less of it", -100*d.ratio)
	}
	return d.to("winding", p, evidence, "", evidence+": "+advice)
}

// mark is something recorded that changed at a coil.
type mark struct {
	cause string
	place string // the first coil after it
	what  string
	p     float64 // of the shift tested there
	far   int     // kept coils from the estimated place
}

// mark is the attribution to something recorded; also says that there is a better
// one.
func (d suspect) mark(m mark, also bool) Attribution {
	evidence := fmt.Sprintf("%s at %s, %s; the shift tested there alone has %s", m.what, m.place, distanceText(m.far), chanceText(m.p))
	with, elsewhere := ", at "+m.what, ""
	if m.far != 0 {
		elsewhere = " at " + m.place
		with = ", with " + m.what + elsewhere
	}
	if also {
		return Attribution{Cause: m.cause, Sequence: d.sequence, Evidence: evidence, P: &m.p, Sentence: fmt.Sprintf("from coil %d: it may also be %s%s", d.sequence, m.what, elsewhere)}
	}
	d.what, d.brief = d.what+with, d.brief+with
	return d.to(m.cause, &m.p, evidence, "")
}

func distanceText(far int) string {
	switch {
	case far == 0:
		return "exactly where the step is"
	case far > 0:
		return fmt.Sprintf("%s after the likeliest place", countOf(far, "coil"))
	}
	return fmt.Sprintf("%s before the likeliest place", countOf(-far, "coil"))
}

// marksAt lists what was recorded to change within the interval of a step, the
// best supported first.
func (a *analysis) marksAt(c ChangePoint, pauses map[int]time.Duration) []mark {
	low, high := c.low+1, c.high+1
	var marks []mark
	for k := max(low, c.from+1); k <= min(high, c.to-1); k++ {
		before, after := a.coils[a.kept[k-1]], a.coils[a.kept[k]]
		found := recordedDifferences(before, after)
		if before.Doubtful != after.Doubtful {
			found = append(found, mark{cause: "flag", what: flagChange(before, after)})
		}
		if d, ok := pauses[k]; ok {
			found = append(found, mark{cause: "pause", what: fmt.Sprintf("the pause of %s", pauseText(d))})
		}
		for _, m := range found {
			m.place, m.far, m.p = a.place(k), k-c.k, a.segments.splitAt(c.from, k, c.to).p
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

// recorded are the kept coils that are the first of a spool, winder, operator,
// target or batch, or after a note.
func (a *analysis) recorded() []int {
	var places []int
	for k := 1; k < len(a.kept); k++ {
		if len(recordedDifferences(a.coils[a.kept[k-1]], a.coils[a.kept[k]])) > 0 {
			places = append(places, k)
		}
	}
	return places
}

func pauseText(d time.Duration) string {
	switch {
	case d >= 48*time.Hour:
		return fmt.Sprintf("%.0f days", d.Hours()/24)
	case d >= 2*time.Hour:
		return fmt.Sprintf("%.0f hours", d.Hours())
	}
	return fmt.Sprintf("%.0f minutes", d.Minutes())
}
