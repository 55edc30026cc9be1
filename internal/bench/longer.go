package bench

import (
	"context"
	"time"

	"coilkeep/internal/capture"
	"coilkeep/internal/record"
	"coilkeep/internal/words"
	"coilkeep/internal/workshop"
)

// clipped is a coil that is recorded and still on the clips. What it was filed
// under and judged by stays in use until the clips open.
type clipped struct {
	serial string
	batch  *record.Batch
	design *record.Design
	who    string
	// measurement is its first record, nil until that is durable.
	measurement *record.Measurement
}

// follow keeps what belongs to a coil that was recorded just now and stays on the
// clips.
func (b *station) follow(r capture.Result, who string) {
	if !r.AtRemoval && !b.settings.Capture.Typed {
		b.onClips = &clipped{serial: b.filedUnder(), batch: b.batch(), design: b.design(), who: who}
	}
}

// saveLonger begins to write a better result of a coil that stayed on the clips: as
// a measurement in the place of its first. The first is durable, or the capture
// gives no other, so a kill in between leaves that.
func (b *station) saveLonger(ctx context.Context, r capture.Result, c *clipped) {
	if c == nil || c.measurement == nil {
		return // what came between leaves doubt whether it is the same coil
	}
	first := *c.measurement
	b.begin(ctx, r, workshop.Filing{Bench: b.settings.Name, Serial: first.Serial, Stage: first.Stage, Supersedes: first.ID,
		Batch: c.batch, Design: c.design, First: &first, Meter: first.Meter, Probe: first.Probe},
		&pending{longer: &first, who: c.who})
}

// savedLonger takes a better result into use. It is the same coil measured once: it
// is not counted again, and the coil to come is not touched.
func (b *station) savedLonger(first, m record.Measurement) {
	b.last = &m
	b.changes.Add(1)
	b.log.Info("measured longer", "coil", m.Serial, "batch", m.Batch, "r20_ohms", m.R20Ohms,
		"expanded_uncertainty_ohms", m.ExpandedUncertaintyOhms, "verdict", m.Verdict)
	b.hub.Publish(Event{MeasurementEvent, b.settings.Name, m})
	if m.Verdict != first.Verdict {
		b.change = &VerdictChange{Bench: b.settings.Name, Time: b.now().UTC(), Serial: m.Serial, From: first.Verdict, To: m.Verdict}
		b.log.Warn("the verdict changed while the coil stayed on", "coil", m.Serial, "from", first.Verdict, "to", m.Verdict)
		b.hub.Publish(Event{VerdictEvent, b.settings.Name, *b.change})
	}
}

// keepCurve stores what a coil that was left on showed of its cooling; it is the
// one that was recorded, or with nil the one that was to come.
func (b *station) keepCurve(t *capture.TimeConstantEstimate, of *clipped) {
	c := record.CoolingCurve{Time: b.now().UTC(), Bench: b.settings.Name,
		TimeConstantSeconds: t.TimeConstant.Seconds(), TimeConstantErrorSeconds: t.StandardError.Seconds(), StartKelvin: t.StartKelvin,
		QuickShare: t.QuickShare, QuickShareError: t.QuickShareStandardError}
	design := b.design()
	c.Serial = b.filedUnder()
	if of != nil {
		c.Serial, design = of.serial, of.design
	}
	if design == nil {
		b.note(record.JournalEntry{Action: "time constant", Subject: c.Serial, Detail: c.Words()})
		return
	}
	c.Design = design.Name
	b.notes.Go(func() {
		ctx, cancel := context.WithTimeout(context.Background(), partingWithin)
		defer cancel()
		if _, err := b.store.AddCoolingCurve(ctx, c); err != nil {
			b.log.Error("cooling curve not kept", "coil", c.Serial, "err", err)
		}
	})
}

// Soak says that a coil, or every coil of a batch, has been lying beside the probe
// since then; the zero time means from now on.
func (b *Bench) Soak(ctx context.Context, k record.Soak) (record.Soak, error) {
	k.Bench, k.Who, k.Serial = b.settings.Name, record.Label(k.Who), words.SerialRead(k.Serial)
	stored, err := b.store.AddSoak(ctx, k)
	return stored, b.takeUp(ctx, err)
}

// soakedSince is since when the coil to come has been lying beside the probe, on
// the clock of the readings; the zero time when nobody said. That clock shows what
// the wall clock of the records does, but for a second; what was said before it was
// set is by another one and does not count.
func (b *station) soakedSince() time.Time {
	k := b.around.Soak
	if k == nil || b.around.SoakOf != b.filedUnder() || !k.Since.After(b.clockSetUntil) || k.Since.After(b.now()) {
		return time.Time{}
	}
	return k.Since
}
