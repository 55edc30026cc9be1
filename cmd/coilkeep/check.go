package main

import (
	"context"
	"errors"
	"fmt"
	"time"

	"coilkeep/driver"
	"coilkeep/driver/port"
	"coilkeep/internal/bench"
	"coilkeep/internal/capture"
	"coilkeep/internal/config"
	"coilkeep/internal/history"
	"coilkeep/internal/quantity"
)

// checked is what came of one instrument.
type checked struct {
	Bench      string   `json:"bench"`
	Role       string   `json:"role"`
	Driver     string   `json:"driver"`
	Port       string   `json:"port,omitempty"`
	Identity   string   `json:"identity,omitempty"`
	Value      *float64 `json:"value"` // ohms or degrees Celsius; null unless it is a number
	Unit       string   `json:"unit"`
	Resolution float64  `json:"resolution"`
	Status     string   `json:"status,omitempty"`
	Raw        string   `json:"raw,omitempty"`
	Fault      string   `json:"fault,omitempty"`
	Advice     string   `json:"advice,omitempty"` // what to change in the configuration
}

func runCheck(ctx context.Context, env *environment, args []string) error {
	flags := newFlags("check --config FILE",
		"Check the configuration and the files it names, open each instrument, and show\nwhat it says of itself and one reading. Any fault gives exit code 1. The daemon\nmust not be running: a port has one user.",
		"check --config coilkeep.toml\ncheck --config coilkeep.toml --json")
	path := flags.String("config", "", "the configuration `FILE`")
	asJSON := flags.Bool("json", false, "print JSON")
	if err := flags.parse(env, args, 0, 0); err != nil {
		return err
	}
	if *path == "" {
		return flags.wrong("which configuration? Write --config FILE")
	}
	cfg, err := config.Load(*path)
	if err != nil {
		return err
	}
	if _, err := assembleServer(cfg); err != nil {
		return err
	}
	found := checkInstruments(ctx, cfg)
	if *asJSON {
		err = printJSON(env.stdout, found)
	} else {
		err = printChecked(env, found)
	}
	if err != nil {
		return err
	}
	faults := 0
	for _, c := range found {
		if c.Fault != "" {
			faults++
		}
	}
	if faults > 0 {
		return fmt.Errorf("%d of %d instruments cannot be used", faults, len(found))
	}
	return nil
}

func checkInstruments(ctx context.Context, cfg config.Config) []checked {
	var found []checked
	ports := &port.Pool{}
	for _, b := range cfg.Benches {
		s := assembleBench(b, ports)
		found = append(found, checkInstrument(ctx, b.Name, history.Meter, s.Meter, capture.NewMeterScreen(), expected(s, history.Meter)))
		if s.Probe != nil {
			found = append(found, checkInstrument(ctx, b.Name, history.Probe, *s.Probe,
				capture.NewProbeScreen(s.ProbeLowCelsius, s.ProbeHighCelsius), expected(s, history.Probe)))
		}
	}
	return found
}

// checkInstrument opens one instrument and takes one reading, which the daemon
// would have to believe. A meter that shows overload is well: nothing is on its
// clips.
func checkInstrument(ctx context.Context, benchName string, role history.Role, s bench.InstrumentSettings, screen *capture.Screen, e expectation) checked {
	c := checked{Bench: benchName, Role: string(role), Driver: s.Driver, Port: s.Port, Unit: "ohm"}
	if role == history.Probe {
		c.Unit = "celsius"
	}
	if s.Typed {
		c.Status = "typed in"
		return c
	}
	// Opening may ask twice; identifying, each try of a reading and the one that
	// confirms other settings take a time-out at the most.
	ctx, cancel := context.WithTimeout(ctx, s.ResetPause+(4+goodTries)*s.Timeout+time.Second)
	defer cancel()
	instrument, err := s.Open(ctx)
	if err != nil {
		c.Fault = s.Explain(err)
		return c
	}
	defer func() {
		if err := instrument.Close(); err != nil && c.Fault == "" {
			c.Fault = err.Error()
		}
	}()
	if who, ok := instrument.(driver.Identifier); ok {
		if identity, err := who.Identify(ctx); err == nil {
			c.Identity = identity.Raw
		}
	}
	r, err := firstGood(ctx, instrument, c.Identity != "")
	if err != nil {
		c.Fault = s.Explain(err)
		return c
	}
	c.Advice = e.otherSettings(ctx, instrument, r, s)
	r = screen.Check(s.Converted(r))
	c.Status, c.Raw, c.Fault = string(r.Status), r.Raw, r.Reason
	if r.Status == driver.OK {
		c.Value, c.Resolution = &r.Value, r.Resolution
	}
	if r.Status == driver.Overload && role == history.Meter {
		c.Fault = ""
	}
	return c
}

// goodTries is how often a reading is asked for: the first line after opening
// often is not whole.
const goodTries = 3

// firstGood reads until a line is whole. An instrument that is silent after it
// has said who it is, and so is known to be there, gets another chance: it may
// only have been out of step.
func firstGood(ctx context.Context, instrument driver.Instrument, known bool) (driver.Reading, error) {
	var r driver.Reading
	var err error
	for range goodTries {
		r, err = instrument.Read(ctx)
		if err != nil && !(known && errors.Is(err, driver.ErrSilent)) || err == nil && r.Status != driver.Unreadable {
			return r, err
		}
	}
	return r, err
}

func printChecked(env *environment, found []checked) error {
	rows := [][]string{{"BENCH", "INSTRUMENT", "DRIVER", "PORT", "IDENTITY", "READING", "FAULT"}}
	for _, c := range found {
		reading := c.Status
		switch {
		case c.Value != nil && c.Unit == "celsius":
			reading = quantity.FormatCelsius(*c.Value, c.Resolution)
		case c.Value != nil:
			reading = quantity.FormatOhms(*c.Value, c.Resolution)
		}
		rows = append(rows, []string{c.Bench, c.Role, c.Driver, dash(c.Port), dash(c.Identity), dash(reading), dash(c.Fault)})
	}
	if err := columns(env.stdout, "no instruments", rows); err != nil {
		return err
	}
	for _, c := range found {
		if c.Advice == "" {
			continue
		}
		if _, err := fmt.Fprintf(env.stdout, "\nThe %s of bench %s: %s.\n", c.Role, c.Bench, c.Advice); err != nil {
			return err
		}
	}
	return nil
}
