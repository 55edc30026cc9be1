package web

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"net/http"
	"net/url"
	"strings"

	"coilkeep/internal/compare"
	"coilkeep/internal/enquiry"
	"coilkeep/internal/record"
	"coilkeep/internal/web/problem"
	"coilkeep/internal/workshop"
)

// Comparisons is what the answers to buyers ask of the history.
type Comparisons interface {
	AddComparison(ctx context.Context, c record.Comparison) (record.Comparison, error)
	Comparison(ctx context.Context, id string) (record.Comparison, error)
	ComparisonsOf(ctx context.Context, serial string) ([]record.Comparison, error)
	Comparisons(ctx context.Context, filter record.ComparisonFilter) (page []record.Comparison, next string, err error)
}

// addComparison compares and, unless the query says keep=false, keeps the
// comparison.
func (s *site) addComparison(w http.ResponseWriter, r *http.Request) error {
	keep, err := parseKeep(r.URL.Query())
	if err != nil {
		return err
	}
	var body map[string]json.RawMessage
	if err := decode(w, r, &body); err != nil {
		return err
	}
	about, told, err := toldByProgram(body)
	if err != nil {
		return err
	}
	q, err := s.question(r.Context(), told)
	if err != nil {
		return err
	}
	if q.Overload != "" && !keep {
		o, err := overload(q)
		if err != nil {
			return err
		}
		s.reply(w, r, http.StatusOK, workshop.AnswerOverload(q.Serial, o))
		return nil
	}
	c, err := s.compared(r.Context(), q)
	if err != nil {
		return err
	}
	if !keep {
		s.reply(w, r, http.StatusOK, workshop.AnswerComparison(c))
		return nil
	}
	about.put(&c)
	c.By = requester(r)
	if c, err = s.server.History.AddComparison(r.Context(), c); err != nil {
		return err
	}
	s.reply(w, r, http.StatusCreated, workshop.AnswerComparison(c))
	return nil
}

func parseKeep(query url.Values) (bool, error) {
	if err := onlyParameters(query, "keep"); err != nil {
		return false, err
	}
	switch query.Get("keep") {
	case "", "true":
		return true, nil
	case "false":
		return false, nil
	}
	return false, problem.Invalid.InField("keep", "%q is neither true nor false", query.Get("keep"))
}

// about is what is kept beside a comparison.
type about struct{ TheirMeter, Letter, Note string }

func (a about) put(c *record.Comparison) {
	c.TheirMeter, c.Letter, c.Note = a.TheirMeter, a.Letter, a.Note
}

// toldByProgram takes apart the body of a request: names with texts, numbers or
// booleans, and also with a list of such objects.
func toldByProgram(body map[string]json.RawMessage) (about, enquiry.Told, error) {
	var a about
	told := enquiry.Told{Fields: map[string]string{}}
	for _, name := range sortedKeys(body) {
		if name == "also" {
			var list []map[string]json.RawMessage
			if err := json.Unmarshal(body[name], &list); err != nil {
				return a, told, problem.Invalid.InField(name, "%q must be a list of objects, one for each further reading", name)
			}
			for i, one := range list {
				also := map[string]string{}
				for _, inner := range sortedKeys(one) {
					text, err := plainText(fmt.Sprintf("also[%d].%s", i, inner), one[inner])
					if err != nil {
						return a, told, err
					}
					also[inner] = text
				}
				told.Also = append(told.Also, also)
			}
			continue
		}
		text, err := plainText(name, body[name])
		if err != nil {
			return a, told, err
		}
		switch name {
		case "their_meter":
			a.TheirMeter = text
		case "letter":
			a.Letter = text
		case "note":
			a.Note = text
		default:
			told.Fields[name] = text
		}
	}
	return a, told, nil
}

// plainText is a text as it stands, and a number or a boolean as it is written:
// 6280 has one digit more than 6.28e3, which tells how fine their meter shows.
func plainText(name string, raw json.RawMessage) (string, error) {
	switch raw[0] {
	case '"':
		var text string
		err := json.Unmarshal(raw, &text)
		return text, err
	case '{', '[':
		return "", problem.Invalid.InField(name, "%q must be a text or a number", name)
	case 'n':
		return "", nil // null is not told
	}
	return string(raw), nil
}

// question puts together what was told with what the history knows. Its errors
// name the field at fault.
func (s *site) question(ctx context.Context, told enquiry.Told) (enquiry.Question, error) {
	for _, name := range []string{"serial", "mate"} {
		if err := s.spell(ctx, told.Fields, name); err != nil {
			return enquiry.Question{}, err
		}
	}
	q, err := enquiry.Ask(ctx, s.server.History, told)
	if err != nil {
		return enquiry.Question{}, answerFault(err)
	}
	return q, nil
}

// compared answers a question with a number in it.
func (s *site) compared(ctx context.Context, q enquiry.Question) (record.Comparison, error) {
	if q.Overload != "" {
		return record.Comparison{}, problem.Invalid.InField(enquiry.Theirs,
			"%q is an overload, not a resistance: its answer can be read (keep=false) "+
				"and copied, but not kept or printed", q.Overload)
	}
	c, err := workshop.Compare(ctx, s.server.History, q)
	if err != nil {
		return c, answerFault(err)
	}
	return c, nil
}

// overload answers a question about a meter that showed no number.
func overload(q enquiry.Question) (compare.Overload, error) {
	o, err := compare.AnswerOverload(q.Input)
	if err != nil {
		return o, answerFault(q.Explain(err))
	}
	return o, nil
}

// spell corrects the case of a serial number when only that is wrong, as it is
// when somebody reads it out on the telephone.
func (s *site) spell(ctx context.Context, fields map[string]string, name string) error {
	told := strings.TrimSpace(fields[name])
	if told == "" {
		return nil
	}
	found, _, err := s.server.History.FindCoils(ctx, told, 3)
	if err != nil {
		return err
	}
	var alike []string
	for _, m := range found {
		if m.Serial == told {
			return nil
		}
		if strings.EqualFold(m.Serial, told) {
			alike = append(alike, m.Serial)
		}
	}
	if len(alike) == 1 {
		fields[name] = alike[0]
	}
	return nil
}

// answerFault makes of an error of an enquiry a problem with its field.
func answerFault(err error) error {
	var wrong *enquiry.FieldError
	var coil *enquiry.CoilError
	switch {
	case errors.As(err, &wrong):
		return problem.Invalid.InField(wrong.Field, "%s", wrong.Problem)
	case errors.As(err, &coil) && errors.Is(err, record.ErrNotFound):
		return problem.Invalid.InField(coil.Field, "no coil %s was ever measured here; look the number up under Coils", coil.Serial)
	case errors.Is(err, enquiry.ErrWithdrawn):
		return problem.Conflict.Because("%v", err)
	}
	return err
}

// listComparisons answers with one page of comparisons, the newest first.
func (s *site) listComparisons(w http.ResponseWriter, r *http.Request) error {
	filter := record.ComparisonFilter{Limit: defaultPage}
	query := r.URL.Query()
	if err := onlyParameters(query, "serial", "design", "after", "limit"); err != nil {
		return err
	}
	filter.Serial, filter.Design, filter.After = query.Get("serial"), query.Get("design"), query.Get("after")
	if query.Has("limit") {
		var err error
		if filter.Limit, err = parseLimit(query.Get("limit")); err != nil {
			return err
		}
	}
	page, next, err := s.server.History.Comparisons(r.Context(), filter)
	if err != nil {
		return err
	}
	list := []workshop.ComparisonAnswer{}
	for _, c := range page {
		list = append(list, workshop.AnswerComparison(c))
	}
	s.reply(w, r, http.StatusOK, struct {
		Comparisons []workshop.ComparisonAnswer `json:"comparisons"`
		// Next is empty on the last page.
		Next string `json:"next"`
	}{list, next})
	return nil
}

func (s *site) showComparison(w http.ResponseWriter, r *http.Request) error {
	c, err := s.server.History.Comparison(r.Context(), r.PathValue("id"))
	if err != nil {
		return err
	}
	reply := workshop.AnswerComparison(c)
	if reply.Today, err = workshop.Today(c); err != nil {
		return err
	}
	s.reply(w, r, http.StatusOK, reply)
	return nil
}
