package compare

import (
	"strings"
	"testing"
)

func TestAnswerOverload(t *testing.T) {
	cold := 12.0
	control := 500e3
	mate := Record{R20Ohms: 7100, ExpandedUncertaintyOhms: 13}
	for name, tt := range map[string]struct {
		ours      float64
		mate      *Record
		theirs    Reading
		rangeOhms float64
		causes    []Cause
		says      string
	}{
		"nothing told": {6612, nil, Reading{}, 20e3, []Cause{RangeOrUnit, SeriesContact, OpenPath, OpenWinding}, "Set the meter to 20 kΩ"},
		"at its wires": {6612, nil, Reading{Clips: Leads, TemperatureCelsius: &cold}, 20e3, []Cause{RangeOrUnit, SeriesContact, OpenWinding},
			"At 12.0 °C"},
		// The control lies across the coil, so a broken coil leaves the control.
		"at the jack": {6612, nil, Reading{Clips: Jack, ControlOhms: &control}, 20e3,
			[]Cause{RangeOrUnit, SeriesContact, OpenPath, OpenWinding}, "shows about the value of the control"},
		"both in series": {6612, &mate, Reading{Clips: Leads, Wiring: Series}, 20e3, []Cause{RangeOrUnit, SeriesContact, OpenWinding},
			"in either of the two coils"},
		"both in parallel": {6612, &mate, Reading{Clips: Leads, Wiring: Parallel}, 20e3, []Cause{RangeOrUnit, SeriesContact, OpenWinding},
			"both would have to be"},
		"both in series at the jack": {6612, &mate, Reading{Clips: Jack, Wiring: Series, ControlOhms: &control}, 20e3,
			[]Cause{RangeOrUnit, SeriesContact, OpenPath, OpenWinding},
			"may be broken, in either of the two coils; but at a jack with a volume control a broken coil shows about the value of the " +
				"control, and no overload. When the range of 20 kΩ, on the soldered ends, still gives an overload"},
		"both in parallel at the jack": {6612, &mate, Reading{Clips: Jack, Wiring: Parallel, ControlOhms: &control}, 20e3,
			[]Cause{RangeOrUnit, SeriesContact, OpenPath, OpenWinding},
			"or the whole one would show, and with both broken a jack with a volume control shows about the value of the control, and no " +
				"overload. When"},
		"small":             {150, nil, Reading{Clips: Leads}, 200, []Cause{RangeOrUnit, SeriesContact, OpenWinding}, "on 20 Ω or less"},
		"just over a range": {19990, nil, Reading{Clips: Leads}, 200e3, []Cause{RangeOrUnit, SeriesContact, OpenWinding}, "on 20 kΩ or less"},
	} {
		t.Run(name, func(t *testing.T) {
			in := Input{Ours: Record{Serial: "HN-0001", R20Ohms: tt.ours, ExpandedUncertaintyOhms: tt.ours / 500}, Mate: tt.mate,
				Theirs: []Reading{tt.theirs}, Seed: 1}
			o, err := AnswerOverload(in)
			if err != nil {
				t.Fatal(err)
			}
			if o.RangeOhms != tt.rangeOhms {
				t.Errorf("range of %g ohms, want %g", o.RangeOhms, tt.rangeOhms)
			}
			var causes []Cause
			for i, c := range o.Causes {
				causes = append(causes, c.Cause)
				if last := i == len(o.Causes)-1; c.Damage != last {
					t.Errorf("cause %s: damage %v; want it of the last cause only", c.Cause, c.Damage)
				}
			}
			if strings.Join(causeNames(causes), " ") != strings.Join(causeNames(tt.causes), " ") {
				t.Errorf("causes %v, want %v", causes, tt.causes)
			}
			for _, says := range []string{tt.says, "coil HN-0001", "unplug the instrument from the amplifier", "should come back"} {
				if !strings.Contains(o.Answer, says) {
					t.Errorf("the letter lacks %q:\n%s", says, o.Answer)
				}
			}
			// What was expected is what a comparison expects, whatever was read.
			in.Theirs[0].Ohms = tt.ours
			r, err := Compare(in)
			if err != nil || r.ExpectedLowOhms != o.ExpectedLowOhms || r.ExpectedHighOhms != o.ExpectedHighOhms {
				t.Errorf("expected %g to %g, a comparison says %g to %g, %v", o.ExpectedLowOhms, o.ExpectedHighOhms, r.ExpectedLowOhms,
					r.ExpectedHighOhms, err)
			}
		})
	}
}

func causeNames(causes []Cause) []string {
	var list []string
	for _, c := range causes {
		list = append(list, string(c))
	}
	return list
}

func TestAnswerOverloadRefuses(t *testing.T) {
	for name, in := range map[string]Input{
		"no reading":      {Ours: Record{R20Ohms: 6612, ExpandedUncertaintyOhms: 13}},
		"two readings":    {Ours: Record{R20Ohms: 6612, ExpandedUncertaintyOhms: 13}, Theirs: make([]Reading, 2)},
		"no record":       {Theirs: make([]Reading, 1)},
		"wired to nobody": {Ours: Record{R20Ohms: 6612, ExpandedUncertaintyOhms: 13}, Theirs: []Reading{{Wiring: Series}}},
	} {
		if _, err := AnswerOverload(in); err == nil {
			t.Errorf("%s: no error", name)
		}
	}
}
