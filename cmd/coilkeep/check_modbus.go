package main

import (
	"context"
	"fmt"
	"maps"
	"math"
	"slices"
	"strings"

	"coilkeep/driver"
	"coilkeep/internal/bench"
	"coilkeep/internal/capture"
	"coilkeep/internal/record"
	"coilkeep/internal/words"
)

// expectation is what a bench can take from one of its instruments: of the
// meter a resistance in the contact range, in ohms, of the probe a temperature
// in its bounds, in degrees Celsius.
type expectation struct {
	role      record.Role
	low, high float64
}

func expected(s bench.Settings, role record.Role) expectation {
	if role == record.Probe {
		return expectation{role, s.ProbeLowCelsius, s.ProbeHighCelsius}
	}
	return expectation{role, s.Capture.MinOhms, s.Capture.MaxOhms}
}

func (e expectation) met(r driver.Reading) bool {
	if e.role == record.Probe { // which has values that mean something else
		return capture.NewProbeScreen(e.low, e.high).Check(r).Status == driver.OK
	}
	return r.Status == driver.OK && r.Value >= e.low && r.Value <= e.high
}

func (e expectation) text(r driver.Reading) string {
	if e.role == record.Probe {
		return words.CelsiusToStep(r.Value, r.Resolution)
	}
	return words.OhmsToStep(r.Value, r.Resolution)
}

// otherSettings says which other settings would make what is expected of the
// instrument's answers, the last of which its driver read as r; empty when r is
// that already, or no settings do. It asks once more: what is expected by chance
// alone is another value in the next answer.
func (e expectation) otherSettings(ctx context.Context, instrument driver.Instrument, r driver.Reading, s bench.InstrumentSettings) string {
	asked, ok := instrument.(driver.Reinterpreter)
	if !ok || r.Status == driver.Overload || e.met(s.Converted(r)) {
		return ""
	}
	met, open := e.sort(asked.Reinterpret(), s)
	if len(met)+len(open) == 0 {
		return ""
	}
	if _, err := instrument.Read(ctx); err != nil {
		return "" // and what is wrong has been said
	}
	again, _ := e.sort(asked.Reinterpret(), s)
	var found []string
	for _, keys := range slices.Sorted(maps.Keys(met)) {
		if next, ok := again[keys]; ok && math.Abs(next.Value-met[keys].Value) < sameRatio*math.Abs(met[keys].Value) {
			found = append(found, fmt.Sprintf("%s with %s", e.text(next), keys))
		}
	}
	switch {
	case len(found) > 0:
		return "the same registers are " + strings.Join(found, ", or ")
	case len(open) > 0 && r.Status != driver.OK: // which shorted clips would be
		return fmt.Sprintf("the same registers are open clips with %s; clip on a coil and check again to be certain",
			strings.Join(open, ", or with "))
	}
	return ""
}

// sameRatio is how far two answers may be apart that show the same thing.
const sameRatio = 0.02

// sort picks the settings that make what is expected, with their readings, and
// those that make open clips.
func (e expectation) sort(others []driver.Reinterpretation, s bench.InstrumentSettings) (met map[string]driver.Reading, open []string) {
	met = map[string]driver.Reading{}
	for _, other := range others {
		keys := settingsText(other.Options)
		switch r := s.Converted(other.Reading); {
		case e.met(r):
			met[keys] = r
		case r.Status == driver.Overload && e.role == record.Meter:
			open = append(open, keys)
		}
	}
	return met, open
}

// settingsText writes settings as they stand in the configuration.
func settingsText(o driver.Options) string {
	var keys []string
	for _, name := range slices.Sorted(maps.Keys(o)) {
		keys = append(keys, fmt.Sprintf("%s = %q", name, o[name]))
	}
	return strings.Join(keys, " and ")
}
