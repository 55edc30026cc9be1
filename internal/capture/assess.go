package capture

import (
	"fmt"
	"math"

	"coilkeep/driver"
	"coilkeep/internal/conformity"
	"coilkeep/internal/r20"
)

// assessment is what the present window would give, or why it gives nothing.
type assessment struct {
	state State
	// words is for people; refusal is why nothing would come of the contact if
	// it ended now, empty when all is well.
	words   string
	refusal Refusal

	have, want int
	window     window
	thermal    Thermal
	inputs     r20.Inputs
	r20        *r20.Result
	judgement  *conformity.Judgement
}

// ok is true when the window could be recorded.
func (a assessment) ok() bool { return a.state == Steady && a.r20 != nil }

// decided is true when more readings would not change what is done: the
// verdict stands at the wanted confidence and R20 is known well enough to be
// written down or, without a tolerance, the coil is as near the probe as the
// bench can tell.
func (a assessment) decided(s Settings) bool {
	if a.judgement == nil {
		return a.thermal.BoundKelvin <= s.CoilDifferenceKelvin
	}
	half := (s.Tolerance.UpperOhms - s.Tolerance.LowerOhms) / 2
	if a.judgement.Verdict == conformity.Undecided || a.r20.ExpandedUncertaintyOhms > wantedShare*half {
		return false
	}
	p := a.judgement.Probability
	return p >= wantedConfidence || p <= 1-wantedConfidence
}

// assess judges the readings at hand. With forced, an unsteady or drifting
// window still gets its numbers, with the width that belongs to it.
func (m *Machine) assess(forced bool) assessment {
	s := m.settings
	a := assessment{have: len(m.usable), want: s.Readings, state: Settling, refusal: TooShort}
	readings, enough := latestWindow(m.usable, s.Readings, s.Window)
	if !enough {
		a.words = fmt.Sprintf("settling, %d of %d", min(a.have, a.want), a.want)
		return a
	}
	a.have = a.want
	a.window = judgeWindow(readings, s.spreadOhms)
	celsius, step, noTemperature := m.pair(readings)
	around := surroundings{celsius, s.AlphaPerKelvin, s.TimeConstant, a.window.resolutionOhms}
	var ok bool
	if a.thermal, ok = fitThermal(m.lately(), around); !ok {
		a.words = "settling"
		return a
	}
	patienceOver := m.lastMeter.Time.Sub(m.usable[0].Time) >= s.Patience
	drifting := !forced && a.thermal.drifting(s.SlopePercentPerMinute/100/60*a.window.meanOhms)
	if !a.window.steady && !forced {
		if a.window.spread && drifting { // it is the drift that spreads them
			return a.drifting()
		}
		return a.unsteady(patienceOver)
	}
	if noTemperature != nil {
		return a.withoutResult(noTemperature)
	}
	if a.thermal.BoundKelvin > farthestKelvin && !forced || a.thermal.BoundKelvin > r20.MaxHalfWidthKelvin {
		if drifting {
			return a.drifting()
		}
		return a.vague(patienceOver)
	}
	if err := a.evaluate(s, celsius, step, forced); err != nil {
		return a.withoutResult(err)
	}
	if drifting {
		return a.drifting()
	}
	a.state, a.refusal, a.words = Steady, "", "steady, gaining certainty"
	return a
}

// pair finds the temperature in the middle of a window.
func (m *Machine) pair(readings []driver.Reading) (celsius, step float64, err error) {
	first, last := readings[0].Time, readings[len(readings)-1].Time
	celsius, step, err = m.temps.at(first.Add(last.Sub(first)/2), last, m.settings.MaxAge)
	if err != nil {
		return 20, 0, err // near enough to name a drift by
	}
	return celsius, step, nil
}

// lately gives the readings the slope is fitted to.
func (m *Machine) lately() []point {
	first := len(m.usable) - 1
	span := max(thermalSpan, m.settings.Patience)
	for first > 0 && m.lastMeter.Time.Sub(m.usable[first].Time) < span {
		first--
	}
	return m.points(m.usable[first:])
}

// withoutResult says why the window cannot be referred to 20 °C.
func (a assessment) withoutResult(why error) assessment {
	a.state, a.refusal, a.words = NoTemperature, Temperature, why.Error()
	return a
}

// unsteady names what keeps the window from settling; it is only called a
// refusal once patience is over.
func (a assessment) unsteady(patienceOver bool) assessment {
	a.refusal = Unsteady
	a.words = "settling: " + a.window.why
	if patienceOver {
		a.state, a.words = Refused, "not steady: "+a.window.why
	}
	return a
}

// vague says that the readings leave open how warm the coil is, by more than
// is worth a record.
func (a assessment) vague(patienceOver bool) assessment {
	a.refusal = Unsteady
	a.words = fmt.Sprintf("settling: the readings cannot tell yet how warm the coil is, within %s", kelvinText(a.thermal.BoundKelvin))
	if patienceOver {
		a.state = Refused
		a.words = fmt.Sprintf("the readings are too rough or too few to tell how warm the coil is, within %s; leave it on",
			kelvinText(a.thermal.BoundKelvin))
	}
	return a
}

// drifting names the direction and the size of what the coil is off by.
func (a assessment) drifting() assessment {
	a.refusal = Drifting
	kelvin := math.Abs(a.thermal.DifferenceKelvin)
	far := kelvin > farthestKelvin // more likely a clip that moves than a coil so hot
	falling := a.thermal.SlopeOhmsPerSecond < 0
	switch {
	case falling && far:
		a.state = Cooling
		a.words = fmt.Sprintf("it falls faster than a coil %d K above the probe: reseat the clips; if it is so hot, let it cool", farthestKelvin)
	case falling:
		a.state = Cooling
		a.words = fmt.Sprintf("still cooling, about %s above the probe", kelvinText(kelvin))
	case far:
		a.state = Warming
		a.words = fmt.Sprintf("it rises faster than a coil %d K below the probe: reseat the clips; if it is so cold, let it warm", farthestKelvin)
	default:
		a.state = Warming
		a.words = fmt.Sprintf("still warming, about %s below the probe", kelvinText(kelvin))
	}
	return a
}

// evaluate refers the window to 20 °C; step is the resolution of the
// temperature.
func (a *assessment) evaluate(s Settings, celsius, step float64, forced bool) error {
	difference := math.Max(s.CoilDifferenceKelvin, a.thermal.BoundKelvin)
	if forced {
		// What a person insists on is trusted less, however well it looks.
		difference = math.Max(difference, 2*s.CoilDifferenceKelvin)
	}
	a.inputs = s.inputs()
	a.inputs.ResistanceOhms = a.window.meanOhms
	a.inputs.Readings = a.window.kept
	a.inputs.StandardDeviationOhms = a.window.deviationOhms
	a.inputs.ResolutionOhms = a.window.resolutionOhms
	a.inputs.DriftOhms = math.Abs(a.thermal.SlopeOhmsPerSecond) * a.window.seconds()
	a.inputs.TemperatureCelsius = celsius
	a.inputs.ProbeHalfWidthKelvin += step / 2
	a.inputs.CoilDifferenceHalfWidthKelvin = difference
	return a.judge(s)
}

// judge fills in the result and, where there is a tolerance, the verdict.
func (a *assessment) judge(s Settings) error {
	result, err := r20.Evaluate(a.inputs)
	if err != nil {
		return err
	}
	a.r20 = &result
	if s.Tolerance == nil {
		return nil
	}
	judgement, err := conformity.Judge(result.R20Ohms, result.StandardUncertaintyOhms,
		result.ExpandedUncertaintyOhms, *s.Tolerance)
	if err != nil {
		return err
	}
	a.judgement = &judgement
	return nil
}

// inputs is the part of the evaluation's inputs that the settings give.
func (s Settings) inputs() r20.Inputs {
	return r20.Inputs{
		MeterPercent: s.MeterPercent, MeterOhms: s.MeterOhms, CorrectionRatio: s.CorrectionRatio,
		LeadOhms: s.LeadOhms, LeadHalfWidthOhms: s.LeadHalfWidthOhms,
		ProbeHalfWidthKelvin:              s.ProbeHalfWidthKelvin,
		CoilDifferenceHalfWidthKelvin:     s.CoilDifferenceKelvin,
		AlphaPerKelvin:                    s.AlphaPerKelvin,
		AlphaStandardUncertaintyPerKelvin: s.AlphaStandardUncertaintyPerKelvin,
	}
}

// meterHalfWidth is the half-width of the meter's limits of error.
func (s Settings) meterHalfWidth(ohms float64) float64 {
	return s.MeterPercent/100*ohms + s.MeterOhms
}

// points gives readings as seconds before the machine's latest reading.
func (m *Machine) points(readings []driver.Reading) []point {
	points := make([]point, len(readings))
	for i, r := range readings {
		points[i] = point{r.Time.Sub(m.lastMeter.Time).Seconds(), r.Value}
	}
	return points
}

// Force records the present window although the rules would wait, because a
// person insists and says why. It needs a full window and a temperature.
func (m *Machine) Force(reason string) (Outcome, error) {
	switch {
	case m.unsaved != "":
		return Outcome{}, fmt.Errorf("the last measurement is not saved yet")
	case m.lost:
		return Outcome{}, fmt.Errorf("there is no meter to measure with")
	case m.lastMeter.Status == driver.Overload:
		return Outcome{}, fmt.Errorf("the meter shows overload: the clips are open, or its fixed range is too small for this coil")
	case m.phase == phaseDone:
		return Outcome{}, fmt.Errorf("this coil is recorded already; ask to measure it again instead")
	case m.phase != phaseContact:
		return Outcome{}, fmt.Errorf("no coil is being measured")
	case m.hold != "":
		return Outcome{}, fmt.Errorf("%s", m.hold)
	}
	a := m.assess(true)
	switch {
	case a.state == NoTemperature:
		return Outcome{}, fmt.Errorf("cannot refer it to 20 °C: %s", a.words)
	case a.have < a.want:
		return Outcome{}, fmt.Errorf("too few readings yet: %d of %d", a.have, a.want)
	case !a.ok():
		return Outcome{}, fmt.Errorf("%s", a.words)
	}
	m.current = a
	out := m.record(ByForce, reason)
	m.refresh()
	return out, nil
}

// record makes the present window the result of this contact.
func (m *Machine) record(manner Manner, reason string) Outcome {
	a := m.current
	result := &Result{
		Time: m.lastMeter.Time, Contact: m.contactAt,
		Inputs: a.inputs, R20: *a.r20, Judgement: a.judgement,
		Manner: manner, Reason: reason, Thermal: a.thermal,
		Outliers: len(a.window.readings) - a.window.kept, HeldUntil: m.heldUntil,
		Settings: m.settings, Readings: m.evidence(a.window),
	}
	m.trace = nil
	m.phase = phaseDone
	m.level = a.window.meanOhms
	m.refusal = ""
	return Outcome{Result: result}
}

// evidence marks the window in the trace.
func (m *Machine) evidence(w window) []Entry {
	entries := m.trace
	next := len(w.readings) - 1
	for i := len(entries) - 1; i >= 0 && next >= 0; i-- {
		if e := &entries[i]; !e.FromProbe && e.Time.Equal(w.readings[next].Time) {
			e.InWindow, e.Outlier = true, w.outlier[next]
			next--
		}
	}
	return entries
}

// typed takes a value a person read off a meter and typed in. There is no
// window to judge: the person has waited until it stood still.
func (m *Machine) typed(r driver.Reading) Outcome {
	m.lost = false
	m.clear()
	m.phase = phaseOpen
	defer m.refresh()
	if m.classify(r) != readingIn || m.hold != "" || m.unsaved != "" {
		return Outcome{}
	}
	m.begin(r.Time)
	m.trace = append(m.trace, Entry{Reading: r})
	a := assessment{state: Steady, window: window{
		readings: []driver.Reading{r}, outlier: []bool{false}, kept: 1,
		meanOhms: r.Value, resolutionOhms: r.Resolution,
	}}
	celsius, step, err := m.pair(a.window.readings)
	if err == nil {
		err = a.evaluate(m.settings, celsius, step, false)
	}
	if err != nil {
		m.current = a.withoutResult(err)
		m.phase = phaseOpen
		return Outcome{Ended: &Ended{Refusal: Temperature}}
	}
	m.current = a
	return m.record(ByTyping, "")
}
