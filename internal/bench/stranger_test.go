package bench

import (
	"context"
	"errors"
	"math"
	"strings"
	"testing"

	"coilkeep/internal/capture"
	"coilkeep/internal/record"
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
			if s.State != capture.Waiting || !strings.Contains(s.Words, want) {
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
	// Its serial number was held for the coil that went unrecorded meanwhile.
	p.answer("HN-0002", p.bench.MeasureAgain)
	p.untilState(capture.Open)
	if m := p.measure(6620); m.Meter != "?" || m.Serial != "HN-0002" {
		t.Errorf("measured %s with %q", m.Serial, m.Meter)
	}
	p.stop()
	deeds, err := p.store.Journal(t.Context(), record.JournalFilter{Action: "meter changed"})
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

// A meter that did not say what it was is one with a label of its own, by which
// its leads are kept.
func TestANamelessMeterThatComesBackWithANameIsAskedAbout(t *testing.T) {
	t.Parallel()
	p := newPlace(t, nil, nil)
	p.untilState(capture.Open)
	p.on(func(b *station) { b.meter.opened, b.meter.known = false, "" }) // as at a start
	p.comeBackAs(nameless)
	p.untilState(capture.Open)
	p.measure(6600)
	p.open()
	p.comeBackAs("Elder Vale,EV-41,0008,1.2")
	p.clip(6610)
	s := p.until("a coil seen", func(s Snapshot) bool { return s.R20Ohms != nil })
	if s.State != capture.Waiting || !strings.Contains(s.Words, "did not say what it was") || !strings.Contains(s.Words, "0008") {
		t.Errorf("%s: %q, want to be asked", s.State, s.Words)
	}
}

// A check standard or a study says something of the meter in use, not of one
// that only happens to answer.
func TestOnlyTheLeadsAreMeasuredWithAMeterAskedAbout(t *testing.T) {
	t.Parallel()
	p := newPlace(t, nil, nil)
	p.untilState(capture.Open)
	design, err := p.store.Design(t.Context(), "Fen")
	if err != nil {
		t.Fatal(err)
	}
	if _, err := p.bench.CloseBatch(t.Context(), "Wren"); err != nil {
		t.Fatal(err)
	}
	p.comeBackAs("Elder Vale,EV-41,0008,1.2")
	p.clip(6800)
	refused := func(what string, err error) {
		t.Helper()
		if !errors.Is(err, ErrState) || !strings.Contains(err.Error(), "EV-41,0008") {
			t.Errorf("%s: %v, want the question", what, err)
		}
	}
	_, err = p.bench.MeasureStandard(t.Context(), Standard{Name: "R6k8", NominalOhms: 6800, Who: "Wren"})
	refused("a standard", err)
	_, err = p.bench.MeasureStudy(t.Context(), StudyCoil{Study: "spring", Part: "1", Operator: "Wren", Design: design})
	refused("a study", err)
	p.clip(0.4)
	z, err := p.bench.MeasureLeads(t.Context(), "Wren")
	if err != nil || z.Meter != "Elder Vale,EV-41,0008,1.2" {
		t.Fatalf("the leads: %+v, %v", z, err)
	}
	p.clip(6800)
	if _, err := p.bench.MeasureStandard(t.Context(), Standard{Name: "R6k8", NominalOhms: 6800, Who: "Wren"}); err != nil {
		t.Errorf("with the leads measured: %v", err)
	}
}

// swapping does something once a lead zero is kept, before the bench goes on.
type swapping struct {
	Store
	then func()
}

func (s *swapping) AddLeadZero(ctx context.Context, z record.LeadZero) (record.LeadZero, error) {
	z, err := s.Store.AddLeadZero(ctx, z)
	s.then()
	return z, err
}

// The leads of one meter do not take the one into use that came after it, and
// the hold is not lifted before they are known.
func TestLeadsTakeTheirOwnMeterIntoUse(t *testing.T) {
	t.Parallel()
	for _, swapped := range []bool{false, true} {
		swap := &swapping{}
		p := newPlace(t, func(s Store) Store { swap.Store = s; return swap }, nil)
		swap.then = func() {
			if swapped {
				p.on(func(b *station) { b.meter.meet("Elder Vale,EV-41,0009,1.2", false) })
			}
		}
		p.untilState(capture.Open)
		p.comeBackAs("Elder Vale,EV-41,0008,1.2")
		p.clip(0.4)
		if _, err := p.bench.MeasureLeads(t.Context(), "Wren"); err != nil {
			t.Fatal(err)
		}
		p.on(func(b *station) {
			if b.meter.stranger != swapped {
				t.Errorf("swapped %t: asked about %t", swapped, b.meter.stranger)
			}
		})
		p.stop()
	}
}

// Each meter keeps its own leads, whichever were measured last: those of A count
// again when A is plugged in after B.
func TestAMeterThatComesBackHasItsLeads(t *testing.T) {
	t.Parallel()
	const a, b = "Elder Vale,EV-41,0007,1.2", "Elder Vale,EV-41,0008,1.2"
	p := newPlace(t, nil, nil)
	p.untilState(capture.Open)
	leads := func(ohms float64, meter string) record.LeadZero {
		t.Helper()
		p.clip(ohms)
		z, err := p.bench.MeasureLeads(t.Context(), "Wren")
		if err != nil || z.Meter != meter {
			t.Fatalf("the leads: %+v, %v, want those of %s", z, err, meter)
		}
		p.open()
		return z
	}
	measured := func(with record.LeadZero) {
		t.Helper()
		m := p.measure(6600)
		if subtracted := m.Inputs.ResistanceOhms - m.Inputs.CorrectedOhms(); m.Meter != with.Meter || m.Inputs.LeadOhms != with.Ohms ||
			math.Abs(subtracted-with.Ohms) > 1e-9 {
			t.Errorf("%s with %s: %g Ω of leads, %g Ω subtracted; want %g Ω of %s", m.Serial, m.Meter, m.Inputs.LeadOhms, subtracted,
				with.Ohms, with.Meter)
		}
		p.open()
	}
	ofA := leads(0.4, a)
	measured(ofA)
	p.comeBackAs(b)
	ofB := leads(0.7, b)
	measured(ofB)
	p.comeBackAs(a)
	if err := p.bench.Record(t.Context(), RecordRequest{Who: "Wren"}); err != nil { // A is to be used again
		t.Fatal(err)
	}
	p.untilState(capture.Open)
	measured(ofA)
}
