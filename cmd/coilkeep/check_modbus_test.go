package main

import (
	"encoding/json"
	"fmt"
	"math"
	"runtime"
	"strings"
	"testing"

	"coilkeep/driver/drivertest"
	"coilkeep/driver/simulate"
)

// orders are the four of a 32-bit value, and the keys that name them.
var orders = []struct {
	order      drivertest.Order
	word, byte string
}{
	{drivertest.ABCD, "big", "big"},
	{drivertest.CDAB, "little", "big"},
	{drivertest.BADC, "big", "little"},
	{drivertest.DCBA, "little", "little"},
}

// modbusPair plugs in a meter and a probe on one bus that write their values
// with an encoding, and returns a configuration that expects an order.
func modbusPair(t *testing.T, b *drivertest.Bench, e drivertest.Encoding, word, byte string) string {
	t.Helper()
	bus := plug(t, "bus", &drivertest.ModbusBus{Units: []drivertest.ModbusUnit{
		{ID: 1, Table: drivertest.Input, Registers: drivertest.Float32(drivertest.MeterOhms(b), e)},
		{ID: 2, Table: drivertest.Input, Registers: drivertest.Float32(drivertest.ProbeCelsius(b), e)},
	}})
	instrument := fmt.Sprintf("driver = \"modbus\"\nport = %q\ntimeout = \"2s\"\nword_order = %q\nbyte_order = %q\nunit_id = ",
		bus.Address(), word, byte)
	return checkFile(t, instrument+"1", instrument+"2")
}

// Whatever order an instrument writes in and whichever it is told to have,
// check says what to set, and with that set finds no fault.
func TestCheckNamesTheOrder(t *testing.T) {
	t.Parallel()
	for _, writes := range orders {
		for _, told := range orders {
			t.Run(fmt.Sprintf("%s told %s", writes.order, told.order), func(t *testing.T) {
				t.Parallel()
				b := rig()
				b.Attach(simulate.CopperCoil(6650, 21.5))
				b.ForceProbe(21.5) // among its neighbours 21.53 is 0.06 in another order
				for math.Abs(b.ReadMeter().Value-6689) > 2 {
					runtime.Gosched() // until what the meter averages holds no open clips
				}
				path := modbusPair(t, b, drivertest.Encoding{Order: writes.order}, told.word, told.byte)
				if writes.order == told.order {
					if text := ok(t, "check", "--config", path); strings.Contains(text, "same registers") {
						t.Errorf("check gives advice on the right order:\n%s", text)
					}
					return
				}
				var keys []string
				if writes.byte != told.byte {
					keys = append(keys, fmt.Sprintf("byte_order = %q", writes.byte))
				}
				if writes.word != told.word {
					keys = append(keys, fmt.Sprintf("word_order = %q", writes.word))
				}
				got := start(t, "check", "--config", path)
				for _, unit := range []string{"kΩ", "°C"} {
					if want := unit + " with " + strings.Join(keys, " and ") + "."; !strings.Contains(got.stdout, want) {
						t.Errorf("check lacks %q:\n%s%s", want, got.stdout, got.stderr)
					}
				}
				if got.code != exitFault {
					t.Errorf("exit %d, want 1:\n%s", got.code, got.stdout)
				}
			})
		}
	}
}

// Whole numbers have orders, too. What the wrong one makes of them may look
// like open clips that show a number, which is no fault.
func TestCheckNamesTheOrderOfIntegers(t *testing.T) {
	t.Parallel()
	is := func() (float64, bool) { return 6689.25, true }
	for _, tt := range []struct {
		name, keys string
		registers  func() []uint16
		code       int
		want       []string
	}{
		// 26757 quarters are 6885h, and 8568h is negative.
		{"int16", "type = \"int16\"\nscale = 0.25", drivertest.Int16(is, 0.25, drivertest.Encoding{Order: drivertest.DCBA}), exitFault,
			[]string{"wrong byte order?", `the same registers are 6.6893 kΩ with byte_order = "little".`}},
		// 66893 tenths are 1054Dh, and 054D0001h is 8.9 MΩ.
		{"int32", "type = \"int32\"\nscale = 0.1", drivertest.Int32(is, 0.1, drivertest.Encoding{Order: drivertest.CDAB}), 0,
			[]string{"8.89", `the same registers are 6.6893 kΩ with word_order = "little".`}},
	} {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			bus := plug(t, "bus", &drivertest.ModbusBus{Units: []drivertest.ModbusUnit{{ID: 1, Table: drivertest.Input, Registers: tt.registers}}})
			_, probe := lineProbe(t, rig())
			got := start(t, "check", "--config", checkFile(t, fmt.Sprintf("driver = \"modbus\"\nport = %q\n%s", bus.Address(), tt.keys), probe))
			for _, want := range tt.want {
				if got.code != tt.code || !strings.Contains(got.stdout, want) {
					t.Errorf("exit %d, want %d and %q:\n%s%s", got.code, tt.code, want, got.stdout, got.stderr)
				}
			}
		})
	}
}

// Open clips that are not-a-number in another order are said to be that.
func TestCheckNamesTheOrderOfOpenClips(t *testing.T) {
	t.Parallel()
	path := modbusPair(t, rig(), drivertest.Encoding{Order: drivertest.DCBA, Overload: 0x7FC00000}, "big", "big")
	got := start(t, "check", "--config", path, "--json")
	var found []checked
	if err := json.Unmarshal([]byte(got.stdout), &found); err != nil {
		t.Fatalf("%v in %s", err, got.stdout)
	}
	const want = `open clips with byte_order = "little" and word_order = "little"; clip on a coil`
	if len(found) != 2 || got.code != exitFault || !strings.Contains(whyOf(found[0]), want) {
		t.Errorf("exit %d, check found %+v; want advice of %q", got.code, found, want)
	}
}

// A probe that is faulty in itself is not told to change its order, and neither
// is a meter whose clips are shorted.
func TestCheckGivesNoFalseAdvice(t *testing.T) {
	t.Parallel()
	for name, spoil := range map[string]func(b *drivertest.Bench){
		"a probe in °F":      func(b *drivertest.Bench) { b.ForceProbe(70.7) },
		"a power-on value":   func(b *drivertest.Bench) { b.ForceProbe(85) },
		"clips shorted":      func(b *drivertest.Bench) { b.Short() },
		"clips open, finite": func(b *drivertest.Bench) { b.Attach(simulate.Coil{R20Ohms: 55e3}) }, // above the contact range
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			b := rig()
			spoil(b)
			got := start(t, "check", "--config", modbusPair(t, b, drivertest.Encoding{}, "big", "big"))
			if strings.Contains(got.stdout, "same registers") || !strings.Contains(got.stdout, "modbus") {
				t.Errorf("check says:\n%s%s", got.stdout, got.stderr)
			}
		})
	}
}

// whyOf is all that was advised for one instrument.
func whyOf(c checked) string {
	var text []string
	for _, a := range c.Advice {
		text = append(text, a.Why)
	}
	return strings.Join(text, "; ")
}
