package warmth

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"testing"
)

type regime struct {
	name               string
	a                  func(r *rand.Rand) float64
	tau                float64
	q                  func(r *rand.Rand) float64
	digit, noise, rate float64
	arrive             Arrival
	ratio, qs, qsd     float64
}

func TestDev(t *testing.T) {
	uni := func(a, b float64) func(*rand.Rand) float64 {
		return func(r *rand.Rand) float64 { return a + (b-a)*r.Float64() }
	}
	zero := uni(0, 0)
	lyingA := func(r *rand.Rand) float64 { return 0.3 * r.NormFloat64() }
	var rows []regime
	add := func(name string, a func(*rand.Rand) float64, tau float64, q func(*rand.Rand) float64, digit, noise, rate float64, arr Arrival) {
		rows = append(rows, regime{name, a, tau, q, digit, noise, rate, arr, 0, 0, 0})
	}
	hand, warm, solder := uni(.5, 2), uni(2, 8), uni(10, 30)
	add("lying", lyingA, 600, zero, .1, .15, 5, "")
	add("lying", lyingA, 300, uni(.6, .6), .1, .15, 5, "")
	add("lying", lyingA, 1200, zero, .1, .15, 5, "")
	add("hand", hand, 600, zero, .1, .15, 5, "")
	add("hand", hand, 900, zero, .1, .15, 5, "")
	add("hand", hand, 1200, zero, .1, .15, 5, "")
	add("hand q.6", hand, 600, uni(.6, .6), .1, .15, 5, "")
	add("hand q.2", hand, 600, uni(.2, .2), .1, .15, 5, "")
	add("2-8", warm, 300, zero, .1, .15, 5, "")
	add("2-8", warm, 600, zero, .1, .15, 5, "")
	add("2-8", warm, 1200, zero, .1, .15, 5, "")
	add("2-8", warm, 1200, zero, .1, .15, 5, Lying)
	add("2-8", warm, 600, zero, .1, .15, 5, Lying)
	add("hand", hand, 600, zero, .1, .15, 5, Lying)
	add("10-30", solder, 600, zero, .1, .15, 5, Lying)
	add("lying", lyingA, 600, zero, .1, .05, 5, "")
	add("2-8 q0-.6", warm, 600, uni(0, .6), .1, .15, 5, "")
	add("2-8 q.6", warm, 600, uni(.6, .6), .1, .15, 5, "")
	add("10-30", solder, 600, zero, .1, .15, 5, "")
	add("10-30", solder, 1200, zero, .1, .15, 5, "")
	add("10-30 q.6", solder, 600, uni(.6, .6), .1, .15, 5, "")
	add("lying 1ohm", lyingA, 600, zero, 1, .15, 5, "")
	add("2-8 1ohm", warm, 600, zero, 1, .15, 5, "")
	add("2-8 10ohm", warm, 600, zero, 10, .15, 5, "")
	add("10-30 10ohm", solder, 600, zero, 10, .15, 5, "")
	add("2-8 hum", warm, 600, zero, .1, 9, 5, "")
	add("2-8 1/s", warm, 600, zero, .1, .15, 1, "")
	for _, g := range rows {
		line := fmt.Sprintf("%-18s %-6s tau %4.0f d %4.1f rate %2.0f:", g.name, g.arrive, g.tau, g.digit, g.rate)
		for _, at := range []float64{1.8, 4, 8, 15, 60} {
			rng := rand.New(rand.NewPCG(1, uint64(at*10)))
			var us []float64
			hit, bias, n := 0, 0.0, 100
			for range n {
				a, q := g.a(rng), g.q(rng)
				tq := 30 + 90*rng.Float64()
				r20 := 6690.0
				d := rng.Float64() - .5
				probe := .6*rng.Float64() - .3
				meter := (2*rng.Float64() - 1) * .000545
				var pts []Point
				from := 0.4
				if n := 3 + at - 60; n > from {
					from = n
				}
				x := 0.0
				for s := from; s <= 3+at+1e-9; s += 1 / g.rate {
					e := a * ((1-q)*math.Exp(-s/g.tau) + q*math.Exp(-s/tq))
					x = e
					o := r20*(1+.00393*(1.5+e)) + g.noise*rng.NormFloat64()
					pts = append(pts, Point{s, math.Round(o/g.digit) * g.digit})
				}
				est := Of(Watched{pts, g.digit, pts[len(pts)-1].Seconds, .00393 * r20}, Prior{g.arrive, 600, g.ratio, g.qs, g.qsd, 0})
				err := .393*(x-est.Kelvin+d+probe) + 100*meter
				u := math.Hypot(.267, .393*est.HalfWidthKelvin)
				if math.Abs(err) <= u {
					hit++
				}
				bias += err / float64(n)
				us = append(us, u)
			}
			slices.Sort(us)
			flag := " "
			if float64(hit) < .92*float64(n) {
				flag = "!"
			}
			line += fmt.Sprintf("  %4.1fs %3.0f%s U%5.2f b%5.2f%s", at, 100*float64(hit)/float64(n), flag, us[len(us)/2], bias/us[len(us)/2], map[bool]string{true: "*"}[math.Abs(bias) > us[len(us)/2]/2])
		}
		t.Log(line)
	}
}

func BenchmarkOf(b *testing.B) {
	for _, noise := range []float64{.05, .3, 2} {
		for _, n := range []float64{5, 60} {
			rng := rand.New(rand.NewPCG(1, 1))
			var pts []Point
			for s := 0.4; s < n; s += .1 {
				pts = append(pts, Point{s, 6690 + math.Round(20*math.Exp(-s/300)+noise*rng.NormFloat64())})
			}
			w := Watched{pts, 1, n, 26}
			b.Run(fmt.Sprint(noise, " ", n), func(b *testing.B) {
				b.ReportAllocs()
				for b.Loop() {
					Of(w, Prior{TimeConstantSeconds: 600})
				}
			})
		}
	}
}
