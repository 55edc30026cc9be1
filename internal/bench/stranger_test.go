package bench

import (
	"strings"
	"testing"

	"coilkeep/internal/capture"
	"coilkeep/internal/history"
)

// comeBackAs pulls the meter and puts one in that says another name.
func (p *place) comeBackAs(identity string) Snapshot {
	p.t.Helper()
	p.do(func() { p.meter.gone = true })
	p.untilState(capture.Offline)
	p.do(func() { p.meter.gone, p.meter.identity = false, identity })
	return p.until("the meter", func(s Snapshot) bool { return s.Meter.Up })
}

// The leads measured with one meter are not those of another, so no coil is
// recorded with another meter, or one without a name, before somebody agrees.
func TestAnotherMeterIsAskedAbout(t *testing.T) {
	t.Parallel()
	p := newPlace(t, nil, nil)
	p.untilState(capture.Open)
	p.measure(6600)
	p.open()
	for _, identity := range []string{"Elder Vale,EV-41,0008,1.2", "?"} {
		p.comeBackAs(identity)
		p.clip(6610)
		s := p.until("a coil seen", func(s Snapshot) bool { return s.R20Ohms != nil })
		for _, want := range []string{"EV-41,0007", identity, "Record"} {
			if s.State != string(capture.Waiting) || !strings.Contains(s.Words, want) {
				t.Errorf("with %s: %s: %q, want to be asked with %q", identity, s.State, s.Words, want)
			}
		}
		if err := p.bench.Record(t.Context(), RecordRequest{Force: true, Reason: "in a hurry"}); err == nil {
			t.Error("it was recorded by force")
		}
		p.clip(0)
		p.until("open clips", func(s Snapshot) bool { return s.ResistanceOhms == nil })
	}
	if got := len(p.all()); got != 1 {
		t.Fatalf("%d measurements are kept, want 1", got)
	}
	if err := p.bench.Record(t.Context(), RecordRequest{Who: "Wren"}); err != nil {
		t.Fatal(err)
	}
	p.untilState(capture.Open)
	if m := p.measure(6620); m.Meter != "?" {
		t.Errorf("measured with %q", m.Meter)
	}
	p.stop()
	deeds, err := p.store.Journal(t.Context(), history.JournalFilter{Action: "meter changed"})
	if err != nil || len(deeds) != 1 || deeds[0].Who != "Wren" || !strings.Contains(deeds[0].Detail, "EV-41,0007") {
		t.Errorf("journal %+v, %v", deeds, err)
	}
}

func TestTheSameMeterIsTakenBack(t *testing.T) {
	t.Parallel()
	p := newPlace(t, nil, nil)
	p.untilState(capture.Open)
	p.comeBackAs("Elder Vale,EV-41,0008,1.2")
	p.comeBackAs("Elder Vale,EV-41,0007,1.2")
	p.untilState(capture.Open)
	p.measure(6600)
}

// What is offered must not replace a coil that is not named.
func TestTheCoilThatWouldBeReplacedIsNamed(t *testing.T) {
	t.Parallel()
	p := newPlace(t, nil, nil)
	p.untilState(capture.Open)
	p.measure(6600)
	p.clip(6800)
	s := p.untilState(capture.Asking)
	if !strings.Contains(s.Words, "take it off and clip it on again; measure again only to replace HN-0001") {
		t.Errorf("words %q", s.Words)
	}
}
