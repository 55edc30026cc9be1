package web

import (
	"net/http"

	"coilkeep/internal/record"
	"coilkeep/internal/workshop"
)

func (s *site) listDesigns(w http.ResponseWriter, r *http.Request) error {
	designs, err := s.server.History.Designs(r.Context())
	if err != nil {
		return err
	}
	s.reply(w, r, http.StatusOK, struct {
		Designs []record.Design `json:"designs"`
	}{designs})
	return nil
}

// showDesign answers with the latest revision of a design and all before it.
func (s *site) showDesign(w http.ResponseWriter, r *http.Request) error {
	revisions, err := s.server.History.DesignRevisions(r.Context(), r.PathValue("design"))
	if err != nil {
		return err
	}
	s.reply(w, r, http.StatusOK, workshop.DesignAnswer{Design: revisions[len(revisions)-1], Revisions: revisions})
	return nil
}

func (s *site) addDesign(w http.ResponseWriter, r *http.Request) error {
	var request workshop.DesignRequest
	if err := decode(w, r, &request); err != nil {
		return err
	}
	design, err := workshop.NewDesign(request)
	if err != nil {
		return err
	}
	design, err = s.server.History.AddDesign(r.Context(), design, requester(r))
	if err != nil {
		return err
	}
	s.reply(w, r, http.StatusCreated, design)
	return nil
}

func (s *site) reviseDesign(w http.ResponseWriter, r *http.Request) error {
	var request workshop.DesignRequest
	if err := decode(w, r, &request); err != nil {
		return err
	}
	latest, err := s.server.History.Design(r.Context(), r.PathValue("design"))
	if err != nil {
		return err
	}
	design, err := workshop.ReviseDesign(latest, request)
	if err != nil {
		return err
	}
	design, err = s.server.History.ReviseDesign(r.Context(), design, requester(r))
	if err != nil {
		return err
	}
	s.reply(w, r, http.StatusCreated, design)
	return nil
}
