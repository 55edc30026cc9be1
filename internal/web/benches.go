package web

import (
	"net/http"
	"strings"

	"coilkeep/internal/bench"
	"coilkeep/internal/record"
	"coilkeep/internal/web/problem"
)

// listBenches answers with how every bench stands.
func (s *site) listBenches(w http.ResponseWriter, r *http.Request) error {
	s.reply(w, r, http.StatusOK, struct {
		Benches []bench.Snapshot `json:"benches"`
	}{s.snapshots()})
	return nil
}

// snapshots takes one of every bench, in the order of the configuration.
func (s *site) snapshots() []bench.Snapshot {
	list := make([]bench.Snapshot, 0, len(s.server.Benches))
	for _, b := range s.server.Benches {
		list = append(list, b.Snapshot())
	}
	return list
}

// bench finds the bench the path names.
func (s *site) bench(r *http.Request) (Bench, error) {
	name := r.PathValue("bench")
	if b := s.benches[name]; b != nil {
		return b, nil
	}
	return nil, s.noBench(name)
}

func (s *site) noBench(name string) error {
	return problem.NotFound.InField("bench", "there is no bench %q; this coilkeep serves %s", name, strings.Join(sortedKeys(s.benches), ", "))
}

func (s *site) showBench(w http.ResponseWriter, r *http.Request) error {
	b, err := s.bench(r)
	if err != nil {
		return err
	}
	s.reply(w, r, http.StatusOK, b.Snapshot())
	return nil
}

func (s *site) startBatch(w http.ResponseWriter, r *http.Request) error {
	b, err := s.bench(r)
	if err != nil {
		return err
	}
	var body struct {
		Batch    string `json:"batch"`
		Design   string `json:"design"`
		Spool    string `json:"spool"`
		Winder   string `json:"winder"`
		Operator string `json:"operator"`
	}
	if err := decode(w, r, &body); err != nil {
		return err
	}
	batch, err := b.StartBatch(r.Context(), record.BatchStart{
		Name:     body.Batch,
		Bench:    r.PathValue("bench"),
		Design:   body.Design,
		Spool:    body.Spool,
		Winder:   body.Winder,
		Operator: body.Operator,
		Who:      requester(r),
	})
	if err != nil {
		return err
	}
	s.reply(w, r, http.StatusCreated, batch)
	return nil
}

func (s *site) closeBatch(w http.ResponseWriter, r *http.Request) error {
	b, err := s.bench(r)
	if err != nil {
		return err
	}
	batch, err := b.CloseBatch(r.Context(), requester(r))
	if err != nil {
		return err
	}
	s.reply(w, r, http.StatusOK, batch)
	return nil
}

func (s *site) changeSpool(w http.ResponseWriter, r *http.Request) error {
	b, err := s.bench(r)
	if err != nil {
		return err
	}
	var body struct {
		Spool string `json:"spool"`
	}
	if err := decode(w, r, &body); err != nil {
		return err
	}
	batch, err := b.ChangeSpool(r.Context(), body.Spool, requester(r))
	if err != nil {
		return err
	}
	s.reply(w, r, http.StatusOK, batch)
	return nil
}

// setNext says what the next measurement will be filed under.
func (s *site) setNext(w http.ResponseWriter, r *http.Request) error {
	var body struct {
		Serial string `json:"serial"`
		Stage  string `json:"stage"`
		Again  bool   `json:"again"`
	}
	return s.order(w, r, &body, func(b Bench) error {
		return b.SetNext(r.Context(), bench.Next{Serial: body.Serial, Stage: body.Stage, Again: body.Again, Who: requester(r)})
	})
}

// record asks for a measurement now, by the rules or in spite of them.
func (s *site) record(w http.ResponseWriter, r *http.Request) error {
	var body struct {
		Force  bool   `json:"force"`
		Reason string `json:"reason"`
	}
	return s.order(w, r, &body, func(b Bench) error {
		if body.Force && strings.TrimSpace(body.Reason) == "" {
			return problem.Invalid.InField("reason", "a forced measurement needs a reason; it is kept with it")
		}
		return b.Record(r.Context(), bench.RecordRequest{Force: body.Force, Reason: body.Reason, Who: requester(r)})
	})
}

// typeReading hands a typed value to an instrument that is read by a person.
func (s *site) typeReading(w http.ResponseWriter, r *http.Request) error {
	var body struct {
		Role  record.Role `json:"role"`
		Value string      `json:"value"`
		// Confirm says that an unusual value is meant so.
		Confirm bool `json:"confirm"`
	}
	return s.order(w, r, &body, func(b Bench) error {
		if body.Role != record.Meter && body.Role != record.Probe {
			return problem.Invalid.InField("role", "%q must be %q or %q", body.Role, record.Meter, record.Probe)
		}
		return b.Type(r.Context(), body.Role, body.Value, body.Confirm)
	})
}

// noteAction is what the journal calls a note that a person made.
const noteAction = "note"

// note puts what a person has to say of a coil, of the open batch or of the
// bench into the journal.
func (s *site) note(w http.ResponseWriter, r *http.Request) error {
	b, err := s.bench(r)
	if err != nil {
		return err
	}
	var body struct {
		Note    string `json:"note"`
		Subject string `json:"subject"`
	}
	if err := decode(w, r, &body); err != nil {
		return err
	}
	snapshot := b.Snapshot()
	entry := record.JournalEntry{Bench: snapshot.Bench, Who: requester(r), Action: noteAction,
		Subject: body.Subject, Detail: strings.TrimSpace(body.Note)}
	if entry.Detail == "" {
		return problem.Invalid.InField("note", "write what is to be noted")
	}
	switch {
	case entry.Subject != "":
	case snapshot.Batch != nil:
		entry.Subject = snapshot.Batch.Name
	default:
		entry.Subject = snapshot.Bench
	}
	entry, err = s.server.History.AddJournal(r.Context(), entry)
	if err != nil {
		return err
	}
	s.reply(w, r, http.StatusCreated, entry)
	return nil
}

// order reads body, has do carry it out on the bench the path names, and
// answers with how the bench stands then.
func (s *site) order(w http.ResponseWriter, r *http.Request, body any, do func(Bench) error) error {
	b, err := s.bench(r)
	if err != nil {
		return err
	}
	if err := decode(w, r, body); err != nil {
		return err
	}
	if err := do(b); err != nil {
		return err
	}
	s.reply(w, r, http.StatusOK, b.Snapshot())
	return nil
}
