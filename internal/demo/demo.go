// Package demo is an invented workshop to show the program with: its
// instruments are simulated behind real ports and read through the same drivers
// as in life, its past is in the records, and its operator puts coils on. Who
// opens the history and serves the pages is left to the command.
package demo

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"
	"text/template"
	"time"

	_ "coilkeep/driver/line" // its probe
	_ "coilkeep/driver/scpi" // its meter
	"coilkeep/driver/simulate"
	"coilkeep/internal/bench"
	"coilkeep/internal/capture"
	"coilkeep/internal/config"
	"coilkeep/internal/record"
	"coilkeep/internal/words"
)

// Bench is the name of the one bench of the workshop.
const Bench = "north"

// UsualSeed winds coils in which the spools are plain to see; with some others a
// step hides in the scatter for a while, as in life.
const UsualSeed = 2

// operator is in whose name the operator does at the bench.
const operator = "demo"

// Settings are what may be chosen about the workshop.
type Settings struct {
	// Folder is where the records are kept. It exists already.
	Folder string
	// Speed is how many times faster than in life coils are wound and cool. It is
	// above 0.
	Speed float64
	// Seed decides every coil and the noise of the instruments.
	Seed uint64
	// Coils is how many the operator puts on; 0 is no end of them.
	Coils int
	// Out is told of one coil after another, in a line each.
	Out io.Writer
}

// Workshop is the invented workshop, its instruments plugged in.
type Workshop struct {
	settings Settings
	design   simulate.Design
	links    string // the folder of the links to the simulated ports
	shop     *simulate.Workshop
	bench    *bench.Bench
	events   <-chan bench.Event
}

// Open plugs the instruments in. They answer at once; coils come with
// [Workshop.Run]. The caller closes the workshop.
func Open(s Settings) (*Workshop, error) {
	links, err := os.MkdirTemp("", "coilkeep-ports-")
	if err != nil {
		return nil, fmt.Errorf("make a folder for the simulated ports: %w", err)
	}
	w := &Workshop{settings: s, design: todaysDesign(), links: links}
	w.shop, err = simulate.OpenWorkshop(simulate.WorkshopConfig{
		Dir: links, Name: Bench, Design: w.design, Seed: s.Seed, Speed: s.Speed, Coils: s.Coils,
		Recorded: w.recorded, SpoolChanged: w.spoolChanged,
	})
	if err != nil {
		return nil, errors.Join(fmt.Errorf("open the simulated workshop: %w", err), os.RemoveAll(links))
	}
	return w, nil
}

// Close pulls the cables for good.
func (w *Workshop) Close() error {
	return errors.Join(w.shop.Close(), os.RemoveAll(w.links))
}

// todaysDesign is that of the batch under way.
func todaysDesign() simulate.Design { return simulate.Designs()[1] }

var configuration = template.Must(template.New("demo").Parse(`
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

// Config writes the configuration of the workshop as a person would, with the
// pages at an address such as "127.0.0.1:8020", and reads it as serve does.
func (w *Workshop) Config(listen string) (config.Config, error) {
	path, err := filepath.Abs(filepath.Join(w.settings.Folder, "coilkeep.db"))
	if err != nil {
		return config.Config{}, fmt.Errorf("find the folder of the demo: %w", err)
	}
	var text strings.Builder
	err = configuration.Execute(&text, map[string]any{
		"History": path, "Listen": listen, "Shop": simulate.ShopName, "Bench": Bench,
		"TimeConstant": w.shop.CoilTimeConstant.String(), "Meter": w.shop.MeterPlug.Address(),
		"Probe": w.shop.ProbePlug.Address(), "LeadOhms": w.shop.LeadOhms,
	})
	if err != nil {
		return config.Config{}, fmt.Errorf("write the configuration of the demo: %w", err)
	}
	return config.Parse(strings.NewReader(text.String()), "demo.toml")
}

// Wound says how many coils of the batch under way are in the records already,
// before the first is put on; see [Past.Fill].
func (w *Workshop) Wound(coils int) {
	for range coils {
		w.shop.Operator.Winder.Next()
	}
}

// Describe is a sentence about what is wound here.
func (w *Workshop) Describe() string {
	return fmt.Sprintf("%s, an invented workshop, winds coils of the design %s, %s at 20 °C.",
		simulate.ShopName, w.design.Name, words.OhmsToStep(w.design.TargetOhms, 10))
}

// Run lets the operator put coils on at the bench, which runs with the
// workshop's configuration and tells of itself in the hub. It returns when ctx
// ends, which is no error, or there are no more coils.
func (w *Workshop) Run(ctx context.Context, b *bench.Bench, hub *bench.Hub) error {
	events, cancel := hub.Subscribe()
	defer cancel()
	w.bench, w.events = b, events
	// A person would not clip a coil on before the bench is ready.
	_, err := w.until(ctx, func(s bench.Snapshot) bool { return s.State == capture.Open && s.NextSerial != "" })
	if err != nil {
		if ctx.Err() != nil {
			return nil
		}
		return err
	}
	return w.shop.Operator.Run(ctx)
}

// recorded waits with a coil on the clips until the bench has it, or until it
// is plainly too warm to be measured now.
func (w *Workshop) recorded(ctx context.Context, on simulate.OnClips) error {
	if err := w.answer(ctx, on); err != nil {
		return err
	}
	before := lastID(w.bench.Snapshot())
	s, err := w.until(ctx, func(s bench.Snapshot) bool {
		drifts := s.State == capture.Cooling || s.State == capture.Warming
		return s.State == capture.Recorded && lastID(s) != before ||
			drifts && s.Time.Sub(s.Since) > pastPatience || s.State == capture.Asking
	})
	if err != nil {
		return err
	}
	if s.State != capture.Recorded {
		fmt.Fprintf(w.settings.Out, "%-9s %s; set aside\n", s.NextSerial, s.Words)
		return simulate.ErrSetAside
	}
	w.tell(*s.Last)
	return wait(ctx, 1500*time.Millisecond) // long enough to be read
}

// pastPatience is longer than the demo's bench gives a coil; what still warms or
// cools by then has no certain verdict.
const pastPatience = 25 * time.Second

// answer says of the coil just put on whether it is one that was not recorded
// before: the operator knows, and the bench asks.
func (w *Workshop) answer(ctx context.Context, on simulate.OnClips) error {
	for {
		err := w.sayWhich(ctx, w.bench.Snapshot().Unrecorded, on.Again)
		if !errors.Is(err, record.ErrNotFound) { // it is listed a moment before it is stored
			return err
		}
		if err := wait(ctx, 50*time.Millisecond); err != nil {
			return err
		}
	}
}

func (w *Workshop) sayWhich(ctx context.Context, lost []bench.Unrecorded, again bool) error {
	for _, u := range lost {
		switch {
		case again && u.Serial != "":
			return w.bench.MeasureAgain(ctx, u.ID, operator)
		case !again && u.Asked:
			return w.bench.TakeNext(ctx, u.ID, operator)
		}
	}
	return nil
}

func (w *Workshop) spoolChanged(ctx context.Context, spool string) error {
	if b := w.bench.Snapshot().Batch; b != nil && b.Spool() == spool {
		return nil // a kept folder: it was put on before that demo ended
	}
	_, err := w.bench.ChangeSpool(ctx, spool, operator)
	return err
}

// tell prints one line for one coil.
func (w *Workshop) tell(m record.Measurement) {
	fmt.Fprintf(w.settings.Out, "%-9s %s at 20 °C, read %s at %s: %s\n", m.Serial,
		words.OhmsWithin(m.R20Ohms, m.ExpandedUncertaintyOhms),
		words.OhmsToStep(m.ResistanceOhms, m.Inputs.ResolutionOhms), words.CelsiusLive(m.TemperatureCelsius), m.Verdict)
}

// until waits for the bench to be in some state.
func (w *Workshop) until(ctx context.Context, ok func(bench.Snapshot) bool) (bench.Snapshot, error) {
	for {
		if s := w.bench.Snapshot(); ok(s) {
			return s, nil
		}
		select {
		case <-ctx.Done():
			return bench.Snapshot{}, ctx.Err()
		case _, open := <-w.events:
			if !open {
				return bench.Snapshot{}, errors.New("the demo fell behind its own bench")
			}
		}
	}
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
