package main

import (
	"fmt"
	"math"
	"net/http"
	"slices"
	"strings"
	"testing"

	"coilkeep/driver/drivertest"
	"coilkeep/driver/simulate"
	"coilkeep/internal/bench"
	"coilkeep/internal/capture"
	"coilkeep/internal/record"
)

// modbusMeter is a meter as somebody may have it.
type modbusMeter struct {
	name      string
	registers func(b *drivertest.Bench, o drivertest.Order) func() []uint16
	keys      string // of its table in the configuration, but for the order
}

// float32Meter shows a number of IEEE 754 on open clips.
func float32Meter(name string, open uint32) modbusMeter {
	return modbusMeter{name, func(b *drivertest.Bench, o drivertest.Order) func() []uint16 {
		return drivertest.Float32(drivertest.MeterOhms(b), drivertest.Encoding{Order: o, Overload: open})
	}, ""}
}

// int32Meter counts tenths of an ohm, and int16Meter quarters.
func int32Meter(kind string, open uint32) modbusMeter {
	return modbusMeter{kind, func(b *drivertest.Bench, o drivertest.Order) func() []uint16 {
		return drivertest.Int32(drivertest.MeterOhms(b), 0.1, drivertest.Encoding{Order: o, Overload: open})
	}, fmt.Sprintf("type = %q\nscale = 0.1\n", typeOf(kind))}
}

func int16Meter(kind string, open uint32) modbusMeter {
	return modbusMeter{kind, func(b *drivertest.Bench, o drivertest.Order) func() []uint16 {
		return drivertest.Int16(drivertest.MeterOhms(b), 0.25, drivertest.Encoding{Order: o, Overload: open})
	}, fmt.Sprintf("type = %q\nscale = 0.25\n", typeOf(kind))}
}

func typeOf(kind string) string {
	name, _, _ := strings.Cut(kind, ",")
	return name
}

// modbusMeters show open clips in every way that is known of (common practice,
// no published source).
var modbusMeters = []modbusMeter{
	float32Meter("not a number", 0x7FC00000),
	float32Meter("not a number, negative", 0xFFC00000),
	float32Meter("infinity", 0x7F800000),
	float32Meter("negative infinity", 0xFF800000),
	float32Meter("9.9E37", 0x7E94F56A),
	float32Meter("1e38", 0x7E967699),
	float32Meter("-1e38", 0xFE967699),
	float32Meter("the largest float32", 0x7F7FFFFF),
	float32Meter("-9999", 0xC61C3C00),
	int32Meter("int32, largest", 0x7FFFFFFF),
	int32Meter("int32, smallest", 0x80000000),
	int32Meter("uint32, largest", 0xFFFFFFFF),
	int16Meter("int16, largest", 0x7FFF),
	int16Meter("int16, smallest", 0x8000),
	int16Meter("uint16, largest", 0xFFFF),
	// This one goes on showing its last value; only a bit says that it is old.
	{"a status register", func(b *drivertest.Bench, o drivertest.Order) func() []uint16 {
		value := drivertest.MeterOhms(b)
		return drivertest.Joined(drivertest.Float32(drivertest.Held(value), drivertest.Encoding{Order: o}), drivertest.Flag(value, 0x0400))
	}, "status_address = 2\nstatus_open = 0x0C00\nstatus_fault = 0x0001\n"},
}

// Each of the meters, in one of the orders and with its probe in the same one,
// sees two coils come and go: both are recorded, each once, and nobody is asked
// whether a coil was on the clips before.
func TestModbusMetersSeeCoilsComeAndGo(t *testing.T) {
	t.Parallel()
	var benches strings.Builder
	var rigs []*drivertest.Bench
	for i, m := range modbusMeters {
		// Neighbours differ in their order, and so do meters of one kind.
		o, b := orders[i%len(orders)], rig()
		rigs = append(rigs, b)
		bus := plug(t, "bus", &drivertest.ModbusBus{Units: []drivertest.ModbusUnit{
			{ID: 1, Table: drivertest.Holding, Registers: m.registers(b, o.order)},
			{ID: 2, Table: drivertest.Holding, Registers: drivertest.Float32(drivertest.ProbeCelsius(b), drivertest.Encoding{Order: o.order})},
		}})
		both := fmt.Sprintf("driver = \"modbus\"\nport = %q\ntable = \"holding\"\ntimeout = \"5s\"\nword_order = %q\nbyte_order = %q\n",
			bus.Address(), o.word, o.byte)
		text := benchTOML(both+"unit_id = 1\n"+m.keys, both+"unit_id = 2\n")
		text = strings.Replace(text, `name = "north"`, fmt.Sprintf("name = \"bench-%d\"", i), 1)
		benches.WriteString(strings.Replace(text, "HN-", fmt.Sprintf("B%d-", i), 1) + "\n")
	}
	d := startDaemon(t, t.TempDir(), benches.String())
	d.call("POST", "/api/v1/designs", `{"name":"Fen","target_ohms":6650,"tolerance_percent":6}`, http.StatusCreated, nil)
	for i, m := range modbusMeters {
		d.call("POST", fmt.Sprintf("/api/v1/benches/bench-%d/batch", i),
			fmt.Sprintf(`{"batch":"by %s","design":"Fen","spool":"SP-1"}`, m.name), http.StatusCreated, nil)
	}
	asked := questions(d)
	// All at once, since a coil takes seconds.
	untilAll := func(want capture.State) {
		t.Helper()
		for i, m := range modbusMeters {
			one := *d
			one.bench = d.running.benches[i]
			one.until(fmt.Sprintf("the meter with %s: %s", m.name, want), func(s bench.Snapshot) bool {
				return s.State == want && s.Words != "looking at the clips"
			})
		}
	}
	untilAll(capture.Open)
	coils := []float64{6650, 6700}
	for _, r20 := range coils {
		for _, b := range rigs {
			b.Attach(simulate.CopperCoil(r20, 21.5))
		}
		untilAll(capture.Recorded)
		for _, b := range rigs {
			b.Detach()
		}
		untilAll(capture.Open)
	}
	for _, words := range asked() {
		t.Error(words)
	}
	for i, meter := range modbusMeters {
		var page struct {
			Measurements []record.Measurement `json:"measurements"`
		}
		d.call("GET", fmt.Sprintf("/api/v1/measurements?bench=bench-%d", i), "", http.StatusOK, &page)
		// A coil that stayed on while another bench was slow has a second one.
		page.Measurements = slices.DeleteFunc(page.Measurements, func(m record.Measurement) bool { return m.Status == record.Superseded })
		if len(page.Measurements) != len(coils) {
			t.Errorf("%s: %d measurements of %d coils", meter.name, len(page.Measurements), len(coils))
			continue
		}
		for n, m := range page.Measurements {
			if math.Abs(m.R20Ohms-coils[n]) > m.ExpandedUncertaintyOhms/2 || m.ExpandedUncertaintyOhms > 0.02*coils[n] || m.Status != "recorded" {
				t.Errorf("%s: R20 %.2f ± %.2f Ω, %s; truly %.0f Ω", meter.name, m.R20Ohms, m.ExpandedUncertaintyOhms, m.Status, coils[n])
			}
		}
	}
}

// questions listens to all benches, and returns what tells the states in which
// a person was asked, or was told that an instrument cannot be true.
func questions(d *testDaemon) func() []string {
	events, cancel := d.running.hub.Subscribe()
	var all []string
	done := make(chan struct{})
	go func() {
		defer close(done)
		for e := range events {
			s, ok := e.Data.(bench.Snapshot)
			if ok && (s.State == capture.Asking || s.State == capture.Refused) {
				all = append(all, s.Bench+": "+s.Words)
			}
		}
	}()
	return func() []string {
		select {
		case <-done:
			d.t.Error("the listener fell behind: what it missed is not known")
		default:
		}
		cancel()
		<-done
		return all
	}
}

// A meter in the wrong order is said to be that, on open clips and with a coil
// on; it is never taken for clips that touch, and nothing is recorded.
func TestWrongOrderOnTheBench(t *testing.T) {
	t.Parallel()
	b := rig()
	bus := plug(t, "bus", &drivertest.ModbusBus{Units: []drivertest.ModbusUnit{
		// 45D10800h, of which the other order makes 4e-34.
		{ID: 1, Table: drivertest.Input, Registers: drivertest.Float32(func() (float64, bool) {
			_, ok := drivertest.MeterOhms(b)()
			return 6689, ok
		}, drivertest.Encoding{Order: drivertest.CDAB, Overload: 0x7FC00000})},
	}})
	_, probe := lineProbe(t, b)
	d := startDaemon(t, t.TempDir(), benchTOML(fmt.Sprintf("driver = \"modbus\"\nport = %q\ntimeout = \"2s\"", bus.Address()), probe))
	d.batch()
	told := func(s bench.Snapshot) bool {
		return s.State == capture.Refused && strings.Contains(s.Words, "wrong word order?") &&
			strings.Contains(s.Meter.Fault, "wrong word order?")
	}
	d.until("open clips to be told as a wrong order", told)
	asked := questions(d)
	b.Attach(simulate.CopperCoil(6650, 21.5))
	d.until("a coil to be told as a wrong order", func(s bench.Snapshot) bool { return told(s) && !strings.Contains(s.Words, "e-41") })
	for _, words := range asked() {
		if !strings.Contains(words, "wrong word order?") {
			t.Error(words)
		}
	}
	if list := d.measurements(); len(list) != 0 {
		t.Errorf("recorded %+v", list)
	}
}

// What is open clips of a meter is a failure of a probe: it is named, and no
// coil is recorded without a temperature.
func TestModbusProbeWithoutASensor(t *testing.T) {
	t.Parallel()
	for _, tt := range []struct {
		name, keys string
		registers  []uint16
	}{
		{"not a number", "", []uint16{0x7FC0, 0}},
		{"infinity", "", []uint16{0x7F80, 0}},
		{"the largest int16", "type = \"int16\"\nscale = 0.01\n", []uint16{0x7FFF}},
		{"not a number, of a platinum sensor", "sensor = \"pt100\"\n", []uint16{0x7FC0, 0}},
		{"a bit of the status register", "status_address = 2\nstatus_fault = 0x0002\n", []uint16{0x41AC, 0, 0x0002}}, // 21.5 °C
	} {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			b := rig()
			_, meter := scpiMeter(t, b)
			bus := plug(t, "probe", &drivertest.ModbusBus{Units: []drivertest.ModbusUnit{
				{ID: 1, Table: drivertest.Input, Registers: func() []uint16 { return tt.registers }},
			}})
			d := startDaemon(t, t.TempDir(), benchTOML(meter, fmt.Sprintf("driver = \"modbus\"\nport = %q\ntimeout = \"2s\"\n%s", bus.Address(),
				tt.keys)))
			d.batch()
			d.untilState(capture.Open)
			b.Attach(simulate.CopperCoil(6650, 21.5))
			s := d.untilState(capture.NoTemperature)
			if s.Probe.Fault == "" || s.TemperatureCelsius != nil || !s.Meter.Up {
				t.Errorf("the probe's fault is %q, its temperature %v, meter up %t; want a fault and no temperature", s.Probe.Fault,
					s.TemperatureCelsius, s.Meter.Up)
			}
			b.Detach()
			s = d.untilState(capture.Waiting)
			if len(s.Unrecorded) != 1 || !strings.Contains(s.Words, "was not recorded: the probe gives no temperature") {
				t.Errorf("told %q, not recorded %+v; want the coil and why", s.Words, s.Unrecorded)
			}
			if list := d.measurements(); len(list) != 0 {
				t.Errorf("recorded %+v", list)
			}
		})
	}
}
