package warmth

import "math"

// decay is one relaxation e^(−t/τ): its value at the wanted moment and during
// the soak, and its shape over the readings.
type decay struct {
	weight      float64 // of its time constant in the prior
	now, soaked float64
	shape       [order]float64
}

func newDecay(seconds, weight float64, w Watched, soakedSeconds float64, seen summary) decay {
	return decay{weight: weight, now: math.Exp(-w.NowSeconds / seconds), soaked: math.Exp(-soakedSeconds / seconds),
		shape: seen.project(seconds)}
}

// posterior fills in the mixture of the excess now, in ohms, with weights that
// add up to 1.
func (m *mixture) posterior(p Prior, w Watched, seen summary, any bool) {
	var slow [len(tauSteps)]decay
	for i, step := range tauSteps {
		logarithm, weight := p.timeConstantCell(step)
		slow[i] = newDecay(p.TimeConstantSeconds*math.Exp(logarithm), weight, w, p.SoakedSeconds, seen)
	}
	var quick [len(quickSeconds)]decay
	for i, seconds := range quickSeconds {
		quick[i] = newDecay(seconds, 1, w, p.SoakedSeconds, seen)
	}
	shares := p.shareWeights()
	mix := mixer{mixture: m, weights: p.arrivalWeights(), seen: seen, any: any, soaked: p.SoakedSeconds > 0,
		picked: pickedUpKelvin * w.OhmsPerKelvin, least: discrepancyKelvin * w.OhmsPerKelvin}
	for i, kelvin := range arrivalKelvin {
		mix.deviations[i] = kelvin * w.OhmsPerKelvin
	}
	for _, s := range slow {
		mix.add(s.weight*shares[0], 0, s, s)
		for j, q := range quickShares[1:] {
			if shares[j+1] < leastWeight {
				continue
			}
			told := quick[:]
			if q < leastToldApart {
				told = quick[len(quick)/2 : len(quick)/2+1]
			}
			for _, f := range told {
				mix.add(s.weight*shares[j+1]/float64(len(told)), q, s, f)
			}
		}
	}
	m.normalise(mix.most)
}

// leastToldApart is the least share in the wire by which its time constants are
// told apart; below it the middle one stands for all.
const leastToldApart = 0.1

// leastWeight of a share is not worth its time.
const leastWeight = 1e-4

// mixture is a posterior: normal components in ohms. It is filled in place, for a
// capture asks for one at every reading.
type mixture struct {
	bumps [ways * len(tauSteps) * (1 + (len(quickShares)-1)*len(quickSeconds))]bump
	n     int
}

// mixer puts a mixture together: every shape and way of arriving.
type mixer struct {
	*mixture
	weights    [ways]float64
	deviations [ways]float64 // of the excess at contact, in ohms
	seen       summary
	any        bool
	soaked     bool
	// picked is what the hand adds after a soak, least how well any excess is
	// known at the best.
	picked, least float64
	// most is the largest exponent so far.
	most float64
}

// add takes one shape: a share q of the excess in the quick decay.
func (m *mixer) add(weight, q float64, slow, quick decay) {
	now := (1-q)*slow.now + q*quick.now
	soaked := (1-q)*slow.soaked + q*quick.soaked
	var shape [order]float64
	for i := range shape {
		shape[i] = (1-q)*slow.shape[i] + q*quick.shape[i]
	}
	precision, moment := 0.0, 0.0
	if m.any {
		precision, moment = m.seen.fit(shape)
	}
	for i, deviation := range m.deviations {
		if m.soaked {
			deviation = math.Hypot(deviation*soaked, m.picked)
		}
		// The ohms C at contact: prior N(0, deviation²), likelihood
		// exp(−(precision·C² − 2·moment·C)/2); both are normal, and so is
		// their product.
		prior := 1 / (deviation * deviation)
		total := prior + precision
		at := moment / total
		exponent := total * at * at / 2
		m.most = max(m.most, exponent)
		m.bumps[m.n] = bump{weight * m.weights[i] * math.Sqrt(prior/total), exponent, at * now, max(now/math.Sqrt(total), m.least)}
		m.n++
	}
}

// pickedUpKelvin is the standard deviation of what the hand that takes a coil
// from its rack adds.
const pickedUpKelvin = 0.3

// negligible is the logarithm of a share nobody would miss.
const negligible = -14

// normalise takes the exponents, of which one is the largest, into the weights,
// makes these add up to 1, and leaves out what does not count.
func (m *mixture) normalise(most float64) {
	sum, kept := 0.0, 0
	for _, b := range m.bumps[:m.n] {
		if below := b.exponent - most; below > negligible {
			b.weight *= math.Exp(below)
			sum += b.weight
			m.bumps[kept] = b
			kept++
		}
	}
	m.n = kept
	for i := range m.bumps[:kept] {
		m.bumps[i].weight /= sum
	}
}
