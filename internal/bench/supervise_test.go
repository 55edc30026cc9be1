package bench

import (
	"errors"
	"fmt"
	"log/slog"
	"strings"
	"testing"
	"time"

	"coilkeep/driver"
	"coilkeep/internal/capture"
	"coilkeep/internal/record"
	"coilkeep/internal/workshop"
)

// A meter may send more digits than it measures; one that shows coarser steps
// than it was said to is believed.
func TestResolutionIsNeverFinerThanTheDisplay(t *testing.T) {
	s := InstrumentSettings{ResolutionOhms: 10}
	for shown, want := range map[float64]float64{1: 10, 10: 10, 100: 100, 0: 10} {
		if got := s.Converted(driver.Reading{Status: driver.OK, Value: 6740, Resolution: shown}).Resolution; got != want {
			t.Errorf("with steps of %g Ω sent: resolution %g Ω, want %g Ω", shown, got, want)
		}
	}
}

func TestExplainGivesOneAdvice(t *testing.T) {
	s := InstrumentSettings{Timeout: 2 * time.Second}
	for _, c := range []struct {
		name string
		err  error
		want []string
	}{
		{"silent", fmt.Errorf("wait for a line: %w", driver.ErrSilent), []string{"silent for 2s", "switched on", "longer timeout"}},
		{"lost", fmt.Errorf("read port /dev/ttyUSB0: %w", driver.ErrLineLost), []string{"connection lost", "plugged in"}},
		{"refused", fmt.Errorf("%w: -113 undefined header", driver.ErrRefused), []string{"-113"}},
	} {
		t.Run(c.name, func(t *testing.T) {
			got := s.Explain(c.err)
			for _, want := range c.want {
				if !strings.Contains(got, want) {
					t.Errorf("%q lacks %q", got, want)
				}
			}
			if n := strings.Count(got, "?"); n > 1 {
				t.Errorf("%q asks %d questions", got, n)
			}
		})
	}
	if got := s.Explain(errors.New("odd")); got != "odd" {
		t.Errorf("got %q, want the error as it is", got)
	}
}

// What an instrument threw away is counted as it grows, and over reopenings,
// after which the instrument itself counts from nothing.
func TestDroppedBytesAreCounted(t *testing.T) {
	p := newPlace(t, nil, nil)
	counted := func(want int64) {
		t.Helper()
		p.until(fmt.Sprintf("%d bytes", want), func(Snapshot) bool {
			p.counts.mu.Lock()
			defer p.counts.mu.Unlock()
			return p.counts.dropped[record.Meter] == want && p.counts.dropped[record.Probe] == 0
		})
	}
	p.untilState(capture.Open)
	p.do(func() { p.meter.dropped = 4 })
	counted(4)
	p.do(func() { p.meter.dropped = 9 })
	counted(9)
	p.do(func() { p.meter.gone, p.meter.dropped = true, 0 })
	p.untilState(capture.Offline)
	p.do(func() { p.meter.gone, p.meter.dropped = false, 2 })
	counted(11)
}

// Of two answers the one to the later question counts, in whichever order they
// come.
func TestLaterQuestionCounts(t *testing.T) {
	b := New(quickSettings("north", &fakeBench{}), nil, &counts{}, &Hub{}, slog.New(slog.DiscardHandler)).station
	before, after := &record.Batch{Name: "before"}, &record.Batch{Name: "after"}
	if b.surround(surroundings{asked: 2, Situation: workshop.Situation{Batch: after}}) {
		t.Error("the answer to the later question is called old")
	}
	if !b.surround(surroundings{asked: 1, Situation: workshop.Situation{Batch: before}}) || b.around.Batch != after {
		t.Errorf("the batch is %+v, want the one of the later answer", b.around.Batch)
	}
}
