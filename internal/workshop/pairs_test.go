package workshop

import (
	"context"
	"errors"
	"math"
	"slices"
	"testing"
	"time"

	"coilkeep/internal/conformity"
	"coilkeep/internal/record"
)

// stockroom is a history of batches and which of their coils are sold.
type stockroom struct {
	batches map[string][]record.Measurement // the oldest first
	sold    []string
	more    string // the cursor of a next page
}

func (s stockroom) Batch(_ context.Context, name string) (record.Batch, error) {
	if _, ok := s.batches[name]; !ok {
		return record.Batch{}, record.ErrNotFound
	}
	return record.Batch{Name: name, Design: "fen", DesignRevision: 1}, nil
}

func (s stockroom) DesignRevision(context.Context, string, int) (record.Design, error) {
	return record.Design{Name: "fen", Revision: 1, TargetOhms: 6690}, nil
}

func (s stockroom) Measurements(_ context.Context, f record.Filter) ([]record.Measurement, string, error) {
	return s.batches[f.Batch], s.more, nil
}

func (s stockroom) Assembled(_ context.Context, serials []string) (map[string]bool, error) {
	sold := map[string]bool{}
	for _, serial := range serials {
		if slices.Contains(s.sold, serial) {
			sold[serial] = true
		}
	}
	return sold, nil
}

// stocked is a coil in tolerance, known to 0.1 %.
func stocked(serial string, r20Ohms float64, change ...func(*record.Measurement)) record.Measurement {
	m := record.Measurement{ID: serial, Time: noon, Serial: serial, R20Ohms: r20Ohms, ExpandedUncertaintyOhms: r20Ohms / 1000,
		Verdict: conformity.In, Status: record.Recorded}
	for _, c := range change {
		c(&m)
	}
	return m
}

func TestPickPairs(t *testing.T) {
	t.Parallel()
	again := func(m *record.Measurement) { m.ID += " again"; m.Time = noon.Add(time.Hour) }
	of := func(status record.Status) func(*record.Measurement) {
		return func(m *record.Measurement) { m.ID += string(status); m.Status = status }
	}
	high := func(m *record.Measurement) { m.Verdict = conformity.High }
	store := stockroom{batches: map[string][]record.Measurement{
		"north": {
			stocked("A", 6600, of(record.Superseded)), stocked("A", 6690), stocked("B", 6695), stocked("C", 6900),
			stocked("D", 7100, high), stocked("E", 6691), stocked("F", 6692, of(record.Void)), stocked("G", 6900),
		},
		"south": {stocked("C", 6901, again), stocked("H", 6692)},
		"sold":  {stocked("E", 6691)},
		"bad":   {stocked("D", 7100, high), stocked("F", 6692, of(record.Void))},
		"empty": {},
	}, sold: []string{"E"}}
	for _, c := range []struct {
		name          string
		request       PairsRequest
		pairs         [][2]string
		left          []string
		out, assembly int
	}{
		// G and C are alike; of the two the one measured later comes first.
		{"with each other", PairsRequest{"north", "", 1}, [][2]string{{"A", "B"}, {"G", "C"}}, nil, 1, 1},
		{"named twice", PairsRequest{" north ", "north", 1}, [][2]string{{"A", "B"}, {"G", "C"}}, nil, 1, 1},
		{"closer", PairsRequest{"north", "", 0.05}, [][2]string{{"G", "C"}}, []string{"A", "B"}, 1, 1},
		// C counts in south, where it was measured last.
		{"across", PairsRequest{"north", "south", 1}, [][2]string{{"A", "H"}, {"G", "C"}}, []string{"B"}, 1, 1},
	} {
		list, err := PickPairs(t.Context(), store, c.request)
		if err != nil {
			t.Errorf("%s: %v", c.name, err)
			continue
		}
		var pairs [][2]string
		for _, p := range list.Pairs {
			pairs = append(pairs, [2]string{p.First, p.Second})
		}
		slices.SortFunc(pairs, func(a, b [2]string) int { return slices.Compare(a[:], b[:]) })
		var left []string
		for _, l := range list.LeftOver {
			left = append(left, l.Serial)
		}
		slices.Sort(left)
		if !slices.Equal(pairs, c.pairs) || !slices.Equal(left, c.left) || list.NotInTolerance != c.out || list.InAssembly != c.assembly {
			t.Errorf("%s: pairs %v, left %v, %d out of tolerance, %d sold; want %v, %v, %d, %d", c.name, pairs, left, list.NotInTolerance,
				list.InAssembly, c.pairs, c.left, c.out, c.assembly)
		}
		if math.Abs(list.KnownRatio-0.001) > 1e-12 {
			t.Errorf("%s: known to %g, want 0.001", c.name, list.KnownRatio)
		}
		if (list.SecondBatch == nil) != (c.request.Second != "south") {
			t.Errorf("%s: second batch %v", c.name, list.SecondBatch)
		}
		for _, p := range list.Pairs { // both are against the same target
			if want := math.Abs(math.Log(p.FirstR20Ohms / p.SecondR20Ohms)); math.Abs(p.DifferenceRatio-want) > 1e-12 {
				t.Errorf("%s: %s and %s are %g apart, want %g", c.name, p.First, p.Second, p.DifferenceRatio, want)
			}
		}
	}

	for field, r := range map[string]PairsRequest{
		"first":          {" ", "south", 1},
		"second":         {"north", "nowhere", 1},
		"within_percent": {"north", "", math.NaN()},
	} {
		var wrong *record.FieldError
		if _, err := PickPairs(t.Context(), store, r); !errors.As(err, &wrong) || wrong.Field != field {
			t.Errorf("%+v: %v, want one about %s", r, err, field)
		}
	}
	for _, batch := range []string{"sold", "bad", "empty"} {
		var none *EmptyStockError
		if _, err := PickPairs(t.Context(), store, PairsRequest{"north", batch, 1}); !errors.As(err, &none) || none.Field != "second" ||
			!errors.Is(err, record.ErrConflict) {
			t.Errorf("with batch %s: %v", batch, err)
		}
	}
	store.more = "more"
	var wrong *record.FieldError
	if _, err := PickPairs(t.Context(), store, PairsRequest{"north", "", 1}); !errors.As(err, &wrong) || wrong.Field != "first" {
		t.Errorf("a batch of many pages: %v", err)
	}
}
