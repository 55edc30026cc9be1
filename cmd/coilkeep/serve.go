package main

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"log/slog"
	"net"
	"sync"
	"syscall"
	"time"

	"github.com/coreos/go-systemd/v22/daemon"

	"coilkeep/driver/port"
	"coilkeep/internal/bench"
	"coilkeep/internal/config"
	"coilkeep/internal/drift/watch"
	"coilkeep/internal/history"
	"coilkeep/internal/metrics"
	"coilkeep/internal/record"
	"coilkeep/internal/web"
)

func runServe(ctx context.Context, env *environment, args []string) error {
	flags := newFlags("serve --config FILE",
		"Run the bench: read meter and probe, measure what is clipped on, keep it, and\n"+
			"serve the pages, the API and the metrics until interrupted.",
		"serve --config coilkeep.toml\nserve --config coilkeep.toml --verbose")
	path := flags.String("config", "", "the configuration `FILE`")
	verbose := flags.Bool("verbose", false, "log what is mostly of no interest too")
	if err := flags.parse(env, args, 0, 0); err != nil {
		return err
	}
	if *path == "" {
		return flags.wrong("which configuration? Write --config FILE; \"coilkeep config\" prints one to start from")
	}
	cfg, err := config.Load(*path)
	if err != nil {
		return err
	}
	return serve(ctx, cfg, newLogger(env, *verbose), func(_ context.Context, d running) error {
		_, err := fmt.Fprintf(env.stdout, "coilkeep serves %s\n", d.url)
		return err
	})
}

// serve runs the daemon until ctx ends. When everything is up it runs beside,
// whose error stops the daemon; its context ends with the daemon. It stops in
// the order of the flow: instruments and the captures under way, then HTTP,
// then the database.
func serve(ctx context.Context, cfg config.Config, log *slog.Logger, beside func(context.Context, running) error) (err error) {
	server, err := assembleServer(cfg)
	if err != nil {
		return err
	}
	store, err := history.Open(ctx, cfg.History.Path, history.Options{Logger: log})
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, store.Close()) }()
	if err := store.Own(); err != nil {
		return err
	}
	listener, err := net.Listen("tcp", cfg.Web.Listen)
	if err != nil {
		return cannotListen(err)
	}

	d := assembleDaemon(cfg, store, log)
	handler, err := metrics.Handler(metrics.Sources{Recorder: d.recorder, Benches: d.forMetrics(), History: store, Drift: d.drift,
		Logger: log})
	if err != nil {
		return errors.Join(err, listener.Close())
	}
	server.Benches, server.History, server.Drift, server.Events, server.Metrics = d.forWeb(), store, d.drift, d.hub, handler
	server.Logger = log
	d.url = "http://" + listener.Addr().String()
	if server.Certificate != nil {
		d.url = "https://" + listener.Addr().String()
	}
	log.Info("serving", "address", listener.Addr().String(), "history", store.Path())
	notifySystemd(log, daemon.SdNotifyReady)
	return d.run(ctx, server, listener, log, beside)
}

// assembleServer makes the server of the pages as the configuration has it, and
// reads the files this names. What the pages show is put in by serve.
func assembleServer(cfg config.Config) (*web.Server, error) {
	s := &web.Server{Workshop: cfg.Workshop.Name, Contact: cfg.Workshop.Contact, Hosts: cfg.Web.Hosts, Arrive: arrivals(cfg)}
	var err error
	if cfg.Web.PasswordFile != "" {
		if s.Password, err = web.ReadPasswordFile(cfg.Web.PasswordFile); err != nil {
			return nil, err
		}
	}
	if cfg.Web.TLSCertificate != "" {
		if s.Certificate, err = web.ReadCertificate(cfg.Web.TLSCertificate, cfg.Web.TLSKey); err != nil {
			return nil, err
		}
	}
	return s, nil
}

// cannotListen says what to do when the pages cannot be served.
func cannotListen(err error) error {
	advice := "choose another listen address in [web]"
	switch {
	case errors.Is(err, syscall.EADDRINUSE):
		advice = "another program is there; stop it, or " + advice
	case errors.Is(err, fs.ErrPermission):
		advice = "ports below 1024 are mostly for the administrator; " + advice + `, such as "127.0.0.1:8020"`
	case errors.Is(err, syscall.EADDRNOTAVAIL):
		advice = "this machine has no such address; " + advice
	}
	return fmt.Errorf("%w; %s", err, advice)
}

// running is a daemon that is up.
type running struct {
	url      string
	hub      *bench.Hub
	recorder *metrics.Recorder
	benches  []*bench.Bench
	drift    *watch.Watcher
}

func assembleDaemon(cfg config.Config, store *history.Store, log *slog.Logger) running {
	d := running{hub: &bench.Hub{}, recorder: metrics.NewRecorder(), drift: watch.New(store, time.Local)}
	ports := &port.Pool{}
	for _, b := range cfg.Benches {
		roles := []record.Role{record.Meter}
		if b.Probe != nil {
			roles = append(roles, record.Probe)
		}
		d.recorder.AddBench(b.Name, roles...)
		d.benches = append(d.benches, bench.New(assembleBench(b, ports), store, d.recorder, d.hub, log))
	}
	return d
}

func (d running) forWeb() []web.Bench {
	list := make([]web.Bench, len(d.benches))
	for i, b := range d.benches {
		list[i] = b
	}
	return list
}

func (d running) forMetrics() []metrics.Bench {
	list := make([]metrics.Bench, len(d.benches))
	for i, b := range d.benches {
		list[i] = b
	}
	return list
}

// run runs every part until ctx ends or one fails; the pages outlive the
// benches, so that the last measurement is still announced.
func (d running) run(ctx context.Context, server *web.Server, listener net.Listener, log *slog.Logger,
	beside func(context.Context, running) error) error {
	pages, stopPages := context.WithCancel(context.WithoutCancel(ctx))
	defer stopPages()
	benches, stopBenches := context.WithCancel(ctx)
	defer stopBenches()
	var tasks together
	tasks.stop = stopBenches
	served := make(chan error, 1)
	go func() { served <- server.Run(pages, listener) }()
	for _, b := range d.benches {
		tasks.run(func() error {
			if err := b.Run(benches); err != nil {
				return fmt.Errorf("bench %s: %w", b.Name(), err)
			}
			return nil
		})
	}
	tasks.run(func() error {
		d.drift.Follow(benches, d.hub.Subscribe, log)
		return nil
	})
	tasks.run(func() error { return beside(benches, d) })
	tasks.run(func() error {
		select {
		case <-benches.Done():
			return nil
		case err := <-served:
			served <- nil
			return err
		}
	})
	err := tasks.wait()
	notifySystemd(log, daemon.SdNotifyStopping)
	log.Info("stopping")
	stopPages()
	return errors.Join(err, <-served)
}

// together runs tasks of which none goes on without the others.
type together struct {
	stop  context.CancelFunc
	group sync.WaitGroup
	once  sync.Once
	err   error // of the task that failed first
}

func (t *together) run(task func() error) {
	t.group.Go(func() {
		if err := task(); err != nil {
			t.once.Do(func() { t.err = err })
			t.stop()
		}
	})
}

// wait returns when all tasks have ended.
func (t *together) wait() error {
	t.group.Wait()
	return t.err
}

func notifySystemd(log *slog.Logger, state string) {
	if _, err := daemon.SdNotify(false, state); err != nil {
		log.Warn("systemd not told", "err", err)
	}
}
