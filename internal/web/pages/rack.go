package pages

import (
	"net/http"
	"net/url"
	"strconv"
	"time"

	"coilkeep/internal/record"
	"coilkeep/internal/web/api"
	"coilkeep/internal/web/problem"
	"coilkeep/internal/words"
)

const (
	// lookedSoaks is how many soaks are looked through for what lies on a rack.
	lookedSoaks = 500
	// sinceLayout is how a browser sends a day and a time.
	sinceLayout = "2006-01-02T15:04"
)

// rackView is the page of what lies beside the probe of a bench.
type rackView struct {
	frame
	Bench string
	// Open is the batch that is open there, "" without one.
	Open string
	// Lying are the coils and batches that lie there, the latest first.
	Lying []record.Soak
	// Put is what was just put there; nil when the page was only opened.
	Put *record.Soak
	// Form is what is typed; Whole is the form for the open batch.
	Form, Whole form
}

// Ago says how long something has been lying there.
func (v rackView) Ago(since time.Time) string {
	minutes := int(v.Now.Sub(since) / time.Minute)
	switch {
	case minutes < 1:
		return "just now"
	case minutes < 120:
		return strconv.Itoa(minutes) + " min"
	case minutes < 48*60:
		return strconv.Itoa(minutes/60) + " h"
	}
	return strconv.Itoa(minutes/60/24) + " days"
}

func (s rackPages) rackPage(w http.ResponseWriter, r *http.Request) error {
	f := filledIn(url.Values{"since": {r.URL.Query().Get("since")}})
	return s.showRack(w, r, http.StatusOK, f, form{})
}

func (s rackPages) showRack(w http.ResponseWriter, r *http.Request, status int, f, whole form) error {
	b, err := s.benches.Named(r.PathValue("bench"))
	if err != nil {
		return err
	}
	snapshot := b.Snapshot()
	view := rackView{frame: s.frame(benchesSection, "Rack of bench "+snapshot.Bench), Bench: snapshot.Bench, Form: f, Whole: whole}
	if snapshot.Batch != nil {
		view.Open = snapshot.Batch.Name
	}
	soaks, err := s.History.Soaks(r.Context(), snapshot.Bench, lookedSoaks)
	if err != nil {
		return err
	}
	for i := range soaks {
		if soaks[i].ID == r.URL.Query().Get("put") {
			view.Put = &soaks[i]
		}
	}
	if view.Lying, err = s.lying(r, snapshot.Bench, soaks); err != nil {
		return err
	}
	return s.renderPageAs(w, status, "records/rack", view)
}

// lying are the soaks that count still: the newest of each coil and batch, of coils
// that were not on the clips since, and of batches that are open.
func (s rackPages) lying(r *http.Request, bench string, soaks []record.Soak) ([]record.Soak, error) {
	kept, seen := s.History, map[[2]string]bool{}
	var list []record.Soak
	for _, k := range soaks {
		key := [2]string{k.Serial, k.Batch}
		if seen[key] {
			continue
		}
		seen[key] = true
		if k.Batch != "" {
			batch, err := kept.Batch(r.Context(), k.Batch)
			if err != nil {
				return nil, err
			}
			if batch.ClosedAt == nil {
				list = append(list, k)
			}
			continue
		}
		now, err := kept.SoakOf(r.Context(), bench, k.Serial, "")
		if err != nil {
			return nil, err
		}
		if now != nil && now.ID == k.ID {
			list = append(list, k)
		}
	}
	return list, nil
}

// rackForm puts a coil, or the whole batch, on the rack. The page comes back with
// the same time, ready for the next scan.
func (s rackPages) rackForm(w http.ResponseWriter, r *http.Request) error {
	b, err := s.benches.Named(r.PathValue("bench"))
	if err != nil {
		return err
	}
	whole := false
	return s.submit(w, r, func(f form) (string, error) {
		whole = f.Get("batch") != ""
		if !whole && f.Get("serial") == "" {
			return "", problem.Invalid.InField("serial", "scan or type which coil is put there")
		}
		since, err := f.since()
		if err != nil {
			return "", err
		}
		soak, err := b.Soak(r.Context(), record.Soak{Serial: f.Get("serial"), Batch: f.Get("batch"), Since: since, Who: api.Requester(r)})
		if err != nil {
			return "", err
		}
		query := url.Values{"put": {soak.ID}}
		if !whole && f.Get("since") != "" {
			query.Set("since", f.Get("since"))
		}
		return pagePath("benches", r.PathValue("bench"), "rack") + "?" + query.Encode(), nil
	}, func(status int, f form) error {
		if whole {
			return s.showRack(w, r, status, form{}, f)
		}
		return s.showRack(w, r, status, f, form{})
	})
}

// since reads a day and a time by the clock of the daemon; the zero time when
// nothing was filled in, which is now.
func (f form) since() (time.Time, error) {
	text := f.Get("since")
	if text == "" {
		return time.Time{}, nil
	}
	since, err := time.ParseInLocation(sinceLayout, text, time.Local)
	if err != nil {
		return time.Time{}, problem.Invalid.InField("since", "%q is not a day and a time like 2026-03-14T09:30", text)
	}
	return since, nil
}

// sinceField is a field for since when something has been lying there.
func sinceField(f form, id string, now time.Time) fieldView {
	v := textField(f, "since", "Since", "empty is now: "+words.Clock(now, time.Local)+" by the clock of the bench", "")
	v.ID = id
	return v
}
