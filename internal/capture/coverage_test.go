package capture_test

import (
	"hash/fnv"
	"math"
	"math/rand/v2"
	"os"
	"sync"
	"testing"
	"time"

	"coilkeep/driver"
	"coilkeep/internal/capture"
	"coilkeep/internal/capture/truthtest"
	"coilkeep/internal/conformity"
)

// coverageForm is how large a run is: how many coils a row, and which part of
// them is looked at for how long.
type coverageForm struct {
	coils int
	// every one of so many coils is watched to 15 s, to 60 s, and recorded.
	to15, to60, recorded int
}

// formOfRun is chosen by the environment: COILKEEP_LONG, COILKEEP_CI or
// neither.
func formOfRun() coverageForm {
	switch {
	case os.Getenv("COILKEEP_LONG") != "":
		return coverageForm{4000, 1, 1, 1}
	case os.Getenv("COILKEEP_CI") != "":
		return coverageForm{600, 1, 3, 1}
	}
	return coverageForm{48, 3, 10, 2}
}

// instants are the times after hands off at which every coil is looked at.
var instants = []time.Duration{4 * time.Second, 8 * time.Second, 15 * time.Second, 60 * time.Second}

// longestToRecord is how long a coil is left on to be recorded: past patience.
const longestToRecord = 30 * time.Second

// TestCoverage counts how often the true R20 lies within U, in each regime on
// its own, at fixed instants for every coil and at the record.
//
//	go test -run 'TestCoverage/warm.*' -v ./internal/capture
//	COILKEEP_LONG=1 COILKEEP_TABLE=/tmp/coverage.tsv go test -run TestCoverage -v -timeout 3h ./internal/capture
func TestCoverage(t *testing.T) {
	form := formOfRun()
	rows := coverageRows()
	found := make([]*coverage, len(rows))
	var mutex sync.Mutex
	t.Cleanup(func() { reportCoverage(t, found) })
	for i, row := range rows {
		t.Run(row.name, func(t *testing.T) {
			t.Parallel()
			if row.told != "" && tellArrival == nil {
				t.Skip("the settings cannot say yet how coils arrive")
			}
			c := measureCoverage(t, row, form)
			c.check(t)
			mutex.Lock()
			defer mutex.Unlock()
			found[i] = c
		})
	}
}

// measureCoverage brings the coils of a row to the clips, one after another.
func measureCoverage(t *testing.T, row coverageRow, form coverageForm) *coverage {
	t.Helper()
	s := benchSettings()
	if row.configure != nil {
		row.configure(&s)
	}
	if row.told != "" {
		tellArrival(&s, row.told)
	}
	c := newCoverage(row)
	seed := fnv.New64a()
	seed.Write([]byte(row.name))
	for i := range form.coils {
		rng := rand.New(rand.NewPCG(seed.Sum64(), uint64(i)))
		scene, err := row.regime.Draw(rng, truthOf(s))
		if err != nil {
			t.Fatal(err)
		}
		last := instants[1]
		if i%form.to15 == 0 {
			last = instants[2]
		}
		if i%form.to60 == 0 {
			last = instants[3]
		}
		until := s.HandsOff + last + 2*time.Second // the first reading comes late
		if i%form.recorded == 0 {
			until = max(until, longestToRecord)
		}
		offTarget := offTargetPercent(rng)
		events := scene.Run(rng, until.Seconds())
		c.watch(s, scene, events, last)
		if i%form.recorded == 0 {
			c.record(s, scene, events, offTarget)
		}
	}
	return c
}

// offTargetPercent is how far the true R20 of a coil is from its design: mostly
// little, sometimes far.
func offTargetPercent(rng *rand.Rand) float64 {
	if rng.Float64() < 0.2 {
		return truthtest.Spread{Low: -20, High: 20}.Draw(rng)
	}
	return truthtest.Spread{StandardDeviation: 2}.Draw(rng)
}

// contactOf is when a bench sees the contact begin: at the first reading that
// is no open one.
func contactOf(events []truthtest.Event) time.Time {
	for _, e := range events {
		if !e.FromProbe && e.Status == driver.OK {
			return e.Time
		}
	}
	return time.Time{}
}

// feed gives one event to a machine.
func feed(m *capture.Machine, e truthtest.Event) capture.Outcome {
	if e.FromProbe {
		return m.Probe(e.Reading)
	}
	return m.Meter(e.Reading)
}

// watch looks at what is shown of a coil at each instant. The capture is held,
// so that no record changes what it does.
func (c *coverage) watch(s capture.Settings, scene truthtest.Scene, events []truthtest.Event, last time.Duration) {
	m := capture.New(s)
	m.Hold("watched by a test")
	handsOff := contactOf(events).Add(s.HandsOff)
	next := 0
	for _, e := range events {
		for next < len(instants) && e.Time.After(handsOff.Add(instants[next])) {
			c.at[next].add(shownBy(m), scene.R20Ohms)
			if next++; next == len(instants) || instants[next] > last {
				return
			}
		}
		feed(m, e)
		if !e.FromProbe {
			c.readings++
		}
	}
}

// shownBy is the number a machine shows, nil when there is none.
func shownBy(m *capture.Machine) *estimate {
	r := m.View().R20
	if r == nil {
		return nil
	}
	return &estimate{r.R20Ohms, r.ExpandedUncertaintyOhms}
}

// record lets the rules record a coil of a design it is off by so much.
func (c *coverage) record(s capture.Settings, scene truthtest.Scene, events []truthtest.Event, offTargetPercent float64) {
	target := scene.R20Ohms / (1 + offTargetPercent/100)
	s.Tolerance = &conformity.Tolerance{GuardFactor: 1,
		LowerOhms: target * (1 - tolerancePercent/100), UpperOhms: target * (1 + tolerancePercent/100)}
	m := capture.New(s)
	contact := contactOf(events)
	took := math.Inf(1)
	var got *estimate
	for _, e := range events {
		if e.Time.Sub(contact) > longestToRecord {
			break
		}
		if !e.FromProbe {
			c.readings++
		}
		if r := feed(m, e).Result; r != nil {
			got = &estimate{r.R20.R20Ohms, r.R20.ExpandedUncertaintyOhms}
			took = r.Time.Sub(contact).Seconds()
			c.verdicts.add(r.Judgement.Verdict, scene.R20Ohms, *s.Tolerance)
			break
		}
	}
	c.recorded.add(got, scene.R20Ohms)
	if got != nil {
		c.secondsToRecord = append(c.secondsToRecord, took)
	}
	if isClear(offTargetPercent) {
		c.clearSeconds = append(c.clearSeconds, took)
	}
}
