package capture

import (
	"fmt"
	"math"
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

	previous driver.Reading // the last reading let through
	strange  int            // readings in a row away from previous
	level    float64        // where the strange ones are

	stuck stuckWatch
}

// NewMeterScreen watches a meter.
func NewMeterScreen() *Screen { return &Screen{} }

// NewProbeScreen watches a probe in a room between low and high, in degrees
// Celsius.
func NewProbeScreen(lowCelsius, highCelsius float64) *Screen {
	return &Screen{low: lowCelsius, high: highCelsius}
}

// Reset forgets what was seen; call it when the instrument was opened anew.
// How much it scatters is kept: it is the same instrument.
func (s *Screen) Reset() {
	s.previous, s.strange = driver.Reading{}, 0
	s.stuck.run, s.stuck.last = 0, 0
}

// Check returns r, made impossible when it cannot be true.
func (s *Screen) Check(r driver.Reading) driver.Reading {
	if r.Status != driver.OK {
		s.stuck.interrupt()
		return r
	}
	why := ""
	if s.isProbe() {
		why = s.checkProbe(r)
	}
	if s.stuck.see(r) {
		why = fmt.Sprintf("exactly the same value for %d readings, from an instrument that scatters: it hangs; switch it off and on",
			s.stuck.run)
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
// repeats itself. Once an instrument has been seen to scatter by nearly a digit
// between neighbouring readings, the same digits over and over are a fault:
// with a scatter of 0.8 digit one value is repeated with a probability below
// 0.5 each time, so forty in a row have one below 1e-12.
type stuckWatch struct {
	last  float64
	run   int       // readings in a row equal to last
	since time.Time // the first of them

	// recent holds differences of neighbouring readings in steps of the last
	// digit; scatters stays true once they have shown scatter.
	recent   []float64
	scatters bool
}

const (
	stuckReadings  = 40
	stuckFor       = 4 * time.Second
	scatterDigits  = 0.8
	scatterSamples = 24
)

func (w *stuckWatch) interrupt() { w.run = 0 }

// see takes the next value and reports whether the instrument hangs.
func (w *stuckWatch) see(r driver.Reading) bool {
	if w.run > 0 && r.Value == w.last {
		w.run++
	} else {
		w.run, w.since = 1, r.Time
	}
	if w.run > 1 || w.last != 0 {
		w.learn(math.Abs(r.Value-w.last), r.Resolution)
	}
	w.last = r.Value
	return w.scatters && w.run >= stuckReadings && r.Time.Sub(w.since) >= stuckFor
}

// learn notes how far neighbouring readings differ. Steps of many digits are
// coils changing, not scatter. For normal noise the mean absolute difference
// is 2/√π of the standard deviation.
func (w *stuckWatch) learn(difference, resolution float64) {
	if resolution <= 0 || w.scatters || difference > 20*resolution {
		return
	}
	w.recent = append(w.recent, difference/resolution)
	if len(w.recent) < scatterSamples {
		return
	}
	mean, _ := meanAndDeviation(w.recent)
	w.scatters = mean*math.Sqrt(math.Pi)/2 >= scatterDigits
	w.recent = w.recent[:0]
}
