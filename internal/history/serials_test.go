package history

import (
	"errors"
	"strings"
	"testing"

	"coilkeep/internal/record"
)

// Two serial numbers that differ by capitals look alike on a label.
func TestSerialsRegardlessOfCapitals(t *testing.T) {
	t.Parallel()
	s := workshop(t)
	recordCoil(t, s, "HN-0003")
	recordCoil(t, s, "HN-0004")
	coil, err := s.Coil(t.Context(), "hn-0003")
	if err != nil || coil.Serial != "HN-0003" || len(coil.Measurements) != 1 {
		t.Errorf("coil hn-0003: %+v, %v; want HN-0003", coil, err)
	}
	page, _, err := s.Measurements(t.Context(), record.Filter{Serial: "Hn-0003"})
	if err != nil || len(page) != 1 || page[0].Serial != "HN-0003" {
		t.Errorf("measurements of Hn-0003: %+v, %v", page, err)
	}
	m, readings := sample(t, "hn-0003", 6690, firstInstant)
	if _, err := s.Record(t.Context(), m, readings); !errors.Is(err, record.ErrInvalid) ||
		!strings.Contains(err.Error(), "serial: HN-0003 exists: write it so, or choose another") {
		t.Errorf("recorded hn-0003: %v", err)
	}
	a, err := s.AddAssembly(t.Context(), record.Assembly{Serial: "PAIR-1", First: "hn-0003", Second: "HN-0004"}, false)
	if err != nil || a.First != "HN-0003" {
		t.Errorf("assembly %+v, %v", a, err)
	}
}

// Coils of a history from before that rule keep their own records.
func TestOldSerialsThatDifferByCapitals(t *testing.T) {
	t.Parallel()
	s := workshop(t)
	recordCoil(t, s, "HN-0003")
	if _, err := s.writer.ExecContext(t.Context(), `INSERT INTO coils (serial) VALUES ('hn-0003')`); err != nil {
		t.Fatal(err)
	}
	recordCoil(t, s, "hn-0003")
	for _, serial := range []string{"HN-0003", "hn-0003"} {
		if coil, err := s.Coil(t.Context(), serial); err != nil || coil.Serial != serial || len(coil.Measurements) != 1 {
			t.Errorf("coil %s: %+v, %v", serial, coil, err)
		}
	}
	if _, err := s.Coil(t.Context(), "Hn-0003"); !errors.Is(err, record.ErrNotFound) {
		t.Errorf("coil Hn-0003, which is either: %v, want ErrNotFound", err)
	}
}

// A serial in small letters counts like the one it looks like: the next coil gets
// a number of its own, and can be recorded.
func TestNextSerialCountsSmallLetters(t *testing.T) {
	t.Parallel()
	s := workshop(t)
	recordCoil(t, s, "hn-0001")
	for _, want := range []string{"HN-0002", "HN-0003"} {
		next, err := s.NextSerial(t.Context(), "HN-%04d")
		if err != nil || next != want {
			t.Fatalf("next is %q, %v; want %s", next, err, want)
		}
		recordCoil(t, s, next)
	}
	if remark := record.RemarkOnSerial("HN-%04d", "HN-0002", "hn-0002"); remark != "" {
		t.Errorf("hn-0002 is remarked upon: %s", remark)
	}
}

// What an older history holds comes back: twins that differ by capitals, and a
// baseline of few coils.
func TestOldRecordsComeBack(t *testing.T) {
	t.Parallel()
	s := workshop(t)
	m := recordCoil(t, s, "HN-0003")
	if _, err := s.writer.ExecContext(t.Context(), `INSERT INTO coils (serial) VALUES ('hn-0003')`); err != nil {
		t.Fatal(err)
	}
	recordCoil(t, s, "hn-0003")
	if _, err := s.AddBaseline(t.Context(), record.Baseline{Winder: "W1", Design: m.Design, DesignRevision: m.DesignRevision,
		FirstCoil: "HN-0003", LastCoil: "HN-0003", Count: 10,
		MeanOhms: 6690, SigmaWithinOhms: 20, SigmaOverallOhms: 20, MeanRangeOhms: 22, Reason: "first"}); err != nil {
		t.Fatal(err)
	}
	old := strings.Replace(export(t, s, record.JSONL, record.Filter{}), `"count":10`, `"count":5`, 1)
	other := newStore(t)
	if _, err := other.Import(t.Context(), strings.NewReader(old)); err != nil {
		t.Fatalf("its own export is refused: %v", err)
	}
	if n := count(t, other, `SELECT COUNT(*) FROM baselines WHERE count = 5`); n != 1 {
		t.Errorf("%d baselines of 5 coils came back, want one", n)
	}
	for _, serial := range []string{"HN-0003", "hn-0003"} {
		if coil, err := other.Coil(t.Context(), serial); err != nil || len(coil.Measurements) != 1 {
			t.Errorf("coil %s came back as %+v, %v", serial, coil, err)
		}
	}
}
