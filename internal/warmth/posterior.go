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

// posterior is the mixture of the excess now, in ohms, weights adding up to 1.
func (p Prior) posterior(w Watched, seen summary, any bool) []bump {
	var slow [len(tauSteps)]decay
	for i, step := range tauSteps {
		logarithm, weight := p.timeConstantCell(step)
		slow[i] = newDecay(p.TimeConstantSeconds*math.Exp(logarithm), weight, w, p.SoakedSeconds, seen)
	}
	var quick [len(quickSeconds)]decay
	for i, seconds := range quickSeconds {
		quick[i] = newDecay(seconds, 1.0/float64(len(quickSeconds)), w, p.SoakedSeconds, seen)
	}
	shares := p.shareWeights()
	mix := mixer{weights: p.arrivalWeights(), perKelvin: w.OhmsPerKelvin, seen: seen, any: any, soaked: p.SoakedSeconds > 0,
		terms: make([]term, 0, ways*len(slow)*(1+(len(quickShares)-1)*len(quick)))}
	for _, s := range slow {
		mix.add(s.weight*shares[0], 0, s, s)
		for j, q := range quickShares[1:] {
			if shares[j+1] < leastWeight {
				continue
			}
			for _, f := range quick {
				mix.add(s.weight*shares[j+1]*f.weight, q, s, f)
			}
		}
	}
	return mix.bumps()
}

// leastWeight of a share is not worth its time.
const leastWeight = 1e-4

// mixer gathers the posterior of every shape and way of arriving.
type mixer struct {
	weights   [ways]float64
	perKelvin float64
	seen      summary
	any       bool
	soaked    bool
	terms     []term
	most      float64
}

// term is one normal component of the posterior; its weight is
// factor·exp(exponent).
type term struct{ factor, exponent, mean, deviation float64 }

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
	for i, kelvin := range arrivalKelvin {
		deviation := kelvin * m.perKelvin
		if m.soaked {
			deviation = math.Hypot(deviation*soaked, pickedUpKelvin*m.perKelvin)
		}
		// The ohms C at contact: prior N(0, deviation²), likelihood
		// exp(−(precision·C² − 2·moment·C)/2); both are normal, and so is
		// their product.
		prior := 1 / (deviation * deviation)
		total := prior + precision
		at := moment / total
		t := term{weight * m.weights[i] * math.Sqrt(prior/total), total * at * at / 2, at * now, now / math.Sqrt(total)}
		m.most = max(m.most, t.exponent)
		m.terms = append(m.terms, t)
	}
}

// pickedUpKelvin is the standard deviation of what the hand that takes a coil
// from its rack adds.
const pickedUpKelvin = 0.3

// negligible is the logarithm of a share nobody would miss.
const negligible = -14

// bumps gives the mixture with weights that add up to 1; what does not count is
// left out.
func (m *mixer) bumps() []bump {
	sum, kept := 0.0, make([]bump, 0, len(m.terms))
	for _, t := range m.terms {
		if below := t.exponent - m.most; below > negligible {
			weight := t.factor * math.Exp(below)
			sum += weight
			kept = append(kept, bump{weight, t.mean, t.deviation})
		}
	}
	for i := range kept {
		kept[i].weight /= sum
	}
	return kept
}
