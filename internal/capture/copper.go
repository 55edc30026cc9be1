package capture

import (
	"fmt"
	"math"
	"sort"
	"time"

	"coilkeep/driver"
	"coilkeep/internal/uncertainty"
	"coilkeep/internal/warmth"
)

const (
	// estimateSpan is how far back the estimate of the copper's temperature
	// looks at least, half of the contact when that is longer, and longestSpan
	// at most: what is older tells of a wire that has cooled since.
	estimateSpan = time.Minute
	longestSpan  = 5 * time.Minute
	// earlyScales is how many standard errors a reading from before hands off
	// may lie from where the later ones say it should.
	earlyScales = 5
	// earlyReadings are the least that tell where it should lie.
	earlyReadings = 5
)

// Ahead is how far [View.AheadPercent] looks.
const Ahead = 10 * time.Second

// prior is what is taken to be known of a coil before it is read.
func (s Settings) prior(contact time.Time) warmth.Prior {
	p := warmth.Prior{Arrival: s.Arrive, TimeConstantSeconds: s.TimeConstant.Seconds(), TimeConstantRatio: s.TimeConstantRatio,
		QuickShare: s.QuickShare, QuickShareDeviation: s.QuickShareDeviation}
	if s.Typed && (p.Arrival == "" || p.Arrival == warmth.Lying) {
		p.Arrival = warmth.Rested // whoever reads by eye waits until the value stands still
	}
	if soaked := contact.Sub(s.SoakedSince); !s.SoakedSince.IsZero() && soaked > 0 {
		p.SoakedSeconds = soaked.Seconds()
	}
	return p
}

// origin says what an estimate is drawn from.
func (s Settings) origin(e warmth.Estimate) string {
	p := s.prior(time.Time{})
	arrive := map[warmth.Arrival]string{"": "coils arriving in any way", warmth.Lying: "coils lying at the bench",
		warmth.Rested: "a coil at rest",
		warmth.Hand:   "coils from the hand", warmth.Heat: "coils from heat"}[p.Arrival]
	constant := fmt.Sprintf("a time constant of %.3g min, unlearned", s.TimeConstant.Minutes())
	if s.TimeConstantRatio > 0 {
		constant = fmt.Sprintf("a time constant of %.3g min ± %.0f %%, learned", s.TimeConstant.Minutes(), 100*s.TimeConstantRatio)
	}
	if !s.SoakedSince.IsZero() {
		constant += ", put beside the probe before"
	}
	if e.Readings == 0 {
		return fmt.Sprintf("not watched; %s, %s", arrive, constant)
	}
	return fmt.Sprintf("%d readings over %.3g s; %s, %s", e.Readings, e.Seconds, arrive, constant)
}

// watched puts together what the estimate is drawn from, for a window at a
// temperature of the probe; now is the time of the meter's latest reading.
func (c *contact) watched(s Settings, w window, celsius float64, now time.Time) warmth.Watched {
	lasted := now.Sub(c.began)
	span := min(max(estimateSpan, lasted/2), longestSpan)
	first := sort.Search(len(c.course), func(i int) bool { return lasted.Seconds()-c.course[i].Seconds <= span.Seconds() })
	points := c.course[first:]
	if early := c.early[c.consistentEarly(w):]; first == 0 && len(early) > 0 {
		c.joined = c.joined[:0]
		for _, r := range early {
			c.joined = append(c.joined, c.point(r))
		}
		c.joined = append(c.joined, c.course...)
		points = c.joined
	}
	middle := w.readings[0].Time.Add(w.readings[len(w.readings)-1].Time.Sub(w.readings[0].Time) / 2)
	return warmth.Watched{Points: points, ResolutionOhms: w.resolutionOhms, NowSeconds: middle.Sub(c.began).Seconds(),
		OhmsPerKelvin: s.AlphaPerKelvin * w.meanOhms / (1 + s.AlphaPerKelvin*(celsius-20))}
}

// copper estimates how much warmer the copper is than the probe in the middle
// of a window.
func (c *contact) copper(s Settings, w window, celsius float64, now time.Time) warmth.Estimate {
	return warmth.Of(c.watched(s, w, celsius, now), s.prior(c.began))
}

// probeMoved is how far the probe went during the contact. A coil follows within
// minutes and a probe within seconds, so for that long their difference is open by
// as much; what a person typed before was corrected and is no move.
func (c *contact) probeMoved(s Settings) float64 {
	if s.Typed {
		return 0
	}
	return max(c.probeHigh-c.probeLow-probeStirKelvin, 0)
}

// probeStirKelvin is what a probe in still air shows as moves: its last digits.
const probeStirKelvin = 0.05

// fromProbe is an estimate with what the places of coil and probe lastingly
// differ by: how far the copper is from the probe, as people are told.
func (s Settings) fromProbe(e warmth.Estimate) warmth.Estimate {
	lasting := s.CoilDifferenceKelvin / math.Sqrt(3)
	e.StandardKelvin = math.Hypot(e.StandardKelvin, lasting)
	e.HalfWidthKelvin = math.Hypot(e.HalfWidthKelvin, uncertainty.CoverageFactor(0)*lasting)
	return e
}

// point is a reading as seconds after contact.
func (c *contact) point(r driver.Reading) warmth.Point {
	return warmth.Point{Seconds: r.Time.Sub(c.began).Seconds(), Ohms: r.Value}
}

// consistentEarly is the index of the first of the readings from before hands
// off that agrees, with all after it, with a line through those after it. Hands
// on the clips make a plateau percents low, far beyond what it allows, and what
// agrees doubles the time a coil is watched when it matters most.
func (c *contact) consistentEarly(w window) int {
	const most = 24 // a line through more of a cooling curve says less of its beginning
	later := c.course[:min(len(c.course), most)]
	if len(later) < earlyReadings || len(c.early) == 0 {
		return len(c.early)
	}
	l, ok := fitLine(later)
	if !ok {
		return len(c.early)
	}
	residual := max(l.residual, w.resolutionOhms/math.Sqrt(12))
	first := len(c.early)
	for first > 0 {
		p := c.point(c.early[first-1])
		if math.Abs(p.Ohms-l.at(p.Seconds)) > earlyScales*math.Hypot(residual, l.errorAt(p.Seconds, len(later))) {
			break
		}
		first--
	}
	return first
}

// ahead is what U will be in [Ahead], in percent of R20, if the coil stays on
// and goes on as it does; nil while there is no R20. It takes as long as the
// estimate itself and is looked at by people, so it is worked out once a second.
func (m *Machine) ahead() *float64 {
	a := m.current
	if a.r20 == nil || m.settings.Typed {
		return nil
	}
	if m.aheadPercent != nil && m.lastMeter.Time.Sub(m.aheadAt) < time.Second {
		return m.aheadPercent
	}
	e := warmth.Expect(m.contact.watched(m.settings, a.window, a.inputs.TemperatureCelsius, m.lastMeter.Time),
		m.settings.prior(m.contact.began), Ahead.Seconds())
	then := a
	then.inputs.CopperExcessKelvin = e.Kelvin
	then.inputs.CopperExcessUncertaintyKelvin = e.HalfWidthKelvin / uncertainty.CoverageFactor(0)
	if then.judge(m.settings) != nil {
		return nil
	}
	percent := then.percent()
	m.aheadPercent, m.aheadAt = &percent, m.lastMeter.Time
	return m.aheadPercent
}
