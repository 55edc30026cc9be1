package main

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"time"

	"coilkeep/driver"
	_ "coilkeep/driver/line"
	_ "coilkeep/driver/manual"
	_ "coilkeep/driver/modbus"
	"coilkeep/driver/port"
	_ "coilkeep/driver/scpi"
	"coilkeep/internal/bench"
	"coilkeep/internal/capture"
	"coilkeep/internal/config"
	"coilkeep/internal/copper"
	"coilkeep/internal/record"
	"coilkeep/internal/thermo"
)

// bounce is the longest opening of the clips that is still the same coil: a
// hand needs longer to take one coil off and clip the next one on (common
// practice, no source).
const bounce = time.Second

// assembleBench turns one bench of the configuration into the settings of the
// bench that runs.
func assembleBench(b config.Bench, ports *port.Pool) bench.Settings {
	s := bench.Settings{
		Name: b.Name, Serials: b.Serials,
		Meter: assembleInstrument(b.Name, record.Meter, b.Meter, driver.Resistance, ports),
		Capture: capture.Settings{
			MinOhms: b.Contact.MinOhms, MaxOhms: b.Contact.MaxOhms, HandsOff: b.Contact.HandsOff, Bounce: bounce,
			MaxGap:   longestGap(b),
			Readings: b.Steady.Readings, FewestReadings: b.Steady.FewestReadings, Window: b.Steady.Span,
			Arrive:                b.Arrive,
			SlopePercentPerMinute: b.Steady.SlopePercentPerMinute, SpreadPercent: b.Steady.SpreadPercent,
			Patience: b.Steady.Patience, TimeConstant: b.Steady.TimeConstant,
			MeterPercent: b.Meter.Accuracy.Percent, MeterOhms: b.Meter.Accuracy.Ohms,
			LeadOhms: b.Meter.LeadOhms, LeadHalfWidthOhms: b.Meter.LeadHalfWidthOhms,
			AlphaPerKelvin:                    float64(copper.Standard),
			AlphaStandardUncertaintyPerKelvin: copper.StandardUncertaintyPerKelvin,
			Typed:                             b.Meter.Driver == "manual",
		},
	}
	if p := b.Probe; p != nil {
		probe := assembleInstrument(b.Name, record.Probe, *p, p.Quantity(), ports)
		probe.Convert = converter(*p)
		s.Probe = &probe
		s.ProbeLowCelsius, s.ProbeHighCelsius = p.MinCelsius, p.MaxCelsius
		s.Capture.ProbeHalfWidthKelvin = p.Accuracy.Kelvin
		s.Capture.CoilDifferenceKelvin = p.CoilDifferenceKelvin
		s.Capture.MaxAge = p.MaxAge
	}
	return s
}

// longestGap is how far apart the readings of a meter that works may be: it
// may answer only just in time, and wait for a probe on the same bus that does
// not answer at all.
func longestGap(b config.Bench) time.Duration {
	gap := b.Meter.Poll + b.Meter.Timeout
	if b.Probe != nil && b.Probe.Port != "" && b.Probe.Port == b.Meter.Port {
		gap += b.Probe.Timeout
	}
	return gap
}

// assembleInstrument says how one instrument is opened, again and again.
func assembleInstrument(benchName string, role record.Role, in config.Instrument, quantity driver.Quantity,
	ports *port.Pool) bench.InstrumentSettings {
	o := opener{in: in, quantity: quantity, ports: ports, user: fmt.Sprintf("the %s of bench %s", role, benchName)}
	return bench.InstrumentSettings{
		Name: in.Name, Driver: in.Driver, Port: in.Port, Poll: in.Poll, Timeout: in.Timeout, Typed: in.Driver == "manual",
		ResetPause: in.ResetPause, ResolutionOhms: in.ResolutionOhms,
		Open: o.open,
	}
}

// opener opens one instrument.
type opener struct {
	in       config.Instrument
	quantity driver.Quantity
	ports    *port.Pool
	// user is who a port in use belongs to, for people.
	user string
	// watch is put around a port; nil leaves it.
	watch func(conn driver.Conn, shared bool) driver.Conn
}

func (o opener) open(ctx context.Context) (driver.Instrument, error) {
	d, ok := driver.Lookup(o.in.Driver)
	if !ok {
		return nil, fmt.Errorf("%w: no driver %q", driver.ErrSettings, o.in.Driver)
	}
	settings := driver.Settings{Quantity: o.quantity, Timeout: o.in.Timeout, Options: o.in.Options, Now: time.Now}
	if d.NoPort {
		return d.Open(ctx, nil, settings)
	}
	conn, err := o.connect(ctx, d.SharesPort)
	if err != nil {
		return nil, err
	}
	instrument, err := d.Open(ctx, conn, settings)
	if err != nil {
		return nil, errors.Join(err, conn.Close())
	}
	return instrument, nil
}

// connect opens the port alone.
func (o opener) connect(ctx context.Context, shared bool) (driver.Conn, error) {
	conn, err := o.ports.Open(ctx,
		port.Settings{Address: o.in.Port, Baud: o.in.Baud, Frame: o.in.Frame, Timeout: o.in.Timeout, ResetPause: o.in.ResetPause},
		port.Use{User: o.user, Shared: shared})
	if err != nil || o.watch == nil {
		return conn, err
	}
	return o.watch(conn, shared), nil
}

// converter turns the resistance of a probe's sensor into degrees; nil for a
// probe that shows degrees itself.
func converter(p config.Instrument) func(ohms, stepOhms float64) (celsius, stepKelvin float64, err error) {
	var sensor interface {
		Celsius(ohms float64) (float64, error)
	}
	switch p.Sensor {
	case "pt100":
		sensor = thermo.Pt100
	case "pt1000":
		sensor = thermo.Pt1000
	case "ntc":
		sensor = thermo.Thermistor{A: p.NTC.A, B: p.NTC.B, C: p.NTC.C}
	default:
		return nil
	}
	return func(ohms, stepOhms float64) (celsius, stepKelvin float64, err error) {
		if celsius, err = sensor.Celsius(ohms); err != nil || stepOhms == 0 {
			return celsius, 0, err
		}
		next, err := sensor.Celsius(ohms + stepOhms)
		if err != nil {
			return celsius, 0, nil // at the very end of the range the step is not known
		}
		return celsius, max(next-celsius, celsius-next), nil
	}
}

// newLogger logs to the standard error, where systemd and people look.
func newLogger(env *environment, verbose bool) *slog.Logger {
	level := slog.LevelInfo
	if verbose {
		level = slog.LevelDebug
	}
	return slog.New(slog.NewTextHandler(env.stderr, &slog.HandlerOptions{Level: level}))
}
