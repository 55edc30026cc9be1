package capture_test

import (
	"math"
	"time"

	"coilkeep/internal/capture"
	"coilkeep/internal/capture/truthtest"
	"coilkeep/internal/warmth"
)

// coverageRow is one regime that has to hold by itself.
type coverageRow struct {
	name   string
	regime truthtest.Regime
	// configure sets the bench up as its user would; nil leaves the defaults.
	configure func(*capture.Settings)
	// told is how coils arrive as the bench was told; "" when it was not.
	told string
	// instants are the times after hands off at which the coils are looked at.
	instants []time.Duration
	// leftOn is how long coils are left on to be recorded.
	leftOn time.Duration
	// widestPercent bounds the median of U at some instants, in percent of R20;
	// there must be a number then.
	widestPercent map[time.Duration]float64
	// mostBias bounds the mean error, as a share of the median U; 0 takes the
	// usual bound.
	mostBias float64
	// medianToRecord and worstToRecord bound the time from contact to the record of a
	// clear coil; 0 does not.
	medianToRecord, worstToRecord time.Duration
}

// tellArrival sets how coils arrive as the bench is told.
func tellArrival(s *capture.Settings, told string) { s.Arrive = warmth.Arrival(told) }

// benchSettings are the defaults of a configuration, with instruments and leads
// of our own choice.
func benchSettings() capture.Settings {
	return capture.Settings{
		MinOhms: 100, MaxOhms: 200e3, HandsOff: 3 * time.Second, Bounce: time.Second,
		MaxGap: 3 * time.Second, Readings: 8, FewestReadings: 4, Window: 1500 * time.Millisecond,
		SlopePercentPerMinute: 0.05, Patience: 20 * time.Second, TimeConstant: 10 * time.Minute,
		MeterPercent: 0.05, MeterOhms: 0.3, LeadOhms: 0.2, LeadHalfWidthOhms: 0.02,
		ProbeHalfWidthKelvin: 0.3, CoilDifferenceKelvin: 0.5, MaxAge: 5 * time.Second,
		AlphaPerKelvin: 0.00393, AlphaStandardUncertaintyPerKelvin: 0.00002,
	}
}

// change turns a quiet row into another.
type change func(*coverageRow)

func excess(lowKelvin, highKelvin float64) change {
	return func(r *coverageRow) {
		r.regime.ExcessKelvin = truthtest.Spread{Low: lowKelvin, High: highKelvin}
	}
}

// How coils come to the clips, by the issue; lying ones are the quiet regime.
var (
	hand   = excess(0.5, 2)
	warm   = excess(2, 8)
	solder = excess(10, 30)
	cold   = excess(-8, -1)
)

func heated(r *coverageRow) { r.regime.Heated, r.regime.TwoNodes = true, true }

// hummed picks up the mains, and its user has allowed for the spread as the
// README says.
func hummed(r *coverageRow) {
	r.regime.HumPercent = 0.2
	r.configure = func(s *capture.Settings) { s.SpreadPercent = 0.6 }
}

func exactly(value float64) truthtest.Spread { return truthtest.Spread{Low: value, High: value} }

func tau(ratio float64) change {
	return func(r *coverageRow) { r.regime.TimeConstantRatio = exactly(ratio) }
}

func inWire(share float64) change {
	return func(r *coverageRow) { r.regime.TwoNodes, r.regime.QuickShare = true, exactly(share) }
}

func drifting(kelvinPerHour float64) change {
	return func(r *coverageRow) { r.regime.RoomKelvinPerHour = kelvinPerHour }
}

func stepping(kelvin float64) change {
	return func(r *coverageRow) { r.regime.RoomStepKelvin = kelvin }
}

func probeLag(d time.Duration) change {
	return func(r *coverageRow) { r.regime.ProbeLagSeconds = d.Seconds() }
}

// probeStep is the display of the probe, which counts as known within it.
func probeStep(kelvin float64) change {
	return func(r *coverageRow) { r.regime.ProbeStepKelvin = kelvin }
}

func display(stepOhms float64) change {
	return func(r *coverageRow) { r.regime.StepOhms = stepOhms }
}

func rate(perSecond float64) change {
	return func(r *coverageRow) { r.regime.ReadingsPerSecond = perSecond }
}

// noisy is a meter whose last digit says little.
func noisy(r *coverageRow) { r.regime.NoiseOhms = truthtest.Spread{Low: 0.2, High: 0.4} }

func told(how string) change {
	return func(r *coverageRow) { r.told = how }
}

func widest(percent float64, at time.Duration) change {
	return func(r *coverageRow) {
		if r.widestPercent == nil {
			r.widestPercent = map[time.Duration]float64{}
		}
		r.widestPercent[at] = percent
	}
}

// selected rows are those of which hardly a coil has a number, and these are the
// ones that look quiet by chance.
func selected(r *coverageRow) { r.mostBias = 0.75 }

func recordedWithin(median, worst time.Duration) change {
	return func(r *coverageRow) { r.medianToRecord, r.worstToRecord = median, worst }
}

// learned coils have a time constant known to 10 %, which it is, and no warmth of
// the wire alone.
func learned(r *coverageRow) {
	r.regime.TimeConstantRatio = truthtest.Spread{Low: 1, High: 1, StandardDeviation: 0.1}
	r.configure = func(s *capture.Settings) { s.TimeConstantRatio, s.QuickShareDeviation = 0.1, 0.003 }
}

// fast is a bench that takes a coil off 8 to 12 s after it was clipped on.
func fast(r *coverageRow) {
	r.regime.OffSeconds = truthtest.Spread{Low: 8, High: 12}
	r.instants = []time.Duration{4 * time.Second}
}

// leftOn has coils on until the slowest rule has recorded them.
func leftOn(r *coverageRow) {
	r.leftOn = 25 * time.Minute
	r.instants = []time.Duration{time.Minute, 3 * time.Minute, 10 * time.Minute}
}

func quiet(name string, changes ...change) coverageRow {
	row := coverageRow{name: name, regime: truthtest.Quiet(), leftOn: 30 * time.Second, // past patience
		instants: []time.Duration{4 * time.Second, 8 * time.Second, 15 * time.Second, 60 * time.Second}}
	for _, c := range changes {
		c(&row)
	}
	return row
}

// coverageRows are the regimes of the issue that asked for the estimate, and
// what else a stranger would try.
func coverageRows() []coverageRow {
	const second = time.Second
	return []coverageRow{
		quiet("lying", widest(0.5, 4*second), widest(0.325, 8*second), recordedWithin(5*second, 7*second)),
		quiet("hand", hand),
		quiet("warm", warm, widest(3, 8*second)),
		quiet("solder", solder),
		quiet("cold", cold),
		quiet("still", excess(0, 0)),
		quiet("warm-learned", warm, learned, widest(0.7, 8*second)),

		quiet("lying-tau-2", tau(2)),
		quiet("hand-tau-0.5", hand, tau(0.5)),
		quiet("hand-tau-2", hand, tau(2)),
		quiet("warm-tau-0.5", warm, tau(0.5)),
		quiet("warm-tau-1.5", warm, tau(1.5)),
		quiet("warm-tau-2", warm, tau(2)),
		quiet("solder-tau-0.5", solder, tau(0.5)),
		quiet("solder-tau-2", solder, tau(2)),
		quiet("cold-tau-2", cold, tau(2)),

		quiet("lying-wire-60", inWire(0.6)),
		quiet("hand-wire-60", hand, inWire(0.6)),
		quiet("warm-wire-20", warm, inWire(0.2)),
		quiet("warm-wire-40", warm, inWire(0.4)),
		quiet("warm-wire-60", warm, inWire(0.6)),
		quiet("solder-wire-60", solder, inWire(0.6)),
		quiet("cold-wire-60", cold, inWire(0.6)),
		quiet("warm-wire-60-tau-2", warm, inWire(0.6), tau(2)),
		quiet("warm-wire-60-tau-0.5", warm, inWire(0.6), tau(0.5)),
		quiet("hand-heated", hand, heated),
		quiet("solder-heated", solder, heated),

		quiet("lying-room-drifts", drifting(2)),
		quiet("warm-room-drifts", warm, drifting(2)),
		quiet("lying-room-drifts-probe-lags", drifting(2), probeLag(3*time.Minute)),
		quiet("warm-room-drifts-probe-lags", warm, drifting(2), probeLag(3*time.Minute)),
		quiet("lying-room-steps-probe-lags", stepping(0.5), probeLag(3*time.Minute)),
		quiet("hand-room-steps-probe-lags", hand, stepping(0.5), probeLag(3*time.Minute)),
		quiet("lying-probe-0.1K", probeStep(0.1)),
		quiet("warm-room-drifts-probe-0.1K", warm, drifting(2), probeStep(0.1)),

		quiet("lying-1ohm", display(1), recordedWithin(5*second, 9*second)),
		quiet("warm-1ohm", warm, display(1)),
		quiet("lying-10ohm", display(10)),
		quiet("warm-10ohm", warm, display(10)),

		quiet("lying-1hz", rate(1)),
		quiet("lying-2.5hz", rate(2.5)),
		quiet("lying-10hz", rate(10)),
		quiet("warm-1hz", warm, rate(1)),
		quiet("warm-2.5hz", warm, rate(2.5)),
		quiet("warm-10hz", warm, rate(10)),

		quiet("lying-noisy", noisy),
		quiet("warm-noisy", warm, noisy),
		quiet("warm-tau-2-noisy", warm, tau(2), noisy),
		quiet("lying-hum", hummed),
		quiet("warm-hum", warm, hummed),
		quiet("warm-hum-1ohm-2.5hz", warm, hummed, display(1), rate(2.5)),

		quiet("warm-10ohm-1hz", warm, display(10), rate(1)),
		quiet("lying-10ohm-1hz", display(10), rate(1)),
		quiet("hand-1ohm-2.5hz-room-drifts", hand, display(1), rate(2.5), drifting(2)),
		quiet("solder-wire-60-10ohm-1hz", selected, solder, inWire(0.6), display(10), rate(1)),

		quiet("lying-left-on", leftOn),
		quiet("warm-left-on", warm, leftOn),
		quiet("warm-tau-2-left-on", warm, tau(2), leftOn),
		quiet("warm-wire-60-left-on", warm, inWire(0.6), leftOn),

		quiet("lying-fast", fast, recordedWithin(5*second, 7*second)),
		quiet("lying-fast-1ohm", fast, display(1), recordedWithin(5*second, 9*second)),
		quiet("lying-fast-2.5hz", fast, rate(2.5), recordedWithin(12*second, 12*second)),
		quiet("hand-fast", hand, fast),
		quiet("warm-fast", warm, fast),
		quiet("warm-fast-10ohm-1hz", warm, fast, display(10), rate(1)),

		quiet("lying-told-lying", told("lying"), widest(0.5, 4*second), widest(0.32, 8*second)),
		quiet("lying-told-heat", told("heat")),
		quiet("hand-told-lying", hand, told("lying")),
		quiet("warm-told-lying", warm, told("lying")),
		quiet("warm-told-hand", warm, told("hand")),
		quiet("warm-wire-60-told-hand", warm, inWire(0.6), told("hand")),
		quiet("solder-told-lying", solder, told("lying")),
		quiet("solder-told-hand", solder, told("hand")),
		quiet("cold-told-lying", cold, told("lying")),
	}
}

// truthOf tells the simulator what the bench is told of its instruments.
func truthOf(s capture.Settings) truthtest.Told {
	return truthtest.Told{
		TimeConstantSeconds: s.TimeConstant.Seconds(), MeterPercent: s.MeterPercent, MeterOhms: s.MeterOhms,
		LeadOhms: s.LeadOhms, LeadHalfWidthOhms: s.LeadHalfWidthOhms,
		ProbeHalfWidthKelvin: s.ProbeHalfWidthKelvin, CoilDifferenceKelvin: s.CoilDifferenceKelvin,
		AlphaPerKelvin: s.AlphaPerKelvin, AlphaDeviation: s.AlphaStandardUncertaintyPerKelvin,
	}
}

// A design of ±5 %, guarded by U; a coil is clear when it lies clearPercent or
// more from either limit, three times the widest U of a lying coil, and twice as
// far where a display of 1 Ω hides a part of the slope of a coil of 3 kΩ.
const (
	tolerancePercent = 5.0
	clearPercent     = 1.5
	clearCoarsely    = 3.0
)

func (r coverageRow) isClear(offTargetPercent float64) bool {
	from := clearPercent
	if r.regime.StepOhms >= 1 {
		from = clearCoarsely
	}
	return math.Abs(math.Abs(offTargetPercent)-tolerancePercent) >= from
}
