package workshop

import (
	"fmt"
	"testing"

	"coilkeep/internal/conformity"
	"coilkeep/internal/record"
)

func TestMisfit(t *testing.T) {
	t.Parallel()
	harbour := record.Design{Name: "Harbour", TargetOhms: 6700, LowerOhms: 6500, UpperOhms: 6900}
	lantern := record.Design{Name: "Lantern", TargetOhms: 7400, LowerOhms: 7300, UpperOhms: 7500}
	wide := record.Design{Name: "Wide", TargetOhms: 7000, LowerOhms: 6000, UpperOhms: 8000}
	// newest first
	coils := func(ohms ...float64) (list []record.Measurement) {
		for i, r20 := range ohms {
			m := record.Measurement{Serial: fmt.Sprint("HN-", len(ohms)-i), Design: "Harbour", R20Ohms: r20, Verdict: conformity.In,
				Status: record.Recorded}
			switch {
			case r20 > harbour.UpperOhms:
				m.Verdict = conformity.High
			case r20 < harbour.LowerOhms:
				m.Verdict = conformity.Low
			}
			list = append(list, m)
		}
		return list
	}
	again := coils(7400, 7390, 7410)
	again[1].Serial = again[0].Serial // one coil measured twice
	void := coils(7400, 7390, 6700, 7410)
	void[2].Status = record.Void
	const three, lanternAlone = "The last 3 coils miss Harbour, 6.7 kΩ: ", "they fit Lantern, 7.4 kΩ. Is the batch of the right design?"
	for name, c := range map[string]struct {
		coils   []record.Measurement
		designs []record.Design
		want    string
	}{
		"nothing yet":             {nil, []record.Design{harbour, lantern}, ""},
		"two":                     {coils(7400, 7390), []record.Design{harbour, lantern}, ""},
		"one of them good":        {coils(7400, 6700, 7390, 7410), []record.Design{harbour, lantern}, ""},
		"one coil twice":          {again, []record.Design{harbour, lantern}, ""},
		"good ones before":        {coils(7400, 7390, 7410, 6700), []record.Design{harbour, lantern}, three + lanternAlone},
		"a withdrawn one between": {void, []record.Design{harbour, lantern}, three + lanternAlone},
		"the latest three fit": {coils(7400, 7390, 7410, 9000), []record.Design{harbour, lantern},
			"The last 4 coils miss Harbour, 6.7 kΩ: " + lanternAlone},
		"several": {coils(7400, 7390, 7410), []record.Design{harbour, lantern, wide}, three +
			"they fit Lantern, 7.4 kΩ, or Wide, 7 kΩ. Is the batch of the right design?"},
		"too high and too low": {coils(7400, 6300, 7410), []record.Design{harbour, lantern}, three +
			"no other design on record fits them. Look at gauge, count and spool, and measure the check standard."},
	} {
		got := ""
		if f := MisfitOf(c.coils, c.designs); f != nil {
			got = f.Words(harbour)
		}
		if got != c.want {
			t.Errorf("%s: %q, want %q", name, got, c.want)
		}
	}
}
