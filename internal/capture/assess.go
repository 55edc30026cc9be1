package capture

import (
	"fmt"
	"math"
	"time"

	"coilkeep/internal/conformity"
	"coilkeep/internal/r20"
	"coilkeep/internal/uncertainty"
	"coilkeep/internal/warmth"
	"coilkeep/internal/words"
)

// assessment is what the present window would give, or why it gives nothing.
type assessment struct {
	state State
	// words is for people; refusal is why nothing would come of the contact if
	// it ended now, empty when all is well.
	words   string
	refusal Refusal
	// good is true when the window could be recorded: it is steady, or all that
	// moves in it is the temperature of the coil, which is estimated.
	good bool

	have, want int
	window     window
	copper     warmth.Estimate
	inputs     r20.Inputs
	r20        *r20.Result
	judgement  *conformity.Judgement
}

// steady is true when nothing moves in the window.
func (a assessment) steady() bool { return a.good && a.state == Steady }

// decided is true when more readings would not change what is done: the verdict
// stands at the wanted confidence and, where the design asks for it, R20 is known
// as well as it wants; without a tolerance, as well as is usual.
func (a assessment) decided(s Settings) bool {
	if !a.good {
		return false
	}
	if a.judgement == nil || s.WantedUncertaintyPercent > 0 {
		if !a.wellKnown(s) {
			return false
		}
	}
	return a.certain()
}

// certain is true when the verdict stands, or there is none to give.
func (a assessment) certain() bool {
	if a.judgement == nil {
		return true
	}
	p := a.judgement.Probability
	return a.judgement.Verdict != conformity.Undecided && (p >= wantedConfidence || p <= 1-wantedConfidence)
}

// wellKnown is true when U is as small as was asked for, or as is usual.
func (a assessment) wellKnown(s Settings) bool {
	percent := s.WantedUncertaintyPercent
	if percent == 0 {
		percent = ordinaryUncertaintyPercent
	}
	return a.percent() <= percent
}

// percent is U in percent of R20.
func (a assessment) percent() float64 { return 100 * a.r20.ExpandedUncertaintyOhms / a.r20.R20Ohms }

// assess judges the readings at hand, now being the time of the meter's latest.
// With forced, an unsteady or drifting window still gets its numbers, with the
// width that belongs to it.
func (c *contact) assess(s Settings, temps *temperatures, now time.Time, forced bool) assessment {
	a := assessment{have: len(c.usable), state: Settling, refusal: TooShort}
	readings, want, enough := latestWindow(c.usable, s.Readings, s.FewestReadings, s.Window)
	a.want = want
	if !enough {
		a.words = fmt.Sprintf("settling, %d of %d", min(a.have, a.want), a.want)
		return a
	}
	a.have = a.want
	a.window = judgeWindow(readings, s.spreadOhms)
	celsius, step, noTemperature := temps.during(readings, s.MaxAge)
	a.copper = c.copper(s, a.window, celsius, now)
	drifting := !forced && a.drifts(s)
	if !a.window.steady && !forced {
		if a.window.spread && drifting { // it is the drift that spreads them
			return a.drifting(s)
		}
		return a.unsteady(c.patienceOver(s, now))
	}
	if noTemperature != nil {
		return a.withoutResult(noTemperature)
	}
	if a.copper.HalfWidthKelvin > farthestKelvin && !forced || a.copper.HalfWidthKelvin > r20.MaxHalfWidthKelvin {
		if drifting {
			return a.drifting(s)
		}
		return a.vague(c.patienceOver(s, now))
	}
	if err := a.evaluate(s, celsius, step, c.probeMoved(s), forced); err != nil {
		return a.withoutResult(err)
	}
	if drifting {
		a = a.drifting(s)
		a.good = math.Abs(a.copper.Kelvin) <= farthestKelvin
		return a
	}
	a.good, a.state, a.refusal = true, Steady, ""
	a.words = a.gaining(s)
	return a
}

// gaining says what a steady window is still waiting for.
func (a assessment) gaining(s Settings) string {
	if !a.certain() {
		return "steady, gaining certainty"
	}
	if !a.decided(s) {
		return "steady, U is " + words.PercentRoughly(a.percent()) + " still"
	}
	return "steady"
}

// drifts is true when the slope is beyond the limit with 95 % confidence.
func (a assessment) drifts(s Settings) bool {
	limit := s.SlopePercentPerMinute / 100 / 60 * a.window.meanOhms
	return math.Abs(a.copper.SlopeOhmsPerSecond)-uncertainty.CoverageFactor(0)*a.copper.SlopeStandardErrorPerSecond > limit
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
	a.words = fmt.Sprintf("settling: the readings cannot tell yet how warm the coil is, within %s",
		words.KelvinInPassing(a.copper.HalfWidthKelvin))
	if patienceOver {
		a.state = Refused
		a.words = fmt.Sprintf("the readings are too rough or too few to tell how warm the coil is, within %s; leave it on",
			words.KelvinInPassing(a.copper.HalfWidthKelvin))
	}
	return a
}

// drifting names the direction and the size of what the coil is off by.
func (a assessment) drifting(s Settings) assessment {
	a.refusal = Drifting
	kelvin := math.Abs(a.copper.Kelvin)
	far := kelvin > farthestKelvin // more likely a clip that moves than a coil so hot
	about := fmt.Sprintf("about %s ± %s", words.KelvinInPassing(kelvin), words.KelvinInPassing(s.fromProbe(a.copper).HalfWidthKelvin))
	switch falling := a.copper.SlopeOhmsPerSecond < 0; {
	case falling && far:
		a.state = Cooling
		a.words = "it falls fast: if the coil does not come from heat, reseat the clips; if it does, let it cool"
	case falling:
		a.state = Cooling
		a.words = fmt.Sprintf("still cooling, %s above the probe", about)
	case far:
		a.state = Warming
		a.words = "it rises fast: if the coil does not come from the cold, reseat the clips; if it does, let it warm"
	default:
		a.state = Warming
		a.words = fmt.Sprintf("still warming, %s below the probe", about)
	}
	return a
}

// evaluate refers the window to 20 °C; step is the resolution of the temperature
// and movedKelvin how far the probe moved during the contact, which a coil does
// not do at once.
func (a *assessment) evaluate(s Settings, celsius, step, movedKelvin float64, forced bool) error {
	a.inputs = s.inputs()
	a.inputs.CoilDifferenceHalfWidthKelvin += movedKelvin
	if forced {
		// What a person insists on is trusted less, however well it looks.
		a.inputs.CoilDifferenceHalfWidthKelvin *= 2
	}
	a.inputs.ResistanceOhms = a.window.meanOhms
	a.inputs.Readings = a.window.kept
	a.inputs.StandardDeviationOhms = a.window.deviationOhms
	a.inputs.ResolutionOhms = a.window.resolutionOhms
	a.inputs.DriftOhms = math.Abs(a.copper.SlopeOhmsPerSecond) * a.window.seconds()
	a.inputs.TemperatureCelsius = celsius
	a.inputs.ProbeHalfWidthKelvin += step / 2
	a.inputs.CopperExcessKelvin = a.copper.Kelvin
	// The half-width of an interval of 95 % over the factor of the normal
	// distribution (JCGM 100:2008, 4.3.4).
	a.inputs.CopperExcessUncertaintyKelvin = a.copper.HalfWidthKelvin / uncertainty.CoverageFactor(0)
	a.inputs.CopperExcessOrigin = s.origin(a.copper)
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
