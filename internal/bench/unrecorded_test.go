package bench

import (
	"context"
	"errors"
	"strings"
	"sync"
	"testing"
	"time"

	"coilkeep/internal/capture"
	"coilkeep/internal/record"
)

// onTheLimit reads as a coil that no verdict is certain for.
const onTheLimit = 7000 * (1 + 0.00393*1.5)

// undecided makes a bench wait for a certain verdict for ever.
func undecided(s *Settings) { s.Capture.Patience = time.Hour }

// lose clips a coil on and takes it off before its verdict is certain. It returns
// how the bench lists it.
func (p *place) lose() Unrecorded {
	p.t.Helper()
	before := p.bench.Snapshot().Unrecorded
	p.clip(onTheLimit)
	p.until("a steady coil", func(s Snapshot) bool { return s.R20Ohms != nil && s.ReadingsHave > 0 })
	p.clip(0)
	s := p.until("the coil to be listed", func(s Snapshot) bool {
		return len(s.Unrecorded) > 0 && (len(before) == 0 || s.Unrecorded[0].ID != before[0].ID)
	})
	return s.Unrecorded[0]
}

// answer says something of the coil that the bench asks about.
func (p *place) answer(serial string, say func(ctx context.Context, id, who string) error) {
	p.t.Helper()
	s := p.until("the question about "+serial, func(s Snapshot) bool {
		return len(s.Unrecorded) > 0 && s.Unrecorded[0].Asked && s.Unrecorded[0].Serial == serial
	})
	if !strings.Contains(s.Words, serial+" was not recorded") {
		p.until("the question in words", func(s Snapshot) bool { return strings.Contains(s.Words, serial+" was not recorded") })
	}
	id := s.Unrecorded[0].ID
	// It is answered by what is stored, and storing takes a moment.
	deadline := time.Now().Add(patience)
	for {
		err := say(p.t.Context(), id, "Wren")
		if err == nil {
			return
		}
		if !errors.Is(err, record.ErrNotFound) || time.Now().After(deadline) {
			p.t.Fatal(err)
		}
	}
}

func (p *place) dismiss(ctx context.Context, id, who string) error {
	_, err := p.bench.Dismiss(ctx, id, who)
	return err
}

// A coil that leaves without a record is told, listed and counted, and the next
// one is not filed before somebody has said which it is.
func TestACoilThatIsLostIsTold(t *testing.T) {
	t.Parallel()
	p := newPlace(t, nil, undecided)
	p.untilState(capture.Open)
	u := p.lose()
	if u.Serial != "HN-0001" || u.Refusal != string(capture.Undecided) || !strings.Contains(u.Words, "before the verdict was certain") ||
		!u.Asked {
		t.Errorf("listed as %+v", u)
	}
	p.clip(6600)
	s := p.until("the coil to wait", func(s Snapshot) bool { return s.R20Ohms != nil && s.State == capture.Waiting })
	if !strings.Contains(s.Words, "HN-0001 was not recorded") || !strings.Contains(s.Words, "Is this HN-0001 again, or the next one?") ||
		s.NextSerial != "" {
		t.Errorf("asks %q, files the next as %q", s.Words, s.NextSerial)
	}
	if got := len(p.all()); got != 0 {
		t.Fatalf("%d measurements before the answer", got)
	}
	p.answer("HN-0001", p.bench.MeasureAgain)
	s = p.untilState(capture.Recorded)
	if s.Last.Serial != "HN-0001" {
		t.Errorf("recorded as %s, want HN-0001", s.Last.Serial)
	}
	p.until("it to be off the list", func(s Snapshot) bool { return len(s.Unrecorded) == 0 })
	kept, err := p.store.Unrecorded(t.Context(), u.ID)
	if err != nil || kept.End == nil || kept.End.How != record.Measured {
		t.Errorf("kept %+v, %v; want it measured", kept, err)
	}
	p.counts.mu.Lock()
	defer p.counts.mu.Unlock()
	if p.counts.refused[capture.Undecided] != 1 || p.counts.measurements != 1 {
		t.Errorf("counted %v refused, %d measured", p.counts.refused, p.counts.measurements)
	}
}

// The next coil gets the next number, and the one put aside keeps its own.
func TestTheNextCoilDoesNotTakeTheSerial(t *testing.T) {
	t.Parallel()
	p := newPlace(t, nil, undecided)
	p.untilState(capture.Open)
	p.lose()
	p.answer("HN-0001", p.bench.TakeNext)
	p.untilState(capture.Open)
	if m := p.measure(6600); m.Serial != "HN-0002" {
		t.Fatalf("the next is filed as %s, want HN-0002", m.Serial)
	}
	p.open()
	s := p.until("the number after that", func(s Snapshot) bool { return s.NextSerial != "" })
	if s.NextSerial != "HN-0003" || len(s.Unrecorded) != 1 || s.Unrecorded[0].Serial != "HN-0001" || s.Unrecorded[0].Asked {
		t.Errorf("then next %s, not recorded %+v; want HN-0003 and HN-0001, not asked any more", s.NextSerial, s.Unrecorded)
	}
	// It is scanned later.
	p.next(Next{Serial: "HN-0001"})
	if m := p.measure(6610); m.Serial != "HN-0001" {
		t.Errorf("filed as %s", m.Serial)
	}
	p.open()
	p.until("an empty list", func(s Snapshot) bool { return len(s.Unrecorded) == 0 && s.NextSerial == "HN-0003" })
}

// Dismissed, it is off the list, and still nobody gets its number unasked.
func TestADismissedCoilKeepsItsNumber(t *testing.T) {
	t.Parallel()
	p := newPlace(t, nil, undecided)
	p.untilState(capture.Open)
	u := p.lose()
	p.answer("HN-0001", p.dismiss)
	p.until("an empty list", func(s Snapshot) bool { return len(s.Unrecorded) == 0 && s.NextSerial == "HN-0002" })
	if err := p.dismiss(t.Context(), u.ID, "Wren"); !errors.Is(err, record.ErrConflict) {
		t.Errorf("dismissed twice: %v, want ErrConflict", err)
	}
	if m := p.measure(6600); m.Serial != "HN-0002" {
		t.Errorf("the next is filed as %s, want HN-0002", m.Serial)
	}
}

// A coil re-measured meanwhile answers nothing; a restart forgets nothing.
func TestTheQuestionStays(t *testing.T) {
	t.Parallel()
	p := newPlace(t, nil, undecided)
	p.untilState(capture.Open)
	p.measure(6600)
	p.open()
	p.lose()
	p.next(Next{Serial: "HN-0001", Again: true})
	if m := p.measure(6601); m.Serial != "HN-0001" {
		t.Fatalf("filed as %s", m.Serial)
	}
	p.clip(0)
	asked := func(s Snapshot) bool {
		return strings.Contains(s.Words, "HN-0002 was not recorded") && s.NextSerial == "" && len(s.Unrecorded) == 1 && s.Unrecorded[0].Asked
	}
	p.until("the question still", asked)
	p.until("it to be stored", func(Snapshot) bool {
		list, err := p.store.OpenUnrecorded(t.Context(), "north")
		return err == nil && len(list) == 1
	})
	p.stop()
	again := startPlace(t, p.store, p.fakeBench, nil, undecided)
	again.until("the question after a restart", asked)
	again.answer("HN-0002", again.bench.TakeNext)
	again.untilState(capture.Open)
	if m := again.measure(6620); m.Serial != "HN-0003" {
		t.Errorf("filed as %s, want HN-0003", m.Serial)
	}
	again.stop()
	third := startPlace(t, p.store, p.fakeBench, nil, undecided)
	s := third.until("the next number", func(s Snapshot) bool { return s.NextSerial != "" })
	if s.NextSerial != "HN-0004" || len(s.Unrecorded) != 1 || s.Unrecorded[0].Asked {
		t.Errorf("after another restart: next %s, %+v; want HN-0004 and HN-0002 listed", s.NextSerial, s.Unrecorded)
	}
}

// Coils taken off while nobody answers are told and listed, once, for their
// numbers are not known.
func TestCoilsLostWhileNobodyAnswers(t *testing.T) {
	t.Parallel()
	p := newPlace(t, nil, undecided)
	p.untilState(capture.Open)
	p.lose()
	events, cancel := p.hub.Subscribe()
	defer cancel()
	for range 2 {
		p.clip(6600)
		p.until("the coil to wait", func(s Snapshot) bool { return s.R20Ohms != nil && s.State == capture.Waiting })
		p.clip(0)
		for e := range events {
			if e.Type == UnrecordedEvent {
				if d := e.Data.(UnrecordedData); d.Serial != "" || d.Bench != "north" || d.Words == "" {
					t.Errorf("told %+v", d)
				}
				break
			}
		}
	}
	s := p.bench.Snapshot()
	if len(s.Unrecorded) != 2 || s.Unrecorded[0].Serial != "" || s.Unrecorded[1].Serial != "HN-0001" || !s.Unrecorded[1].Asked {
		t.Errorf("listed %+v, want one without a number and HN-0001", s.Unrecorded)
	}
	if err := p.bench.MeasureAgain(t.Context(), s.Unrecorded[0].ID, ""); err == nil {
		t.Error("a coil without a number is the one again")
	}
}

// Where a person gives each serial number, the next coil needs one.
func TestWithoutAPatternTheSerialIsNotKept(t *testing.T) {
	t.Parallel()
	p := newPlace(t, nil, func(s *Settings) { undecided(s); s.Serials = "" })
	p.clip(0)
	p.until("the bench", func(s Snapshot) bool { return strings.Contains(s.Words, "serial") })
	p.next(Next{Serial: "A-17"})
	if u := p.lose(); u.Serial != "A-17" || u.Asked {
		t.Errorf("listed as %+v", u)
	}
	p.clip(6600)
	s := p.until("the coil to wait", func(s Snapshot) bool { return s.R20Ohms != nil && s.State == capture.Waiting })
	if !strings.Contains(s.Words, "which coil is it") || s.NextSerial != "" {
		t.Errorf("%q, next %q", s.Words, s.NextSerial)
	}
	p.next(Next{Serial: "A-18"})
	if s := p.untilState(capture.Recorded); s.Last.Serial != "A-18" || len(s.Unrecorded) != 1 {
		t.Errorf("filed as %s, listed %+v", s.Last.Serial, s.Unrecorded)
	}
}

// A brief touch is no coil.
func TestABriefTouchAsksNothing(t *testing.T) {
	t.Parallel()
	p := newPlace(t, nil, func(s *Settings) { s.Capture.HandsOff = 5 * time.Second })
	p.untilState(capture.Open)
	p.clip(6600)
	p.untilState(capture.Contact)
	p.open()
	if s := p.bench.Snapshot(); len(s.Unrecorded) != 0 || s.NextSerial != "HN-0001" {
		t.Errorf("listed %+v, next %q", s.Unrecorded, s.NextSerial)
	}
}

// forgetful is a history that takes no coil that was not recorded until it is
// mended.
type forgetful struct {
	Store
	mu     sync.Mutex
	broken bool
}

func (f *forgetful) AddUnrecorded(ctx context.Context, u record.Unrecorded) (record.Unrecorded, error) {
	f.mu.Lock()
	defer f.mu.Unlock()
	if f.broken {
		return record.Unrecorded{}, record.ErrFull
	}
	return f.Store.AddUnrecorded(ctx, u)
}

// It is listed, and its number held, before it is on the disk.
func TestALostCoilIsHeldBeforeItIsStored(t *testing.T) {
	t.Parallel()
	disk := &forgetful{broken: true}
	p := newPlace(t, func(s Store) Store { disk.Store = s; return disk }, undecided)
	p.untilState(capture.Open)
	p.lose()
	p.clip(6600)
	p.until("the coil to wait", func(s Snapshot) bool { return s.R20Ohms != nil && s.State == capture.Waiting })
	p.next(Next{}) // the next by the pattern
	s := p.until("that to be taken", func(s Snapshot) bool { return !s.Unrecorded[0].Asked })
	if s.NextSerial != "" || len(p.all()) != 0 {
		t.Errorf("next %q before the history knows of HN-0001", s.NextSerial)
	}
	disk.mu.Lock()
	disk.broken = false
	disk.mu.Unlock()
	if s := p.untilState(capture.Recorded); s.Last.Serial != "HN-0002" {
		t.Errorf("filed as %s, want HN-0002", s.Last.Serial)
	}
}
