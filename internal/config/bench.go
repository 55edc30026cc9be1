package config

import (
	"fmt"
	"math"
	"regexp"
	"slices"
	"strings"
	"time"

	"coilkeep/driver"
	"coilkeep/driver/port"
	"coilkeep/internal/record"
	"coilkeep/internal/warmth"
	"coilkeep/internal/words"
)

var benchName = regexp.MustCompile(`^[\pL\pN][\pL\pN_-]{0,39}$`)

func readBenches(root *table) []Bench {
	value, given := root.take("bench")
	items, ok := value.([]any)
	if given && !ok {
		root.complain("bench", "wants to be written [[bench]], with two brackets, for there may be several")
		return nil
	}
	if len(items) == 0 {
		root.complain("", "there is no bench; add a [[bench]] with a name and a [bench.meter]")
	}
	var benches []Bench
	for i, item := range items {
		t := &table{doc: root.doc, path: element("bench", i), where: fmt.Sprintf("bench %d: ", i+1)}
		if t.values, t.given = item.(map[string]any); !t.given {
			root.complain("bench", "wants tables in its list, not %s", describe(item))
			continue
		}
		bench := readBench(t)
		if slices.ContainsFunc(benches, func(b Bench) bool { return b.Name == bench.Name }) && bench.Name != "" {
			t.complain("name", "another bench is called %q already", bench.Name)
		}
		benches = append(benches, bench)
	}
	checkPorts(root, benches)
	return benches
}

func readBench(t *table) Bench {
	b := Bench{Name: t.text("name", "")}
	switch {
	case !t.has("name"):
		t.complain("name", `missing; call the bench something short, such as name = "north"`)
	case !benchName.MatchString(b.Name):
		t.complain("name", "%q will not do; use up to 40 letters, digits, - and _, beginning with a letter or digit", b.Name)
	default:
		t.where = fmt.Sprintf("bench %q: ", b.Name)
	}
	b.Contact = readContact(t.table("contact"))
	b.Serials = t.text("serials", "")
	if b.Serials != "" {
		if err := record.ValidateSerialPattern(b.Serials); err != nil {
			t.repeat("serials", err)
		}
	}
	b.Arrive = readArrival(t)
	steady := t.table("steady")
	b.Steady = readSteady(steady)
	meter := t.table("meter")
	if meter.given {
		b.Meter = readMeter(meter)
		checkPatience(steady, b.Steady, b.Meter)
	} else if !t.has("meter") {
		t.complain("meter", "missing; add a [bench.meter] that says how to read the meter")
	}
	if probe := t.table("probe"); probe.given {
		p := readProbe(probe)
		b.Probe = &p
	}
	t.done()
	return b
}

// readArrival reads how coils come to the bench; "" says that it is not known.
func readArrival(t *table) warmth.Arrival {
	const key = "coils_arrive"
	arrive := t.text(key, "")
	var words []string
	for _, a := range warmth.Arrivals() {
		words = append(words, string(a))
	}
	if arrive != "" && !slices.Contains(words, arrive) {
		t.complain(key, "%q is not known; %s", arrive, suggest(arrive, words, "choose one of"))
	}
	return warmth.Arrival(arrive)
}

func readContact(t *table) Contact {
	defer t.done()
	c := Contact{
		MinOhms:  t.number("min_ohms", 100, 0.001, 1e9),
		MaxOhms:  t.number("max_ohms", 200_000, 0.001, 1e9),
		HandsOff: t.duration("hands_off", 3*time.Second, 0, time.Minute),
	}
	if c.MaxOhms <= c.MinOhms {
		t.complain("max_ohms", "%s is not above min_ohms, which is %s", words.Plain(c.MaxOhms), words.Plain(c.MinOhms))
	}
	return c
}

// fewestReadings will do of a meter so slow that the usual number takes long:
// three show a scatter, and one more may be an outlier. A choice of ours.
const fewestReadings = 4

func readSteady(t *table) Steady {
	defer t.done()
	s := Steady{
		Readings:              int(t.integer("readings", 8, 3, 1000)),
		Span:                  time.Duration(t.number("seconds", 1.5, 0.1, 600) * float64(time.Second)),
		SlopePercentPerMinute: t.number("slope_percent_per_minute", 0.05, 0.0001, 10),
		SpreadPercent:         t.number("spread_percent", 0.05, 0.001, 10),
		Patience:              t.duration("patience", 20*time.Second, time.Second, 24*time.Hour),
		TimeConstant:          t.duration("time_constant", 10*time.Minute, time.Second, 24*time.Hour),
	}
	if !t.has("readings") {
		s.FewestReadings = fewestReadings
	}
	if s.Patience < s.Span {
		t.complain("patience", "%s is shorter than the steady window of %s", short(s.Patience), short(s.Span))
	}
	return s
}

// checkPatience sees that a window can fill before patience ends.
func checkPatience(t *table, s Steady, meter Instrument) {
	needed := s.Readings
	if s.FewestReadings > 0 {
		needed = s.FewestReadings
	}
	if fill := time.Duration(needed) * meter.Poll; fill > s.Patience {
		t.complain("patience", "%s ends before %d readings, one every %s, are in; give it more than %s",
			short(s.Patience), needed, short(meter.Poll), short(fill))
	}
}

func readMeter(t *table) Instrument {
	in, drv, known := readInstrument(t)
	accuracy := t.table("accuracy")
	in.Accuracy.Percent = accuracy.number("percent", 0, 0, 50)
	in.Accuracy.Ohms = accuracy.number("ohms", 0, 0, 1e6)
	accuracy.done()
	needAccuracy(t, accuracy, "take it from the meter's data sheet, such as accuracy = { percent = 0.05, ohms = 0.3 }")
	in.ResolutionOhms = t.number("resolution_ohms", 0, 0, 1e6)
	in.LeadOhms = t.number("lead_ohms", 0, 0, 1000)
	in.LeadHalfWidthOhms = t.number("lead_half_width_ohms", in.LeadOhms/10, 0, 1000)
	finishInstrument(t, &in, drv, known)
	return in
}

// needAccuracy sees that an accuracy is given: there is no cautious default for
// how wrong an instrument may be.
func needAccuracy(t, accuracy *table, how string) {
	switch {
	case !t.has("accuracy"):
		t.complain("accuracy", "missing; %s", how)
	case accuracy.given && len(accuracy.values) == 0:
		t.complain("accuracy", "is empty; %s", how)
	}
}

func readProbe(t *table) Instrument {
	in, drv, known := readInstrument(t)
	accuracy := t.table("accuracy")
	in.Accuracy.Kelvin = accuracy.number("kelvin", 0, 0, 50)
	accuracy.done()
	needAccuracy(t, accuracy, "take it from the probe's data sheet, such as accuracy = { kelvin = 0.3 }")
	in.Sensor = t.oneOf("sensor", "direct", []string{"direct", "pt100", "pt1000", "ntc"})
	ntc := t.table("ntc")
	in.NTC = readNTC(ntc, in.Sensor)
	in.CoilDifferenceKelvin = t.number("coil_difference_kelvin", 0.5, 0, 50)
	maxAge := 5 * time.Second
	if drv.NoPort { // somebody reads a thermometer now and then
		maxAge = 10 * time.Minute
	}
	in.MaxAge = t.duration("max_age", maxAge, 100*time.Millisecond, 24*time.Hour)
	if in.MaxAge <= in.Poll {
		t.complain("max_age", "%s is not longer than poll, %s; every temperature would be too old", short(in.MaxAge), short(in.Poll))
	}
	in.MinCelsius = t.number("min_celsius", 0, -50, 150)
	in.MaxCelsius = t.number("max_celsius", 50, -50, 150)
	if in.MaxCelsius <= in.MinCelsius {
		t.complain("max_celsius", "%s is not above min_celsius, which is %s", words.Plain(in.MaxCelsius), words.Plain(in.MinCelsius))
	}
	finishInstrument(t, &in, drv, known)
	return in
}

func readNTC(t *table, sensor string) NTC {
	defer t.done()
	ntc := NTC{
		A: t.number("a", 0, -1, 1),
		B: t.number("b", 0, -1, 1),
		C: t.number("c", 0, -1, 1),
	}
	switch complete := t.has("a") && t.has("b") && t.has("c"); {
	case sensor == "ntc" && !complete:
		t.complain("", "needs a, b and c, the Steinhart–Hart coefficients from the sensor's data sheet")
	case sensor != "ntc" && t.given:
		t.complain("", `is used only with sensor = "ntc"`)
	}
	return ntc
}

// readInstrument reads what meters and probes have in common, but for the
// driver's own keys. It returns the driver and whether it is a known one.
func readInstrument(t *table) (Instrument, driver.Driver, bool) {
	in := Instrument{Name: t.text("name", ""), Driver: t.text("driver", "")}
	if in.Name != record.Label(in.Name) {
		t.complain("name", "%q cannot be kept; take one line of plain text, at most %d characters", in.Name, 4*record.MaxName)
	}
	drv, known := driver.Lookup(in.Driver)
	switch names := driver.Names(); {
	case !t.has("driver"):
		t.complain("driver", "missing; choose one of %s", strings.Join(names, ", "))
	case !known:
		t.complain("driver", "%q is not known; %s", in.Driver, suggest(in.Driver, names, "choose one of"))
	}
	in.Port = t.text("port", "")
	switch {
	case !known:
	case drv.NoPort && in.Port != "":
		t.complain("port", "driver %s needs no port; leave the key out", drv.Name)
	case !drv.NoPort && in.Port == "":
		t.complain("port", `missing; "coilkeep ports" lists what is plugged in`)
	case in.Port != "":
		address, err := port.ParseAddress(in.Port)
		if err != nil {
			t.repeat("port", err)
		} else {
			in.Port = address.String()
		}
	}
	in.Baud = int(t.integer("baud", 9600, 50, 4_000_000))
	in.Frame = t.text("frame", "8N1")
	if _, err := port.ParseFrame(in.Frame); err != nil {
		t.repeat("frame", err)
	}
	in.Poll = t.duration("poll", 200*time.Millisecond, 20*time.Millisecond, time.Minute)
	in.Timeout = t.duration("timeout", 2*time.Second, 50*time.Millisecond, time.Minute)
	in.ResetPause = t.duration("reset_pause", 0, 0, time.Minute)
	if known && drv.NoPort && in.ResetPause != 0 {
		t.complain("reset_pause", "driver %s opens no port, so nothing restarts; leave the key out", drv.Name)
	}
	return in, drv, known
}

// finishInstrument reads the driver's own keys and complains of keys that are
// left; of those nothing can be said when the driver is not known.
func finishInstrument(t *table, in *Instrument, drv driver.Driver, known bool) {
	if !known {
		return
	}
	in.Options = driver.Options{}
	for _, option := range drv.Options {
		if option.Default == nil && !t.has(option.Name) {
			t.complain(option.Name, "missing; driver %s needs it: %s", drv.Name, option.Help)
			continue
		}
		in.Options[option.Name] = readOption(t, option)
	}
	t.done()
}

// readOption reads one key of a driver's own, of the Go type its kind names.
func readOption(t *table, option driver.Option) any {
	switch option.Kind {
	case driver.Integer:
		fallback, _ := option.Default.(int64)
		return t.integer(option.Name, fallback, math.MinInt64, math.MaxInt64)
	case driver.Number:
		fallback, _ := option.Default.(float64)
		return t.number(option.Name, fallback, -math.MaxFloat64, math.MaxFloat64)
	case driver.Texts:
		fallback, _ := option.Default.([]string)
		return t.texts(option.Name, fallback)
	default:
		fallback, _ := option.Default.(string)
		if len(option.OneOf) > 0 {
			return t.oneOf(option.Name, fallback, option.OneOf)
		}
		return t.text(option.Name, fallback)
	}
}
