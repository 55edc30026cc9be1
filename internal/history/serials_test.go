package history

import (
	"errors"
	"strings"
	"testing"
)

// Two serial numbers that differ by capitals look alike on a label.
func TestSerialsRegardlessOfCapitals(t *testing.T) {
	t.Parallel()
	s := workshop(t)
	record(t, s, "HN-0003")
	record(t, s, "HN-0004")
	coil, err := s.Coil(t.Context(), "hn-0003")
	if err != nil || coil.Serial != "HN-0003" || len(coil.Measurements) != 1 {
		t.Errorf("coil hn-0003: %+v, %v; want HN-0003", coil, err)
	}
	page, _, err := s.Measurements(t.Context(), Filter{Serial: "Hn-0003"})
	if err != nil || len(page) != 1 || page[0].Serial != "HN-0003" {
		t.Errorf("measurements of Hn-0003: %+v, %v", page, err)
	}
	m, readings := sample(t, "hn-0003", 6690, firstInstant)
	if _, err := s.Record(t.Context(), m, readings); !errors.Is(err, ErrInvalid) || !strings.Contains(err.Error(), "serial: HN-0003 exists: write it so, or choose another") {
		t.Errorf("recorded hn-0003: %v", err)
	}
	a, err := s.AddAssembly(t.Context(), Assembly{Serial: "PAIR-1", First: "hn-0003", Second: "HN-0004"}, false)
	if err != nil || a.First != "HN-0003" {
		t.Errorf("assembly %+v, %v", a, err)
	}
}

// Coils of a history from before that rule keep their own records.
func TestOldSerialsThatDifferByCapitals(t *testing.T) {
	t.Parallel()
	s := workshop(t)
	record(t, s, "HN-0003")
	if _, err := s.writer.ExecContext(t.Context(), `INSERT INTO coils (serial) VALUES ('hn-0003')`); err != nil {
		t.Fatal(err)
	}
	record(t, s, "hn-0003")
	for _, serial := range []string{"HN-0003", "hn-0003"} {
		if coil, err := s.Coil(t.Context(), serial); err != nil || coil.Serial != serial || len(coil.Measurements) != 1 {
			t.Errorf("coil %s: %+v, %v", serial, coil, err)
		}
	}
	if _, err := s.Coil(t.Context(), "Hn-0003"); !errors.Is(err, ErrNotFound) {
		t.Errorf("coil Hn-0003, which is either: %v, want ErrNotFound", err)
	}
}

func TestRemarkOnSerial(t *testing.T) {
	t.Parallel()
	for serial, want := range map[string]string{
		"HN-0025": "", "HN-0035": "", "HN-0004": "",
		"HN-0036": "HN-0036 is 11 beyond HN-0025, and the count will go on from HN-0037",
		"H N;--":  "H N;-- is of another form than HN-%04d, so the count stays at HN-0025",
	} {
		if got := RemarkOnSerial("HN-%04d", "HN-0025", serial); got != want {
			t.Errorf("%s: %q, want %q", serial, got, want)
		}
	}
}
