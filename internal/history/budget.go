package history

import (
	"encoding/json"
	"errors"
	"math"
	"reflect"

	"coilkeep/internal/uncertainty"
)

// budgetWords is what a component says in words, the same for many coils.
type budgetWords struct {
	Source       string `json:"source"`
	Origin       string `json:"origin,omitempty"`
	Unit         string `json:"unit"`
	Distribution string `json:"distribution"`
}

// budgetNumbers is what differs: value, standard uncertainty, sensitivity, degrees
// of freedom and share.
type budgetNumbers [5]float64

// splitBudget takes a budget apart for keeping. words is "" for one that would not
// come back to the last digit, which is then kept whole: the contribution of a
// component follows from its sensitivity and standard uncertainty.
func splitBudget(budget []uncertainty.Component) (words, rest string, err error) {
	var texts []budgetWords
	var numbers []budgetNumbers
	for _, c := range budget {
		texts = append(texts, budgetWords{c.Source, c.Origin, c.Unit, c.Distribution})
		numbers = append(numbers, budgetNumbers{c.Value, c.StandardUncertainty, c.Sensitivity, c.DegreesOfFreedom, c.Share})
	}
	if words, err = pack(texts); err != nil {
		return "", "", err
	}
	if rest, err = pack(numbers); err != nil {
		return "", "", err
	}
	if again, err := joinBudget(words, rest); err != nil || !reflect.DeepEqual(again, budget) {
		rest, err = pack(budget)
		return "", rest, err
	}
	return words, rest, nil
}

// joinBudget is the budget of words and the rest that was kept with them.
func joinBudget(words, rest string) ([]uncertainty.Component, error) {
	if words == "" {
		return unpack[[]uncertainty.Component](rest)
	}
	var texts []budgetWords
	var numbers []budgetNumbers
	if err := errors.Join(json.Unmarshal([]byte(words), &texts), json.Unmarshal([]byte(rest), &numbers)); err != nil {
		return nil, err
	}
	if len(texts) != len(numbers) {
		return nil, errors.New("it has not as many numbers as words")
	}
	budget := make([]uncertainty.Component, len(texts))
	for i, t := range texts {
		n := numbers[i]
		budget[i] = uncertainty.Component{Source: t.Source, Origin: t.Origin, Unit: t.Unit, Distribution: t.Distribution,
			Value: n[0], StandardUncertainty: n[1], Sensitivity: n[2], DegreesOfFreedom: n[3], Share: n[4],
			ContributionOhms: math.Abs(n[2]) * n[1]}
	}
	return budget, nil
}
