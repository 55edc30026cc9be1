package history

import (
	"errors"
	"strings"
	"testing"

	"coilkeep/internal/record"
)

func TestAssemblies(t *testing.T) {
	t.Parallel()
	s := workshop(t)
	for _, serial := range []string{"HN-0001", "HN-0002", "HN-0003", "HN-0004"} {
		recordCoil(t, s, serial)
	}
	pair := func(serial, first, second string) record.Assembly {
		t.Helper()
		a, err := s.AddAssembly(t.Context(), record.Assembly{Serial: serial, First: first, Second: second, By: "ada"}, true)
		if err != nil {
			t.Fatal(err)
		}
		return a
	}
	wantIn := func(want record.Assembly, serials ...string) {
		t.Helper()
		for _, serial := range serials {
			if got, err := s.Assembly(t.Context(), serial); err != nil || got != want {
				t.Errorf("%s: got %+v, %v; want %+v", serial, got, err, want)
			}
		}
		// All in one question, with one that is in none.
		if got, err := s.Assembled(t.Context(), append(serials, "HN-0404")); err != nil || len(got) != len(serials) {
			t.Errorf("of %v and HN-0404 in assemblies: %v, %v", serials, got, err)
		}
	}
	wantNone := func(serials ...string) {
		t.Helper()
		for _, serial := range serials {
			if got, err := s.Assembly(t.Context(), serial); !errors.Is(err, record.ErrNotFound) {
				t.Errorf("%s: got %+v, %v; want none", serial, got, err)
			}
		}
		if got, err := s.Assembled(t.Context(), serials); err != nil || len(got) != 0 {
			t.Errorf("of %v in assemblies: %v, %v; want none", serials, got, err)
		}
	}
	wantNone("HN-0001", "A-1")
	first := pair("A-1", "HN-0001", "HN-0002")
	wantIn(first, "HN-0001", "HN-0002", "A-1")
	wantNone("HN-0003")

	if got, err := s.Assembly(t.Context(), "a-1"); err != nil || got != first {
		t.Errorf("a-1: got %+v, %v", got, err)
	}

	// A coil is in one assembly only, and is not taken out of it unasked.
	for _, a := range []record.Assembly{{Serial: "A-2", First: "HN-0003", Second: "HN-0002"},
		{Serial: "A-1", First: "HN-0003", Second: "HN-0004"}} {
		_, err := s.AddAssembly(t.Context(), a, false)
		if !errors.Is(err, record.ErrConflict) || !strings.Contains(err.Error(), "A-1 is coils HN-0001 and HN-0002") {
			t.Errorf("%s: got %v, want the pair that it breaks", a.Serial, err)
		}
	}
	wantIn(first, "HN-0001", "HN-0002", "A-1")
	second := pair("A-2", "HN-0003", "HN-0002")
	wantIn(second, "HN-0002", "HN-0003", "A-2")
	wantNone("HN-0001", "A-1")
	wantIn(pair("A-1", "HN-0002", "HN-0001"), "HN-0001", "HN-0002", "A-1")
	wantNone("HN-0003", "A-2")

	entries, err := s.Journal(t.Context(), record.JournalFilter{Action: "assembly"})
	if err != nil || len(entries) != 3 || entries[0].Subject != "A-1" || entries[0].Detail != "coils HN-0002 and HN-0001" ||
		entries[0].Who != "ada" {
		t.Errorf("got the journal %+v, %v", entries, err)
	}
	entries, err = s.Journal(t.Context(), record.JournalFilter{Action: "taken apart"})
	if err != nil || len(entries) != 2 || entries[1].Subject != "A-1" ||
		entries[1].Detail != "coils HN-0001 and HN-0002: HN-0002 goes into A-2" {
		t.Errorf("got the journal %+v, %v", entries, err)
	}
}

func TestAssembliesThatCannotBe(t *testing.T) {
	t.Parallel()
	s := workshop(t)
	recordCoil(t, s, "HN-0001")
	recordCoil(t, s, "HN-0002")
	for name, c := range map[string]struct {
		assembly record.Assembly
		field    string // "" for a coil that is not there
	}{
		"no number":          {record.Assembly{First: "HN-0001", Second: "HN-0002"}, "serial"},
		"no first":           {record.Assembly{Serial: "A-1", Second: "HN-0002"}, "first"},
		"no second":          {record.Assembly{Serial: "A-1", First: "HN-0001"}, "second"},
		"one coil twice":     {record.Assembly{Serial: "A-1", First: "HN-0001", Second: "HN-0001"}, "second"},
		"itself as a part":   {record.Assembly{Serial: "HN-0001", First: "HN-0001", Second: "HN-0002"}, "first"},
		"never measured":     {record.Assembly{Serial: "A-1", First: "HN-0001", Second: "HN-0009"}, ""},
		"number of two rows": {record.Assembly{Serial: "A\n1", First: "HN-0001", Second: "HN-0002"}, "serial"},
	} {
		_, err := s.AddAssembly(t.Context(), c.assembly, true)
		wrong := new(record.FieldError)
		switch {
		case c.field == "" && !errors.Is(err, record.ErrNotFound):
			t.Errorf("%s: got %v, want ErrNotFound", name, err)
		case c.field != "" && (!errors.As(err, &wrong) || wrong.Field != c.field):
			t.Errorf("%s: got %v, want a fault of %s", name, err, c.field)
		}
	}
	if _, err := s.Assembly(t.Context(), "HN-0001"); !errors.Is(err, record.ErrNotFound) {
		t.Errorf("something was kept: %v", err)
	}
}

// A serial number in other capitals is the same one, and a whole that differs
// from another by capitals only looks like it on a label.
func TestAssembliesInOtherCapitals(t *testing.T) {
	t.Parallel()
	s := workshop(t)
	for _, serial := range []string{"HN-0001", "HN-0002", "HN-0003", "HN-0004", "SET-1"} {
		recordCoil(t, s, serial)
	}
	if _, err := s.AddAssembly(t.Context(), record.Assembly{Serial: "PAIR-1", First: "hn-0001", Second: "HN-0002"}, false); err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct{ serial, first, second, says string }{
		{"A-1", "hn-0003", "HN-0003", "second: must not be the first coil again"},
		{"A-1", "HN-0003", "hn-0003", "second: must not be the first coil again"},
		{"HN-0003", "hn-0003", "HN-0004", "first: must not be the number of the whole, HN-0003"},
		{"hn-0004", "HN-0003", "HN-0004", "second: must not be the number of the whole, hn-0004"},
		{"pair-1", "HN-0003", "HN-0004", "serial: PAIR-1 exists: write it so, or choose another"},
		{"set-1", "HN-0003", "HN-0004", "serial: SET-1 exists: write it so, or choose another"},
	} {
		_, err := s.AddAssembly(t.Context(), record.Assembly{Serial: c.serial, First: c.first, Second: c.second}, true)
		if wrong := new(record.FieldError); !errors.As(err, &wrong) || !strings.Contains(err.Error(), c.says) {
			t.Errorf("%s of %s and %s: %v, want %q", c.serial, c.first, c.second, err, c.says)
		}
	}
	// The whole may have been measured, and be made again of other coils.
	for _, serial := range []string{"SET-1", "PAIR-1"} {
		if _, err := s.AddAssembly(t.Context(), record.Assembly{Serial: serial, First: "HN-0003", Second: "HN-0004"}, true); err != nil {
			t.Errorf("%s: %v", serial, err)
		}
	}
}

// A history from before that rule can be taken back from its export.
func TestImportOldAssemblyInOtherCapitals(t *testing.T) {
	t.Parallel()
	s, fresh := workshop(t), newStore(t)
	recordCoil(t, s, "HN-0001")
	recordCoil(t, s, "HN-0002")
	old := record.Assembly{ID: "old", Time: firstInstant, Serial: "hn-0001", First: "HN-0001", Second: "HN-0002"}
	if err := s.write(t.Context(), "add an old assembly", func(tx *transaction) error {
		return assemblies.insert(t.Context(), tx,
			old)
	}); err != nil {
		t.Fatal(err)
	}
	must(t)(fresh.Import(t.Context(), strings.NewReader(export(t, s, record.JSONL, record.Filter{}))))
	if got, err := fresh.Assembly(t.Context(), "HN-0001"); err != nil || got != old {
		t.Errorf("took back %+v, %v; want %+v", got, err, old)
	}
}
