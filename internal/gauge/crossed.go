// Package gauge judges the measuring itself: a crossed study of parts,
// operators and repeats, and a check standard watched over time. What is
// measured, and how, it leaves to others.
package gauge

import (
	"errors"
	"fmt"
	"math"

	"coilkeep/internal/statistics"
)

// ErrInput is returned for readings no study can be made of.
var ErrInput = errors.New("no study from this")

// Reading is one result of a study.
type Reading struct {
	Part, Operator string
	Value          float64
}

// Effect is one line of the analysis of variance.
type Effect struct {
	SumOfSquares     float64 `json:"sum_of_squares"`
	DegreesOfFreedom int     `json:"degrees_of_freedom"`
	MeanSquare       float64 `json:"mean_square"`
	// F and P compare it with what it would be by chance: parts and operators
	// with the interaction, or the pooled error; the interaction with the
	// repeatability. Both are left out for the repeatability.
	F *float64 `json:"f,omitempty"`
	P *float64 `json:"p,omitempty"`
}

// Share is one source of variation.
type Share struct {
	Variance          float64 `json:"variance"`
	StandardDeviation float64 `json:"standard_deviation"`
	// Raw is the variance before it was clipped at zero; Clipped says so.
	Raw     float64 `json:"raw_variance"`
	Clipped bool    `json:"clipped"`
	// ContributionPercent is of the total variance, StudyPercent of the total
	// standard deviation, TolerancePercent six standard deviations of the width
	// of the tolerance; the last is left out without one.
	ContributionPercent float64  `json:"contribution_percent"`
	StudyPercent        float64  `json:"study_percent"`
	TolerancePercent    *float64 `json:"tolerance_percent,omitempty"`
}

// Study is the result of a crossed study. All standard deviations are in the
// unit of the values.
type Study struct {
	Parts     int `json:"parts"`
	Operators int `json:"operators"`
	Repeats   int `json:"repeats"`

	Part        Effect `json:"part"`
	Operator    Effect `json:"operator"`
	Interaction Effect `json:"interaction"`
	Error       Effect `json:"error"`
	// Pooled is true when the interaction is counted to the repeatability.
	Pooled bool `json:"pooled"`

	Repeatability Share `json:"repeatability"`
	// Reproducibility is operators and their interaction with parts.
	Reproducibility      Share `json:"reproducibility"`
	OperatorVariation    Share `json:"operator_variation"`
	InteractionVariation Share `json:"interaction_variation"`
	Gauge                Share `json:"gauge"` // repeatability and reproducibility
	PartVariation        Share `json:"part_variation"`
	Total                Share `json:"total"`
	// RepeatabilityLow and RepeatabilityHigh hold its standard deviation with
	// 95 % confidence (chi squared).
	RepeatabilityLow      float64 `json:"repeatability_low"`
	RepeatabilityHigh     float64 `json:"repeatability_high"`
	DistinctCategories    int     `json:"distinct_categories"`
	DistinctCategoriesRaw float64 `json:"distinct_categories_raw"`
	LimitedBy             Limit   `json:"limited_by"`
	Sentence              string  `json:"sentence"`
}

// Limit is what the measuring could be made better by first.
type Limit string

// What can limit the measuring: the steps of the display, when nothing else
// scatters; the same hands measuring the same coil again; operators against
// each other on all coils, or on some of them.
const (
	ByResolution    Limit = "resolution"
	ByRepeatability Limit = "repeatability"
	ByOperators     Limit = "operators"
	ByInteraction   Limit = "interaction"
)

// largestSource is the largest of what makes up the measuring.
func (s *Study) largestSource() Limit {
	switch {
	case s.Gauge.StandardDeviation == 0:
		return ByResolution
	case s.Repeatability.Variance >= s.Reproducibility.Variance:
		return ByRepeatability
	case s.OperatorVariation.Variance >= s.InteractionVariation.Variance:
		return ByOperators
	}
	return ByInteraction
}

var limitWords = map[Limit]string{
	ByRepeatability: "repeating the same coil by the same hands",
	ByOperators:     "the difference between operators",
	ByInteraction:   "operators differing on some coils and not on others",
}

// poolAbove is the P of the interaction above which it counts as repeatability.
const poolAbove = 0.05

// AnalyseCrossed analyses a study in which every operator measured every part the same
// number of times, twice at least, by the ANOVA method for random parts and
// operators (NIST/SEMATECH e-Handbook 2.4; Measurement Systems Analysis
// Reference Manual, 4th ed., appendix A). The interaction is pooled into the
// repeatability when its P is above 0.05. toleranceWidth is upper less lower
// limit, 0 without one. An incomplete study is refused.
func AnalyseCrossed(readings []Reading, toleranceWidth float64) (Study, error) {
	t, err := tabulateReadings(readings)
	if err != nil {
		return Study{}, err
	}
	s := Study{Parts: len(t.parts), Operators: len(t.operators), Repeats: t.repeats}
	s.sumsOfSquares(t)
	s.testEffects()
	s.splitVariance(toleranceWidth)
	return s, nil
}

// table is the readings by part and operator, each cell equally long.
type table struct {
	parts, operators []string
	cells            map[[2]string][]float64
	repeats          int
	origin           float64
}

func tabulateReadings(readings []Reading) (table, error) {
	t := table{cells: map[[2]string][]float64{}}
	seenPart, seenOperator := map[string]bool{}, map[string]bool{}
	for i, r := range readings {
		if math.IsNaN(r.Value) || math.IsInf(r.Value, 0) {
			return table{}, fmt.Errorf("reading %d of part %s by %s: %w; %g is not a number to reckon with", i+1, r.Part, r.Operator, ErrInput,
				r.Value)
		}
		if !seenPart[r.Part] {
			seenPart[r.Part] = true
			t.parts = append(t.parts, r.Part)
		}
		if !seenOperator[r.Operator] {
			seenOperator[r.Operator] = true
			t.operators = append(t.operators, r.Operator)
		}
		key := [2]string{r.Part, r.Operator}
		t.cells[key] = append(t.cells[key], r.Value)
	}
	if len(t.parts) < 2 || len(t.operators) < 2 {
		return table{}, fmt.Errorf("study of %d parts by %d operators: %w; two of each are the least, ten parts and three operators are "+
			"usual", len(t.parts), len(t.operators), ErrInput)
	}
	t.origin = readings[0].Value
	t.repeats = len(t.cells[[2]string{t.parts[0], t.operators[0]}])
	for _, p := range t.parts {
		for _, o := range t.operators {
			if n := len(t.cells[[2]string{p, o}]); n != t.repeats || n < 2 {
				return table{}, fmt.Errorf("part %s by %s has %d readings: %w; every operator measures every part equally often, twice at least",
					p, o, n, ErrInput)
			}
		}
	}
	return t, nil
}

// meanAboutOrigin of readings about the origin.
func (t table) meanAboutOrigin(parts, operators []string) float64 {
	sum, n := 0.0, 0
	for _, p := range parts {
		for _, o := range operators {
			for _, v := range t.cells[[2]string{p, o}] {
				sum += v - t.origin
				n++
			}
		}
	}
	return sum / float64(n)
}

func (s *Study) sumsOfSquares(t table) {
	p, o, r := float64(s.Parts), float64(s.Operators), float64(s.Repeats)
	grand := t.meanAboutOrigin(t.parts, t.operators)
	partMeans, operatorMeans := map[string]float64{}, map[string]float64{}
	var parts, operators, interaction, within float64
	for _, part := range t.parts {
		partMeans[part] = t.meanAboutOrigin([]string{part}, t.operators)
		parts += o * r * squareOf(partMeans[part]-grand)
	}
	for _, operator := range t.operators {
		operatorMeans[operator] = t.meanAboutOrigin(t.parts, []string{operator})
		operators += p * r * squareOf(operatorMeans[operator]-grand)
	}
	for _, part := range t.parts {
		for _, operator := range t.operators {
			cell := t.meanAboutOrigin([]string{part}, []string{operator})
			interaction += r * squareOf(cell-partMeans[part]-operatorMeans[operator]+grand)
			for _, v := range t.cells[[2]string{part, operator}] {
				within += squareOf(v - t.origin - cell)
			}
		}
	}
	s.Part = effectOf(parts, s.Parts-1)
	s.Operator = effectOf(operators, s.Operators-1)
	s.Interaction = effectOf(interaction, (s.Parts-1)*(s.Operators-1))
	s.Error = effectOf(within, s.Parts*s.Operators*(s.Repeats-1))
}

func effectOf(sumOfSquares float64, df int) Effect {
	return Effect{SumOfSquares: sumOfSquares, DegreesOfFreedom: df, MeanSquare: sumOfSquares / float64(df)}
}

func (s *Study) testEffects() {
	s.Interaction.compareWith(s.Error)
	s.Pooled = *s.Interaction.P > poolAbove
	random := s.randomError()
	s.Part.compareWith(random)
	s.Operator.compareWith(random)
}

// randomError is what parts and operators are compared with.
func (s *Study) randomError() Effect {
	if !s.Pooled {
		return s.Interaction
	}
	return effectOf(s.Interaction.SumOfSquares+s.Error.SumOfSquares, s.Interaction.DegreesOfFreedom+s.Error.DegreesOfFreedom)
}

// compareWith fills in F and P; where the other does not vary at all there is no
// F, and anything that does vary is certain.
func (e *Effect) compareWith(other Effect) {
	p := 1.0
	switch {
	case other.MeanSquare > 0:
		f := e.MeanSquare / other.MeanSquare
		p = statistics.FisherP(f, float64(e.DegreesOfFreedom), float64(other.DegreesOfFreedom))
		e.F = &f
	case e.MeanSquare > 0:
		p = 0
	}
	e.P = &p
}

func (s *Study) splitVariance(toleranceWidth float64) {
	p, o, r := float64(s.Parts), float64(s.Operators), float64(s.Repeats)
	random, repeatability := s.randomError(), s.Error
	interaction := 0.0
	if s.Pooled {
		repeatability = random
	} else {
		interaction = (s.Interaction.MeanSquare - s.Error.MeanSquare) / r
	}
	s.Repeatability = shareOf(repeatability.MeanSquare)
	s.InteractionVariation = shareOf(interaction)
	s.OperatorVariation = shareOf((s.Operator.MeanSquare - random.MeanSquare) / (p * r))
	s.PartVariation = shareOf((s.Part.MeanSquare - random.MeanSquare) / (o * r))
	s.Reproducibility = shareOf(s.OperatorVariation.Variance + s.InteractionVariation.Variance)
	s.Gauge = shareOf(s.Repeatability.Variance + s.Reproducibility.Variance)
	s.Total = shareOf(s.Gauge.Variance + s.PartVariation.Variance)
	for _, x := range []*Share{&s.Repeatability, &s.InteractionVariation, &s.OperatorVariation, &s.PartVariation, &s.Reproducibility,
		&s.Gauge, &s.Total} {
		x.compareWithTotal(s.Total, toleranceWidth)
	}
	df := float64(repeatability.DegreesOfFreedom)
	s.RepeatabilityLow = math.Sqrt(repeatability.SumOfSquares / statistics.ChiSquareQuantile(0.975, df))
	s.RepeatabilityHigh = math.Sqrt(repeatability.SumOfSquares / statistics.ChiSquareQuantile(0.025, df))
	if s.Gauge.StandardDeviation > 0 {
		s.DistinctCategoriesRaw = math.Sqrt2 * s.PartVariation.StandardDeviation / s.Gauge.StandardDeviation
		s.DistinctCategories = int(math.Min(1000, 1.41/math.Sqrt2*s.DistinctCategoriesRaw))
	}
	s.LimitedBy = s.largestSource()
	s.Sentence = s.sentence()
}

func shareOf(raw float64) Share {
	v := math.Max(0, raw)
	return Share{Variance: v, StandardDeviation: math.Sqrt(v), Raw: raw, Clipped: raw < 0}
}

func (s *Share) compareWithTotal(total Share, toleranceWidth float64) {
	if total.Variance > 0 {
		s.ContributionPercent = 100 * s.Variance / total.Variance
		s.StudyPercent = 100 * s.StandardDeviation / total.StandardDeviation
	}
	if toleranceWidth > 0 {
		percent := 100 * 6 * s.StandardDeviation / toleranceWidth
		s.TolerancePercent = &percent
	}
}

// sentence says how good the measuring is and what limits it. The bounds of 10
// and 30 % are those of the reference manual.
func (s *Study) sentence() string {
	if s.LimitedBy == ByResolution {
		return "no scatter of the measuring shows at all: the resolution is too coarse, or the values were copied"
	}
	against, percent := "the spread of the coils studied", s.Gauge.StudyPercent
	if s.Gauge.TolerancePercent != nil {
		against, percent = "the tolerance", *s.Gauge.TolerancePercent
	}
	grade := "good"
	switch {
	case percent > 30:
		grade = "not good enough"
	case percent > 10:
		grade = "usable with care"
	}
	return fmt.Sprintf("the measuring takes up %.0f %% of %s: %s; what limits it is %s", percent, against, grade, limitWords[s.LimitedBy])
}

func squareOf(v float64) float64 { return v * v }
