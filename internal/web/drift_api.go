package web

import (
	"errors"
	"net/http"

	"coilkeep/internal/drift"
	"coilkeep/internal/drift/records"
	"coilkeep/internal/drift/watch"
	"coilkeep/internal/web/api"
	"coilkeep/internal/web/problem"
)

// showBatchDrift answers with what the drift analysis says of a batch.
func (s *site) showBatchDrift(w http.ResponseWriter, r *http.Request) error {
	if err := api.OnlyParameters(r.URL.Query()); err != nil {
		return err
	}
	d, err := s.server.Drift.Batch(r.Context(), r.PathValue("batch"))
	if err != nil {
		return driftFault(err)
	}
	s.reply(w, r, http.StatusOK, d)
	return nil
}

// showWinderDrift answers with what it says of all coils of one design that a
// winder wound.
func (s *site) showWinderDrift(w http.ResponseWriter, r *http.Request) error {
	d, err := s.winderDrift(r)
	if err != nil {
		return err
	}
	s.reply(w, r, http.StatusOK, d)
	return nil
}

func (s *site) winderDrift(r *http.Request) (watch.Drift, error) {
	if err := api.OnlyParameters(r.URL.Query(), "design"); err != nil {
		return watch.Drift{}, err
	}
	d, err := s.server.Drift.Winder(r.Context(), r.PathValue("winder"), r.URL.Query().Get("design"))
	if errors.Is(err, records.ErrNothing) {
		return watch.Drift{}, problem.NotFound.Because("%v", err)
	}
	return d, driftFault(err)
}

// acknowledge keeps a note about the signals that stand in a batch.
func (s *site) acknowledge(w http.ResponseWriter, r *http.Request) error {
	var body struct {
		Note string `json:"note"`
	}
	if err := api.Decode(w, r, &body); err != nil {
		return err
	}
	entry, err := s.server.Drift.Acknowledge(r.Context(), r.PathValue("batch"), body.Note, requester(r))
	if err != nil {
		return driftFault(err)
	}
	s.reply(w, r, http.StatusCreated, entry)
	return nil
}

// reviseBaseline has some coils of a batch set the limits from now on.
func (s *site) reviseBaseline(w http.ResponseWriter, r *http.Request) error {
	var body struct {
		From   int    `json:"from_sequence"`
		Count  int    `json:"count"`
		Reason string `json:"reason"`
	}
	if err := api.Decode(w, r, &body); err != nil {
		return err
	}
	kept, err := s.server.Drift.Revise(r.Context(), watch.Choice{Batch: r.PathValue("batch"), From: body.From, Count: body.Count,
		Reason: body.Reason, Who: requester(r)})
	if err != nil {
		return driftFault(err)
	}
	s.reply(w, r, http.StatusCreated, kept)
	return nil
}

// driftFault says what a client can do about an error of the drift analysis.
func driftFault(err error) error {
	switch {
	case errors.Is(err, records.ErrNothing), errors.Is(err, watch.ErrNoSignal):
		return problem.Conflict.Because("%v", err)
	case errors.Is(err, records.ErrSeveralDesigns):
		return problem.Invalid.InField("design", "%v", err)
	case errors.Is(err, watch.ErrNoBaseline), errors.Is(err, drift.ErrInput):
		return problem.Invalid.InField("count", "%v", err)
	}
	return err
}
