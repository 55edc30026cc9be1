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

// coverageForm is how large a run is: how many coils a row, and which of them
// are looked at for how long.
type coverageForm struct {
	coils int
	// Of so many coils one is watched past 8 s, past 15 s (a multiple of that)
	// and past a minute (a multiple of that; 0 for none).
	past8, past15, past60 int
	// Of so many coils one is recorded.
	recorded int
}

// looks gives those of a row's instants at which a coil is looked at.
func (f coverageForm) looks(coil int, instants []time.Duration) []time.Duration {
	for i, at := range instants {
		if one := f.oneOf(at); one == 0 || coil%one != 0 {
			return instants[:i]
		}
	}
	return instants
}

// oneOf is of how many coils one is looked at so late.
func (f coverageForm) oneOf(at time.Duration) int {
	switch {
	case at > time.Minute:
		return f.past60
	case at > 15*time.Second:
		return f.past15
	case at > 8*time.Second:
		return f.past8
	}
	return 1
}

// records is true when a coil is left on until it is recorded.
func (f coverageForm) records(coil int, row coverageRow) bool {
	if row.leftOn > time.Minute {
		return coil%f.past60 == 0
	}
	return coil%f.recorded == 0
}

// formOfRun is chosen by the environment: COILKEEP_LONG, COILKEEP_CI or
// neither.
func formOfRun() coverageForm {
	switch {
	case os.Getenv("COILKEEP_LONG") != "":
		return coverageForm{4000, 1, 1, 10, 1}
	case os.Getenv("COILKEEP_CI") != "":
		return coverageForm{600, 1, 3, 21, 1}
	}
	return coverageForm{36, 3, 6, 0, 2}
}

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
			if row.leftOn > time.Minute && form.past60 == 0 {
				t.Skip("coils left on for long belong to the larger forms")
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
		looks, recorded := form.looks(i, row.instants), form.records(i, row)
		until := time.Duration(0)
		if recorded {
			until = row.leftOn
		}
		if len(looks) > 0 {
			until = max(until, s.HandsOff+looks[len(looks)-1]+2*time.Second) // the first reading comes late
		}
		offTarget := offTargetPercent(rng)
		events := scene.Run(rng, until.Seconds())
		c.watch(s, scene, events, looks)
		if recorded {
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
func (c *coverage) watch(s capture.Settings, scene truthtest.Scene, events []truthtest.Event, looks []time.Duration) {
	m := capture.New(s)
	m.Hold("watched by a test")
	handsOff := contactOf(events).Add(s.HandsOff)
	next := 0
	for _, e := range events {
		for next < len(looks) && e.Time.After(handsOff.Add(looks[next])) {
			c.at[next].add(shownBy(m), scene.R20Ohms)
			next++
		}
		if next == len(looks) {
			return
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
	seconds := math.Inf(1)
	var got *estimate
	var ended *capture.Ended
	for _, e := range events {
		if e.Seconds > c.row.leftOn.Seconds() {
			break
		}
		if !e.FromProbe {
			c.readings++
		}
		out := feed(m, e)
		if r := out.Result; r != nil {
			got = &estimate{r.R20.R20Ohms, r.R20.ExpandedUncertaintyOhms}
			seconds = r.Time.Sub(contact).Seconds()
			c.verdicts.add(r.Judgement.Verdict, scene.R20Ohms, *s.Tolerance)
			c.secondsToRecord = append(c.secondsToRecord, seconds)
			break
		}
		if ended = out.Ended; ended != nil {
			break
		}
	}
	c.recorded.add(got, scene.R20Ohms)
	if c.row.isClear(offTargetPercent) {
		c.clearSeconds = append(c.clearSeconds, seconds)
	}
	if scene.Contact.OffSeconds > 0 && got == nil && (ended == nil || ended.Refusal == "") {
		c.untold++
	}
}
