package bench

import (
	"context"
	"fmt"
	"math"
	"slices"
	"time"

	"coilkeep/driver"
	"coilkeep/internal/capture"
	"coilkeep/internal/history"
)

// sideJob is something else than a coil on the clips: shorted leads, or a
// check standard. While it runs the capture sees nothing of the meter.
type sideJob struct {
	words    string
	began    time.Time
	least    float64 // ohms a reading must show
	most     float64
	outside  string // what is wrong when it does not
	readings []driver.Reading
	done     chan sideResult
}

type sideResult struct {
	mean, halfWidth, resolution float64
	readings                    int
	celsius                     *float64 // of the probe; nil when there is none
	err                         error
}

const (
	// sideReadings are averaged; the first after hands off, so that fingers do
	// not count.
	sideReadings = 10
	// sideWithin is how long such a job may take.
	sideWithin = 20 * time.Second
	// sideSpreadOhms is the scatter allowed on leads and standards whatever the
	// meter's accuracy; a dirty clip scatters more (common practice, no source).
	sideSpreadOhms = 0.1
)

// Standard is a check standard put on the clips.
type Standard struct {
	Name string
	// NominalOhms is its reference value.
	NominalOhms float64
	Who         string
}

// standardLimitRatio is how far a check standard may be from its reference
// value before it is taken for something else.
const standardLimitRatio = 0.05

// MeasureLeads measures what the leads add, with the clips shorted, and keeps
// it. From then on it is subtracted from what this meter shows.
func (b *Bench) MeasureLeads(ctx context.Context, who string) (history.LeadZero, error) {
	r, err := b.runSideJob(ctx, &sideJob{words: "measuring the leads: keep the clips shorted",
		least: -history.MaxLeadOhms, most: history.MaxLeadOhms,
		outside: fmt.Sprintf("shorted clips show less than %g Ω: clip them firmly onto each other", history.MaxLeadOhms)})
	if err != nil {
		return history.LeadZero{}, fmt.Errorf("measure the leads: %w", err)
	}
	z, err := b.store.AddLeadZero(ctx, history.LeadZero{Bench: b.settings.Name, Meter: b.Snapshot().Meter.Label(),
		Ohms: r.mean, HalfWidthOhms: r.halfWidth, Readings: r.readings, By: who})
	return z, b.takeUp(ctx, err)
}

// MeasureStandard measures a check standard on the clips and keeps the result,
// corrected for leads and calibration as a coil's is.
func (b *Bench) MeasureStandard(ctx context.Context, s Standard) (history.CheckMeasurement, error) {
	if !(s.NominalOhms > 0) || math.IsInf(s.NominalOhms, 0) {
		return history.CheckMeasurement{}, &history.FieldError{Field: "nominal_ohms", Problem: "must be more than 0 Ω"}
	}
	r, err := b.runSideJob(ctx, &sideJob{words: "measuring the check standard " + s.Name,
		least: s.NominalOhms * (1 - standardLimitRatio), most: s.NominalOhms * (1 + standardLimitRatio),
		outside: fmt.Sprintf("the standard %s should show about %g Ω: is it the right one, and clipped on well?", s.Name, s.NominalOhms)})
	if err != nil {
		return history.CheckMeasurement{}, fmt.Errorf("measure the check standard: %w", err)
	}
	c := history.CheckMeasurement{Bench: b.settings.Name, Standard: s.Name, NominalOhms: s.NominalOhms, By: s.Who}
	err = b.do(ctx, func() error {
		rules := b.corrected(b.settings.Capture)
		c.MeasuredOhms = r.mean*(1+rules.CorrectionRatio) - rules.LeadOhms
		c.Meter, c.TemperatureC = b.meter.Label(), r.celsius
		return nil
	})
	if err != nil {
		return history.CheckMeasurement{}, err
	}
	return b.store.AddCheckMeasurement(ctx, c)
}

// runSideJob hands the meter to a job and waits for its result.
func (b *Bench) runSideJob(ctx context.Context, job *sideJob) (sideResult, error) {
	job.done = make(chan sideResult, 1)
	err := b.do(ctx, func() error {
		switch {
		case b.side != nil:
			return fmt.Errorf("%w: another such measurement is under way", ErrState)
		case b.pending != nil:
			return fmt.Errorf("%w: the last coil is not saved yet: %s", ErrState, b.pending.why)
		case !b.meter.Up || b.settings.Meter.Typed:
			return fmt.Errorf("%w: there is no meter that can be read", ErrState)
		}
		job.began = b.now()
		b.side = job
		b.ended(b.machine.Lost(job.began, job.words))
		return nil
	})
	if err != nil {
		return sideResult{}, err
	}
	select {
	case r := <-job.done:
		return r, r.err
	case <-b.stopped:
		return sideResult{}, fmt.Errorf("%w: the bench has stopped", ErrState)
	case <-ctx.Done():
		return sideResult{}, b.do(context.WithoutCancel(ctx), func() error {
			b.finishSideJob(sideResult{})
			return ctx.Err()
		})
	}
}

// endSideJob gives the job under way a reading, or only the time, and ends it
// when it has what it needs or cannot get it.
func (b *Bench) endSideJob(now time.Time, r *driver.Reading) {
	job := b.side
	if job == nil {
		return
	}
	hands := now.Sub(job.began) < b.settings.Capture.HandsOff
	switch {
	case !b.meter.Up:
		b.finishSideJob(sideResult{err: fmt.Errorf("%w: the meter went away: %s", ErrState, b.meter.Fault)})
	case now.Sub(job.began) > sideWithin:
		b.finishSideJob(sideResult{err: fmt.Errorf("%w: no %d steady readings within %v; %s", ErrState, sideReadings, sideWithin, job.outside)})
	case r == nil || hands || r.Status == driver.Unreadable:
	case r.Status != driver.OK:
		b.finishSideJob(sideResult{err: fmt.Errorf("%w: the meter shows %s; %s", ErrState, r.Status, job.outside)})
	case r.Value < job.least || r.Value > job.most:
		b.finishSideJob(sideResult{err: fmt.Errorf("%w: the meter shows %.5g Ω; %s", ErrState, r.Value, job.outside)})
	default:
		job.readings = append(job.readings, *r)
		if len(job.readings) >= sideReadings {
			if result, steady := job.result(b.settings.Capture); steady {
				b.finishSideJob(result)
			}
		}
	}
}

// finishSideJob answers and lets the capture begin anew. It knows nothing of
// what is on the clips now, and asks if that looks like a coil.
func (b *Bench) finishSideJob(r sideResult) {
	if b.side == nil {
		return
	}
	r.celsius = copied(b.machine.View().TemperatureCelsius)
	b.side.done <- r
	b.side = nil
	b.machine = capture.New(b.settings.Capture)
	b.machine.Tick(b.now())
	b.configure()
}

// result averages the latest readings when they are steady.
func (j *sideJob) result(s capture.Settings) (sideResult, bool) {
	latest := j.readings[len(j.readings)-sideReadings:]
	values := make([]float64, len(latest))
	r := sideResult{readings: len(latest)}
	for i, reading := range latest {
		values[i] = reading.Value
		r.mean += reading.Value / float64(len(latest))
		r.resolution = math.Max(r.resolution, reading.Resolution)
	}
	spread := slices.Max(values) - slices.Min(values)
	r.halfWidth = (spread + r.resolution) / 2
	allowed := max(sideSpreadOhms, 4*r.resolution, s.MeterPercent/100*math.Abs(r.mean))
	return r, spread <= allowed
}
