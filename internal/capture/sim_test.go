package capture

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"coilkeep/driver"
	"coilkeep/internal/conformity"
)

// day is when the simulated readings begin; any instant would do.
var day = time.Date(2031, 3, 4, 9, 0, 0, 0, time.UTC)

func testSettings() Settings {
	return Settings{
		MinOhms: 100, MaxOhms: 200e3, HandsOff: 3 * time.Second, Bounce: time.Second,
		MaxGap: 3 * time.Second, Readings: 8, Window: 1500 * time.Millisecond,
		SlopePercentPerMinute: 0.05, Patience: 20 * time.Second, TimeConstant: 10 * time.Minute,
		MeterPercent: 0.05, MeterOhms: 0.3, ProbeHalfWidthKelvin: 0.3, CoilDifferenceKelvin: 0.5,
		MaxAge: 5 * time.Second, AlphaPerKelvin: 0.00393, AlphaStandardUncertaintyPerKelvin: 0.00002,
		Tolerance: &conformity.Tolerance{LowerOhms: 6400, UpperOhms: 6900},
	}
}

// rig is a meter and a probe with a coil that relaxes to the room, feeding a
// machine. It stands apart from package simulate so that this package's tests
// need no I/O.
type rig struct {
	m        *Machine
	at       time.Time
	every    time.Duration
	noise    float64
	digit    float64
	room     float64
	rng      *rand.Rand
	outcomes []Outcome
	// improved are the better results of coils that stayed on.
	improved []*Result

	// coil is nil while the clips are open.
	coil *rigCoil
	// override, when set, replaces what the meter would show.
	override func(r driver.Reading) driver.Reading
	noProbe  bool
}

type rigCoil struct {
	r20, difference float64 // K above the room when it was clipped on
	tau             time.Duration
	since           time.Time
}

func newRig(seed uint64, s Settings) *rig {
	return &rig{m: New(s), at: day, every: 100 * time.Millisecond, noise: 0.15, digit: 0.1, room: 21.5,
		rng: rand.New(rand.NewPCG(seed, 1))}
}

func (g *rig) clip(r20, differenceKelvin float64) {
	g.coil = &rigCoil{r20: r20, difference: differenceKelvin, tau: g.m.settings.TimeConstant, since: g.at}
}

// differenceNow is the true temperature of the coil above the room.
func (g *rig) differenceNow() float64 {
	return g.coil.difference * math.Exp(-g.at.Sub(g.coil.since).Seconds()/g.coil.tau.Seconds())
}

func (g *rig) reading() driver.Reading {
	r := driver.Reading{Time: g.at, Status: driver.Overload, Resolution: g.digit}
	if g.coil != nil {
		celsius := g.room + g.differenceNow()
		ohms := g.coil.r20*(1+0.00393*(celsius-20)) + g.noise*g.rng.NormFloat64()
		r.Status, r.Value = driver.OK, math.Round(ohms/g.digit)*g.digit
	}
	if g.override != nil {
		r = g.override(r)
	}
	return r
}

// run lets time pass and returns the results of it, but for those that improve
// another.
func (g *rig) run(d time.Duration) []*Result {
	var results []*Result
	end := g.at.Add(d)
	for i := 0; g.at.Before(end); i++ {
		g.at = g.at.Add(g.every)
		if i%10 == 0 && !g.noProbe {
			g.m.Probe(driver.Reading{Time: g.at.Add(-time.Millisecond), Status: driver.OK,
				Value: math.Round(g.room*100) / 100, Resolution: 0.01})
		}
		out := g.m.Meter(g.reading())
		g.outcomes = append(g.outcomes, out)
		switch {
		case out.Result == nil:
		case out.Result.Improves:
			g.improved = append(g.improved, out.Result)
		default:
			results = append(results, out.Result)
		}
	}
	return results
}

// near is true when the estimate of the copper's temperature holds what it truly
// was in the middle of the window.
func (g *rig) near(r *Result) bool {
	age := r.Time.Sub(g.coil.since) - g.m.settings.Window/2
	truth := g.coil.difference * math.Exp(-age.Seconds()/g.coil.tau.Seconds())
	return math.Abs(r.Inputs.CopperExcessKelvin-truth) <= 1.96*r.Inputs.CopperExcessUncertaintyKelvin
}

// open lets the clips hang open for d.
func (g *rig) open(d time.Duration) []*Result {
	g.coil = nil
	return g.run(d)
}

// What a reading costs while a coil is on the clips, looked at after each as a
// bench does: parsing and disk are others' business.
func BenchmarkReading(b *testing.B) {
	for _, digit := range []float64{0.1, 1} {
		b.Run(fmt.Sprintf("display of %g ohms", digit), func(b *testing.B) {
			s := testSettings()
			g := newRig(1, s)
			g.digit = digit
			g.m.Hold("measured by a benchmark") // so that it goes on
			g.open(2 * time.Second)
			g.clip(6650, 1)
			readings := 0
			b.ReportAllocs()
			for b.Loop() {
				if readings++; readings%600 == 0 { // a minute a coil
					b.StopTimer()
					g.open(2 * time.Second)
					g.clip(6650, 1)
					b.StartTimer()
				}
				g.run(g.every)
				g.m.View()
			}
		})
	}
}
