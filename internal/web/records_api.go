package web

import (
	"net/http"
	"time"

	"coilkeep/internal/bench"
	"coilkeep/internal/record"
	"coilkeep/internal/web/problem"
)

// measureLeads measures the leads of a bench whose clips are shorted.
func (s *site) measureLeads(w http.ResponseWriter, r *http.Request) error {
	b, err := s.bench(r)
	if err != nil {
		return err
	}
	var body struct{}
	if err := decode(w, r, &body); err != nil {
		return err
	}
	zero, err := b.MeasureLeads(r.Context(), requester(r))
	if err != nil {
		return err
	}
	s.reply(w, r, http.StatusCreated, zero)
	return nil
}

// measureStandard measures the check standard on the clips of a bench.
func (s *site) measureStandard(w http.ResponseWriter, r *http.Request) error {
	b, err := s.bench(r)
	if err != nil {
		return err
	}
	var body struct {
		Standard    string  `json:"standard"`
		NominalOhms float64 `json:"nominal_ohms"`
	}
	if err := decode(w, r, &body); err != nil {
		return err
	}
	if body.Standard == "" {
		return problem.Invalid.InField("standard", "is missing: say which standard is on the clips")
	}
	check, err := b.MeasureStandard(r.Context(), bench.Standard{Name: body.Standard, NominalOhms: body.NominalOhms, Who: requester(r)})
	if err != nil {
		return err
	}
	s.reply(w, r, http.StatusCreated, check)
	return nil
}

// listCalibrations answers with the calibrations of the instruments of a
// bench, the newest first.
func (s *site) listCalibrations(w http.ResponseWriter, r *http.Request) error {
	b, err := s.bench(r)
	if err != nil {
		return err
	}
	list, err := s.server.History.Calibrations(r.Context(), b.Snapshot().Bench)
	if err != nil {
		return err
	}
	s.reply(w, r, http.StatusOK, struct {
		Calibrations []record.Calibration `json:"calibrations"`
	}{list})
	return nil
}

// addCalibration keeps a calibration of an instrument of a bench; without an
// instrument it is of the one the bench has now.
func (s *site) addCalibration(w http.ResponseWriter, r *http.Request) error {
	b, err := s.bench(r)
	if err != nil {
		return err
	}
	var body struct {
		Role            record.Role `json:"role"`
		Instrument      string      `json:"instrument"`
		Time            string      `json:"time"`
		Certificate     string      `json:"certificate"`
		DueAt           string      `json:"due_at"`
		CorrectionRatio float64     `json:"correction_ratio"`
		Note            string      `json:"note"`
		By              string      `json:"by"`
	}
	if err := decode(w, r, &body); err != nil {
		return err
	}
	snapshot := b.Snapshot()
	c := record.Calibration{Bench: snapshot.Bench, Role: body.Role, Instrument: body.Instrument, Certificate: body.Certificate,
		CorrectionRatio: body.CorrectionRatio, Note: body.Note, By: body.By}
	if c.By == "" {
		c.By = requester(r)
	}
	if c.Instrument == "" && c.Role == record.Meter {
		c.Instrument = snapshot.Meter.Label()
	}
	if c.Instrument == "" && c.Role == record.Probe {
		c.Instrument = snapshot.Probe.Label()
	}
	for _, field := range []struct {
		name, text string
		place      *time.Time
	}{{"time", body.Time, &c.Time}, {"due_at", body.DueAt, &c.DueAt}} {
		if field.text == "" {
			continue
		}
		if *field.place, err = parseTime(field.name, field.text); err != nil {
			return err
		}
	}
	if c.Time.After(s.now()) {
		return problem.Invalid.InField("time", "must not be in the future")
	}
	if c, err = s.server.History.AddCalibration(r.Context(), c); err != nil {
		return err
	}
	s.reply(w, r, http.StatusCreated, c)
	return nil
}
