package web

import (
	"context"
	"errors"
	"fmt"
	"net/http"

	"coilkeep/internal/conformity"
	"coilkeep/internal/record"
	"coilkeep/internal/web/problem"
	"coilkeep/internal/words"
	"coilkeep/internal/workshop"
)

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
		m, err := workshop.StandingMeasurement(ctx, s.server.History, serial)
		switch {
		case err != nil:
			return nil, err
		case m == nil:
			doubts = append(doubts, fmt.Sprintf("No measurement of coil %s stands.", serial))
		case m.Verdict != "" && m.Verdict != conformity.In:
			doubts = append(doubts, fmt.Sprintf("Coil %s is not within its tolerance: %s.", serial, words.Verdict(m.Verdict)))
		}
	}
	return doubts, nil
}
