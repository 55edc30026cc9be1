package history

import (
	"errors"
	"fmt"
	"reflect"
	"slices"
	"testing"
	"time"

	"coilkeep/internal/record"
)

// Pages are walked through by cursor in both directions; together they hold
// everything that matches once, whatever the size of a page.
func TestPages(t *testing.T) {
	t.Parallel()
	s := workshop(t)
	other := wren()
	other.Name = "finch"
	must(t)(s.AddDesign(t.Context(), other, "ada"))
	var all []record.Measurement
	for i := range 20 {
		all = append(all, recordCoil(t, s, fmt.Sprintf("HN-%04d", i), func(m *record.Measurement) {
			m.Time = firstInstant.Add(time.Duration(i/3) * time.Minute) // three at one instant
			if i%2 == 1 {
				m.Bench = "south"
			}
			if i%5 == 0 {
				m.Batch, m.Design = "", "finch"
			}
		}))
	}
	pick := func(keep func(record.Measurement) bool) (ids []string) {
		for _, m := range all {
			if keep(m) {
				ids = append(ids, m.ID)
			}
		}
		return ids
	}
	for _, c := range []struct {
		name   string
		filter record.Filter
		want   []string
	}{
		{"all", record.Filter{}, pick(func(record.Measurement) bool { return true })},
		{"batch", record.Filter{Batch: "B-1"}, pick(func(m record.Measurement) bool { return m.Batch == "B-1" })},
		{"design", record.Filter{Design: "finch"}, pick(func(m record.Measurement) bool { return m.Design == "finch" })},
		{"bench", record.Filter{Bench: "south"}, pick(func(m record.Measurement) bool { return m.Bench == "south" })},
		{"design and bench", record.Filter{Design: "wren", Bench: "south"},
			pick(func(m record.Measurement) bool { return m.Design == "wren" && m.Bench == "south" })},
		{"batch and bench", record.Filter{Batch: "B-1", Bench: "north"},
			pick(func(m record.Measurement) bool { return m.Batch == "B-1" && m.Bench == "north" })},
		{"serial", record.Filter{Serial: "HN-0007"}, []string{all[7].ID}},
		{"times", record.Filter{From: firstInstant.Add(time.Minute), To: firstInstant.Add(3 * time.Minute)},
			pick(func(m record.Measurement) bool {
				return !m.Time.Before(firstInstant.Add(time.Minute)) && m.Time.Before(firstInstant.Add(3*time.Minute))
			})},
		{"nothing", record.Filter{Batch: "B-9"}, nil},
	} {
		for _, limit := range []int{1, 2, 3, 20, 0} {
			for _, newest := range []bool{false, true} {
				f := c.filter
				f.Limit, f.Newest = limit, newest
				want := slices.Clone(c.want)
				if newest {
					slices.Reverse(want)
				}
				if got := walk(t, s, f); !slices.Equal(got, want) {
					t.Errorf("%s, limit %d, newest %v:\n got %v\nwant %v", c.name, limit, newest, got, want)
				}
			}
		}
	}
}

// walk returns the ids of all pages of a filter.
func walk(t *testing.T, s *Store, f record.Filter) (ids []string) {
	t.Helper()
	for range 100 {
		page, next, err := s.Measurements(t.Context(), f)
		if err != nil {
			t.Fatal(err)
		}
		for _, m := range page {
			ids = append(ids, m.ID)
		}
		if next == "" {
			return ids
		}
		f.After = next
	}
	t.Fatal("the pages never end")
	return nil
}

func TestPageIsLight(t *testing.T) {
	t.Parallel()
	s := workshop(t)
	whole := recordCoil(t, s, "HN-0001")
	page, _, err := s.Measurements(t.Context(), record.Filter{})
	if err != nil || len(page) != 1 {
		t.Fatalf("%d measurements, %v", len(page), err)
	}
	want := whole
	want.Budget, want.Settings, want.Context = nil, nil, nil
	if !reflect.DeepEqual(page[0], want) {
		t.Errorf("in a page\n%+v\nwant\n%+v", page[0], want)
	}
}

func TestFilterRefuses(t *testing.T) {
	t.Parallel()
	s := workshop(t)
	for _, f := range []record.Filter{{Limit: -1}, {Limit: record.MaxPage + 1}, {After: "none"}} {
		if _, _, err := s.Measurements(t.Context(), f); !errors.Is(err, record.ErrInvalid) {
			t.Errorf("%+v: %v, want ErrInvalid", f, err)
		}
	}
	if _, _, err := s.Measurement(t.Context(), "none"); !errors.Is(err, record.ErrNotFound) {
		t.Errorf("unknown measurement: %v, want ErrNotFound", err)
	}
}
