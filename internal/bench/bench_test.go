package bench

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"math"
	"strings"
	"sync"
	"testing"
	"time"

	"coilkeep/driver"
	"coilkeep/internal/capture"
	"coilkeep/internal/record"
)

func TestCoilsAreMeasuredOneByOne(t *testing.T) {
	p := newPlace(t, nil, nil)
	p.untilState(capture.Open)
	for i := range 3 {
		m := p.measure(6600 + 20*float64(i))
		want := fmt.Sprintf("HN-%04d", i+1)
		if m.Serial != want || m.Sequence != i+1 || m.Batch != "first" || m.Spool != "SP-1" || m.Design != "Fen" {
			t.Errorf("filed as %s, sequence %d of %s, spool %s, design %s; want %s, %d of first, SP-1, Fen",
				m.Serial, m.Sequence, m.Batch, m.Spool, m.Design, want, i+1)
		}
		// How warm the copper is was estimated from readings that scatter.
		if truth := (6600 + 20*float64(i)) / (1 + 0.00393*1.5); math.Abs(m.R20Ohms-truth) > m.ExpandedUncertaintyOhms/2 ||
			m.ExpandedUncertaintyOhms > 0.02*truth {
			t.Errorf("R20 %.2f ± %.2f Ω, want %.2f Ω", m.R20Ohms, m.ExpandedUncertaintyOhms, truth)
		}
		if m.Meter != "Elder Vale,EV-41,0007,1.2" {
			t.Errorf("meter %q", m.Meter)
		}
		p.open()
	}
	if got := len(p.all()); got != 3 {
		t.Errorf("%d measurements are kept, want 3", got)
	}
}

func TestWithoutABatchNothingIsRecorded(t *testing.T) {
	p := newPlace(t, nil, nil)
	if _, err := p.bench.CloseBatch(t.Context(), "test"); err != nil {
		t.Fatal(err)
	}
	p.untilState(capture.Waiting)
	p.clip(6600)
	s := p.until("a live result", func(s Snapshot) bool { return s.R20Ohms != nil })
	if !strings.Contains(s.Words, "batch") {
		t.Errorf("words %q do not ask for a batch", s.Words)
	}
	if _, err := p.bench.StartBatch(t.Context(), record.BatchStart{Name: "second", Design: "Fen"}); err != nil {
		t.Fatal(err)
	}
	s = p.untilState(capture.Recorded)
	if s.Last == nil || s.Last.Batch != "second" {
		t.Errorf("last %+v, want one in the second batch", s.Last)
	}
}

// TestDeedsElsewhereAreTold voids an old coil behind the back of the bench, as
// a command or the page of a coil does.
func TestDeedsElsewhereAreTold(t *testing.T) {
	p := newPlace(t, nil, nil)
	p.untilState(capture.Open)
	first := p.measure(6600)
	p.open()
	p.measure(6610)
	if _, err := p.store.Void(t.Context(), first.ID, "the clip slipped", "test"); err != nil {
		t.Fatal(err)
	}
	deeds, err := p.store.Journal(t.Context(), record.JournalFilter{Limit: 1})
	if err != nil || len(deeds) != 1 || deeds[0].Action != "void" {
		t.Fatalf("got the journal %+v, %v", deeds, err)
	}
	p.until("the deed to be told", func(s Snapshot) bool { return s.LastDeed == deeds[0].ID })
}

// late is a history that answers one question late: once held is filled, the
// next who asks says so in asked and waits for answer.
type late struct {
	Store
	held, asked, answer chan struct{}
}

// Journal is what the bench asks for last.
func (l *late) Journal(ctx context.Context, f record.JournalFilter) ([]record.JournalEntry, error) {
	deeds, err := l.Store.Journal(ctx, f)
	select {
	case <-l.held:
		close(l.asked)
		<-l.answer
	default:
	}
	return deeds, err
}

// TestLateAnswersAreOld has the history be asked before a coil is recorded and
// answer after it: the coil before must not come back as the last one, nor the
// serial number that is taken as the next.
func TestLateAnswersAreOld(t *testing.T) {
	l := &late{held: make(chan struct{}, 1), asked: make(chan struct{}), answer: make(chan struct{})}
	p := newPlace(t, func(s Store) Store { l.Store = s; return l }, nil)
	p.untilState(capture.Open)
	p.measure(6600)
	p.until("the next serial", func(s Snapshot) bool { return s.NextSerial == "HN-0002" })
	p.open()
	l.held <- struct{}{}
	p.bench.askAgain()
	<-l.asked
	p.measure(6610)
	late := p.bench.questions.Load()
	close(l.answer)
	for newer := false; !newer; {
		p.on(func(b *station) {
			newer = b.around.asked > late
			if b.last.Serial != "HN-0002" || b.filedUnder() != "HN-0003" {
				t.Errorf("after coil HN-0002: the last one is %s, the next %q", b.last.Serial, b.filedUnder())
				newer = true
			}
		})
		p.bench.askAgain()
	}
}

// TestTheNextSerialComesWithTheRecord has the history answer nobody but the one who
// writes: what is typed at once after a coil has its serial number all the same.
func TestTheNextSerialComesWithTheRecord(t *testing.T) {
	l := &late{held: make(chan struct{}, 1), asked: make(chan struct{}), answer: make(chan struct{})}
	p := newPlace(t, func(s Store) Store { l.Store = s; return l }, nil)
	defer close(l.answer)
	p.untilState(capture.Open)
	l.held <- struct{}{}
	p.bench.askAgain()
	<-l.asked
	p.measure(6600)
	if got := p.bench.Snapshot().NextSerial; got != "HN-0002" {
		t.Errorf("after HN-0001 is durable the next serial number is %q", got)
	}
}

func TestLostMeterIsNamedAndComesBack(t *testing.T) {
	p := newPlace(t, nil, nil)
	p.untilState(capture.Open)
	first := p.measure(6600)
	p.do(func() { p.meter.gone = true })
	s := p.untilState(capture.Offline)
	if s.Meter.Up || s.ResistanceOhms != nil || s.R20Ohms != nil {
		t.Errorf("with the meter gone: up %v, resistance %v, R20 %v", s.Meter.Up, s.ResistanceOhms, s.R20Ohms)
	}
	p.until("the reason", func(s Snapshot) bool { return strings.Contains(s.Meter.Fault, "plugged in") })
	p.do(func() { p.meter.gone = false })
	// The coil may have been swapped while the cable was out.
	p.untilState(capture.Asking)
	if got := len(p.all()); got != 1 {
		t.Fatalf("%d measurements, want 1", got)
	}
	if p.counts.reconnects == 0 {
		t.Error("the reconnection was not counted")
	}
	if err := p.bench.SetNext(t.Context(), Next{Serial: first.Serial, Again: true}); err != nil {
		t.Fatal(err)
	}
	s = p.untilState(capture.Recorded)
	if s.Last.Serial != first.Serial || s.Last.Supersedes != first.ID {
		t.Errorf("measured again as %s superseding %q, want %s superseding %s", s.Last.Serial, s.Last.Supersedes, first.Serial, first.ID)
	}
}

func TestSilentInstruments(t *testing.T) {
	p := newPlace(t, nil, nil)
	p.untilState(capture.Open)
	p.do(func() { p.probe.silent = true })
	s := p.until("the silent probe to be named", func(s Snapshot) bool { return strings.Contains(s.Probe.Fault, "silent") })
	if !s.Meter.Up {
		t.Error("a silent probe took the meter down")
	}
	p.until("the temperature to go", func(s Snapshot) bool { return s.TemperatureCelsius == nil })
	p.clip(6600)
	p.untilState(capture.NoTemperature)
	p.do(func() { p.probe.silent = false })
	p.untilState(capture.Recorded)
	p.do(func() { p.meter.silent = true })
	p.untilState(capture.Offline)
}

func (f *fakeBench) meterAnswers() (n int) {
	f.do(func() { n = f.meter.answers })
	return n
}

// Garbage for longer than a time-out is as good as silence: what was last read
// must not look live.
func TestGarbageIsNamed(t *testing.T) {
	p := newPlace(t, nil, nil)
	p.untilState(capture.Open)
	p.do(func() { p.meter.garbage = true })
	s := p.untilState(capture.Offline)
	if s.Meter.Up || !strings.Contains(s.Meter.Fault, "noise") || !strings.Contains(s.Meter.Fault, "baud") {
		t.Errorf("meter up %v, fault %q; want it down, with the reason and what to check", s.Meter.Up, s.Meter.Fault)
	}
	from := p.meterAnswers()
	later := p.until("more garbage", func(Snapshot) bool { return p.meterAnswers() > from+5 })
	if later.Meter.Fault != s.Meter.Fault {
		t.Errorf("the fault went from %q to %q", s.Meter.Fault, later.Meter.Fault)
	}
	p.do(func() { p.meter.garbage, p.probe.garbage = false, true })
	p.untilState(capture.Open)
	s = p.until("the garbage of the probe to be named", func(s Snapshot) bool { return strings.Contains(s.Probe.Fault, "noise") })
	if s.Probe.Up || !s.Meter.Up {
		t.Errorf("probe up %v, meter up %v", s.Probe.Up, s.Meter.Up)
	}
	p.do(func() { p.probe.garbage = false })
	p.measure(6600)
}

// failing is a history whose disk is full until it is mended.
type failing struct {
	Store
	mu   sync.Mutex
	full bool
}

func (f *failing) RecordBy(ctx context.Context, m record.Measurement, readings []record.Reading, who string) (record.Measurement, error) {
	f.mu.Lock()
	full := f.full
	f.mu.Unlock()
	if full {
		return record.Measurement{}, fmt.Errorf("write: %w", record.ErrFull)
	}
	return f.Store.RecordBy(ctx, m, readings, who)
}

func TestWhatCannotBeSavedIsHeld(t *testing.T) {
	var disk *failing
	p := newPlace(t, func(s Store) Store { disk = &failing{Store: s, full: true}; return disk }, nil)
	p.untilState(capture.Open)
	p.clip(6600)
	s := p.until("the full disk to be named", func(s Snapshot) bool { return strings.Contains(s.Unsaved, "disk is full") })
	if s.State != capture.Unsaved {
		t.Errorf("state %s, want unsaved", s.State)
	}
	// Another coil is not taken meanwhile.
	p.clip(0)
	p.clip(6700)
	if _, err := p.bench.Snapshot(), p.bench.Record(t.Context(), RecordRequest{Force: true, Reason: "hurry"}); !errors.Is(err, ErrState) {
		t.Errorf("forcing another coil: %v, want ErrState", err)
	}
	disk.mu.Lock()
	disk.full = false
	disk.mu.Unlock()
	p.until("it to be saved", func(s Snapshot) bool { return s.Unsaved == "" && s.Last != nil })
	if list := p.all(); len(list) != 1 || math.Abs(list[0].ResistanceOhms-6600) > 1 {
		t.Errorf("kept %+v, want the first coil once", list)
	}
}

func TestStoppingSeesAWriteThrough(t *testing.T) {
	p := newPlace(t, func(s Store) Store { return &slow{s} }, nil)
	p.untilState(capture.Open)
	p.clip(6600)
	p.until("the write to begin", func(s Snapshot) bool { return s.Unsaved != "" })
	p.stop()
	if got := len(p.all()); got != 1 {
		t.Errorf("%d measurements after stopping in the middle of a write, want 1", got)
	}
}

// slow is a history on a slow disk.
type slow struct{ Store }

func (s *slow) RecordBy(ctx context.Context, m record.Measurement, readings []record.Reading, who string) (record.Measurement, error) {
	timer := time.NewTimer(300 * time.Millisecond)
	defer timer.Stop()
	<-timer.C
	return s.Store.RecordBy(ctx, m, readings, who)
}

func TestRestartInTheMiddleDoublesNothing(t *testing.T) {
	p := newPlace(t, nil, nil)
	p.untilState(capture.Open)
	p.measure(6600)
	p.stop()
	again := startPlace(t, p.store, p.fakeBench, nil, nil)
	again.untilState(capture.Asking)
	if got := len(p.all()); got != 1 {
		t.Fatalf("%d measurements after a restart with the coil on, want 1", got)
	}
	again.open()
	if m := again.measure(6620); m.Serial != "HN-0002" {
		t.Errorf("the next coil is filed as %s, want HN-0002", m.Serial)
	}
}

func TestSerialNumbers(t *testing.T) {
	p := newPlace(t, nil, nil)
	p.untilState(capture.Open)
	p.measure(6600)
	p.open()
	if err := p.bench.SetNext(t.Context(), Next{Serial: "HN-0001"}); !errors.Is(err, record.ErrDuplicate) {
		t.Errorf("a serial used before: %v, want ErrDuplicate", err)
	}
	if err := p.bench.SetNext(t.Context(), Next{Serial: "hn-0001"}); !errors.Is(err, record.ErrInvalid) ||
		!strings.Contains(err.Error(), "HN-0001 exists") {
		t.Errorf("the same in small letters: %v, want it named", err)
	}
	if err := p.bench.SetNext(t.Context(), Next{Serial: "HN-0103"}); err != nil ||
		!strings.Contains(p.bench.Snapshot().NextRemark, "go on from HN-0104") {
		t.Errorf("far ahead: %v, %q; want a remark", err, p.bench.Snapshot().NextRemark)
	}
	if err := p.bench.SetNext(t.Context(), Next{Serial: "bad\x00serial"}); !errors.Is(err, record.ErrInvalid) {
		t.Errorf("a serial with a control character: %v, want ErrInvalid", err)
	}
	if err := p.bench.SetNext(t.Context(), Next{Serial: "HN-0001 R20 6.690 +- 0.018 kohm 2026-03-14", Stage: "potted"}); err != nil {
		t.Errorf("the same coil at another stage: %v", err)
	}
	if m := p.measure(6610); m.Serial != "HN-0001" || m.Stage != "potted" || m.Supersedes != "" {
		t.Errorf("filed as %s (%s), superseding %q; want HN-0001, potted, nothing", m.Serial, m.Stage, m.Supersedes)
	}
	p.open()
	if m := p.measure(6620); m.Serial != "HN-0002" {
		t.Errorf("the next by the pattern is %s, want HN-0002", m.Serial)
	}
}

func TestWithoutAPatternThePersonIsAsked(t *testing.T) {
	p := newPlace(t, nil, func(s *Settings) { s.Serials = "" })
	p.clip(0)
	p.until("the question", func(s Snapshot) bool { return strings.Contains(s.Words, "serial") })
	p.clip(6600)
	p.untilState(capture.Waiting)
	if err := p.bench.SetNext(t.Context(), Next{Serial: "A-17"}); err != nil {
		t.Fatal(err)
	}
	if s := p.untilState(capture.Recorded); s.Last.Serial != "A-17" {
		t.Errorf("filed as %s, want A-17", s.Last.Serial)
	}
}

func TestForceIsMarkedAndDurable(t *testing.T) {
	p := newPlace(t, nil, func(s *Settings) { s.Capture.Patience = time.Hour })
	p.untilState(capture.Open)
	if err := p.bench.Record(t.Context(), RecordRequest{Force: true}); !errors.Is(err, record.ErrInvalid) {
		t.Errorf("forcing without a reason: %v, want ErrInvalid", err)
	}
	p.clip(7000 * (1 + 0.00393*1.5)) // on the limit, so that it waits
	p.untilState(capture.Steady)
	if err := p.bench.Record(t.Context(), RecordRequest{Force: true, Reason: "buyer waits"}); err != nil {
		t.Fatal(err)
	}
	list := p.all()
	if len(list) != 1 || list[0].Status != record.Forced || list[0].Reason != "buyer waits" {
		t.Errorf("kept %+v, want one forced measurement with its reason", list)
	}
}

func TestASecondBenchNeverNotices(t *testing.T) {
	p := newPlace(t, nil, nil)
	p.untilState(capture.Open)
	other := &fakeBench{}
	other.meter.gone, other.probe.silent = true, true
	b := New(quickSettings("south", other), p.store, p.counts, p.hub, slog.New(slog.DiscardHandler))
	ctx, cancel := context.WithCancel(t.Context())
	done := make(chan error, 1)
	go func() { done <- b.Run(ctx) }()
	for range 2 {
		p.measure(6600)
		p.open()
	}
	cancel()
	if err := <-done; err != nil {
		t.Error(err)
	}
	if s := b.Snapshot(); s.Meter.Up {
		t.Error("the bench without a meter says it has one")
	}
}

func TestLeadsAreMeasuredAndSubtracted(t *testing.T) {
	p := newPlace(t, nil, nil)
	p.untilState(capture.Open)
	if _, err := p.bench.MeasureLeads(t.Context(), "Wren"); !errors.Is(err, ErrState) || !strings.Contains(err.Error(), "shorted") {
		t.Errorf("with open clips: %v, want a hint to short them", err)
	}
	p.clip(0.25)
	z, err := p.bench.MeasureLeads(t.Context(), "Wren")
	if err != nil || math.Abs(z.Ohms-0.26) > 0.011 || z.Readings != 10 {
		t.Fatalf("lead zero %+v, %v; want 0.26 Ω", z, err)
	}
	p.clip(0)
	p.untilState(capture.Open)
	if m := p.measure(6600); m.Inputs.LeadOhms != z.Ohms || m.Inputs.LeadHalfWidthOhms != z.HalfWidthOhms {
		t.Errorf("measured with leads of %g ± %g Ω, want %g ± %g Ω", m.Inputs.LeadOhms, m.Inputs.LeadHalfWidthOhms, z.Ohms, z.HalfWidthOhms)
	}
}

func TestACheckStandardIsNoCoil(t *testing.T) {
	p := newPlace(t, nil, nil)
	p.untilState(capture.Open)
	p.clip(6800)
	c, err := p.bench.MeasureStandard(t.Context(), Standard{Name: "R6k8", NominalOhms: 6800, Who: "Wren"})
	if err != nil || math.Abs(c.MeasuredOhms-6800) > 0.1 || c.TemperatureCelsius == nil {
		t.Fatalf("check measurement %+v, %v", c, err)
	}
	// Left on, it is asked about and not taken for a coil.
	p.untilState(capture.Asking)
	if list := p.all(); len(list) != 0 {
		t.Errorf("%d coils measured", len(list))
	}
	if _, err := p.bench.MeasureStandard(t.Context(), Standard{Name: "R10k", NominalOhms: 10000}); !errors.Is(err, ErrState) {
		t.Errorf("the wrong standard: %v, want ErrState", err)
	}
	if _, err := p.bench.MeasureStandard(t.Context(), Standard{Name: "R"}); !errors.Is(err, record.ErrInvalid) {
		t.Errorf("no reference value: %v, want ErrInvalid", err)
	}
}

// A coil measured for a study leaves no measurement of the coil; with a batch
// open it would, and is refused.
func TestAStudyIsNoMeasurement(t *testing.T) {
	p := newPlace(t, nil, nil)
	p.untilState(capture.Open)
	design, err := p.store.Design(t.Context(), p.bench.Snapshot().Batch.Design)
	if err != nil {
		t.Fatal(err)
	}
	coil := StudyCoil{Study: "spring", Part: "1", Operator: "Wren", Design: design}
	if _, err := p.bench.MeasureStudy(t.Context(), coil); !errors.Is(err, ErrState) ||
		!strings.Contains(err.Error(), "close the batch first") {
		t.Fatalf("with a batch open: %v", err)
	}
	if _, err := p.bench.CloseBatch(t.Context(), "Wren"); err != nil {
		t.Fatal(err)
	}
	p.clip(6690)
	for range 2 {
		r, err := p.bench.MeasureStudy(t.Context(), coil)
		if err != nil {
			t.Fatal(err)
		}
		// R20 = R/(1 + α20·(t − 20)), IEC 60028.
		if want := r.ResistanceOhms / (1 + design.AlphaPerKelvin*(r.TemperatureCelsius-20)); math.Abs(r.ResistanceOhms-6690) > 0.5 ||
			math.Abs(r.R20Ohms-want) > 1e-6 {
			t.Errorf("reading %+v, want R20 %v", r, want)
		}
	}
	if list, err := p.store.StudyReadings(t.Context(), "spring"); err != nil || len(list) != 2 {
		t.Errorf("%d readings of the study, %v", len(list), err)
	}
	if list := p.all(); len(list) != 0 {
		t.Errorf("%d coils measured", len(list))
	}
}

// What an instrument or a person says must never make a record that cannot be
// kept: it would be held for ever, and no coil measured again.
func TestOddWordsDoNotHoldTheBench(t *testing.T) {
	for _, identity := range []string{"Elder Vale,EV-41,0007,1.2 ", "Elder\tVale,EV-41,\x01,1.2", "Elder Vale,EV\xff41",
		strings.Repeat("x", 4000)} {
		p := newPlace(t, nil, func(s *Settings) {
			open := s.Meter.Open
			s.Meter.Open = func(ctx context.Context) (driver.Instrument, error) {
				i, err := open(ctx)
				if err == nil {
					i.(*fakeInstrument).identity = identity
				}
				return i, err
			}
		})
		p.untilState(capture.Open)
		if m := p.measure(6600); m.Meter == "" {
			t.Errorf("identity %.20q: measured with no meter named", identity)
		}
		p.stop()
	}
}

func TestForceAndNextAreCheckedAtOnce(t *testing.T) {
	p := newPlace(t, nil, func(s *Settings) { s.Capture.Patience = time.Hour })
	p.untilState(capture.Open)
	if err := p.bench.SetNext(t.Context(), Next{Serial: "A-1", Stage: "polished"}); !errors.Is(err, record.ErrInvalid) {
		t.Errorf("a stage nobody knows: %v, want ErrInvalid", err)
	}
	if err := p.bench.SetNext(t.Context(), Next{Stage: "polished"}); !errors.Is(err, record.ErrInvalid) {
		t.Errorf("a stage nobody knows, no serial: %v, want ErrInvalid", err)
	}
	p.clip(7000 * (1 + 0.00393*1.5))
	p.untilState(capture.Steady)
	for _, reason := range []string{"", "  ", "a\x00b", strings.Repeat("x", 100_000)} {
		if err := p.bench.Record(t.Context(), RecordRequest{Force: true, Reason: reason}); !errors.Is(err, record.ErrInvalid) {
			t.Errorf("reason %.10q: %v, want ErrInvalid", reason, err)
		}
	}
	if err := p.bench.Record(t.Context(), RecordRequest{Force: true, Reason: " buyer waits\n"}); err != nil {
		t.Fatal(err)
	}
	if m := p.all()[0]; m.Reason != "buyer waits" {
		t.Errorf("reason %q, want it without the spaces around", m.Reason)
	}
}
