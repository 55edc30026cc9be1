package bench

import (
	"context"
	"fmt"
	"math"
	"slices"
	"time"

	"coilkeep/driver"
	"coilkeep/internal/capture"
	"coilkeep/internal/r20"
	"coilkeep/internal/record"
)

// sideJob is something else than a coil on the clips: shorted leads, or a
// check standard. While it runs the capture sees nothing of the meter.
type sideJob struct {
	words string
	began time.Time
	// leastOhms and mostOhms bound what a reading must show; outside is what is
	// wrong when it does not.
	leastOhms, mostOhms float64
	outside             string
	anyMeter            bool // also one the bench asks about
	readings            []driver.Reading
	done                chan sideResult
}

// sideResult is what a job found, with all that belongs to it as the bench stood
// at its end: a meter plugged in after that has other leads.
type sideResult struct {
	meanOhms, halfWidthOhms, resolutionOhms float64
	readings                                int
	// correctedOhms is the mean, corrected for leads and calibration as a coil's
	// is.
	correctedOhms float64
	celsius       *float64 // of the probe; nil when there is none
	meter         string
	err           error
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
func (b *Bench) MeasureLeads(ctx context.Context, who string) (record.LeadZero, error) {
	r, err := b.runSideJob(ctx, &sideJob{words: "measuring the leads: keep the clips shorted",
		leastOhms: -record.MaxLeadOhms, mostOhms: record.MaxLeadOhms, anyMeter: true,
		outside: fmt.Sprintf("shorted clips show less than %g Ω: clip them firmly onto each other", record.MaxLeadOhms)})
	if err != nil {
		return record.LeadZero{}, fmt.Errorf("measure the leads: %w", err)
	}
	z, err := b.store.AddLeadZero(ctx, record.LeadZero{Bench: b.settings.Name, Meter: r.meter,
		Ohms: r.meanOhms, HalfWidthOhms: r.halfWidthOhms, Readings: r.readings, By: who})
	if err := b.takeUp(ctx, err); err != nil {
		return z, err
	}
	return z, b.useMeasured(ctx, r.meter, who)
}

// MeasureStandard measures a check standard on the clips and keeps the result,
// corrected for leads and calibration as a coil's is.
func (b *Bench) MeasureStandard(ctx context.Context, s Standard) (record.CheckMeasurement, error) {
	if !(s.NominalOhms > 0) || math.IsInf(s.NominalOhms, 0) {
		return record.CheckMeasurement{}, &record.FieldError{Field: "nominal_ohms", Problem: "must be more than 0 Ω"}
	}
	r, err := b.runSideJob(ctx, &sideJob{words: "measuring the check standard " + s.Name,
		leastOhms: s.NominalOhms * (1 - standardLimitRatio), mostOhms: s.NominalOhms * (1 + standardLimitRatio),
		outside: fmt.Sprintf("the standard %s should show about %g Ω: is it the right one, and clipped on well?", s.Name, s.NominalOhms)})
	if err != nil {
		return record.CheckMeasurement{}, fmt.Errorf("measure the check standard: %w", err)
	}
	return b.store.AddCheckMeasurement(ctx, record.CheckMeasurement{Bench: b.settings.Name, Standard: s.Name,
		NominalOhms: s.NominalOhms, MeasuredOhms: r.correctedOhms, TemperatureCelsius: r.celsius, Meter: r.meter, By: s.Who})
}

// runSideJob hands the meter to a job and waits for its result, or for ctx,
// which ends the job.
func (b *Bench) runSideJob(ctx context.Context, job *sideJob) (sideResult, error) {
	job.done = make(chan sideResult, 1)
	err := b.do(ctx, func(b *station) error {
		switch {
		case b.side != nil:
			return fmt.Errorf("%w: another such measurement is under way", ErrState)
		case b.pending != nil:
			return fmt.Errorf("%w: the last coil is not saved yet: %s", ErrState, b.pending.why)
		case !b.meter.Up || b.settings.Meter.Typed:
			return fmt.Errorf("%w: there is no meter that can be read", ErrState)
		case b.meter.stranger && !job.anyMeter:
			return fmt.Errorf("%w: %s", ErrState, b.meter.strange())
		}
		job.began = b.now()
		b.side = job
		b.parted(b.machine.Lost(job.began, job.words).Ended, false)
		b.onClips = nil
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
		return sideResult{}, b.do(context.WithoutCancel(ctx), func(b *station) error {
			b.finishSideJob(job, sideResult{err: ctx.Err()})
			return ctx.Err()
		})
	}
}

// endSideJob gives the job under way a reading, or only the time, and ends it
// when it has what it needs or cannot get it.
func (b *station) endSideJob(now time.Time, r *driver.Reading) {
	job := b.side
	if job == nil {
		return
	}
	hands := now.Sub(job.began) < b.settings.Capture.HandsOff
	switch {
	case !b.meter.Up:
		b.finishSideJob(job, sideResult{err: fmt.Errorf("%w: the meter went away: %s", ErrState, b.meter.Fault)})
	case b.meter.stranger && !job.anyMeter:
		b.finishSideJob(job, sideResult{err: fmt.Errorf("%w: %s", ErrState, b.meter.strange())})
	case now.Sub(job.began) > sideWithin:
		b.finishSideJob(job, sideResult{err: fmt.Errorf("%w: no %d steady readings within %v; %s", ErrState, sideReadings, sideWithin,
			job.outside)})
	case r == nil || hands || r.Status == driver.Unreadable:
	case r.Status != driver.OK:
		b.finishSideJob(job, sideResult{err: fmt.Errorf("%w: the meter shows %s; %s", ErrState, r.Status, job.outside)})
	case r.Value < job.leastOhms || r.Value > job.mostOhms:
		b.finishSideJob(job, sideResult{err: fmt.Errorf("%w: the meter shows %.5g Ω; %s", ErrState, r.Value, job.outside)})
	default:
		job.readings = append(job.readings, *r)
		if len(job.readings) >= sideReadings {
			if result, steady := job.result(b.settings.Capture); steady {
				b.finishSideJob(job, result)
			}
		}
	}
}

// finishSideJob answers a job, unless it has ended before, and lets the capture
// begin anew. It knows nothing of what is on the clips now, and asks if that
// looks like a coil.
func (b *station) finishSideJob(job *sideJob, r sideResult) {
	if b.side != job {
		return
	}
	r.celsius, r.meter = copiedFloat(b.machine.View().TemperatureCelsius), b.meter.Label()
	rules := b.corrected(b.settings.Capture)
	r.correctedOhms = r20.Inputs{ResistanceOhms: r.meanOhms, CorrectionRatio: rules.CorrectionRatio, LeadOhms: rules.LeadOhms}.CorrectedOhms()
	job.done <- r
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
		r.meanOhms += reading.Value / float64(len(latest))
		r.resolutionOhms = math.Max(r.resolutionOhms, reading.Resolution)
	}
	spread := slices.Max(values) - slices.Min(values)
	r.halfWidthOhms = (spread + r.resolutionOhms) / 2
	allowed := max(sideSpreadOhms, 4*r.resolutionOhms, s.MeterPercent/100*math.Abs(r.meanOhms))
	return r, spread <= allowed
}
