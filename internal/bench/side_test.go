package bench

import (
	"context"
	"errors"
	"strings"
	"testing"

	"coilkeep/internal/capture"
	"coilkeep/internal/record"
)

// on runs f on the bench's own goroutine.
func (p *place) on(f func(b *station)) {
	p.t.Helper()
	if err := p.bench.do(p.t.Context(), func(b *station) error { f(b); return nil }); err != nil {
		p.t.Fatal(err)
	}
}

type sideAnswer struct {
	result sideResult
	err    error
}

// begin begins a side job and returns where its answer comes.
func (p *place) begin(ctx context.Context, job *sideJob) <-chan sideAnswer {
	p.t.Helper()
	answer := make(chan sideAnswer, 1)
	go func() {
		r, err := p.bench.runSideJob(ctx, job)
		answer <- sideAnswer{r, err}
	}()
	p.until("the job to begin", func(s Snapshot) bool { return s.Words == job.words })
	return answer
}

// A client that goes away ends its own job, not the one another client has
// begun meanwhile, which would get 0 Ω and no error.
func TestGivingUpEndsOnesOwnJobOnly(t *testing.T) {
	t.Parallel()
	p := newPlace(t, nil, func(s *Settings) { s.Capture.HandsOff = patience })
	p.untilState(capture.Open)
	ctx, giveUp := context.WithCancel(t.Context())
	defer giveUp()
	first := p.begin(ctx, &sideJob{words: "first", mostOhms: 1})
	second := &sideJob{words: "second", mostOhms: 1, done: make(chan sideResult, 1)}
	p.on(func(b *station) { // the first has its answer, and gives up before it takes it
		second.began = b.now()
		b.side = second
	})
	giveUp()
	if a := <-first; !errors.Is(a.err, context.Canceled) {
		t.Errorf("the first: %v, want context.Canceled", a.err)
	}
	p.on(func(b *station) {
		if b.side != second {
			t.Errorf("the second job was answered: %+v", <-second.done)
		}
	})
}

// Whoever waits for a job that was given up gets no number.
func TestAJobGivenUpHasNoResult(t *testing.T) {
	t.Parallel()
	p := newPlace(t, nil, func(s *Settings) { s.Capture.HandsOff = patience })
	p.untilState(capture.Open)
	ctx, giveUp := context.WithCancel(t.Context())
	answer := p.begin(ctx, &sideJob{words: "a job", mostOhms: 1})
	giveUp()
	if a := <-answer; !errors.Is(a.err, context.Canceled) {
		t.Errorf("%+v, want context.Canceled", a)
	}
	p.on(func(b *station) {
		if b.side != nil {
			t.Error("it is under way still")
		}
	})
}

// The leads belong to the meter they were measured with, whichever is plugged
// in when they are stored.
func TestLeadsAreThoseOfTheirMeter(t *testing.T) {
	t.Parallel()
	p := newPlace(t, nil, func(s *Settings) { s.Capture.HandsOff = patience })
	p.untilState(capture.Open)
	type kept struct {
		zero record.LeadZero
		err  error
	}
	answer := make(chan kept, 1)
	go func() {
		z, err := p.bench.MeasureLeads(t.Context(), "Wren")
		answer <- kept{z, err}
	}()
	p.until("the job to begin", func(s Snapshot) bool { return strings.Contains(s.Words, "shorted") })
	p.on(func(b *station) {
		b.finishSideJob(b.side, sideResult{meanOhms: 0.25, halfWidthOhms: 0.01, readings: sideReadings})
		b.meter.Identity = "another meter"
		b.refresh()
	})
	if k := <-answer; k.err != nil || k.zero.Meter != "Elder Vale,EV-41,0007,1.2" {
		t.Errorf("kept for meter %q, %v; want the one they were measured with", k.zero.Meter, k.err)
	}
}

// A job ends with its meter: what comes back may be another one.
func TestAJobEndsWithItsMeter(t *testing.T) {
	t.Parallel()
	p := newPlace(t, nil, func(s *Settings) { s.Capture.HandsOff = patience })
	p.untilState(capture.Open)
	answer := p.begin(t.Context(), &sideJob{words: "a job", mostOhms: 1})
	p.on(func(b *station) {
		b.down(&b.meter, "unplugged")
		b.meter.Up = true
	})
	if a := <-answer; !errors.Is(a.err, ErrState) || !strings.Contains(a.err.Error(), "unplugged") {
		t.Errorf("%+v, want ErrState with the reason", a)
	}
}
