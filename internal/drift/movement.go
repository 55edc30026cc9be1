package drift

import (
	"math"

	"coilkeep/internal/statistics"
	"coilkeep/internal/words"
)

// movement is how the process moved: the levels and lines that describe the kept
// coils best, with the steps and slopes between them.
type movement struct {
	*series
	// pieces describe the kept coils at a cost, with rss as sum of squares about
	// them; segments cut them.
	segments  *segmenter
	pieces    []piece
	cost, rss float64
	steps     []ChangePoint
	// dependence is nil for too few coils, inTurn where nothing recorded sets coils
	// apart all through.
	dependence *Dependence
	inTurn     *InTurn
	// latest is the line through the last piece, ended are the slopes before it.
	latest *Trend
	ended  []Trend
}

// Dependence is the autocorrelation of what is left after steps and trend.
type Dependence struct {
	Lag1 float64 `json:"lag_1"` // autocorrelation of what is left after steps and trend
	P    float64 `json:"p"`     // of the Ljung-Box test over the first lags
	Lags int     `json:"lags"`  // how many lags
	// True when neighbours depend on each other: then standard errors are widened.
	Flagged  bool    `json:"flagged"`
	Widening float64 `json:"widening"` // by how much: √((1 + r)/(1 − r))
}

// describeMovement cuts the kept coils into levels and lines and lists the steps.
func describeMovement(s *series, b *Baseline, said *notes) *movement {
	m := &movement{series: s, steps: []ChangePoint{}, ended: []Trend{}}
	y := s.keptOhms()
	if len(y) < 2*minPiece {
		m.pieces = []piece{{first: 0, last: len(y), level: statistics.MomentsOf(y).Mean}}
		said.add("too few coils for a step: %d of %d", len(y), 2*minPiece)
		return m
	}
	w := weightsOf(s, b)
	m.cutIntoPieces(y, w, 1)
	m.dependence = dependenceOf(m.residuals(y), said)
	if m.widening() > 1 {
		said.add("neighbouring coils are alike beyond the steps and trend found (correlation %.2f): something drifts slowly or is averaged; "+
			"every test allows for it by widening its errors %.2f times", m.dependence.Lag1, m.dependence.Widening)
		m.cutIntoPieces(y, w, m.dependence.Widening)
	}
	m.takeOutTurns(y, w)
	return m
}

// weightsOf are 1 for coils known as well as usual, less for those known worse.
func weightsOf(s *series, b *Baseline) []float64 {
	sigma := s.usualError
	if b != nil {
		sigma = b.SigmaWithinOhms
	}
	w := make([]float64, len(s.kept))
	for k, i := range s.kept {
		w[k] = 1
		if own := s.ownError(i, s.usualError); own > 0 {
			w[k] = sigma * sigma / (sigma*sigma + own*own)
		}
	}
	return w
}

// cutIntoPieces describes the values of the kept coils, or what is left of them, by
// pieces.
func (m *movement) cutIntoPieces(y, w []float64, widening float64) {
	s := newSegmenter(y, w, widening, m.recordedPlaces())
	m.segments, m.pieces = s, s.describePieces()
	m.cost, m.rss = s.costOfPieces(m.pieces), s.rssOfPieces(m.pieces)
	m.steps = m.listSteps()
	for i := range m.pieces {
		m.pieces[i].level += s.mean0
	}
}

// widening is what every standard error is multiplied by, because neighbours
// depend on each other; 1 where they do not.
func (m *movement) widening() float64 {
	if m.dependence == nil {
		return 1
	}
	return m.dependence.Widening
}

// trends are the real ones, the oldest first.
func (m *movement) trends() []*Trend {
	var real []*Trend
	for i := range m.ended {
		real = append(real, &m.ended[i])
	}
	if m.latest != nil && m.latest.Real {
		real = append(real, m.latest)
	}
	return real
}

// levels is the height of the description at every coil; outliers take that of
// the coil before.
func (m *movement) levels() []float64 {
	levels := make([]float64, len(m.coils))
	known := make([]bool, len(m.coils))
	for _, p := range m.pieces {
		for k := p.first; k < p.last; k++ {
			levels[m.kept[k]], known[m.kept[k]] = p.heightAt(k), true
		}
	}
	last := 0.0
	if len(m.kept) > 0 {
		last = levels[m.kept[0]]
	}
	for i := range levels {
		if known[i] {
			last = levels[i]
		}
		levels[i] = last
	}
	return levels
}

// residuals are the kept coils less the levels, in order.
func (m *movement) residuals(y []float64) []float64 {
	r := make([]float64, len(y))
	for _, p := range m.pieces {
		for k := p.first; k < p.last; k++ {
			r[k] = y[k] - p.heightAt(k)
		}
	}
	return r
}

// dependenceOf tests what the steps and lines leave; nil for too few coils.
func dependenceOf(residuals []float64, said *notes) *Dependence {
	const lags, fewest = 5, 20
	n := len(residuals)
	if n < fewest {
		said.add("whether neighbouring coils are alike cannot be told from %s: it takes %d", words.Count(n, "coil"), fewest)
		return nil
	}
	r, err := statistics.Autocorrelation(residuals, lags)
	if err != nil {
		said.add("autocorrelation cannot be told: %v", err)
		return nil
	}
	d := &Dependence{Lag1: r[0], Lags: lags, Widening: 1}
	_, d.P = statistics.LjungBox(r, n)
	// Positive dependence only makes errors too small.
	if r[0] > statistics.NormalQuantile(1-alpha/2)/math.Sqrt(float64(n)) {
		d.Flagged = true
		d.Widening = math.Sqrt((1 + r[0]) / (1 - min(r[0], 0.99)))
	}
	return d
}
