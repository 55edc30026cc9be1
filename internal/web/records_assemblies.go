package web

import (
	"context"
	"errors"
	"fmt"
	"net/http"

	"coilkeep/internal/conformity"
	"coilkeep/internal/record"
	"coilkeep/internal/report"
	"coilkeep/internal/web/problem"
)

// addAssembly keeps that two coils are sold as one.
func (s *site) addAssembly(w http.ResponseWriter, r *http.Request) error {
	var body struct {
		Serial string `json:"serial"`
		First  string `json:"first"`
		Second string `json:"second"`
		Note   string `json:"note"`
		By     string `json:"by"`

		TakeApart bool `json:"take_apart"`
	}
	if err := decode(w, r, &body); err != nil {
		return err
	}
	if body.By == "" {
		body.By = requester(r)
	}
	kept, err := s.server.History.AddAssembly(r.Context(),
		record.Assembly{Serial: body.Serial, First: body.First, Second: body.Second, Note: body.Note, By: body.By}, body.TakeApart)
	if err != nil {
		return err
	}
	s.reply(w, r, http.StatusCreated, kept)
	return nil
}

// showAssembly answers with the assembly that a serial number is in.
func (s *site) showAssembly(w http.ResponseWriter, r *http.Request) error {
	assembly, err := s.server.History.Assembly(r.Context(), r.PathValue("serial"))
	if err != nil {
		return err
	}
	s.reply(w, r, http.StatusOK, assembly)
	return nil
}

// assemblyForm keeps that the coil of the page is sold with another.
func (s *site) assemblyForm(w http.ResponseWriter, r *http.Request) error {
	first := r.PathValue("serial")
	return s.submit(w, r, func(f form) (string, error) {
		second := f.Get("second")
		_, err := s.server.History.AddAssembly(r.Context(),
			record.Assembly{Serial: f.Get("serial"), First: first, Second: second, By: requester(r)}, f.Get("take_apart") != "")
		if errors.Is(err, record.ErrNotFound) {
			err = problem.Invalid.InField("second", "coil %s was never measured; look at its number", second)
		}
		if errors.Is(err, record.ErrConflict) {
			err = problem.Invalid.InField("take_apart", "%v", err)
		}
		return pagePath("coils", first), err
	}, func(status int, f form) error { return s.showCoilPage(w, r, status, f) })
}

// assemblyOf returns the assembly that a serial number is in; nil without one.
func (s *site) assemblyOf(ctx context.Context, serial string) (*record.Assembly, error) {
	assembly, err := s.server.History.Assembly(ctx, serial)
	if errors.Is(err, record.ErrNotFound) {
		return nil, nil
	}
	if err != nil {
		return nil, err
	}
	return &assembly, nil
}

// doubtsAbout lists what speaks against selling two coils as one.
func (s *site) doubtsAbout(ctx context.Context, a record.Assembly) (doubts []string, err error) {
	for _, serial := range []string{a.First, a.Second} {
		m, err := s.standingMeasurement(ctx, serial)
		switch {
		case err != nil:
			return nil, err
		case m == nil:
			doubts = append(doubts, fmt.Sprintf("No measurement of coil %s stands.", serial))
		case m.Verdict != "" && m.Verdict != conformity.In:
			doubts = append(doubts, fmt.Sprintf("Coil %s is not within its tolerance: %s.", serial, m.Verdict.Words()))
		}
	}
	return doubts, nil
}

// assembled puts together what a certificate says of the assembly that the
// measured coil is in: the other coil, and both in series where that was
// measured. A certificate of the whole is one of its first coil, so first
// replaces the measurement of the whole.
func (s *site) assembled(ctx context.Context, m record.Measurement) (first record.Measurement, _ *report.Assembly, err error) {
	a, err := s.assemblyOf(ctx, m.Serial)
	if err != nil || a == nil {
		return m, nil, err
	}
	document, other := &report.Assembly{Serial: a.Serial}, a.Second
	switch first = m; m.Serial {
	case a.Serial:
		document.Together = &m
		if first, err = s.needed(ctx, a.First); err != nil {
			return first, nil, err
		}
	case a.Second:
		other = a.First
	}
	if document.Second, err = s.needed(ctx, other); err != nil {
		return first, nil, err
	}
	if document.Together == nil {
		document.Together, err = s.standingMeasurement(ctx, a.Serial)
	}
	return first, document, err
}

// needed is the measurement of a coil that a document cannot do without.
func (s *site) needed(ctx context.Context, serial string) (record.Measurement, error) {
	m, err := s.standingMeasurement(ctx, serial)
	if err == nil && m == nil {
		err = problem.Conflict.Because("no measurement of %s stands; measure it again, or sell another coil with this one", serial)
	}
	if err != nil {
		return record.Measurement{}, err
	}
	return *m, nil
}

// standingMeasurement returns the newest measurement of a coil that stands, with
// all its details; nil when there is none.
func (s *site) standingMeasurement(ctx context.Context, serial string) (*record.Measurement, error) {
	coil, err := s.server.History.Coil(ctx, serial)
	if errors.Is(err, record.ErrNotFound) {
		return nil, nil
	}
	if err != nil {
		return nil, err
	}
	for _, m := range coil.Measurements {
		if m.Stands() {
			m, _, err := s.server.History.Measurement(ctx, m.ID)
			return &m, err
		}
	}
	return nil, nil
}
