package history

import (
	"encoding/json"
	"errors"
	"math"

	"coilkeep/internal/uncertainty"
)

// budgetWords is what a component says in words, the same for many coils.
type budgetWords struct {
	Source       string `json:"source"`
	Origin       string `json:"origin,omitempty"`
	Unit         string `json:"unit"`
	Distribution string `json:"distribution"`
}

// splitBudget takes a budget apart for keeping: its words, and for each component
// the numbers that differ from coil to coil: value, standard uncertainty,
// sensitivity and degrees of freedom. The contributions follow from them, and the
// shares from the contributions and the combined variance, which stands before
// them in a list of its own. Shares that do not follow stand behind the degrees of
// freedom instead, as they do in what was kept before. words is "" for a budget
// whose contributions do not follow; that is kept whole.
func splitBudget(budget []uncertainty.Component) (words, rest string, err error) {
	var texts []budgetWords
	var numbers [][]float64
	variance, follows := varianceOf(budget)
	if follows {
		numbers = append(numbers, []float64{variance})
	}
	for _, c := range budget {
		if c.ContributionOhms != contribution(c) {
			rest, err = pack(budget)
			return "", rest, err
		}
		texts = append(texts, budgetWords{c.Source, c.Origin, c.Unit, c.Distribution})
		kept := []float64{c.Value, c.StandardUncertainty, c.Sensitivity}
		switch {
		case !follows:
			kept = append(kept, c.DegreesOfFreedom, c.Share)
		case c.DegreesOfFreedom != 0:
			kept = append(kept, c.DegreesOfFreedom)
		}
		numbers = append(numbers, kept)
	}
	if words, err = pack(texts); err != nil {
		return "", "", err
	}
	rest, err = pack(numbers)
	return words, rest, err
}

// contribution is that of a component by its sensitivity and standard uncertainty.
// One product, so that every processor gives the same.
func contribution(c uncertainty.Component) float64 {
	return math.Abs(c.Sensitivity) * c.StandardUncertainty
}

// shareOf is the share of a component in a variance; a product and a quotient, so
// that every processor gives the same.
func shareOf(c uncertainty.Component, variance float64) float64 {
	ohms := contribution(c)
	return ohms * ohms / variance
}

// varianceOf is the combined variance that gives the shares of a budget to the last
// bit. It follows from the share of the first component but for that share's
// rounding, so that a neighbour may be the one.
func varianceOf(budget []uncertainty.Component) (variance float64, follows bool) {
	if len(budget) == 0 || budget[0].Share <= 0 {
		return 0, false
	}
	const neighbours = 2
	ohms := contribution(budget[0])
	variance = ohms * ohms / budget[0].Share
	for range neighbours {
		variance = math.Nextafter(variance, 0)
	}
	for range 2*neighbours + 1 {
		follows = true
		for _, c := range budget {
			follows = follows && c.Share == shareOf(c, variance)
		}
		if follows {
			return variance, true
		}
		variance = math.Nextafter(variance, math.Inf(1))
	}
	return 0, false
}

// joinBudget is the budget of words and the rest that was kept with them.
func joinBudget(words, rest string) ([]uncertainty.Component, error) {
	if words == "" {
		return unpack[[]uncertainty.Component](rest)
	}
	var texts []budgetWords
	var numbers [][]float64
	if err := errors.Join(json.Unmarshal([]byte(words), &texts), json.Unmarshal([]byte(rest), &numbers)); err != nil {
		return nil, err
	}
	variance := 0.0
	if len(numbers) > 0 && len(numbers[0]) == 1 {
		variance, numbers = numbers[0][0], numbers[1:]
	}
	if len(texts) != len(numbers) {
		return nil, errors.New("it has not as many numbers as words")
	}
	budget := make([]uncertainty.Component, len(texts))
	for i, t := range texts {
		n := numbers[i]
		if len(n) < 3 || len(n) > 5 {
			return nil, errors.New("a component has too few numbers or too many")
		}
		c := uncertainty.Component{Source: t.Source, Origin: t.Origin, Unit: t.Unit, Distribution: t.Distribution,
			Value: n[0], StandardUncertainty: n[1], Sensitivity: n[2]}
		if len(n) > 3 {
			c.DegreesOfFreedom = n[3]
		}
		if len(n) > 4 {
			c.Share = n[4]
		} else {
			c.Share = shareOf(c, variance)
		}
		c.ContributionOhms = contribution(c)
		budget[i] = c
	}
	return budget, nil
}
