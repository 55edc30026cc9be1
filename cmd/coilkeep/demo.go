package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"strings"
	"text/template"
	"time"

	"coilkeep/driver/port"
	"coilkeep/driver/simulate"
	"coilkeep/internal/bench"
	"coilkeep/internal/capture"
	"coilkeep/internal/config"
	"coilkeep/internal/quantity"
	"coilkeep/internal/record"
)

const demoListen = "127.0.0.1:8020"

func runDemo(ctx context.Context, env *environment, args []string) error {
	flags := newFlags("demo",
		"Show what coilkeep is for: an invented workshop with a simulated meter, probe\n"+
			"and winder, over real serial lines and through the same drivers as serve. It\n"+
			"prints the address of the page and runs until interrupted.",
		"demo\ndemo --speed 3\ndemo --data workshop --listen 127.0.0.1:9000")
	listen := flags.String("listen", demoListen, "`HOST:PORT` of the pages; another port when it is taken")
	data := flags.String("data", "", "keep the records in this `FOLDER`; otherwise they go when the demo ends")
	speed := flags.Float64("speed", 1, "how many `TIMES` faster than in life coils are wound and cool, 0.2 to 20")
	seed := flags.Uint64("seed", demoSeed, "another `NUMBER` winds other coils")
	coils := flags.Int("coils", 0, "end after so `MANY` coils; 0 goes on")
	browser := flags.Bool("browser", true, "open the page in a browser where there is a screen")
	if err := flags.parse(env, args, 0, 0); err != nil {
		return err
	}
	if *speed < 0.2 || *speed > 20 {
		return flags.wrong("--speed %g: choose 0.2 to 20", *speed)
	}
	if *coils < 0 {
		return flags.wrong("--coils %d: choose 0 or more", *coils)
	}
	folder, remove, err := demoFolder(*data)
	if err != nil {
		return err
	}
	d := &demo{env: env, folder: folder, speed: *speed, seed: *seed, wound: todayWound, coils: *coils, browser: *browser &&
		isTerminal(env.stdout)}
	err = d.run(ctx, freeAddress(*listen, flags.Changed("listen")))
	return errors.Join(err, remove())
}

// demoFolder makes the folder of the records and says how to be rid of it.
func demoFolder(data string) (folder string, remove func() error, err error) {
	if data != "" {
		if err := os.MkdirAll(data, 0o755); err != nil {
			return "", nil, fmt.Errorf("make the folder of the demo: %w", err)
		}
		return data, func() error { return nil }, nil
	}
	folder, err = os.MkdirTemp("", "coilkeep-demo-")
	if err != nil {
		return "", nil, fmt.Errorf("make the folder of the demo: %w", err)
	}
	return folder, func() error { return os.RemoveAll(folder) }, nil
}

// freeAddress gives another port when the usual one is taken, unless it was
// asked for.
func freeAddress(listen string, asked bool) string {
	if asked {
		return listen
	}
	l, err := net.Listen("tcp", listen)
	if err != nil {
		return "127.0.0.1:0"
	}
	l.Close()
	return listen
}

// demo is one run of the invented workshop.
type demo struct {
	env     *environment
	folder  string
	speed   float64
	seed    uint64
	wound   int // coils of today's batch before the demo begins
	coils   int
	browser bool

	design simulate.Design
	bench  *bench.Bench
	events <-chan bench.Event
}

const demoBench = "north"

// demoSeed winds coils in which the spools are plain to see; with some others a
// step hides in the scatter for a while, as in life.
const demoSeed = 2

var demoConfig = template.Must(template.New("demo").Parse(`
[history]
path = {{printf "%q" .History}}
[web]
listen = {{printf "%q" .Listen}}
[workshop]
name = {{printf "%q" .Shop}}
[[bench]]
name = "{{.Bench}}"
serials = "HL-%04d"
contact = { min_ohms = 1000.0, max_ohms = 50000.0 }
steady = { time_constant = "{{.TimeConstant}}" }
[bench.meter]
driver = "scpi"
port = {{printf "%q" .Meter}}
poll = "100ms"
init = ["CONF:RES"]
accuracy = { percent = 0.05, ohms = 0.3 }
lead_ohms = {{.LeadOhms}}
lead_half_width_ohms = 0.05
[bench.probe]
driver = "line"
port = {{printf "%q" .Probe}}
accuracy = { kelvin = 0.3 }
coil_difference_kelvin = 0.3
`))

func (d *demo) run(ctx context.Context, listen string) (err error) {
	d.design = simulate.Designs()[1]
	links, err := os.MkdirTemp("", "coilkeep-ports-")
	if err != nil {
		return fmt.Errorf("make a folder for the simulated ports: %w", err)
	}
	defer func() { err = errors.Join(err, os.RemoveAll(links)) }()
	shop, err := simulate.OpenWorkshop(simulate.WorkshopConfig{
		Dir: links, Name: demoBench, Design: d.design, Seed: d.seed, Speed: d.speed, Coils: d.coils,
		Recorded: d.recorded, SpoolChanged: d.spoolChanged,
	})
	if err != nil {
		return fmt.Errorf("open the simulated workshop: %w", err)
	}
	defer func() { err = errors.Join(err, shop.Close()) }()
	cfg, err := d.config(listen, shop)
	if err != nil {
		return err
	}
	wound, err := d.prepare(ctx, cfg)
	if err != nil {
		return err
	}
	for range wound {
		shop.Operator.Winder.Next() // those are in the records already
	}
	ctx, cancel := context.WithCancel(ctx)
	defer cancel()
	log := slog.New(slog.NewTextHandler(d.env.stderr, &slog.HandlerOptions{Level: slog.LevelWarn}))
	return serve(ctx, cfg, log, func(ctx context.Context, r running) error {
		return d.work(ctx, cancel, r, shop)
	})
}

// config writes the configuration as a person would and reads it as serve
// does.
func (d *demo) config(listen string, shop *simulate.Workshop) (config.Config, error) {
	path, err := filepath.Abs(filepath.Join(d.folder, "coilkeep.db"))
	if err != nil {
		return config.Config{}, fmt.Errorf("find the folder of the demo: %w", err)
	}
	var text strings.Builder
	err = demoConfig.Execute(&text, map[string]any{
		"History": path, "Listen": listen, "Shop": simulate.ShopName, "Bench": demoBench,
		"TimeConstant": shop.CoilTimeConstant.String(), "Meter": shop.MeterPlug.Address(),
		"Probe": shop.ProbePlug.Address(), "LeadOhms": shop.LeadOhms,
	})
	if err != nil {
		return config.Config{}, fmt.Errorf("write the configuration of the demo: %w", err)
	}
	return config.Parse(strings.NewReader(text.String()), "demo.toml")
}

// work lets the operator put coils on until ctx ends or there are no more.
func (d *demo) work(ctx context.Context, stop func(), r running, shop *simulate.Workshop) error {
	d.bench = r.benches[0]
	events, cancel := r.hub.Subscribe()
	defer cancel()
	d.events = events
	fmt.Fprintf(d.env.stdout, "%s, an invented workshop, winds coils of the design %s, %s at 20 °C.\nThe page: %s\nCtrl-C ends the demo.\n\n",
		simulate.ShopName, d.design.Name, quantity.FormatOhms(d.design.TargetOhms, 10), r.url)
	if d.browser {
		openBrowser(r.url)
	}
	// A person would not clip a coil on before the bench is ready.
	if _, err := d.until(ctx, func(s bench.Snapshot) bool { return s.State == capture.Open && s.NextSerial != "" }); err != nil {
		return ignoreCancel(ctx, err)
	}
	if err := shop.Operator.Run(ctx); err != nil {
		return err
	}
	if d.coils > 0 {
		stop()
	}
	return nil
}

// ignoreCancel makes the end of the demo no error.
func ignoreCancel(ctx context.Context, err error) error {
	if ctx.Err() != nil {
		return nil
	}
	return err
}

// recorded waits with a coil on the clips until the bench has it, or until it
// is plainly too warm to be measured now.
func (d *demo) recorded(ctx context.Context, on simulate.OnClips) error {
	if err := d.answer(ctx, on); err != nil {
		return err
	}
	before := lastID(d.bench.Snapshot())
	s, err := d.until(ctx, func(s bench.Snapshot) bool {
		drifts := s.State == capture.Cooling || s.State == capture.Warming
		return s.State == capture.Recorded && lastID(s) != before ||
			drifts && s.Time.Sub(s.Since) > pastPatience || s.State == capture.Asking
	})
	if err != nil {
		return err
	}
	if s.State != capture.Recorded {
		fmt.Fprintf(d.env.stdout, "%-9s %s; set aside\n", s.NextSerial, s.Words)
		return simulate.ErrSetAside
	}
	d.tell(*s.Last)
	return wait(ctx, 1500*time.Millisecond) // long enough to be read
}

// pastPatience is longer than the demo's bench gives a coil; what still warms or
// cools by then has no certain verdict.
const pastPatience = 25 * time.Second

// answer says of the coil just put on whether it is one that was not recorded
// before: the operator knows, and the bench asks.
func (d *demo) answer(ctx context.Context, on simulate.OnClips) error {
	for {
		err := d.sayWhich(ctx, d.bench.Snapshot().Unrecorded, on.Again)
		if !errors.Is(err, record.ErrNotFound) { // it is listed a moment before it is stored
			return err
		}
		if err := wait(ctx, 50*time.Millisecond); err != nil {
			return err
		}
	}
}

func (d *demo) sayWhich(ctx context.Context, lost []bench.Unrecorded, again bool) error {
	for _, u := range lost {
		switch {
		case again && u.Serial != "":
			return d.bench.MeasureAgain(ctx, u.ID, "demo")
		case !again && u.Asked:
			return d.bench.TakeNext(ctx, u.ID, "demo")
		}
	}
	return nil
}

// wait pauses, and ends early with ctx.
func wait(ctx context.Context, pause time.Duration) error {
	timer := time.NewTimer(pause)
	defer timer.Stop()
	select {
	case <-ctx.Done():
		return ctx.Err()
	case <-timer.C:
		return nil
	}
}

func lastID(s bench.Snapshot) string {
	if s.Last == nil {
		return ""
	}
	return s.Last.ID
}

// tell prints one line for one coil.
func (d *demo) tell(m record.Measurement) {
	fmt.Fprintf(d.env.stdout, "%-9s %s at 20 °C, read %s at %s: %s\n", m.Serial,
		quantity.FormatOhmsWithin(m.R20Ohms, m.ExpandedUncertaintyOhms),
		quantity.FormatOhms(m.ResistanceOhms, m.Inputs.ResolutionOhms), quantity.FormatCelsius(m.TemperatureCelsius, 0.01), m.Verdict)
}

// until waits for the bench to be in some state.
func (d *demo) until(ctx context.Context, ok func(bench.Snapshot) bool) (bench.Snapshot, error) {
	for {
		if s := d.bench.Snapshot(); ok(s) {
			return s, nil
		}
		select {
		case <-ctx.Done():
			return bench.Snapshot{}, ctx.Err()
		case _, open := <-d.events:
			if !open {
				return bench.Snapshot{}, errors.New("the demo fell behind its own bench")
			}
		}
	}
}

func (d *demo) spoolChanged(ctx context.Context, spool string) error {
	if b := d.bench.Snapshot().Batch; b != nil && b.Spool() == spool {
		return nil // a kept folder: it was put on before that demo ended
	}
	_, err := d.bench.ChangeSpool(ctx, spool, "demo")
	return err
}

// isTerminal is true when a person looks at w.
func isTerminal(w io.Writer) bool {
	f, ok := w.(*os.File)
	if !ok {
		return false
	}
	info, err := f.Stat()
	return err == nil && info.Mode()&os.ModeCharDevice != 0
}

// openBrowser shows the page where there is a screen. Its address was printed,
// so it does not matter when nothing comes of it.
func openBrowser(url string) {
	var name string
	var args []string
	switch runtime.GOOS {
	case "windows":
		name, args = "rundll32", []string{"url.dll,FileProtocolHandler", url}
	case "darwin":
		name, args = "open", []string{url}
	default:
		if os.Getenv("DISPLAY") == "" && os.Getenv("WAYLAND_DISPLAY") == "" {
			return
		}
		name, args = "xdg-open", []string{url}
	}
	if cmd := exec.Command(name, args...); cmd.Start() == nil {
		go func() { _ = cmd.Wait() }()
	}
}

// demoSettings are the capture rules of the demo's bench, for coils that were
// measured before it began.
func demoSettings(cfg config.Config) bench.Settings {
	return assembleBench(cfg.Benches[0], &port.Pool{})
}
