package workshop

import (
	"context"
	"fmt"

	"coilkeep/internal/capture"
	"coilkeep/internal/record"
)

// Captures is the part of a history that holds what was captured.
type Captures interface {
	Measurements(ctx context.Context, f record.Filter) (page []record.Measurement, next string, err error)
	Measurement(ctx context.Context, id string) (record.Measurement, []record.Reading, error)
}

const captureRemedy = "its readings, settings or result are not those of the day: restore the latest backup that verifies, " +
	"or void this measurement and measure the coil again"

// VerifyCaptures captures every measurement again from its readings and adds to
// report what comes out otherwise, and what was captured by other rules than
// today's. A value from a table has no readings and is passed over. The progress
// is called after each page; the error is for a verification that could not be
// finished.
func VerifyCaptures(ctx context.Context, from Captures, report *record.Report, progress func(done, total int)) error {
	f := record.Filter{Limit: 1000}
	for {
		page, next, err := from.Measurements(ctx, f)
		if err != nil {
			return err
		}
		for _, light := range page {
			m, readings, err := from.Measurement(ctx, light.ID)
			switch {
			case ctx.Err() != nil:
				return ctx.Err()
			case err != nil: // a part of it is lost, the others can be read
				report.Faults = append(report.Faults, captureFault(light, err.Error()))
			default:
				verifyCapture(m, readings, report)
			}
		}
		progress(report.CapturedAgain, report.Measurements)
		if next == "" {
			return nil
		}
		f.After = next
	}
}

func verifyCapture(m record.Measurement, readings []record.Reading, report *record.Report) {
	if len(m.Settings) == 0 || len(m.Context) == 0 || len(readings) == 0 {
		return
	}
	var problem string
	switch s, err := CapturedOf(m, readings); {
	case err != nil:
		problem = err.Error()
	case s.Context.Rules != capture.Rules:
		report.Skip("captures", s.Context.Rules, capture.Rules)
		return
	default:
		report.CapturedAgain++
		problem = s.Differs()
	}
	if problem != "" {
		report.Faults = append(report.Faults, captureFault(m, problem))
	}
}

func captureFault(m record.Measurement, problem string) record.Fault {
	return record.Fault{Kind: record.FaultCapture, ID: m.ID, Problem: fmt.Sprintf("coil %q: %s", m.Serial, problem), Remedy: captureRemedy}
}
