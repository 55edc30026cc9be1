package web

import (
	"net/http"
	"strings"
	"time"

	"coilkeep/internal/web/pages"
	"coilkeep/internal/web/problem"
)

// stalled is how long a bench may be without a look at itself; a bench that
// runs looks several times a second.
const stalled = 5 * time.Second

// healthz says that the daemon is alive and answers.
func (s *site) healthz(w http.ResponseWriter, _ *http.Request) error {
	pages.Send(w, s.log, http.StatusOK, "text/plain; charset=utf-8", []byte("alive\n"))
	return nil
}

// readyz says whether a coil that is clipped on now would be kept: the history
// takes writes, every bench runs, and nothing is waiting to be saved. A meter
// that is unplugged does not make the daemon unready; its bench says so.
func (s *site) readyz(w http.ResponseWriter, r *http.Request) error {
	var wrong []string
	if err := s.server.History.Writable(r.Context()); err != nil {
		s.log.Warn("not ready: the history takes no writes", "err", err)
		wrong = append(wrong, "the history takes no writes")
	}
	for _, snapshot := range s.benches.Snapshots() {
		switch {
		case s.now().Sub(snapshot.Time) > stalled:
			wrong = append(wrong, "bench "+snapshot.Bench+" does not run")
		case snapshot.Unsaved != "":
			wrong = append(wrong, "bench "+snapshot.Bench+" holds a measurement that is not saved yet")
		}
	}
	if len(wrong) > 0 {
		return problem.Unavailable.Because("not ready: %s", strings.Join(wrong, "; "))
	}
	pages.Send(w, s.log, http.StatusOK, "text/plain; charset=utf-8", []byte("ready\n"))
	return nil
}
