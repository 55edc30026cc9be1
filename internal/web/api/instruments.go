package api

import (
	"cmp"
	"context"
	"net/http"
	"time"

	"coilkeep/internal/bench"
	"coilkeep/internal/record"
	"coilkeep/internal/web/problem"
)

// instruments keeps what is known of the instruments of a bench.
type instruments struct {
	at   BenchList[Bench]
	kept CalibrationRecords
	now  func() time.Time
}

// CalibrationRecords keeps calibrations.
type CalibrationRecords interface {
	Calibrations(ctx context.Context, bench string) ([]record.Calibration, error)
	AddCalibration(ctx context.Context, c record.Calibration) (record.Calibration, error)
}

func (i instruments) endpoints() []Endpoint {
	const path = "/api/v1/benches/{bench}"
	return []Endpoint{
		endpoint("POST", path+"/leads", http.StatusCreated, i.measureLeads,
			About{ID: "measureLeads", Tag: Instruments, Summary: "Measure the leads, with the clips shorted; takes some seconds",
				Description: "The bench waits for readings of the shorted clips and refuses what are no leads. It holds for the meter it was " +
					"measured with.",
				Says: "What the leads add; it is subtracted from then on."}),
		endpoint("POST", path+"/standard", http.StatusCreated, i.measureStandard,
			About{ID: "measureStandard", Tag: Instruments, Summary: "Measure the check standard on the clips; takes some seconds",
				Description: "The reading is corrected for leads and calibration like that of a coil, and kept apart from the coils.",
				Says:        "The measurement, durable."}),
		endpoint("GET", path+"/calibrations", http.StatusOK, i.list,
			About{ID: "listCalibrations", Tag: Instruments, Summary: "The calibrations of the instruments of a bench",
				Description: "Of all meters and probes that were used there. The one in force for an instrument is its own newest one.",
				Says:        "The calibrations, the newest first."}),
		endpoint("POST", path+"/calibrations", http.StatusCreated, i.add,
			About{ID: "addCalibration", Tag: Instruments, Summary: "Keep what a certificate says of an instrument",
				Description: "Coils measured from then on with this instrument are corrected by it; earlier ones stay as they are.",
				Says:        "The calibration as kept."}),
	}
}

func (i instruments) measureLeads(ctx context.Context, request benchTold) (record.LeadZero, error) {
	b, err := i.at.Named(request.Bench)
	if err != nil {
		return record.LeadZero{}, err
	}
	return b.MeasureLeads(ctx, request.Login)
}

// standardOnClips is what is on the clips.
type standardOnClips struct {
	benchTold
	// Name of the standard.
	Standard string `json:"standard"`
	// Its reference value, ohms.
	NominalOhms float64 `json:"nominal_ohms"`
}

func (i instruments) measureStandard(ctx context.Context, request standardOnClips) (record.CheckMeasurement, error) {
	b, err := i.at.Named(request.Bench)
	if err != nil {
		return record.CheckMeasurement{}, err
	}
	if request.Standard == "" {
		return record.CheckMeasurement{}, problem.Invalid.InField("standard", "is missing: say which standard is on the clips")
	}
	return b.MeasureStandard(ctx, bench.Standard{Name: request.Standard, NominalOhms: request.NominalOhms, Who: request.Login})
}

// calibrationList is all calibrations of the bench.
type calibrationList struct {
	Calibrations []record.Calibration `json:"calibrations"` // the newest first
}

func (i instruments) list(ctx context.Context, request ofBench) (calibrationList, error) {
	b, err := i.at.Named(request.Bench)
	if err != nil {
		return calibrationList{}, err
	}
	list, err := i.kept.Calibrations(ctx, b.Snapshot().Bench)
	return calibrationList{list}, err
}

// newCalibration is the calibration.
type newCalibration struct {
	benchTold
	// Which instrument of the bench.
	Role record.Role `json:"role"`
	// Its identity as measurements give it; left out: the one the bench has now.
	Instrument string `json:"instrument,omitempty"`
	// When it was calibrated; left out: now.
	Time string `json:"time,omitempty" openapi:"format=date-time"`
	// Number of the certificate.
	Certificate string `json:"certificate,omitempty"`
	// When it is due again.
	DueAt string `json:"due_at,omitempty" openapi:"format=date-time"`
	// The true resistance is the reading times 1 plus this.
	CorrectionRatio float64 `json:"correction_ratio,omitempty" openapi:"minimum=-0.1,maximum=0.1"`
	// Anything else.
	Note string `json:"note,omitempty"`
	// Who calibrated it; left out: who sends this.
	By string `json:"by,omitempty"`
}

func (i instruments) add(ctx context.Context, request newCalibration) (record.Calibration, error) {
	b, err := i.at.Named(request.Bench)
	if err != nil {
		return record.Calibration{}, err
	}
	snapshot := b.Snapshot()
	c := record.Calibration{Bench: snapshot.Bench, Role: request.Role, Instrument: request.Instrument, Certificate: request.Certificate,
		CorrectionRatio: request.CorrectionRatio, Note: request.Note, By: cmp.Or(request.By, request.Login)}
	if c.Instrument == "" && c.Role == record.Meter {
		c.Instrument = snapshot.LabelOf(snapshot.Meter)
	}
	if c.Instrument == "" && c.Role == record.Probe {
		c.Instrument = snapshot.LabelOf(snapshot.Probe)
	}
	for _, field := range []struct {
		name, text string
		place      *time.Time
	}{{"time", request.Time, &c.Time}, {"due_at", request.DueAt, &c.DueAt}} {
		if field.text == "" {
			continue
		}
		if *field.place, err = parseTime(field.name, field.text); err != nil {
			return c, err
		}
	}
	if c.Time.After(i.now()) {
		return c, problem.Invalid.InField("time", "must not be in the future")
	}
	return i.kept.AddCalibration(ctx, c)
}
