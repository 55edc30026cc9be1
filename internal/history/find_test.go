package history

import (
	"database/sql"
	"errors"
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"coilkeep/internal/conformity"
	"coilkeep/internal/record"
)

func TestFindCoils(t *testing.T) {
	t.Parallel()
	s := workshop(t)
	for _, serial := range []string{"HN-0001", "HN-0002", "HN-0010", "hn-0003", "HN-é", "HM-9999", "HO-0000", "Gh-7", "GH_8", "Gha9"} {
		recordCoil(t, s, serial)
	}
	for _, c := range []struct {
		name, prefix string
		limit        int
		want         []string
		more         bool
	}{
		{"as written", "HN-00", 9, []string{"HN-0010", "hn-0003", "HN-0002", "HN-0001"}, false},
		{"of mixed letters", "GH-7", 9, []string{"Gh-7"}, false},
		{"of mixed letters, in mixed letters", "gH", 9, []string{"Gha9", "GH_8", "Gh-7"}, false},
		{"the first of mixed letters", "gh", 1, []string{"Gha9"}, true},
		{"in small letters", "hn-001", 9, []string{"HN-0010"}, false},
		{"in capitals", "HN-0003", 9, []string{"hn-0003"}, false},
		{"a whole serial", "HN-0002", 9, []string{"HN-0002"}, false},
		{"beyond ASCII", "HN-é", 9, []string{"HN-é"}, false},
		{"beyond ASCII, in capitals", "HN-É", 9, []string{"HN-é"}, false},
		{"more than wanted", "HN", 2, []string{"HN-é", "HN-0010"}, true},
		{"as many as there are", "HN-000", 3, []string{"hn-0003", "HN-0002", "HN-0001"}, false},
		{"nothing", "HP", 9, nil, false},
		{"a wildcard of SQL", "H%", 9, nil, false},
	} {
		t.Run(c.name, func(t *testing.T) {
			coils, more, err := s.FindCoils(t.Context(), c.prefix, c.limit)
			if err != nil {
				t.Fatal(err)
			}
			var got []string
			for _, m := range coils {
				got = append(got, m.Serial)
			}
			if !slices.Equal(got, c.want) || more != c.more {
				t.Errorf("got %q, more %t, want %q, %t", got, more, c.want, c.more)
			}
		})
	}
}

// However many coils there are, a search looks at those it returns.
func TestFindCoilsUsesAnIndex(t *testing.T) {
	t.Parallel()
	s := workshop(t)
	var plan []string
	err := rows(t.Context(), s.readers, `EXPLAIN QUERY PLAN `+beginning, []any{"hn", lastCodePoint, 50}, func(r *sql.Rows) error {
		var id, parent, unused int
		var step string
		err := r.Scan(&id, &parent, &unused, &step)
		plan = append(plan, step)
		return err
	})
	if err != nil || len(plan) != 1 || !strings.Contains(plan[0], "SEARCH coils USING") ||
		!strings.Contains(plan[0], "serial>? AND serial<?") {
		t.Errorf("plan %q, %v", plan, err)
	}
}

// A coil is shown by the newest measurement that stands.
func TestFindCoilsShowsWhatStands(t *testing.T) {
	t.Parallel()
	s := workshop(t)
	first := recordCoil(t, s, "HN-0001")
	potted := recordCoil(t, s, "HN-0001", func(m *record.Measurement) { m.Stage, m.Time = record.StagePotted, m.Time.Add(time.Hour) })
	found := func() record.Measurement {
		t.Helper()
		coils, _, err := s.FindCoils(t.Context(), "HN-0001", 5)
		if err != nil || len(coils) != 1 {
			t.Fatalf("got %d coils and %v, want one", len(coils), err)
		}
		return coils[0]
	}
	if got := found(); got.ID != potted.ID || got.Status != record.Recorded {
		t.Errorf("got %s, %s, want the newest", got.ID, got.Status)
	}
	must(t)(s.Void(t.Context(), potted.ID, "wrong coil", "ada"))
	if got := found(); got.ID != first.ID {
		t.Errorf("got %s, want the one that stands", got.ID)
	}
	must(t)(s.Void(t.Context(), first.ID, "wrong coil", "ada"))
	if got := found(); got.ID != potted.ID || got.Status != record.Void {
		t.Errorf("got %s, %s, want the newest, void", got.ID, got.Status)
	}
}

func TestFindBatches(t *testing.T) {
	t.Parallel()
	s := newStore(t)
	other := wren()
	other.Name = "Long Meadow"
	must(t)(s.AddDesign(t.Context(), wren(), ""))
	must(t)(s.AddDesign(t.Context(), other, ""))
	for i, start := range []record.BatchStart{
		{Name: "B-1", Bench: "north", Design: "wren", Winder: "treadle", Operator: "Ada", Spool: "S-7"},
		{Name: "B-2", Bench: "south", Design: "Long Meadow", Winder: "W2", Operator: "Odo"},
		{Name: "B-3", Bench: "east", Design: "wren", Winder: "W2", Operator: "Odo", Spool: "S-9"},
	} {
		b, err := s.OpenBatch(t.Context(), start)
		if err != nil {
			t.Fatal(err)
		}
		if i == 0 {
			must(t)(s.ChangeSpool(t.Context(), b.Name, "Heron 12", ""))
		}
	}
	third, err := s.Batch(t.Context(), "B-3")
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		name   string
		search record.BatchSearch
		want   []string
	}{
		{"all", record.BatchSearch{}, []string{"B-3", "B-2", "B-1"}},
		{"part of a name", record.BatchSearch{Text: "-2"}, []string{"B-2"}},
		{"design", record.BatchSearch{Text: "meadow"}, []string{"B-2"}},
		{"winder", record.BatchSearch{Text: "TREADLE"}, []string{"B-1"}},
		{"operator", record.BatchSearch{Text: "odo"}, []string{"B-3", "B-2"}},
		{"a later spool", record.BatchSearch{Text: "heron"}, []string{"B-1"}},
		{"not across fields", record.BatchSearch{Text: "wrenW2"}, nil},
		{"a wildcard of SQL", record.BatchSearch{Text: "%"}, nil},
		{"of a design", record.BatchSearch{Design: "wren"}, []string{"B-3", "B-1"}},
		{"opened from", record.BatchSearch{OpenedFrom: third.OpenedAt}, []string{"B-3"}},
		{"opened before", record.BatchSearch{OpenedTo: third.OpenedAt}, []string{"B-2", "B-1"}},
		{"after", record.BatchSearch{After: "B-3"}, []string{"B-2", "B-1"}},
	} {
		t.Run(c.name, func(t *testing.T) {
			got, next, err := s.FindBatches(t.Context(), c.search)
			if err != nil {
				t.Fatal(err)
			}
			var names []string
			for _, b := range got {
				names = append(names, b.Name)
			}
			if !slices.Equal(names, c.want) || next != "" {
				t.Errorf("got %q, next %q, want %q", names, next, c.want)
			}
		})
	}
	if _, _, err := s.FindBatches(t.Context(), record.BatchSearch{After: "B-9"}); !errors.Is(err, record.ErrNotFound) {
		t.Errorf("after a batch that is not there: got %v, want ErrNotFound", err)
	}
}

// Pages of batches that were opened at the same instant neither repeat nor
// leave out any.
func TestFindBatchesPages(t *testing.T) {
	t.Parallel()
	s := openStore(t, t.TempDir()+"/coilkeep.db", Options{Now: func() time.Time { return firstInstant }})
	must(t)(s.AddDesign(t.Context(), wren(), ""))
	var want []string
	for i := range 7 {
		name := fmt.Sprintf("B-%d", i)
		must(t)(s.OpenBatch(t.Context(), record.BatchStart{Name: name, Bench: fmt.Sprintf("bench-%d", i), Design: "wren"}))
		want = append(want, name)
	}
	var got []string
	search := record.BatchSearch{Limit: 3}
	for pages := 1; ; pages++ {
		page, next, err := s.FindBatches(t.Context(), search)
		if err != nil {
			t.Fatal(err)
		}
		for _, b := range page {
			got = append(got, b.Name)
		}
		if next == "" {
			if pages != 3 {
				t.Errorf("got %d pages, want 3", pages)
			}
			break
		}
		search.After = next
	}
	if !slices.Equal(got, want) {
		t.Errorf("got %q, want %q", got, want)
	}
}

// Each coil counts once, by what stands of it.
func TestBatchVerdicts(t *testing.T) {
	t.Parallel()
	s := workshop(t)
	recordCoil(t, s, "HN-0001")
	again := recordCoil(t, s, "HN-0002")
	recordCoil(t, s, "HN-0002", func(m *record.Measurement) {
		m.Supersedes, m.Reason, m.Time = again.ID, "clip slipped", m.Time.Add(time.Minute)
	})
	gone := recordCoil(t, s, "HN-0003")
	must(t)(s.Void(t.Context(), gone.ID, "wrong coil", ""))
	high, readings := sample(t, "HN-0004", 7300, firstInstant)
	must(t)(s.Record(t.Context(), high, readings))
	must(t)(s.OpenBatch(t.Context(), record.BatchStart{Name: "B-2", Bench: "south", Design: "wren"}))

	got, err := s.BatchVerdicts(t.Context(), "B-1", "B-2", "B-9")
	if err != nil {
		t.Fatal(err)
	}
	if len(got) != 1 || got["B-1"][conformity.In] != 2 || got["B-1"][conformity.High] != 1 || got["B-1"].Total() != 3 {
		t.Errorf("got %v, want 2 in and 1 high in B-1 alone", got)
	}
}

func TestEachUse(t *testing.T) {
	t.Parallel()
	s := workshop(t)
	const meter, probe = "Plover Instruments,PM-6,0042,1.3", "line tcp:127.0.0.1:4001"
	for i := range 5 {
		recordCoil(t, s, fmt.Sprintf("HN-%04d", i), func(m *record.Measurement) {
			m.Time = firstInstant.Add(time.Duration(i) * time.Hour)
			if i == 3 {
				m.Meter = "Elder Vale,EV-41,0007,1.2"
			}
		})
	}
	for _, c := range []struct {
		name   string
		filter record.UseFilter
		want   string
	}{
		{"a meter", record.UseFilter{Bench: "north", Role: record.Meter, Identity: meter}, "0 1 2 4"},
		{"another meter", record.UseFilter{Bench: "north", Role: record.Meter, Identity: "Elder Vale,EV-41,0007,1.2"}, "3"},
		{"the probe", record.UseFilter{Bench: "north", Role: record.Probe, Identity: probe}, "0 1 2 3 4"},
		{"a meter is no probe", record.UseFilter{Bench: "north", Role: record.Probe, Identity: meter}, ""},
		{"another bench", record.UseFilter{Bench: "south", Role: record.Meter, Identity: meter}, ""},
		{"between two times", record.UseFilter{Bench: "north", Role: record.Probe, Identity: probe,
			From: firstInstant.Add(time.Hour), To: firstInstant.Add(3 * time.Hour)}, "1 2"},
	} {
		t.Run(c.name, func(t *testing.T) {
			var got []string
			err := s.EachUse(t.Context(), c.filter, func(m record.Measurement) error {
				if m.Inputs.MeterPercent != 0.05 || m.Inputs.Readings != 7 {
					t.Errorf("%s comes without its inputs: %+v", m.Serial, m.Inputs)
				}
				got = append(got, strings.TrimPrefix(m.Serial, "HN-000"))
				return nil
			})
			if err != nil {
				t.Fatal(err)
			}
			if strings.Join(got, " ") != c.want {
				t.Errorf("got %q, want %q", got, c.want)
			}
		})
	}
	enough := errors.New("enough")
	calls := 0
	err := s.EachUse(t.Context(), record.UseFilter{Bench: "north", Role: record.Meter, Identity: meter}, func(record.Measurement) error {
		calls++
		return enough
	})
	if !errors.Is(err, enough) || calls != 1 {
		t.Errorf("got %v after %d calls, want to be ended by the first", err, calls)
	}
}
