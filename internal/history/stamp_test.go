package history

import (
	"testing"

	"coilkeep/internal/record"
)

// Whatever changes what an analysis says changes the stamp; looking does not.
func TestStamp(t *testing.T) {
	t.Parallel()
	s := workshop(t)
	stamp := func() record.Stamp {
		t.Helper()
		got, err := s.Stamp(t.Context())
		must(t)(got, err)
		return got
	}
	var recorded record.Measurement
	revised := wren()
	revised.Note = "tighter"
	before := stamp()
	for _, c := range []struct {
		name   string
		change func()
	}{
		{"record", func() { recorded = recordCoil(t, s, "HN-0001") }},
		{"void", func() { must(t)(s.Void(t.Context(), recorded.ID, "wrong coil", "ada")) }},
		{"spool", func() { must(t)(s.ChangeSpool(t.Context(), "B-1", "S-18", "ada")) }},
		{"check", func() {
			must(t)(s.AddCheckMeasurement(t.Context(), record.CheckMeasurement{Bench: "north", Standard: "R6k8", NominalOhms: 6800,
				MeasuredOhms: 6801}))
		}},
		{"design", func() { must(t)(s.ReviseDesign(t.Context(), revised, "ada")) }},
		{"journal", func() { must(t)(s.AddJournal(t.Context(), record.JournalEntry{Action: "note", Detail: "seen"})) }},
		{"close", func() { must(t)(s.CloseBatch(t.Context(), "B-1", "ada")) }},
	} {
		c.change()
		after := stamp()
		if after == before {
			t.Errorf("%s does not change the stamp %+v", c.name, before)
		}
		if again := stamp(); again != after {
			t.Errorf("%s: got %+v and then %+v without a change", c.name, after, again)
		}
		before = after
	}
}
