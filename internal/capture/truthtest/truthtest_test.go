package truthtest

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"coilkeep/driver"
)

// apart fails unless got is within allowed of want.
func apart(t *testing.T, what string, got, want, allowed float64) {
	t.Helper()
	if !(math.Abs(got-want) <= allowed) {
		t.Errorf("%s: got %.9g, want %.9g ± %.2g", what, got, want, allowed)
	}
}

// TestOneNodeCoolsByNewton compares with the closed form of Newton's law of
// cooling (lumped capacity, any text on heat transfer; from memory):
// T − T_air = excess · e^(−t/τ).
func TestOneNodeCoolsByNewton(t *testing.T) {
	t.Parallel()
	for _, tau := range []float64{30, 600, 1200} {
		p := Place{Room: Room{Celsius: 21}, Body: OneNode(tau), LastingKelvin: 0.4, ProbeLagSeconds: 20}
		start := Temperatures{Wire: 21.4 + 8, Bobbin: 21.4, Probe: 21}
		for _, seconds := range []float64{0.05, 4, 60, 3000} {
			got := p.Advance(start, 0, seconds, fineStep)
			apart(t, "wire", got.Wire, 21.4+8*math.Exp(-seconds/tau), 1e-8)
			apart(t, "probe", got.Probe, 21, 1e-12)
		}
	}
}

// TestTwoNodesHaveTheirModes compares with the closed form of two coupled
// lumps, a sum of two exponentials (any text on linear differential equations).
func TestTwoNodesHaveTheirModes(t *testing.T) {
	t.Parallel()
	for _, c := range []struct{ quick, slow, ratio, share float64 }{
		{30, 600, 0.1, 0.6}, {120, 300, 0.2, 0.2}, {60, 1200, 0.05, 0.4}, {60, 600, 0.1, 0}, {60, 600, 0.1, 1},
	} {
		body, err := TwoNodes(c.quick, c.slow, c.ratio)
		if err != nil {
			t.Fatal(err)
		}
		s := Scene{Place: Place{Body: body, ProbeLagSeconds: 1}, ExcessKelvin: 5, QuickShare: c.share}
		start := s.clipOn(Temperatures{})
		for _, seconds := range []float64{0, 4, 60, 600} {
			got := s.Place.Advance(start, 0, seconds, fineStep)
			apart(t, "wire", got.Wire, 5*(c.share*math.Exp(-seconds/c.quick)+(1-c.share)*math.Exp(-seconds/c.slow)), 1e-7)
		}
	}
	if _, err := TwoNodes(120, 130, 0.5); err == nil {
		t.Error("two nodes of time constants too near each other: no error")
	}
}

// TestHeatIsKept: what flows in is found in the lumps while nothing flows to
// the air, and what flows to the air is what the lumps lose (conservation of
// energy).
func TestHeatIsKept(t *testing.T) {
	t.Parallel()
	closed := Body{WireCapacity: 2, BobbinCapacity: 12, WireToBobbin: 0.05}
	p := Place{Body: closed, ProbeLagSeconds: 1, HeatWatts: 0.7, HeatFrom: 3, HeatTo: 13}
	got := p.Advance(Temperatures{}, 0, 100, fineStep)
	apart(t, "joules held", 2*got.Wire+12*got.Bobbin, 7, 1e-9)
	if got.Wire < got.Bobbin {
		t.Errorf("heated wire %g is colder than its bobbin %g", got.Wire, got.Bobbin)
	}

	open, err := TwoNodes(60, 600, 0.1)
	if err != nil {
		t.Fatal(err)
	}
	p = Place{Body: open, ProbeLagSeconds: 1}
	now := Temperatures{Wire: 5, Bobbin: 3}
	held := func(t Temperatures) float64 { return open.WireCapacity*t.Wire + open.BobbinCapacity*t.Bobbin }
	before, lost := held(now), 0.0
	for i := range 6000 { // trapezoids of the flow to the air
		next := p.Advance(now, float64(i)*0.1, float64(i+1)*0.1, fineStep)
		lost += 0.1 * open.BobbinToAir * (now.Bobbin + next.Bobbin) / 2
		now = next
	}
	apart(t, "joules lost to the air", lost, before-held(now), 1e-5*before)
}

// TestProbeLagsARampByItsTimeConstant: behind a ramp a lag of first order stays
// its time constant times the rate (any text on measurement; from memory). The
// coil does too.
func TestProbeLagsARampByItsTimeConstant(t *testing.T) {
	t.Parallel()
	p := Place{Room: Room{Celsius: 20, KelvinPerHour: 2}, Body: OneNode(600), ProbeLagSeconds: 180}
	got := p.Advance(p.settled(0), 0, 4*3600, pastStep)
	apart(t, "probe behind the room", p.Room.At(4*3600)-got.Probe, 2*180/3600.0, 1e-6)
	apart(t, "coil behind the room", p.Room.At(4*3600)-got.Wire, 2*600/3600.0, 1e-6)
}

// TestFingersWarmTheWireByWhatIsAsked: the heat of a scene is set so that the
// wire is as warm as drawn when the clips close, and the wire leads.
func TestFingersWarmTheWireByWhatIsAsked(t *testing.T) {
	t.Parallel()
	body, err := TwoNodes(60, 600, 0.1)
	if err != nil {
		t.Fatal(err)
	}
	s := Scene{Place: Place{Room: Room{Celsius: 22}, Body: body, ProbeLagSeconds: 20}}
	s.Place.heatFor(1.5, -20, 1)
	at := s.Place.Advance(s.past(-openSeconds), -openSeconds, 0, fineStep)
	apart(t, "wire", at.Wire, 23.5, 1e-6)
	if bobbin := at.Bobbin - 22; bobbin <= 0 || bobbin > 0.3 {
		t.Errorf("bobbin %g K above the room, want little and above 0", bobbin)
	}
	if later := s.Place.Advance(at, 0, 1, fineStep); later.Wire <= at.Wire {
		t.Error("fingers still on: the wire does not get warmer")
	}
}

// TestDisplayRoundsEvenly: the error of rounding is even over a step, so its
// variance is step²/12 (JCGM 100:2008, F.2.2.1).
func TestDisplayRoundsEvenly(t *testing.T) {
	t.Parallel()
	rng := rand.New(rand.NewPCG(1, 2))
	m := Meter{StepOhms: 10}
	const n = 20000
	var squares, widest float64
	for range n {
		ohms := 6000 + 100*rng.Float64()
		e := m.Show(rng, 0, ohms) - ohms
		squares += e * e / n
		widest = max(widest, math.Abs(e))
	}
	apart(t, "variance", squares, 100.0/12, 0.03*100/12)
	apart(t, "widest", widest, 5, 0.05)
}

// TestHumHasItsAmplitude: a sine's extremes are its amplitude and its standard
// deviation is that over √2; sampled with jitter it looks random.
func TestHumHasItsAmplitude(t *testing.T) {
	t.Parallel()
	rng := rand.New(rand.NewPCG(3, 4))
	m := Meter{ReadingsPerSecond: 5, JitterSeconds: 0.008, HumRatio: 0.002, HumHertz: 50, StepOhms: 0.001}
	var off []float64
	var squares, neighbours float64
	for at, i := 0.0, 0; i < 20000; i++ {
		e := m.Show(rng, at, 6000) - 6000
		squares += e * e
		if i > 0 {
			neighbours += e * off[i-1]
		}
		off = append(off, e)
		at = m.next(rng, at)
	}
	apart(t, "amplitude", slices.Max(off), 12, 0.01)
	apart(t, "standard deviation", math.Sqrt(squares/20000), 12/math.Sqrt2, 0.15)
	// Phases jitter by 2π·50·0.008 = 2.5 rad, so neighbours correlate by
	// e^(−2.5²/2) = 0.04 (characteristic function of the normal distribution).
	apart(t, "correlation of neighbours", neighbours/squares, math.Exp(-math.Pow(2*math.Pi*50*0.008, 2)/2), 0.03)
}

// TestReadingsOfAScene: open clips first, the rate that was asked for, times
// that only grow, fingers low and then the coil's own resistance, the readings spoiled
// that were under way when the clips moved.
func TestReadingsOfAScene(t *testing.T) {
	t.Parallel()
	s := Scene{R20Ohms: 6690, AlphaPerKelvin: 0.00393,
		Place:   Place{Room: Room{Celsius: 22}, Body: OneNode(600), LastingKelvin: 0.5, ProbeLagSeconds: 20},
		Meter:   Meter{ReadingsPerSecond: 10, JitterSeconds: 0.004, StepOhms: 0.1, LeadOhms: 0.2},
		Probe:   Probe{PauseSeconds: 1, ErrorKelvin: 0.3, StepKelvin: 0.01},
		Contact: Contact{LowRatio: 0.03, FingersSeconds: 1.5, OnSpoiledRatio: 0.5, OffSeconds: 18, OffSpoiledRatio: -0.4},
	}
	var events [][]Event
	for range 2 { // the same seed gives the same scene
		events = append(events, s.Run(rand.New(rand.NewPCG(5, 6)), 20))
	}
	if !slices.Equal(events[0], events[1]) {
		t.Error("the same seed gives two scenes")
	}
	var meter []float64
	fingers, probe, opened := 0, 0, 0
	last := Epoch.AddDate(-1, 0, 0)
	truth := 6690 * (1 + 0.00393*2.5)
	for _, e := range events[0] {
		if e.Time.Before(last) {
			t.Fatalf("time runs back at %g s", e.Seconds)
		}
		last = e.Time
		switch {
		case e.FromProbe:
			probe++
			apart(t, "probe", e.Value, 22.3, 1e-9)
		case e.Status == driver.Overload:
			opened++
			if e.Seconds > 0 && e.Seconds < 18 {
				t.Errorf("open at %g s", e.Seconds)
			}
		default:
			meter = append(meter, e.Value)
			if e.Seconds < 1.5 {
				fingers++
			}
		}
	}
	n := len(meter)
	apart(t, "first reading", meter[0], 1.5*0.97*truth+0.2, 0.051)
	apart(t, "last reading", meter[n-1], 0.6*truth+0.2, 0.051)
	for i, ohms := range meter[1 : n-1] {
		want := truth + 0.2
		if i+1 < fingers {
			want = 0.97*truth + 0.2
		}
		apart(t, "reading between", ohms, want, 0.051)
	}
	apart(t, "readings with fingers", float64(fingers), 15, 1)
	apart(t, "readings of the coil", float64(n), 180, 4)
	apart(t, "open readings", float64(opened), 70, 4)
	apart(t, "probe's readings", float64(probe), 25, 1)
}

// TestRegimesKeepWithinWhatTheBenchWasTold draws many coils: errors within
// their limits, and everything spread as it says.
func TestRegimesKeepWithinWhatTheBenchWasTold(t *testing.T) {
	t.Parallel()
	told := Told{TimeConstantSeconds: 600, MeterPercent: 0.05, MeterOhms: 0.3, LeadOhms: 0.2, LeadHalfWidthOhms: 0.02,
		ProbeHalfWidthKelvin: 0.3, CoilDifferenceKelvin: 0.5, AlphaPerKelvin: 0.00393, AlphaDeviation: 0.00002}
	rng := rand.New(rand.NewPCG(7, 8))
	regime := Quiet()
	regime.TwoNodes, regime.TimeConstantRatio = true, Spread{Low: 0.5, High: 0.5}
	regime.ExcessKelvin = Spread{Low: 2, High: 8}
	const n = 4000
	var alpha, difference, probe, meter float64
	for range n {
		s, err := regime.Draw(rng, told)
		if err != nil {
			t.Fatal(err)
		}
		if s.ExcessKelvin < 2 || s.ExcessKelvin > 8 || s.R20Ohms < 3000 || s.R20Ohms > 12000 {
			t.Fatalf("drawn %g K, %g Ω", s.ExcessKelvin, s.R20Ohms)
		}
		alpha += math.Pow(s.AlphaPerKelvin-0.00393, 2) / n
		difference = max(difference, math.Abs(s.Place.LastingKelvin))
		probe = max(probe, math.Abs(s.Probe.ErrorKelvin))
		meter = max(meter, math.Abs(s.Meter.ErrorRatio*6000+s.Meter.ErrorOhms))
	}
	apart(t, "deviation of alpha", math.Sqrt(alpha), 0.00002, 0.000001)
	apart(t, "widest difference of place", difference, 0.5, 0.002)
	apart(t, "widest error of the probe", probe, 0.3, 0.001)
	apart(t, "widest error of the meter at 6 kΩ", meter, 3.3, 0.01)
}
