// Package web serves the benches to people and programs: the status page, the
// JSON API, the live events and the metrics, over one HTTP server. It shows
// and passes on; what a coil measures, what may be recorded and what is kept
// is decided by the bench and the history.
package web

import (
	"context"
	"crypto/tls"
	"errors"
	"fmt"
	"log/slog"
	"net"
	"net/http"
	"net/netip"
	"sync/atomic"
	"time"

	"coilkeep/internal/bench"
	"coilkeep/internal/drift/watch"
	"coilkeep/internal/warmth"
	"coilkeep/internal/web/api"
	"coilkeep/internal/web/pages"
)

// Bench is what the pages and the API ask of a bench.
type Bench = pages.Bench

// History is all that the pages and the API ask of the history.
type History interface {
	pages.History
	Writable(ctx context.Context) error
}

// Events is where live events come from. The channel is closed when the
// subscriber was too slow; cancel ends the subscription.
type Events interface {
	Subscribe() (events <-chan bench.Event, cancel func())
}

// Server is the HTTP side of the daemon. Set the fields, then call Run.
type Server struct {
	Benches []Bench
	History History
	Events  Events
	// Drift says how batches and winders fare.
	Drift *watch.Watcher
	// Metrics answers GET /metrics.
	Metrics http.Handler
	// Workshop is the name shown at the top of the page, Contact what documents
	// for buyers say beside it; both may be empty.
	Workshop, Contact string
	// Arrive says how coils come to each bench, as configured; benches that are
	// not in it tell nothing.
	Arrive map[string]warmth.Arrival
	// Hosts are further host names the daemon goes by, without ports.
	Hosts []string
	// Password guards everything; nil allows a loopback listener only.
	Password *Password
	// Certificate has the pages served over TLS (see [ReadCertificate]); nil
	// serves plain HTTP.
	Certificate *tls.Certificate
	// Logger is told what goes wrong; nil discards.
	Logger *slog.Logger
	// Now gives the time shown on the page; nil takes the system's.
	Now func() time.Time
}

// shutdownGrace is how long requests under way may take to end once the
// daemon is told to stop.
const shutdownGrace = 1500 * time.Millisecond

// Run serves on listener, which it closes, until ctx is done; event streams
// then end at once and other requests are given a moment. It returns nil after
// that, and an error when it cannot serve.
func (s *Server) Run(ctx context.Context, listener net.Listener) error {
	defer listener.Close()
	if s.Password == nil && !loopback(listener.Addr()) {
		return fmt.Errorf("refuse to serve on %s: other machines can reach it and there is no password; "+
			"set password_file in the [web] section, or listen on 127.0.0.1", listener.Addr())
	}
	site := s.site(listener.Addr())
	server := &http.Server{
		Handler:           site.handler(),
		ReadHeaderTimeout: 5 * time.Second,
		ReadTimeout:       15 * time.Second,
		WriteTimeout:      30 * time.Second,
		IdleTimeout:       2 * time.Minute,
		MaxHeaderBytes:    16 << 10,
		ErrorLog:          slog.NewLogLogger(site.log.Handler(), slog.LevelDebug),
	}
	server.RegisterOnShutdown(func() { close(site.stopping) })

	ended := make(chan error, 1)
	go func() {
		if s.Certificate != nil {
			server.TLSConfig = &tls.Config{Certificates: []tls.Certificate{*s.Certificate}}
			ended <- server.ServeTLS(listener, "", "")
			return
		}
		ended <- server.Serve(listener)
	}()
	select {
	case err := <-ended:
		return fmt.Errorf("serve HTTP on %s: %w", listener.Addr(), err)
	case <-ctx.Done():
	}
	grace, cancel := context.WithTimeout(context.WithoutCancel(ctx), shutdownGrace)
	defer cancel()
	err := server.Shutdown(grace)
	if errors.Is(err, context.DeadlineExceeded) {
		site.log.Warn("requests cut off by the shutdown")
		err = server.Close()
	}
	<-ended
	if err != nil {
		return fmt.Errorf("stop serving HTTP: %w", err)
	}
	return nil
}

// loopback says whether only this machine can reach address.
func loopback(address net.Addr) bool {
	tcp, ok := address.(*net.TCPAddr)
	return ok && tcp.IP.IsLoopback()
}

// site is a Server made ready to answer under one listening address.
type site struct {
	server  *Server
	log     *slog.Logger
	now     func() time.Time
	benches api.BenchList[Bench]
	pages   *pages.Pages
	// hosts are the names the daemon goes by, in lower case.
	hosts map[string]bool
	// stopping is closed when event streams must end.
	stopping chan struct{}
	// streams counts the event streams that are open.
	streams atomic.Int32
	// heartbeat is the pause between signs of life on an event stream.
	heartbeat time.Duration
}

// site makes s ready to answer on address.
func (s *Server) site(address net.Addr) *site {
	made := &site{
		server:    s,
		log:       s.Logger,
		now:       s.Now,
		benches:   api.NewBenchList(s.Benches),
		hosts:     map[string]bool{"localhost": true},
		stopping:  make(chan struct{}),
		heartbeat: 2 * time.Second,
	}
	if made.log == nil {
		made.log = slog.New(slog.DiscardHandler)
	}
	if made.now == nil {
		made.now = time.Now
	}
	made.pages = pages.New(pages.Settings{Benches: s.Benches, History: s.History, Drift: s.Drift, Workshop: s.Workshop,
		Contact: s.Contact, Arrive: s.Arrive, Logger: made.log, Now: made.now})
	for _, host := range append(s.Hosts, address.String()) {
		if name := hostname(host); !unspecified(name) {
			made.hosts[name] = true
		}
	}
	return made
}

// unspecified says whether host is an address that stands for every address.
func unspecified(host string) bool {
	address, err := netip.ParseAddr(host)
	return err == nil && address.IsUnspecified()
}
