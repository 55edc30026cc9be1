package record

import (
	"cmp"
	"math"
	"time"

	"coilkeep/internal/copper"
)

// StudyReading is one measurement in a study of the measuring itself. It is no
// measurement of the coil: the coil's own record is not touched.
type StudyReading struct {
	ID                 string    `json:"id"`                  // its id
	Time               time.Time `json:"time"`                // when it was taken
	Bench              string    `json:"bench"`               // where
	Study              string    `json:"study"`               // of which study
	Design             string    `json:"design"`              // what the coil is of
	DesignRevision     int       `json:"design_revision"`     // which revision
	Part               string    `json:"part"`                // the coil, by its name in the study
	Operator           string    `json:"operator"`            // who clipped it on
	ResistanceOhms     float64   `json:"resistance_ohms"`     // as measured, corrected for leads and calibration
	TemperatureCelsius float64   `json:"temperature_celsius"` // of the probe
	AlphaPerKelvin     float64   `json:"alpha_per_kelvin"`    // temperature coefficient at 20 °C
	Meter              string    `json:"meter"`               // which instrument; empty when it is not known
	R20Ohms            float64   `json:"r20_ohms"`            // referred to 20 °C
}

// Study is one study of the measuring, in short.
type Study struct {
	Name     string    `json:"study"`    // its name
	Design   string    `json:"design"`   // what the coils are of
	Readings int       `json:"readings"` // how many were taken
	First    time.Time `json:"first"`    // when the first was
	Last     time.Time `json:"last"`     // when the last was
}

// CompleteStudyReading checks a reading and fills in its R20.
func CompleteStudyReading(r *StudyReading) error {
	err := cmp.Or(
		ValidateName("bench", r.Bench), ValidateName("study", r.Study), ValidateName("design", r.Design),
		ValidateName("part", r.Part), ValidateName("operator", r.Operator), ValidateLabel("meter", r.Meter))
	if err != nil {
		return err
	}
	alpha := copper.Alpha20(r.AlphaPerKelvin)
	if err := alpha.Check(); err != nil {
		return Invalid("alpha_per_kelvin", "must be the coefficient of a copper wire: %v", err)
	}
	if r.R20Ohms, err = alpha.R20(r.ResistanceOhms, r.TemperatureCelsius); err != nil {
		return Invalid("resistance_ohms", "gives no resistance at 20 °C: %v", err)
	}
	return nil
}

// StudyReadings describes readings of studies.
var StudyReadings = Kind[StudyReading]{
	Name: "study_reading", One: "study reading", Many: "study readings", Table: "study_readings",
	Fields: []Field[StudyReading]{
		{Column: "id", Place: func(r *StudyReading) any { return &r.ID }},
		{Column: "time_us", Place: func(r *StudyReading) any { return &r.Time }},
		{Column: "bench", Place: func(r *StudyReading) any { return &r.Bench }},
		{Column: "study", Place: func(r *StudyReading) any { return &r.Study }},
		{Column: "design", Place: func(r *StudyReading) any { return &r.Design }},
		{Column: "design_revision", Place: func(r *StudyReading) any { return &r.DesignRevision }},
		{Column: "part", Place: func(r *StudyReading) any { return &r.Part }},
		{Column: "operator", Place: func(r *StudyReading) any { return &r.Operator }},
		{Column: "resistance_ohms", Place: func(r *StudyReading) any { return &r.ResistanceOhms }},
		{Column: "temperature_celsius", Place: func(r *StudyReading) any { return &r.TemperatureCelsius }},
		{Column: "alpha_per_kelvin", Place: func(r *StudyReading) any { return &r.AlphaPerKelvin }},
		{Column: "meter", Place: func(r *StudyReading) any { return &r.Meter }},
	},
	Complete: CompleteStudyReading,
	Check: func(r StudyReading) error {
		told := r.R20Ohms
		if err := CompleteStudyReading(&r); err != nil {
			return err
		}
		if told != 0 && math.Abs(told-r.R20Ohms) > 1e-9*r.R20Ohms {
			return Invalid("r20_ohms", "must follow from resistance and temperature, which give %g Ω, not %g", r.R20Ohms, told)
		}
		return nil
	},
}
