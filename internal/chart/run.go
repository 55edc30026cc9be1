package chart

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"coilkeep/internal/record"
	"coilkeep/internal/words"
)

// Run is a batch as it was wound.
type Run struct {
	View
	Title string
	// Design gives target and tolerance; nil leaves both out.
	Design *record.Design
	// Measurements are those of the batch in any order, each with its Sequence.
	// Withdrawn ones are shown as such.
	Measurements []record.Measurement
	Spools       []record.SpoolMark
	// Batches say where a batch begins, in a run over several; empty for one.
	Batches []BatchMark
	// Axis names what is counted along the bottom; empty is "coil of the batch".
	Axis string
	// Limits are those of a control chart; nil when there are none. The scale shows
	// what lies within them; their lines are drawn by a [Control].
	Limits *Limits
	// Level is where the process stands, stretch by stretch.
	Level []Stretch
	// ComparedBy is by what R20 of a measurement, told by its id, is multiplied to be
	// drawn among coils wound to another target; those not in it are drawn as they are.
	ComparedBy map[string]float64
	// Outliers and Signals point at measurements by id: those left out of the
	// statistics, and those a rule speaks up for.
	Outliers, Signals []Remark
}

// Limits are the lines of a control chart, in ohms at 20 °C.
type Limits struct{ CentreOhms, LowerOhms, UpperOhms float64 }

// Stretch is the level of the process from one coil to another, in ohms at 20 °C.
type Stretch struct {
	FromSequence, ToSequence int
	FromOhms, ToOhms         float64
}

// Remark is something to be said of one measurement.
type Remark struct{ MeasurementID, Words string }

// Picture draws R20 by number in the batch, each with its expanded uncertainty.
//
// The scale follows the levels and limits of the process, or the tolerance where
// those are not known, and the coils within one width of them: a step of the winder
// is seen at a glance. What lies further out stands at the edge with its value
// written beside it, so that one broken coil does not flatten all others.
//
// It refuses a measurement without a positive number in the batch or with an R20
// that is none, limits out of order and remarks on measurements that are not
// there.
func (r Run) Picture() (*Picture, error) {
	size := r.Size.or(760, 340)
	if err := cmp.Or(size.check(280, 220), r.check()); err != nil {
		return nil, fmt.Errorf("draw the run of a batch: %w", err)
	}
	ms := slices.Clone(r.Measurements)
	slices.SortStableFunc(ms, func(a, b record.Measurement) int {
		return cmp.Or(cmp.Compare(a.Sequence, b.Sequence), a.Time.Compare(b.Time))
	})

	axis := "R20"
	if len(r.ComparedBy) > 0 {
		axis = "R20 as of the newest target"
	}
	for i := range ms {
		if by := r.ComparedBy[ms[i].ID]; by != 0 {
			ms[i].R20Ohms, ms[i].ExpandedUncertaintyOhms = ms[i].R20Ohms*by, ms[i].ExpandedUncertaintyOhms*by
		}
	}

	p := newPicture(size, r.Title)
	p.Description = r.describe(ms)
	top := r.legend(ms).draw(p, p.belowTitle())
	var g panel
	g.place(leftRoom, top+nameRoom, size.Width-rightRoom-lineNameRoom, size.Height-bottomRoom)
	g.x.low, g.x.high = r.sequences(ms)
	g.y.low, g.y.high = r.reach(ms)

	if r.Design != nil {
		g.band(p, inkBand, r.Design.LowerOhms, r.Design.UpperOhms)
	}
	unit, unitSize := scaleFor(g.y.high)
	g.yLabels(p, axis+" ("+unit+")", unitSize)
	g.xLabels(p, cmp.Or(r.Axis, "coil of the batch"), true)
	r.lines(p, g)
	r.batchMarks(p, g)
	r.spoolMarks(p, g)
	for _, m := range ms {
		if err := r.mark(p, g, m); err != nil {
			return nil, fmt.Errorf("draw the run of a batch: %w", err)
		}
	}
	r.level(p, g)
	r.lineNames(p, g)
	if len(ms) == 0 {
		p.words(inkSoft, middle, point{(g.x.from + g.x.to) / 2, (g.y.from+g.y.to)/2 - 12}, "no coil measured yet")
	}
	return p, nil
}

func (r Run) check() error {
	known := map[string]bool{}
	for _, m := range r.Measurements {
		known[m.ID] = true
		switch {
		case m.Sequence < 1:
			return fmt.Errorf("measurement %s of %s has no number in the batch", m.ID, m.Serial)
		case !(m.R20Ohms > 0) || math.IsInf(m.R20Ohms, 0):
			return fmt.Errorf("measurement %s of %s: R20 of %g Ω cannot be", m.ID, m.Serial, m.R20Ohms)
		case !(m.ExpandedUncertaintyOhms >= 0) || math.IsInf(m.ExpandedUncertaintyOhms, 0):
			return fmt.Errorf("measurement %s of %s: uncertainty of %g Ω cannot be", m.ID, m.Serial, m.ExpandedUncertaintyOhms)
		}
	}
	for _, remark := range slices.Concat(r.Outliers, r.Signals) {
		if !known[remark.MeasurementID] {
			return fmt.Errorf("%q is said of measurement %q, which is not among those to draw", remark.Words, remark.MeasurementID)
		}
	}
	if d := r.Design; d != nil {
		if err := d.Tolerance().Validate(); err != nil {
			return fmt.Errorf("design %s: %w", d.Name, err)
		}
	}
	for _, s := range r.Level {
		if !(s.FromOhms > 0 && s.ToOhms > 0) || math.IsInf(s.FromOhms+s.ToOhms, 0) || s.FromSequence > s.ToSequence {
			return fmt.Errorf("level from %g Ω at coil %d to %g Ω at coil %d cannot be", s.FromOhms, s.FromSequence, s.ToOhms, s.ToSequence)
		}
	}
	if l := r.Limits; l != nil && !(0 < l.LowerOhms && l.LowerOhms <= l.CentreOhms && l.CentreOhms <= l.UpperOhms &&
		!math.IsInf(l.UpperOhms, 0)) {
		return fmt.Errorf("control limits %g, %g, %g Ω are not in order", l.LowerOhms, l.CentreOhms, l.UpperOhms)
	}
	return nil
}

// sequences returns the ends of the horizontal axis, half a coil beyond the
// first and the last.
func (r Run) sequences(ms []record.Measurement) (low, high float64) {
	first, last := 1, 10
	if len(ms) > 0 {
		first, last = ms[0].Sequence, ms[len(ms)-1].Sequence
	}
	// Room for ten at least, so that a batch that begins does not jump about.
	last = max(last, first+9)
	return float64(first) - 0.6, float64(last) + 0.6
}

// reach returns the ends of the vertical axis.
func (r Run) reach(ms []record.Measurement) (low, high float64) {
	core, beyond := r.core(ms)
	low, high = slices.Min(core), slices.Max(core)
	// Limits of no width, or a batch of one coil, still need a scale.
	span := max(high-low, 0.002*high)
	least, greatest := low-span, high+span
	shortest, longest := low-beyond*span, high+beyond*span
	for _, m := range ms {
		if m.R20Ohms >= least && m.R20Ohms <= greatest && r.remarks(r.Outliers, m) == "" {
			low = min(low, m.R20Ohms, max(m.R20Ohms-m.ExpandedUncertaintyOhms, shortest))
			high = max(high, m.R20Ohms, min(m.R20Ohms+m.ExpandedUncertaintyOhms, longest))
		}
	}
	room := max(0.06*(high-low), 0.05*span)
	return low - room, high + room
}

// core are the values the scale is made for, and how many of their widths beyond
// them a bar of uncertainty may stretch it: bars longer than what happens would hide
// what happens.
func (r Run) core(ms []record.Measurement) (core []float64, beyond float64) {
	for _, s := range r.Level {
		core = append(core, s.FromOhms, s.ToOhms)
	}
	if r.Limits != nil {
		core = append(core, r.Limits.LowerOhms, r.Limits.UpperOhms)
	}
	if r.Limits != nil || len(r.Level) > 1 {
		return core, 0.25
	}
	if r.Design != nil {
		return append(core, r.Design.LowerOhms, r.Design.UpperOhms), 1
	}
	return append(core, middleOf(ms)...), 1
}

// middleOf returns the quartiles of the values, the scale of a batch without
// any limits.
func middleOf(ms []record.Measurement) []float64 {
	if len(ms) == 0 {
		return []float64{1000, 1000}
	}
	values := make([]float64, len(ms))
	for i, m := range ms {
		values[i] = m.R20Ohms
	}
	slices.Sort(values)
	return []float64{values[len(values)/4], values[len(values)*3/4]}
}

// lines draws the tolerance and the target.
func (r Run) lines(p *Picture, g panel) {
	if d := r.Design; d != nil {
		g.level(p, inkGrid, d.LowerOhms)
		g.level(p, inkGrid, d.UpperOhms)
		g.level(p, inkTarget, d.TargetOhms)
	}
}

// level draws where the process stands, over the coils, cut off at the edges.
func (r Run) level(p *Picture, g panel) {
	for _, s := range r.Level {
		from, _ := g.y.inside(s.FromOhms)
		to, _ := g.y.inside(s.ToOhms)
		p.line(stroke(inkSignal), g.at(float64(s.FromSequence)-0.4, from), g.at(float64(s.ToSequence)+0.4, to))
	}
}

// lineNameRoom is what the names of lines take beside the panel.
const lineNameRoom = 40

// lineNames writes beside the panel what its lines are, apart from each other.
func (r Run) lineNames(p *Picture, g panel) {
	type lineName struct {
		y     float64
		words string
	}
	var names []lineName
	if d := r.Design; d != nil {
		name := "target"
		at, moved := g.y.inside(d.TargetOhms)
		if moved {
			name = g.beyond(d.TargetOhms) + name
		}
		names = append(names, lineName{g.y.at(at), name})
	}
	if n := len(r.Level); n > 0 {
		if at, moved := g.y.inside(r.Level[n-1].ToOhms); !moved {
			names = append(names, lineName{g.y.at(at), "level"})
		}
	}
	slices.SortStableFunc(names, func(a, b lineName) int { return cmp.Compare(a.y, b.y) })
	if len(names) == 2 {
		if close := textSize + 1 - (names[1].y - names[0].y); close > 0 {
			names[0].y -= close / 2
			names[1].y += close / 2
		}
	}
	for _, n := range names {
		p.words(inkSoft, start, point{g.x.to + 5, n.y + textSize*0.35}, n.words)
	}
}

// mark draws one measurement.
func (r Run) mark(p *Picture, g panel, m record.Measurement) error {
	href, err := r.link(m)
	if err != nil {
		return err
	}
	value, off := g.y.inside(m.R20Ohms)
	at := g.at(float64(m.Sequence), value)
	f := faceOf(m)
	// Marks shrink where coils stand close.
	apart := (g.x.to - g.x.from) / (g.x.high - g.x.low)
	radius := min(max(apart/3, 2), 4.5)

	if !off && f.ink != inkVoid {
		low, _ := g.y.inside(m.R20Ohms - m.ExpandedUncertaintyOhms)
		high, _ := g.y.inside(m.R20Ohms + m.ExpandedUncertaintyOhms)
		p.line(stroke(inkBar), g.at(float64(m.Sequence), low), g.at(float64(m.Sequence), high))
	}
	p.mark(f.shape, f.ink, radius, note{words: r.say(m), href: href, at: at, reach: min(max(apart/2, radius), 11)})
	if r.remarks(r.Signals, m) != "" {
		p.add(func(c canvas) { ring.draw(c, at, radius+3.5, inkSignal) })
	}
	if r.remarks(r.Outliers, m) != "" {
		p.add(func(c canvas) { struckDisc.draw(c, at, radius+2, inkVoid) })
	}
	if off {
		g.offScale(p, at, m.R20Ohms)
	}
	return nil
}

// offScale writes the value beside a mark at the edge of the scale, with an
// arrow to where it belongs.
func (g panel) offScale(p *Picture, at point, ohms float64) {
	a, x := start, at.x+10
	if at.x > (g.x.from+g.x.to)/2 {
		a, x = end, at.x-10
	}
	p.words(inkText, a, point{x, at.y + 1}, g.beyond(ohms)+words.OhmsToStep(ohms, roundStep(ohms/5000)))
}

// beyond is the arrow to where a value off the scale belongs.
func (g panel) beyond(v float64) string {
	if v < g.y.low {
		return "↓ "
	}
	return "↑ "
}

// say is the tooltip of a measurement. Coils from a file may have no time.
func (r Run) say(m record.Measurement) string {
	drawn := ""
	if by := r.ComparedBy[m.ID]; by != 0 {
		drawn = ", drawn as " + words.Ohms(m.R20Ohms) + " because it was wound to another target"
		m.R20Ohms, m.ExpandedUncertaintyOhms = m.R20Ohms/by, m.ExpandedUncertaintyOhms/by
	}
	parts := []string{
		m.Serial,
		"R20 " + within(m) + drawn,
		words.Verdict(m.Verdict),
	}
	if !m.Time.IsZero() {
		parts = append(parts, r.time(m.Time))
	}
	if m.Status != record.Recorded && m.Status != "" {
		parts = append(parts, string(m.Status))
	}
	if m.Reason != "" {
		parts = append(parts, m.Reason)
	}
	if words := r.remarks(r.Outliers, m); words != "" {
		parts = append(parts, "left out: "+words)
	}
	if words := r.remarks(r.Signals, m); words != "" {
		parts = append(parts, "signal: "+words)
	}
	return strings.Join(parts, " · ")
}

func within(m record.Measurement) string {
	return words.OhmsWithin(m.R20Ohms, m.ExpandedUncertaintyOhms)
}

// remarks joins what is said of a measurement; "" when nothing is.
func (r Run) remarks(of []Remark, m record.Measurement) string {
	var words []string
	for _, remark := range of {
		if remark.MeasurementID == m.ID {
			words = append(words, remark.Words)
		}
	}
	return strings.Join(words, "; ")
}

func (r Run) legend(ms []record.Measurement) legend {
	var l legend
	for _, m := range ms {
		l.addMark(faceOf(m))
	}
	if len(ms) > 0 {
		l.addLine(inkBar, "uncertainty (95 %)")
	}
	if d := r.Design; d != nil {
		l.addArea(inkBand, inkGrid, "tolerance "+words.Ohms(d.LowerOhms)+" to "+words.Ohms(d.UpperOhms))
	}
	if len(r.Outliers) > 0 {
		l.addMark(face{struckDisc, inkVoid, "left out"})
	}
	if len(r.Signals) > 0 {
		l.addMark(face{ring, inkSignal, "signal"})
	}
	return l
}

// describe is the text alternative: how many of each kind, from what to what,
// and what stands out.
func (r Run) describe(ms []record.Measurement) string {
	if len(ms) == 0 {
		return "No coil measured yet."
	}
	counts := map[string]int{}
	var kinds []string
	var low, high record.Measurement
	for _, m := range ms {
		f := faceOf(m)
		if counts[f.words]++; counts[f.words] == 1 {
			kinds = append(kinds, f.words)
		}
		if f.ink == inkVoid {
			continue
		}
		if low.R20Ohms == 0 || m.R20Ohms < low.R20Ohms {
			low = m
		}
		if m.R20Ohms > high.R20Ohms {
			high = m
		}
	}
	slices.Sort(kinds)
	for i, k := range kinds {
		kinds[i] = strconv.Itoa(counts[k]) + " " + k
	}
	text := fmt.Sprintf("R20 by number in the batch, %d measurements: %s.", len(ms), strings.Join(kinds, ", "))
	if high.R20Ohms > 0 {
		text += fmt.Sprintf(" From %s to %s.", within(low), within(high))
	}
	if d := r.Design; d != nil {
		text += fmt.Sprintf(" Target %s, tolerance %s to %s.",
			words.Ohms(d.TargetOhms), words.Ohms(d.LowerOhms), words.Ohms(d.UpperOhms))
	}
	if n := len(r.Batches); n > 1 {
		text += fmt.Sprintf(" %d batches, of %s to %s.", n, r.Batches[0].Day, r.Batches[n-1].Day)
	}
	if len(r.ComparedBy) > 0 {
		text += " Coils wound to another target are drawn by their ratio to it."
	}
	for _, s := range r.Signals {
		text += " Signal: " + s.Words + "."
	}
	return text
}
