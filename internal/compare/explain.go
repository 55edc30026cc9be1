package compare

import (
	"fmt"
	"math"
	"slices"

	"coilkeep/internal/copper"
	"coilkeep/internal/words"
)

// What is worth telling.
const (
	leastListed = 0.01
	mostListed  = 8
	// Damage of this probability is plausible even though the readings agree;
	// where they do not agree, less is enough.
	plausibleDamage            = 0.05
	plausibleDamageUnexplained = 0.005
)

// explain fills in the explanations worth naming. Two causes at once are named
// only where no single harmless one reaches the readings, or where they are the
// most probable of all.
func (r *Result) explain(in Input, e evidence, ranked []weighed) {
	alone := false
	for _, w := range ranked {
		alone = alone || w.cause != Combination && w.cause != Unexplained && !w.damage && e.reaches(w)
	}
	listed := 0.0
	teller := teller{in: in, evidence: e, settings: r.Settings, subject: r.Reading, setting: r.Setting, agrees: r.Agrees}
	for i, w := range ranked {
		worth := i == 0 || w.probability >= leastListed && (w.cause != Combination || !alone)
		if !worth || len(r.Explanations) == mostListed {
			continue
		}
		rival := ranked[0]
		if i == 0 {
			rival = teller.rival(ranked)
		}
		r.Explanations = append(r.Explanations, teller.explanation(w, rival))
		listed += w.probability
	}
	r.UnlistedProbability = max(0, 1-listed)
}

// reaches says whether a model can bring about every reading: whether, at the
// value the evidence prefers, each reading it acts on, and each that it need not
// act on, is within the limits of what that value allows.
func (e evidence) reaches(w weighed) bool {
	if w.marginal == 0 {
		return false
	}
	best := w.mode()
	for i, s := range e.situations {
		under := e.inReach(i, w.apply(s, best))
		if w.acts == onSomeOwn && !under {
			// Another reading has a value of its own.
			nodes := e.nodes(w.model, w.prior(i), []int{i}, common{})
			under = slices.ContainsFunc(nodes, func(n node) bool { return e.inReach(i, w.apply(s, n.value)) })
		}
		if !under && (w.acts == onEvery || !e.inReach(i, s)) {
			return false
		}
	}
	return true
}

// inReach says whether a reading lies within the limits of a situation, with
// two standard deviations for what has no limits.
func (e evidence) inReach(i int, s situation) bool {
	return slices.ContainsFunc(s.smears(), func(m smear) bool {
		return math.Abs(e.shown[i]-m.centre) <= m.flats[0]+m.flats[1]+m.flats[2]+2*m.sigma
	})
}

// teller puts what was weighed into words.
type teller struct {
	in Input
	evidence
	settings []Setting
	// subject is the reading spoken of, and setting its setting.
	subject int
	setting Setting
	agrees  bool // every reading
}

// about is the teller of the reading a cause has its parameter from.
func (t teller) about(w weighed) teller {
	if w.acts == onSomeOwn {
		t.subject, t.setting = w.reading, t.settings[w.reading]
	}
	return t
}

// actsHere says whether a cause is thought to act on the reading spoken of.
func (t teller) actsHere(w weighed) bool { return w.acts != onSomeOwn || w.reading == t.subject }

// rival is the second most probable cause that is worth telling from the first.
func (t teller) rival(ranked []weighed) weighed {
	for _, w := range ranked[1:] {
		if w.cause != Combination {
			return w
		}
	}
	return ranked[1]
}

// value is what the evidence implies for a parameter, with its interval. Where
// the median lies between two ranges that both fit, and fits neither, it is the
// value that fits best.
func (t teller) value(w weighed) (value, low, high float64) {
	value, low, high = w.value()
	if !t.inReach(w.reading, w.apply(t.situations[w.reading], value)) {
		value = w.mode()
	}
	return value, low, high
}

func (t teller) explanation(w, rival weighed) Explanation {
	t = t.about(w)
	value, low, high := t.value(w)
	x := Explanation{
		Cause: w.cause, Parts: w.parts, Probability: w.probability, Words: words.ChanceInWords(w.probability),
		Parameter: w.parameter, Value: value, Unit: w.unit, Low: low, High: high,
		Reaches: t.reaches(w), Damage: w.damage,
		PriorReason: w.reason, Weight: w.weight, Rival: rival.cause,
	}
	for i, p := range w.prior(w.reading) {
		if i == 0 {
			x.PriorLow, x.PriorHigh = p.low, p.high
		}
		x.PriorLow, x.PriorHigh = min(x.PriorLow, p.low), max(x.PriorHigh, p.high)
	}
	x.Sentence = t.sentence(w, value, low, high)
	if len(t.shown) > 1 && w.acts == onSomeOwn {
		x.Sentence = capital(t.in.Theirs[w.reading].name(w.reading)) + ": " + lowerFirst(x.Sentence)
	}
	x.Test = t.test(w, rival)
	if w.cause == MeterAccuracy && t.agrees {
		x.Test = "None is needed: the two agree."
	}
	return x
}

// damage says how probable faults of the coil are together, and what a sound
// coil must show when nothing else can play a part.
func (in Input) damage(s situation, shownOhms float64, ranked []weighed, agrees bool) Damage {
	d, unexplained := Damage{}, 0.0
	for _, w := range ranked {
		if w.damage {
			d.Probability += w.probability
		}
		if w.cause == Unexplained {
			unexplained = w.probability
		}
	}
	// What nobody can explain may be a fault too.
	d.Plausible = d.Probability >= plausibleDamage || !agrees && d.Probability+unexplained >= plausibleDamageUnexplained
	soundCoil := s.soundCoil(shownOhms)
	switch {
	case d.Plausible && d.Probability >= 0.5 && !in.onLeads():
		d.Advice = "A fault of the coil is the most likely explanation, if nothing else was connected with it. Please do not solder or bend " +
			"anything you are not sure of. " + soundCoil + " If it does not, send it back, and we measure it on the bench that made its record."
	case d.Plausible && d.Probability >= 0.5:
		d.Advice = "A fault of the coil is the most likely explanation. Please do not solder or bend anything; send it back, and we measure " +
			"it on the bench that made its record."
	case d.Plausible && agrees:
		d.Advice = "The two agree, yet they leave room for a small fault. To be surer: " + lowerFirst(soundCoil) + " If it does not, send " +
			"the coil back and we measure it on the bench that made its record."
	case d.Plausible:
		d.Advice = "A fault of the coil cannot be ruled out. " + soundCoil + " If it does not, send the coil back and we measure it on the " +
			"bench that made its record."
	case agrees:
		d.Advice = "Nothing here points to a fault. A few shorted turns would not show in the resistance; if the coil sounds weak or thin, " +
			"send it back all the same."
	default:
		d.Advice = "Nothing here points to a fault of the coil, but a resistance alone never rules one out. " +
			soundCoil + " If it does not, send it back."
	}
	return d
}

// onLeads is true when every reading was taken on the coil's own two wires.
func (in Input) onLeads() bool {
	return !slices.ContainsFunc(in.Theirs, func(r Reading) bool { return r.Clips != Leads })
}

// soundCoil says what a sound coil must show with nothing but leads on it. The
// room allowed for the thermometer is that assumed of any.
func (s situation) soundCoil(shownOhms float64) string {
	s.circuit = circuit{scale: 1, wiring: Single, position: 1}
	s.control, s.hands = load{}, load{}
	s.celsius = copper.ReferenceCelsius
	s = s.inRange(shownOhms)
	row := s.row()
	room := ThermometerKelvin * row.Ohms * s.coil.ratioPerKelvin(s.celsius)
	return fmt.Sprintf("Let it lie an hour beside a thermometer at %g °C, free its two wires from everything else, clip the leads on and "+
		"keep hands away: a sound coil then shows %s to %s on a meter like this one, %s more for every degree warmer.",
		s.celsius, words.OhmsToStep(row.LowOhms-room, s.stepOhms), words.OhmsToStep(row.HighOhms+room, s.stepOhms),
		words.OhmsToStep(row.Ohms*s.coil.alpha, 1))
}
