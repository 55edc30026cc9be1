package capture

import (
	"fmt"
	"math"
	"slices"
	"time"

	"coilkeep/driver"
)

// Screen looks at one instrument's readings before the capture does and turns
// those that cannot be true into [driver.Impossible] ones that say why. What
// it lets through is what is stored.
type Screen struct {
	// Low and High bound what a probe at a bench can show, in degrees Celsius;
	// both 0 for a meter, whose values the contact range judges.
	low, high float64
	// typed lets everything through: what a person typed is final.
	typed bool

	previous driver.Reading // the last reading let through
	strange  int            // readings in a row away from previous
	level    float64        // where the strange ones are

	stuck stuckWatch
}

// NewMeterScreen watches a meter.
func NewMeterScreen() *Screen { return &Screen{} }

// NewTypedScreen is for an instrument whose values a person types in. A value that
// is far from the one before corrects it, and many alike are no fault.
func NewTypedScreen() *Screen { return &Screen{typed: true} }

// NewProbeScreen watches a probe in a room between low and high, in degrees
// Celsius.
func NewProbeScreen(lowCelsius, highCelsius float64) *Screen {
	return &Screen{low: lowCelsius, high: highCelsius}
}

// Reset forgets what was seen; call it when the instrument was opened anew.
// How much it scatters is kept: it is the same instrument.
func (s *Screen) Reset() {
	s.previous, s.strange = driver.Reading{}, 0
	s.stuck.interrupt()
}

// Check returns r, made impossible when it cannot be true.
func (s *Screen) Check(r driver.Reading) driver.Reading {
	if s.typed {
		return r
	}
	if r.Status != driver.OK {
		s.stuck.interrupt()
		return r
	}
	why := ""
	if s.isProbe() {
		why = s.checkProbe(r)
	}
	if s.stuck.see(r) {
		why = fmt.Sprintf("exactly the same value for %d readings and more, from an instrument that scatters: it hangs; switch it off and on",
			stuckReadings)
	}
	if why == "" {
		s.previous, s.strange = r, 0
		return r
	}
	r.Status, r.Reason, r.Value = driver.Impossible, why, 0
	return r
}

func (s *Screen) isProbe() bool { return s.low != 0 || s.high != 0 }

const (
	// jumpKelvin within jumpWithin is more than a probe in air can do; a level
	// that stays for jumpReadings is believed all the same.
	jumpKelvin   = 3.0
	jumpWithin   = 10 * time.Second
	jumpReadings = 4
)

// powerOnCelsius are values some common sensors give before their first
// conversion or with a broken lead (common practice, no source).
var powerOnCelsius = []float64{85, 0, -127, 127, -242, -242.02}

func (s *Screen) checkProbe(r driver.Reading) string {
	continues := !s.previous.Time.IsZero() && math.Abs(r.Value-s.previous.Value) < jumpKelvin
	for _, v := range powerOnCelsius {
		if r.Value == v && !continues {
			return fmt.Sprintf("%g °C is what a sensor shows before it has measured, or with a broken lead", v)
		}
	}
	if r.Value < s.low || r.Value > s.high {
		return fmt.Sprintf("%.4g °C is outside %g…%g °C: is the probe set to °F, or min_celsius and max_celsius too narrow?",
			r.Value, s.low, s.high)
	}
	if s.previous.Time.IsZero() || continues || r.Time.Sub(s.previous.Time) > jumpWithin {
		return ""
	}
	if s.strange == 0 || math.Abs(r.Value-s.level) > jumpKelvin {
		s.strange, s.level = 0, r.Value
	}
	s.strange++
	if s.strange >= jumpReadings {
		return ""
	}
	return fmt.Sprintf("jumped from %.4g to %.4g °C; waiting whether it stays", s.previous.Value, r.Value)
}

// stuckWatch tells an instrument that hangs from a coarse one that honestly
// repeats itself. Once neighbouring readings have been seen to differ most of
// the time, up and down and by more than the flicker of one digit, the same
// value over and over is a fault. An instrument that is taken for one that
// scatters repeats itself with a probability of 0.65 at most, even when luck
// helped; sixty in a row then have one below 1e-11. It does not trust the
// digits sent, which may be many more than are measured.
type stuckWatch struct {
	last       float64
	resolution float64
	run        int       // readings in a row equal to last; 0 before the first
	since      time.Time // the first of them

	// recent holds the latest values while scatter is looked for; scatters
	// stays true once they have shown it at this value and resolution.
	recent   []float64
	scatters bool
}

const (
	stuckReadings = 60
	stuckFor      = 4 * time.Second
	// Of scatterSamples neighbours at most so many may be alike, and at least
	// so many must be turns from up to down or back; two values or three may be
	// a quiet instrument at the edge of a digit.
	scatterSamples = 24
	mostRepeats    = 9
	leastTurns     = 8
	leastValues    = 4
)

func (w *stuckWatch) interrupt() { w.run = 0 }

// see takes the next value and reports whether the instrument hangs.
func (w *stuckWatch) see(r driver.Reading) bool {
	if r.Resolution != w.resolution || math.Abs(r.Value) > 2*math.Abs(w.last) || math.Abs(w.last) > 2*math.Abs(r.Value) {
		*w = stuckWatch{resolution: r.Resolution} // another range or quantity may scatter otherwise
	}
	if w.run > 0 && r.Value == w.last {
		w.run++
	} else {
		w.run, w.since = 1, r.Time
	}
	w.last = r.Value
	w.learn(r.Value)
	return w.scatters && w.run >= stuckReadings && r.Time.Sub(w.since) >= stuckFor
}

// learn looks for scatter in the latest values.
func (w *stuckWatch) learn(value float64) {
	if w.scatters {
		return
	}
	w.recent = append(w.recent, value)
	if len(w.recent) <= scatterSamples {
		return
	}
	repeats, turns, direction := 0, 0, 0.0
	for i, v := range w.recent[1:] {
		d := v - w.recent[i]
		switch {
		case d == 0:
			repeats++
			continue
		case d*direction < 0:
			turns++
		}
		direction = d
	}
	slices.Sort(w.recent)
	values := len(slices.Compact(w.recent))
	w.scatters = repeats <= mostRepeats && turns >= leastTurns && values >= leastValues
	w.recent = w.recent[:0]
}
