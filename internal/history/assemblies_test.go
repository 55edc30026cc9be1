package history

import (
	"errors"
	"strings"
	"testing"
)

func TestAssemblies(t *testing.T) {
	t.Parallel()
	s := workshop(t)
	for _, serial := range []string{"HN-0001", "HN-0002", "HN-0003", "HN-0004"} {
		record(t, s, serial)
	}
	pair := func(serial, first, second string) Assembly {
		t.Helper()
		a, err := s.AddAssembly(t.Context(), Assembly{Serial: serial, First: first, Second: second, By: "ada"}, true)
		if err != nil {
			t.Fatal(err)
		}
		return a
	}
	wantIn := func(want Assembly, serials ...string) {
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
			if got, err := s.Assembly(t.Context(), serial); !errors.Is(err, ErrNotFound) {
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
	for _, a := range []Assembly{{Serial: "A-2", First: "HN-0003", Second: "HN-0002"}, {Serial: "A-1", First: "HN-0003", Second: "HN-0004"}} {
		_, err := s.AddAssembly(t.Context(), a, false)
		if !errors.Is(err, ErrConflict) || !strings.Contains(err.Error(), "A-1 is coils HN-0001 and HN-0002") {
			t.Errorf("%s: got %v, want the pair that it breaks", a.Serial, err)
		}
	}
	wantIn(first, "HN-0001", "HN-0002", "A-1")
	second := pair("A-2", "HN-0003", "HN-0002")
	wantIn(second, "HN-0002", "HN-0003", "A-2")
	wantNone("HN-0001", "A-1")
	wantIn(pair("A-1", "HN-0002", "HN-0001"), "HN-0001", "HN-0002", "A-1")
	wantNone("HN-0003", "A-2")

	entries, err := s.Journal(t.Context(), JournalFilter{Action: "assembly"})
	if err != nil || len(entries) != 3 || entries[0].Subject != "A-1" || entries[0].Detail != "coils HN-0002 and HN-0001" || entries[0].Who != "ada" {
		t.Errorf("got the journal %+v, %v", entries, err)
	}
	entries, err = s.Journal(t.Context(), JournalFilter{Action: "taken apart"})
	if err != nil || len(entries) != 2 || entries[1].Subject != "A-1" || entries[1].Detail != "coils HN-0001 and HN-0002: HN-0002 goes into A-2" {
		t.Errorf("got the journal %+v, %v", entries, err)
	}
}

func TestAssembliesThatCannotBe(t *testing.T) {
	t.Parallel()
	s := workshop(t)
	record(t, s, "HN-0001")
	record(t, s, "HN-0002")
	for name, c := range map[string]struct {
		assembly Assembly
		field    string // "" for a coil that is not there
	}{
		"no number":          {Assembly{First: "HN-0001", Second: "HN-0002"}, "serial"},
		"no first":           {Assembly{Serial: "A-1", Second: "HN-0002"}, "first"},
		"no second":          {Assembly{Serial: "A-1", First: "HN-0001"}, "second"},
		"one coil twice":     {Assembly{Serial: "A-1", First: "HN-0001", Second: "HN-0001"}, "second"},
		"itself as a part":   {Assembly{Serial: "HN-0001", First: "HN-0001", Second: "HN-0002"}, "first"},
		"never measured":     {Assembly{Serial: "A-1", First: "HN-0001", Second: "HN-0009"}, ""},
		"number of two rows": {Assembly{Serial: "A\n1", First: "HN-0001", Second: "HN-0002"}, "serial"},
	} {
		_, err := s.AddAssembly(t.Context(), c.assembly, true)
		wrong := new(FieldError)
		switch {
		case c.field == "" && !errors.Is(err, ErrNotFound):
			t.Errorf("%s: got %v, want ErrNotFound", name, err)
		case c.field != "" && (!errors.As(err, &wrong) || wrong.Field != c.field):
			t.Errorf("%s: got %v, want a fault of %s", name, err, c.field)
		}
	}
	if _, err := s.Assembly(t.Context(), "HN-0001"); !errors.Is(err, ErrNotFound) {
		t.Errorf("something was kept: %v", err)
	}
}
