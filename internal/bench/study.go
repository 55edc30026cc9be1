package bench

import (
	"context"
	"fmt"

	"coilkeep/internal/record"
)

// StudyCoil is a coil put on the clips in a study of the measuring.
type StudyCoil struct {
	Study, Part, Operator string
	// Design is what the coils of the study are of.
	Design record.Design
}

// MeasureStudy measures a coil for a study and keeps the reading with the study,
// corrected for leads and calibration as a coil's is, never with the coil. A
// batch must not be open, and no coil announced: it would be filed there.
func (b *Bench) MeasureStudy(ctx context.Context, c StudyCoil) (record.StudyReading, error) {
	settings := b.settings.Capture
	err := b.do(ctx, func(b *station) error {
		if b.design() != nil {
			return fmt.Errorf("%w: close the batch first, or a coil that is clipped on for the study is recorded in it", ErrState)
		}
		return nil
	})
	if err != nil {
		return record.StudyReading{}, fmt.Errorf("measure for the study: %w", err)
	}
	r, err := b.runSideJob(ctx, &sideJob{words: "measuring coil " + c.Part + " for the study",
		leastOhms: settings.MinOhms, mostOhms: settings.MaxOhms, outside: "clip the coil on before you press the button"})
	if err != nil {
		return record.StudyReading{}, fmt.Errorf("measure for the study: %w", err)
	}
	if r.celsius == nil {
		return record.StudyReading{}, fmt.Errorf("measure for the study: %w: the temperature is not known, so there is no resistance at 20 "+
			"°C; look at the probe", ErrState)
	}
	return b.store.AddStudyReading(ctx, record.StudyReading{Bench: b.settings.Name, Study: c.Study,
		Design: c.Design.Name, DesignRevision: c.Design.Revision, Part: c.Part, Operator: c.Operator, Meter: r.meter,
		ResistanceOhms: r.correctedOhms, TemperatureCelsius: *r.celsius, AlphaPerKelvin: c.Design.AlphaPerKelvin})
}
