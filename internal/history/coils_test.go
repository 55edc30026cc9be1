package history

import (
	"errors"
	"testing"

	"coilkeep/internal/record"
)

func TestNextSerial(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		name, pattern string
		have          []string
		want          string
	}{
		{"first", "HN-%04d", nil, "HN-0001"},
		{"after the highest, not the last", "HN-%04d", []string{"HN-0007", "HN-0003"}, "HN-0008"},
		{"longer than the pattern", "HN-%04d", []string{"HN-9999", "HN-10000", "HN-9998"}, "HN-10001"},
		{"growing out of the pattern", "HN-%04d", []string{"HN-9999"}, "HN-10000"},
		{"others around it", "HN-%04d", []string{"HN-0002", "HN-0009x", "HM-0044", "HN-00A9", "HN-09999", "HN-099"}, "HN-0003"},
		{"small letters", "HN-%04d", []string{"HN-0002", "hn-0050"}, "HN-0051"},
		{"suffix", "N%03d-b", []string{"N004-b", "N009-t", "N010-b"}, "N011-b"},
		{"digits in the text", "2026-%02d", []string{"2026-09", "2027-44"}, "2026-10"},
		{"percent and umlaut", "ü%%%02d", []string{"ü%07", "ü%10"}, "ü%11"},
		{"wildcards of SQL mean nothing", "H_%02d*", []string{"HX07*", "H_03*"}, "H_04*"},
		{"no text at all", "%05d", []string{"00012", "99", "100000"}, "100001"},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			s := workshop(t)
			for _, serial := range c.have {
				recordCoil(t, s, serial)
			}
			if got, err := s.NextSerial(t.Context(), c.pattern); err != nil || got != c.want {
				t.Errorf("next = %q, %v; want %q", got, err, c.want)
			}
		})
	}
}

func TestNextSerialUsedUp(t *testing.T) {
	t.Parallel()
	s := workshop(t)
	recordCoil(t, s, "H999999999999999")
	if got, err := s.NextSerial(t.Context(), "H%04d"); !errors.Is(err, record.ErrInvalid) {
		t.Errorf("next = %q, %v; want ErrInvalid", got, err)
	}
}

func TestCoil(t *testing.T) {
	t.Parallel()
	s := workshop(t)
	if _, err := s.Coil(t.Context(), "HN-0001"); !errors.Is(err, record.ErrNotFound) {
		t.Errorf("unknown coil: %v, want ErrNotFound", err)
	}
	recordCoil(t, s, "HN-0001")
	potted := recordCoil(t, s, "HN-0001", func(m *record.Measurement) { m.Stage, m.Batch = record.StagePotted, "" })
	must(t)(s.Void(t.Context(), potted.ID, "clip slipped", "ada"))
	coil, err := s.Coil(t.Context(), "HN-0001")
	if err != nil || coil.Design != "wren" || coil.Batch != "B-1" || len(coil.Measurements) != 2 {
		t.Errorf("coil %+v, %v", coil, err)
	}
	if coil.Measurements[0].Status != record.Void || coil.Measurements[0].Budget != nil {
		t.Errorf("newest: status %q, budget %v; want void without a budget", coil.Measurements[0].Status, coil.Measurements[0].Budget)
	}
}
