package bench

import (
	"context"
	"encoding/json"
	"errors"
	"slices"
	"strings"
	"testing"
	"time"

	"coilkeep/internal/capture"
	"coilkeep/internal/record"
	"coilkeep/internal/workshop"
)

// What is stored with a measurement is all it came from: captured again, it
// gives the same to the last digit.
func TestStoredReadingsReplayToTheSame(t *testing.T) {
	p := newPlace(t, nil, nil)
	p.untilState(capture.Open)
	for i := range 4 {
		p.measure(6600 + 11*float64(i))
		p.open()
	}
	for _, light := range p.all() {
		m, readings, err := p.store.Measurement(t.Context(), light.ID)
		if err != nil {
			t.Fatal(err)
		}
		s, err := workshop.CapturedOf(m, readings)
		if err != nil {
			t.Fatal(err)
		}
		r := s.Replay()
		if r == nil {
			t.Fatalf("replay of %s gives nothing", m.Serial)
		}
		if r.R20.R20Ohms != m.R20Ohms || r.R20.ExpandedUncertaintyOhms != m.ExpandedUncertaintyOhms ||
			!r.Time.Equal(m.Time) || r.Judgement.Verdict != m.Verdict || r.Inputs != m.Inputs {
			t.Errorf("replay of %s gives %v at %v, kept is %.6f Ω at %v", m.Serial, r.R20.R20Ohms, r.Time, m.R20Ohms, m.Time)
		}
	}
}

// At the instant it was recorded, a measurement of today's rules is judged again
// to the same numbers.
func TestReassessIsWhatTheRulesGive(t *testing.T) {
	t.Parallel()
	p := newPlace(t, nil, nil)
	p.untilState(capture.Open)
	m, readings, err := p.store.Measurement(t.Context(), p.measure(6600).ID)
	if err != nil {
		t.Fatal(err)
	}
	s, err := workshop.CapturedOf(m, readings)
	if err != nil {
		t.Fatal(err)
	}
	r, err := capture.Reassess(s.Settings, s.Context.Circumstances, s.Entries())
	if err != nil {
		t.Fatal(err)
	}
	if r.R20.R20Ohms != m.R20Ohms || r.R20.ExpandedUncertaintyOhms != m.ExpandedUncertaintyOhms || !r.Time.Equal(m.Time) {
		t.Errorf("judged again %.6f ± %.6f Ω, kept %.6f ± %.6f Ω", r.R20.R20Ohms, r.R20.ExpandedUncertaintyOhms, m.R20Ohms,
			m.ExpandedUncertaintyOhms)
	}
}

// spoiled is a history of one measurement that was changed.
type spoiled struct {
	measurement record.Measurement
	readings    []record.Reading
	err         error
}

func (s spoiled) Measurements(context.Context, record.Filter) ([]record.Measurement, string, error) {
	return []record.Measurement{s.measurement}, "", nil
}

func (s spoiled) Measurement(context.Context, string) (record.Measurement, []record.Reading, error) {
	return s.measurement, s.readings, s.err
}

// What was captured is captured again, and whatever is not as on the day is
// found, also where neither the mean of the window nor the result tells.
func TestVerifyCaptures(t *testing.T) {
	t.Parallel()
	p := newPlace(t, nil, nil)
	p.untilState(capture.Open)
	m, readings, err := p.store.Measurement(t.Context(), p.measure(6600).ID)
	if err != nil {
		t.Fatal(err)
	}
	inWindow := slices.IndexFunc(readings, func(r record.Reading) bool { return r.InWindow })
	context := func(rules any) json.RawMessage {
		fields := map[string]any{}
		if err := json.Unmarshal(m.Context, &fields); err != nil {
			t.Fatal(err)
		}
		if fields["rules"] = rules; rules == nil {
			delete(fields, "rules")
		}
		text, err := json.Marshal(fields)
		if err != nil {
			t.Fatal(err)
		}
		return text
	}
	for _, c := range []struct {
		name   string
		change func(*spoiled)
		fault  string // part of it; empty for none
		again  int
		others []record.NotRecomputed
	}{
		{name: "as it was", change: func(*spoiled) {}, again: 1},
		{name: "from before the rules were told", change: func(s *spoiled) { s.measurement.Context = context(nil) },
			others: []record.NotRecomputed{{What: "captures", Count: 1, Rules: 1, Known: capture.Rules}}},
		{name: "by other rules", change: func(s *spoiled) { s.measurement.Context = context(capture.Rules + 1) },
			others: []record.NotRecomputed{{What: "captures", Count: 1, Rules: capture.Rules + 1, Known: capture.Rules}}},
		{name: "a value from a table", change: func(s *spoiled) {
			s.measurement.Settings, s.measurement.Context, s.readings = nil, nil, nil
		}},
		{name: "its time", change: func(s *spoiled) { s.measurement.Time = m.Time.Add(time.Hour) }, fault: "it is stored as of", again: 1},
		{name: "the time of a reading", change: func(s *spoiled) { s.readings[len(s.readings)-1].Time = m.Time.Add(time.Second) },
			fault: "do not lead to a measurement", again: 1},
		// The window may give another mean, or not be steady by then any more.
		{name: "a reading", change: func(s *spoiled) { s.readings[inWindow].Value += 0.2 }, fault: "HN-0001", again: 1},
		{name: "the temperatures", change: func(s *spoiled) {
			for i := range s.readings {
				if s.readings[i].Role == record.Probe {
					s.readings[i].Value++
				}
			}
		}, fault: "temperature_celsius is stored as", again: 1},
		{name: "readings lost", change: func(s *spoiled) { s.readings = s.readings[:inWindow] }, fault: "do not lead to a measurement", again: 1},
		{name: "no settings", change: func(s *spoiled) { s.measurement.Settings = json.RawMessage(`[]`) }, fault: "settings cannot be read"},
		{name: "no context", change: func(s *spoiled) { s.measurement.Context = json.RawMessage(`[]`) }, fault: "cannot be read"},
		{name: "unreadable", change: func(s *spoiled) { s.err = errors.New("details lost") }, fault: "details lost"},
	} {
		s := spoiled{measurement: m, readings: slices.Clone(readings)}
		c.change(&s)
		var report record.Report
		if err := workshop.VerifyCaptures(t.Context(), s, &report, func(int, int) {}); err != nil {
			t.Errorf("%s: %v", c.name, err)
		}
		if c.fault == "" && len(report.Faults) > 0 || c.fault != "" &&
			(len(report.Of(record.FaultCapture)) != 1 || !strings.Contains(report.Faults[0].Problem, c.fault)) {
			t.Errorf("%s: faults %+v, want %q", c.name, report.Faults, c.fault)
		}
		if report.CapturedAgain != c.again || !slices.Equal(report.NotRecomputed, c.others) {
			t.Errorf("%s: captured again %d, by other rules %+v", c.name, report.CapturedAgain, report.NotRecomputed)
		}
	}
}
