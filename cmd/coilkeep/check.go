package main

import (
	"context"
	"errors"
	"fmt"
	"time"

	"coilkeep/driver"
	"coilkeep/driver/port"
	"coilkeep/driver/transcript"
	"coilkeep/internal/bench"
	"coilkeep/internal/capture"
	"coilkeep/internal/config"
	"coilkeep/internal/record"
	"coilkeep/internal/words"
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
	// Seen is what arrived from an instrument with a fault, the first of it,
	// each line quoted.
	Seen []string `json:"seen,omitempty"`
	// Advice is what to try, the likeliest first.
	Advice []advice `json:"advice,omitempty"`
}

func runCheck(ctx context.Context, env *environment, args []string) error {
	flags := newFlags("check --config FILE [--record TRANSCRIPT]",
		"Check the configuration and the files it names, open each instrument, and show\n"+
			"what it says of itself and one reading. Any fault gives exit code 1; what arrived\n"+
			"is then shown, with lines of the configuration to try. The daemon must not be\n"+
			"running: a port has one user. --record keeps every byte that passes, to show how an\n"+
			"instrument talks; it names no port, bench or person, and overwrites no file.",
		"check --config coilkeep.toml\ncheck --config coilkeep.toml --json\ncheck --config coilkeep.toml --record my-meter.jsonl")
	path := flags.String("config", "", "the configuration `FILE`")
	asJSON := flags.Bool("json", false, "print JSON")
	record := flags.String("record", "", "record what passes to and from the instruments in the new file `TRANSCRIPT`")
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
	found, err := checkRecorded(ctx, env, cfg, *record)
	if err != nil {
		return err
	}
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

// checkInstruments checks one instrument after the other. A nil recorder records
// nothing.
func checkInstruments(ctx context.Context, cfg config.Config, recorder *transcript.Recorder) []checked {
	var found []checked
	ports := &port.Pool{}
	for _, b := range cfg.Benches {
		s := assembleBench(b, ports)
		found = append(found, (&subject{bench: b.Name, role: record.Meter, settings: s.Meter, screen: capture.NewMeterScreen(),
			expects:  expected(s, record.Meter),
			recorder: recorder, opener: opener{in: b.Meter, quantity: driver.Resistance, ports: ports}}).check(ctx))
		if s.Probe != nil {
			found = append(found, (&subject{bench: b.Name, role: record.Probe, settings: *s.Probe,
				screen: capture.NewProbeScreen(s.ProbeLowCelsius, s.ProbeHighCelsius), expects: expected(s, record.Probe),
				recorder: recorder, opener: opener{in: *b.Probe, quantity: b.Probe.Quantity(), ports: ports}}).check(ctx))
		}
	}
	return found
}

// subject is one instrument under check.
type subject struct {
	bench    string
	role     record.Role
	settings bench.InstrumentSettings
	screen   *capture.Screen
	expects  expectation
	opener   opener
	heard    heard

	recorder   *transcript.Recorder
	connection *transcript.Connection // that of the port opened last
	unattended bool                   // it was opened without a driver
}

// check opens the instrument and takes one reading, which the daemon would have
// to believe. A meter that shows overload is well: nothing is on its clips. Of
// one that is not well it looks for what would help.
func (s *subject) check(ctx context.Context) checked {
	c := checked{Bench: s.bench, Role: string(s.role), Driver: s.settings.Driver, Port: s.settings.Port, Unit: "ohm"}
	if s.role == record.Probe {
		c.Unit = "celsius"
	}
	if s.settings.Typed {
		c.Status = "typed in"
		return c
	}
	s.opener.user = fmt.Sprintf("the %s of bench %s", s.role, s.bench)
	s.opener.watch = s.watch
	if err := s.read(ctx, &c); c.Fault != "" {
		s.advise(ctx, &c, err)
	}
	return c
}

// read takes the reading and closes the instrument. The error is that behind
// the fault, if it has one.
func (s *subject) read(ctx context.Context, c *checked) error {
	// Opening may ask twice; identifying, each try of a reading and the one that
	// confirms other settings take a time-out at the most.
	ctx, cancel := context.WithTimeout(ctx, s.settings.ResetPause+(4+goodTries)*s.settings.Timeout+time.Second)
	defer cancel()
	instrument, err := s.opener.open(ctx)
	s.connection.Opened(err)
	if err != nil {
		c.Fault = s.settings.Explain(err)
		return err
	}
	defer func() {
		if err := instrument.Close(); err != nil && c.Fault == "" {
			c.Fault = err.Error()
		}
	}()
	if who, ok := instrument.(driver.Identifier); ok {
		identity, err := who.Identify(ctx)
		s.connection.Identified(identity, err)
		if err == nil {
			c.Identity = identity.Raw
		}
	}
	r, err := s.firstGood(ctx, instrument, c.Identity != "")
	if err != nil {
		c.Fault = s.settings.Explain(err)
		return err
	}
	if other := s.expects.otherSettings(ctx, instrument, r, s.settings); other != "" {
		c.Advice = append(c.Advice, advice{Why: other})
	}
	r = s.screen.Check(s.settings.Converted(r))
	c.Status, c.Raw, c.Fault = string(r.Status), r.Raw, r.Reason
	if r.Status == driver.OK {
		c.Value, c.Resolution = &r.Value, r.Resolution
	}
	if r.Status == driver.Overload && s.role == record.Meter {
		c.Fault = ""
	}
	return nil
}

// goodTries is how often a reading is asked for: the first line after opening
// often is not whole.
const goodTries = 3

// firstGood reads until a line is whole. An instrument that is silent after it
// has said who it is, and so is known to be there, gets another chance: it may
// only have been out of step. One that has sent what cannot be read is not
// silent.
func (s *subject) firstGood(ctx context.Context, instrument driver.Instrument, known bool) (driver.Reading, error) {
	var unreadable driver.Reading
	var err error
	for range goodTries {
		var r driver.Reading
		r, err = instrument.Read(ctx)
		s.connection.Read(r, err)
		switch {
		case err == nil && r.Status == driver.Unreadable:
			unreadable = r
		case err == nil:
			return r, nil
		case !errors.Is(err, driver.ErrSilent):
			return r, err
		case !known && unreadable.Status == "":
			return r, err
		}
	}
	if unreadable.Status != "" {
		return unreadable, nil
	}
	return driver.Reading{}, err
}

func printChecked(env *environment, found []checked) error {
	rows := [][]string{{"BENCH", "INSTRUMENT", "DRIVER", "PORT", "IDENTITY", "READING", "FAULT"}}
	for _, c := range found {
		reading := c.Status
		switch {
		case c.Value != nil && c.Unit == "celsius":
			reading = words.CelsiusToStep(*c.Value, c.Resolution)
		case c.Value != nil:
			reading = words.OhmsToStep(*c.Value, c.Resolution)
		}
		rows = append(rows, []string{c.Bench, c.Role, c.Driver, dash(c.Port), dash(c.Identity), dash(reading), dash(c.Fault)})
	}
	if err := columns(env.stdout, "no instruments", rows); err != nil {
		return err
	}
	for _, c := range found {
		if err := printAdvice(env.stdout, c); err != nil {
			return err
		}
	}
	return nil
}
