package compare

import (
	"cmp"
	"math"
	"slices"
)

// weighed is a model with what the evidence says of it.
type weighed struct {
	model
	// marginal is the probability density of all readings, averaged over the
	// prior range.
	marginal    float64
	probability float64
	// reading is the one whose parameter is meant, where each has its own.
	reading int
	// posterior is the prior's cells, in order, weighted by the evidence; the
	// weights add up to 1, or all are 0.
	posterior []node
}

// weigh finds the marginal likelihood of every model and from it the relative
// probabilities (Bayes).
func (e evidence) weigh(models []model) []weighed {
	all := make([]weighed, len(models))
	total := 0.0
	for i, m := range models {
		all[i] = e.weighOne(m)
		total += m.weight * all[i].marginal
	}
	for i := range all {
		all[i].probability = all[i].weight * all[i].marginal / total
	}
	slices.SortStableFunc(all, func(a, b weighed) int { return cmp.Compare(b.probability, a.probability) })
	return all
}

func (e evidence) weighOne(m model) weighed {
	c := e.common(m)
	w := weighed{model: m}
	if m.acts == onSomeOwn {
		e.weighOwn(&w, c)
	} else {
		e.weighShared(&w, c)
	}
	total := 0.0
	for _, n := range w.posterior {
		total += n.weight
	}
	if total > 0 {
		for i := range w.posterior {
			w.posterior[i].weight /= total
		}
	}
	slices.SortStableFunc(w.posterior, func(a, b node) int { return cmp.Compare(a.value, b.value) })
	return w
}

// weighShared weighs a model whose parameter is the same for every reading.
func (e evidence) weighShared(w *weighed, c common) {
	every := make([]int, len(e.shown))
	for i := range every {
		every[i] = i
	}
	base := e.base(c)
	w.posterior = e.nodes(w.model, w.prior(0), every, c)
	for k := range w.posterior {
		n := &w.posterior[k]
		under := make([][]float64, len(e.shown))
		for i, s := range e.situations {
			under[i] = e.likelihoods(i, w.apply(s, n.value), c)
		}
		sum := 0.0
		for j, weight := range c.weights {
			sum += weight * e.joint(w.acts, under, base, j)
		}
		n.weight *= sum
		w.marginal += n.weight
	}
}

// weighOwn weighs a model whose parameter has a value of its own in every
// reading, and keeps that of the reading it shows in most.
func (e evidence) weighOwn(w *weighed, c common) {
	base := e.base(c)
	under := make([][]float64, len(e.shown))
	cells := make([][]node, len(e.shown))
	perCell := make([][][]float64, len(e.shown))
	for i, s := range e.situations {
		under[i] = make([]float64, len(c.ratios))
		cells[i] = e.nodes(w.model, w.prior(i), []int{i}, c)
		for _, n := range cells[i] {
			densities := e.likelihoods(i, w.apply(s, n.value), c)
			for j, density := range densities {
				under[i][j] += n.weight * density
			}
			perCell[i] = append(perCell[i], densities)
		}
	}
	for j, weight := range c.weights {
		w.marginal += weight * e.joint(w.acts, under, base, j)
	}
	w.reading = mostShown(under, base, c)
	w.posterior = cells[w.reading]
	for k := range w.posterior {
		part := 0.0
		for j, weight := range c.weights {
			rest := perCell[w.reading][k][j]
			for i := range e.shown {
				if i != w.reading {
					rest *= (base[i][j] + under[i][j]) / 2
				}
			}
			part += weight * rest
		}
		w.posterior[k].weight *= part
	}
}

// mostShown is the reading that is best explained by a cause in comparison with
// nothing.
func mostShown(under, base [][]float64, c common) int {
	best, share := 0, -1.0
	for i := range under {
		with, without := 0.0, 0.0
		for j, weight := range c.weights {
			with += weight * under[i][j]
			without += weight * base[i][j]
		}
		if with > 0 && with/(with+without) > share {
			best, share = i, with/(with+without)
		}
	}
	return best
}

// base is the likelihoods of the readings with no cause acting.
func (e evidence) base(c common) [][]float64 {
	base := make([][]float64, len(e.shown))
	for i, s := range e.situations {
		base[i] = e.likelihoods(i, s, c)
	}
	return base
}

// joint is the probability density of all readings at value j of what they
// share. A cause that acts on some of them acts on any choice but none, each
// with equal probability:
//
//	(Π (base + under)/2 − Π base/2) / (1 − 2⁻ⁿ)
func (e evidence) joint(acts acting, under, base [][]float64, j int) float64 {
	every, either, none := 1.0, 1.0, 1.0
	for i := range e.shown {
		every *= under[i][j]
		either *= (under[i][j] + base[i][j]) / 2
		none *= base[i][j] / 2
	}
	if acts == onEvery {
		return every
	}
	return max(0, either-none) / (1 - math.Pow(2, -float64(len(e.shown))))
}

// value is what the evidence implies for the parameter: the single value that
// carries most of the weight, or else the median; and the 95 % interval with
// equal tails.
func (w weighed) value() (value, low, high float64) {
	for _, n := range w.posterior {
		if n.low == n.high && n.weight > 0.5 {
			value = n.value
			return value, w.quantile(0.025), w.quantile(0.975)
		}
	}
	return w.quantile(0.5), w.quantile(0.025), w.quantile(0.975)
}

// mode is the middle of the cell the evidence favours most, per unit of prior.
func (w weighed) mode() float64 {
	best := w.posterior[0]
	for _, n := range w.posterior {
		if n.weight*(best.high-best.low) > best.weight*(n.high-n.low) {
			best = n
		}
	}
	return best.value
}

// quantile is the value below which the fraction q of the posterior lies.
func (w weighed) quantile(q float64) float64 {
	below := 0.0
	for _, n := range w.posterior {
		if n.weight > 0 && below+n.weight >= q {
			return n.low + (n.high-n.low)*(q-below)/n.weight
		}
		below += n.weight
	}
	// Rounding left the sum a hair below 1, or nothing is left at all.
	for _, n := range slices.Backward(w.posterior) {
		if n.weight > 0 {
			return n.high
		}
	}
	return w.posterior[len(w.posterior)-1].value
}
