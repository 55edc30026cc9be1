package history

import (
	"math/rand/v2"
	"reflect"
	"strings"
	"testing"

	"coilkeep/internal/record"
	"coilkeep/internal/uncertainty"
)

// A budget comes back to the last digit, however it is kept.
func TestBudgetComesBack(t *testing.T) {
	t.Parallel()
	m, _ := sample(t, "HN-0001", 6690, firstInstant)
	random := rand.New(rand.NewPCG(1, 9))
	for range 2000 {
		budget := append([]uncertainty.Component{}, m.Budget...)
		for i := range budget {
			budget[i].StandardUncertainty *= random.Float64()
			budget[i].Sensitivity *= -3 * random.Float64()
		}
		combined, err := uncertainty.Combine(budget)
		if err != nil {
			t.Fatal(err)
		}
		words, rest, err := splitBudget(combined.Budget)
		if err != nil || words == "" || len(rest) > 70*len(budget) {
			t.Fatalf("kept as %q and %q, %v", words, rest, err)
		}
		if back, err := joinBudget(words, rest); err != nil || !reflect.DeepEqual(back, combined.Budget) {
			t.Fatalf("came back as %+v, %v\nwant %+v", back, err, combined.Budget)
		}
	}
	// As it was kept before.
	const words, numbers = `[{"source":"a","unit":"K","distribution":"normal"}]`, `[[20,0.5,-2,7,0.9]]`
	want := []uncertainty.Component{{Source: "a", Unit: "K", Distribution: "normal", Value: 20, StandardUncertainty: 0.5, Sensitivity: -2,
		DegreesOfFreedom: 7, Share: 0.9, ContributionOhms: 1}}
	if back, err := joinBudget(words, numbers); err != nil || !reflect.DeepEqual(back, want) {
		t.Errorf("came back as %+v, %v", back, err)
	}
	// One with shares of another sum, or of none.
	for _, shares := range [][]float64{{0.5, 0.9}, {0, 0}} {
		odd := append([]uncertainty.Component{}, m.Budget[:2]...)
		odd[0].Share, odd[1].Share = shares[0], shares[1]
		words, rest, err := splitBudget(odd)
		if err != nil || words == "" {
			t.Errorf("kept as %q and %q, %v", words, rest, err)
		}
		if back, err := joinBudget(words, rest); err != nil || !reflect.DeepEqual(back, odd) {
			t.Errorf("came back as %+v, %v", back, err)
		}
	}
	// One that somebody else reckoned otherwise is kept whole.
	odd := append([]uncertainty.Component{}, m.Budget...)
	odd[0].ContributionOhms *= 1.0000000001
	none, rest, err := splitBudget(odd)
	if err != nil || none != "" {
		t.Errorf("kept as %q and %q, %v", none, rest, err)
	}
	if back, err := joinBudget(none, rest); err != nil || !reflect.DeepEqual(back, odd) {
		t.Errorf("came back as %+v, %v", back, err)
	}
	if none, err := joinBudget("", ""); err != nil || none != nil {
		t.Errorf("no budget comes back as %+v, %v", none, err)
	}
	for _, spoiled := range [][2]string{{"[", "[]"}, {`[{"source":"a"}]`, "[]"}, {`[{"source":"a"}]`, "none"},
		{`[{"source":"a"}]`, "[[]]"}, {`[{"source":"a"}]`, "[[1],[1,2,3,4,5,6]]"}} {
		if _, err := joinBudget(spoiled[0], spoiled[1]); err == nil {
			t.Errorf("%q came back", spoiled)
		}
	}
}

// The words of a budget are kept once, however many coils say them.
func TestBudgetWordsAreKeptOnce(t *testing.T) {
	t.Parallel()
	s := workshop(t)
	var kept []record.Measurement
	for _, serial := range strings.Fields("HN-0001 HN-0002 HN-0003") {
		kept = append(kept, recordCoil(t, s, serial))
	}
	if n := count(t, s, `SELECT COUNT(*) FROM budget_words`); n != 1 {
		t.Errorf("kept %d times", n)
	}
	for _, m := range kept {
		back, _, err := s.Measurement(t.Context(), m.ID)
		if err != nil || !reflect.DeepEqual(back.Budget, m.Budget) {
			t.Errorf("coil %s: budget %+v, %v", m.Serial, back.Budget, err)
		}
	}
}
