package config

import (
	"bytes"
	"fmt"
	"io"
	"slices"
	"time"

	"github.com/pelletier/go-toml/v2"

	"coilkeep/driver"
)

// Print writes the configuration in force as TOML that [Parse] takes, every
// default spelled out. It holds no secrets: passwords are only named by file.
func Print(w io.Writer, cfg Config) error {
	var p printer
	p.header("[history]")
	p.key("path", cfg.History.Path)

	p.header("[web]")
	p.key("listen", cfg.Web.Listen)
	p.key("password_file", cfg.Web.PasswordFile)
	p.key("tls_certificate", cfg.Web.TLSCertificate)
	p.key("tls_key", cfg.Web.TLSKey)
	p.key("hosts", slices.Concat([]string{}, cfg.Web.Hosts))

	p.header("[workshop]")
	p.key("name", cfg.Workshop.Name)
	p.key("contact", cfg.Workshop.Contact)

	for _, b := range cfg.Benches {
		p.bench(b)
	}
	if p.err != nil {
		return fmt.Errorf("print the configuration: %w", p.err)
	}
	_, err := w.Write(bytes.TrimPrefix(p.out.Bytes(), []byte("\n")))
	return err
}

// printer writes TOML a line at a time and keeps the first error.
type printer struct {
	out bytes.Buffer
	err error
}

func (p *printer) header(text string) { fmt.Fprintf(&p.out, "\n%s\n", text) }

// key writes one key with its value; durations as Parse takes them.
func (p *printer) key(name string, value any) {
	if d, ok := value.(time.Duration); ok {
		value = short(d)
	}
	line, err := toml.Marshal(map[string]any{name: value})
	if err != nil && p.err == nil {
		p.err = fmt.Errorf("key %s: %w", name, err)
	}
	p.out.Write(line)
}

func (p *printer) bench(b Bench) {
	p.header("[[bench]]")
	p.key("name", b.Name)
	p.key("serials", b.Serials)
	p.key("coils_arrive", string(b.Arrive))

	p.header("[bench.contact]")
	p.key("min_ohms", b.Contact.MinOhms)
	p.key("max_ohms", b.Contact.MaxOhms)
	p.key("hands_off", b.Contact.HandsOff)

	p.header("[bench.steady]")
	if b.Steady.FewestReadings > 0 {
		fmt.Fprintf(&p.out, "# readings = %d, %d of a slow meter: written down, it is taken to the letter\n",
			b.Steady.Readings, b.Steady.FewestReadings)
	} else {
		p.key("readings", b.Steady.Readings)
	}
	p.key("seconds", b.Steady.Span.Seconds())
	p.key("slope_percent_per_minute", b.Steady.SlopePercentPerMinute)
	p.key("spread_percent", b.Steady.SpreadPercent)
	p.key("patience", b.Steady.Patience)
	p.key("time_constant", b.Steady.TimeConstant)

	p.header("[bench.meter]")
	p.instrument(b.Meter)
	p.key("resolution_ohms", b.Meter.ResolutionOhms)
	p.key("lead_ohms", b.Meter.LeadOhms)
	p.key("lead_half_width_ohms", b.Meter.LeadHalfWidthOhms)
	p.header("[bench.meter.accuracy]")
	p.key("percent", b.Meter.Accuracy.Percent)
	p.key("ohms", b.Meter.Accuracy.Ohms)

	if b.Probe != nil {
		p.probe(*b.Probe)
	}
}

func (p *printer) probe(in Instrument) {
	p.header("[bench.probe]")
	p.instrument(in)
	p.key("sensor", in.Sensor)
	p.key("coil_difference_kelvin", in.CoilDifferenceKelvin)
	p.key("max_age", in.MaxAge)
	p.key("min_celsius", in.MinCelsius)
	p.key("max_celsius", in.MaxCelsius)
	p.header("[bench.probe.accuracy]")
	p.key("kelvin", in.Accuracy.Kelvin)
	if in.Sensor == "ntc" {
		p.header("[bench.probe.ntc]")
		p.key("a", in.NTC.A)
		p.key("b", in.NTC.B)
		p.key("c", in.NTC.C)
	}
}

// instrument writes what meters and probes share, and the driver's own keys in
// the order the driver declares them. A driver without a port has no line
// settings to show.
func (p *printer) instrument(in Instrument) {
	p.key("name", in.Name)
	p.key("driver", in.Driver)
	drv, _ := driver.Lookup(in.Driver)
	if !drv.NoPort {
		p.key("port", in.Port)
		p.key("baud", in.Baud)
		p.key("frame", in.Frame)
		p.key("reset_pause", in.ResetPause)
	}
	p.key("poll", in.Poll)
	p.key("timeout", in.Timeout)
	for _, option := range drv.Options {
		p.key(option.Name, in.Options[option.Name])
	}
}
