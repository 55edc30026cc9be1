package web

import (
	"errors"
	"net/http"
	"net/url"
	"strconv"
	"time"

	"coilkeep/internal/record"
	"coilkeep/internal/web/problem"
)

const (
	defaultPage = 100
	longestPage = 1000
)

// listMeasurements answers with one page of measurements, the oldest first,
// and the cursor of the next page when there is one.
func (s *site) listMeasurements(w http.ResponseWriter, r *http.Request) error {
	filter, err := parseFilter(r.URL.Query())
	if err != nil {
		return err
	}
	page, next, err := s.server.History.Measurements(r.Context(), filter)
	if err != nil {
		return err
	}
	if page == nil {
		page = []record.Measurement{}
	}
	s.reply(w, r, http.StatusOK, struct {
		Measurements []record.Measurement `json:"measurements"`
		// Next is empty on the last page.
		Next string `json:"next"`
	}{page, next})
	return nil
}

// parseFilter reads the query of a list of measurements. A parameter that is
// not known or cannot be read is refused: a filter that is left out silently
// would answer another question than was asked.
func parseFilter(query url.Values) (record.Filter, error) {
	if err := onlyParameters(query, "batch", "design", "serial", "bench", "from", "to", "after", "limit"); err != nil {
		return record.Filter{}, err
	}
	filter := record.Filter{Batch: query.Get("batch"), Design: query.Get("design"), Serial: query.Get("serial"),
		Bench: query.Get("bench"), After: query.Get("after")}
	var err error
	if filter.From, filter.To, err = fromTo(query); err != nil {
		return filter, err
	}
	filter.Limit, err = pageLimit(query)
	return filter, err
}

// fromTo reads the times that bound a list; the zero time is no bound.
func fromTo(query url.Values) (from, to time.Time, err error) {
	if query.Has("from") {
		from, err = parseTime("from", query.Get("from"))
	}
	if err == nil && query.Has("to") {
		to, err = parseTime("to", query.Get("to"))
	}
	return from, to, err
}

// pageLimit reads how long a page of a list may be.
func pageLimit(query url.Values) (int, error) {
	if !query.Has("limit") {
		return defaultPage, nil
	}
	return parseLimit(query.Get("limit"))
}

func parseTime(name, value string) (time.Time, error) {
	at, err := time.Parse(time.RFC3339Nano, value)
	if err != nil {
		return time.Time{}, problem.Invalid.InField(name, "%q is not a time like 2026-03-14T09:30:00Z", value)
	}
	return at, nil
}

func parseLimit(value string) (int, error) {
	limit, err := strconv.Atoi(value)
	if err != nil || limit < 1 || limit > longestPage {
		return 0, problem.Invalid.InField("limit", "%q is not a whole number from 1 to %d", value, longestPage)
	}
	return limit, nil
}

// measurementDetail is a measurement with everything behind it.
type measurementDetail struct {
	record.Measurement
	Readings []record.Reading `json:"readings"`
}

func (s *site) showMeasurement(w http.ResponseWriter, r *http.Request) error {
	m, readings, err := s.server.History.Measurement(r.Context(), r.PathValue("id"))
	if err != nil {
		return err
	}
	if readings == nil {
		readings = []record.Reading{}
	}
	s.reply(w, r, http.StatusOK, measurementDetail{m, readings})
	return nil
}

// voidMeasurement withdraws a measurement; it stays in the history with the
// reason.
func (s *site) voidMeasurement(w http.ResponseWriter, r *http.Request) error {
	var body struct {
		Reason string `json:"reason"`
	}
	if err := decode(w, r, &body); err != nil {
		return err
	}
	m, err := s.server.History.Void(r.Context(), r.PathValue("id"), body.Reason, requester(r))
	if err != nil {
		return err
	}
	s.reply(w, r, http.StatusOK, m)
	return nil
}

// listCoils answers with one page of coils in the order of their serial numbers,
// and the cursor of the next page when there is one.
func (s *site) listCoils(w http.ResponseWriter, r *http.Request) error {
	query := r.URL.Query()
	if err := onlyParameters(query, "serial", "after", "limit"); err != nil {
		return err
	}
	limit, err := pageLimit(query)
	if err != nil {
		return err
	}
	page, next, err := s.server.History.Coils(r.Context(), record.CoilSearch{Beginning: query.Get("serial"), After: query.Get("after"),
		Limit: limit})
	if err != nil {
		return err
	}
	s.reply(w, r, http.StatusOK, struct {
		Coils []record.Coil `json:"coils"`
		Next  string        `json:"next"`
	}{page, next})
	return nil
}

// listBatches answers with one page of batches, the latest first, and the cursor
// of the next page when there is one.
func (s *site) listBatches(w http.ResponseWriter, r *http.Request) error {
	query := r.URL.Query()
	if err := onlyParameters(query, "text", "design", "from", "to", "after", "limit"); err != nil {
		return err
	}
	search := record.BatchSearch{Text: query.Get("text"), Design: query.Get("design"), After: query.Get("after")}
	var err error
	if search.Limit, err = pageLimit(query); err != nil {
		return err
	}
	if search.OpenedFrom, search.OpenedTo, err = fromTo(query); err != nil {
		return err
	}
	page, next, err := s.server.History.FindBatches(r.Context(), search)
	if errors.Is(err, record.ErrNotFound) {
		return problem.Invalid.InField("after", "must be the name of a batch (the next of the page before), not %q", search.After)
	}
	if err != nil {
		return err
	}
	s.reply(w, r, http.StatusOK, struct {
		Batches []record.Batch `json:"batches"`
		Next    string         `json:"next"`
	}{page, next})
	return nil
}

func (s *site) batchJSON(w http.ResponseWriter, r *http.Request) error {
	batch, err := s.server.History.Batch(r.Context(), r.PathValue("batch"))
	if err != nil {
		return err
	}
	s.reply(w, r, http.StatusOK, batch)
	return nil
}

func (s *site) showCoil(w http.ResponseWriter, r *http.Request) error {
	coil, err := s.server.History.Coil(r.Context(), r.PathValue("serial"))
	if err != nil {
		return err
	}
	s.reply(w, r, http.StatusOK, coil)
	return nil
}
