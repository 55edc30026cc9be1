package drift

import (
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"testing"
)

// The exact pairing agrees with trying every pairing there is.
func TestPairsAgainstEveryChoice(t *testing.T) {
	random := rand.New(rand.NewPCG(21, 22))
	for round := range 200 {
		stock := shelf(random, "A", 1+random.IntN(8))
		other := shelf(random, "B", random.IntN(6))
		limit := 0.002 + 0.02*random.Float64()
		within, err := PairWithin(stock, limit)
		if err != nil {
			t.Fatal(err)
		}
		compareChoice(t, fmt.Sprintf("within, round %d", round), within, len(stock), everyWithin(stock, limit))
		across, err := PairAcross(stock, other, limit)
		if err != nil {
			t.Fatal(err)
		}
		compareChoice(t, fmt.Sprintf("across, round %d", round), across, len(stock)+len(other), everyAcross(stock, other, limit))
	}
}

func shelf(random *rand.Rand, name string, n int) []Stocked {
	stock := make([]Stocked, n)
	for i := range stock {
		stock[i] = Stocked{Serial: fmt.Sprint(name, i), R20Ohms: targetOhms * (1 + 0.01*random.NormFloat64()), TargetOhms: targetOhms}
	}
	return stock
}

func compareChoice(t *testing.T, what string, got PickList, coils int, want choice) {
	t.Helper()
	cost, seen := 0.0, map[string]bool{}
	for _, p := range got.Pairs {
		cost += p.DifferenceRatio * p.DifferenceRatio
		seen[p.First], seen[p.Second] = true, true
	}
	for _, s := range got.LeftOver {
		seen[s] = true
	}
	if len(got.Pairs) != want.pairs || math.Abs(cost-want.cost) > 1e-15 {
		t.Fatalf("%s: %d pairs at %g, want %d at %g", what, len(got.Pairs), cost, want.pairs, want.cost)
	}
	if len(seen) != coils || 2*len(got.Pairs)+len(got.LeftOver) != coils {
		t.Fatalf("%s: %+v does not hold each of %d coils once", what, got, coils)
	}
}

func everyWithin(stock []Stocked, limit float64) choice {
	if len(stock) < 2 {
		return choice{}
	}
	best := everyWithin(stock[1:], limit)
	for j := 1; j < len(stock); j++ {
		rest := append(append([]Stocked{}, stock[1:j]...), stock[j+1:]...)
		if d := logDifference(stock[0], stock[j]); math.Abs(d) <= limit {
			if c := everyWithin(rest, limit).withPair(d, limit); c.betterThan(best) {
				best = c
			}
		}
	}
	return best
}

func everyAcross(a, b []Stocked, limit float64) choice {
	if len(a) == 0 || len(b) == 0 {
		return choice{}
	}
	best := everyAcross(a[1:], b, limit)
	for j := range b {
		rest := append(append([]Stocked{}, b[:j]...), b[j+1:]...)
		if d := logDifference(a[0], b[j]); math.Abs(d) <= limit {
			if c := everyAcross(a[1:], rest, limit).withPair(d, limit); c.betterThan(best) {
				best = c
			}
		}
	}
	return best
}

func TestPairsRefuse(t *testing.T) {
	good := []Stocked{{Serial: "a", R20Ohms: 1}}
	for name, pair := range map[string]func() (PickList, error){
		"no limit":      func() (PickList, error) { return PairWithin(good, 0) },
		"no resistance": func() (PickList, error) { return PairAcross(good, []Stocked{{Serial: "b"}}, 1) },
		"too many":      func() (PickList, error) { return PairWithin(make([]Stocked, maxStock+1), 1) },
	} {
		if _, err := pair(); !errors.Is(err, ErrInput) {
			t.Errorf("%s: got %v, want ErrInput", name, err)
		}
	}
}
