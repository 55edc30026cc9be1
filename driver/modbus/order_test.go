package modbus_test

import (
	"errors"
	"fmt"
	"maps"
	"math"
	"slices"
	"strconv"
	"strings"
	"testing"

	"coilkeep/driver"
	"coilkeep/driver/drivertest"
	"coilkeep/driver/modbus"
)

// orders are the four of testdata/float32_word_order.csv: its column, and what
// the driver is told.
var orders = []struct {
	column           int
	lowWord, lowByte bool
	word, byte       string
}{
	{1, false, false, "big", "big"},
	{2, true, false, "little", "big"},
	{3, false, true, "big", "little"},
	{4, true, true, "little", "little"},
}

// A float32 carries the printed value to 1e-7 of it.
func TestFloat32Orders(t *testing.T) {
	for _, row := range table(t, "float32_word_order.csv") {
		want, err := strconv.ParseFloat(row[0], 32)
		if err != nil {
			t.Fatal(err)
		}
		for _, o := range orders {
			f := modbus.Format{Type: "float32", LowWordFirst: o.lowWord, LowByteFirst: o.lowByte, Scale: 1}
			got, err := f.Value(unhex(t, row[o.column]), driver.Resistance)
			if err != nil || got.Status != driver.OK || got.Value != want || got.Resolution != 0 {
				t.Errorf("%s with word_order %s, byte_order %s = %+v, %v; want %v", row[o.column], o.word, o.byte, got, err, want)
			}
		}
	}
}

// Every number of the table is found again from each order in which it is not
// written, and the keys to set are those that differ.
func TestReinterpret(t *testing.T) {
	for _, row := range table(t, "float32_word_order.csv") {
		want, err := strconv.ParseFloat(row[0], 32)
		if err != nil {
			t.Fatal(err)
		}
		for _, written := range orders {
			for _, told := range orders {
				got := reinterpret(t, unhex(t, row[written.column]), driver.Options{"word_order": told.word, "byte_order": told.byte})
				if len(got) != 3 {
					t.Fatalf("%d other orders of a float32, want 3", len(got))
				}
				options := driver.Options{}
				if written.word != told.word {
					options["word_order"] = written.word
				}
				if written.byte != told.byte {
					options["byte_order"] = written.byte
				}
				right := slices.IndexFunc(got, func(r driver.Reinterpretation) bool { return maps.Equal(r.Options, options) })
				if len(options) == 0 {
					if right >= 0 {
						t.Errorf("the order that is set is among the others: %+v", got)
					}
					continue
				}
				if right < 0 || got[right].Reading.Status != driver.OK || got[right].Reading.Value != want {
					t.Errorf("%s in column %d, told %v: %+v, want %v by %v", row[0], written.column, told, got, want, options)
				}
			}
		}
	}
	// The two bytes of 6690 = 1A22h.
	got := reinterpret(t, []byte{0x22, 0x1A}, driver.Options{"type": "uint16"})
	if len(got) != 1 || got[0].Reading.Value != 6690 || !maps.Equal(got[0].Options, driver.Options{"byte_order": "little"}) {
		t.Errorf("a uint16 in the other order = %+v, want 6690 by byte_order little", got)
	}
}

// reinterpret reads registers over the driver and asks what else they might be.
func reinterpret(t *testing.T, registers []byte, options driver.Options) []driver.Reinterpretation {
	t.Helper()
	request := modbus.Request(1, modbus.ReadInput, 0, uint16(len(registers)/2))
	conn := drivertest.Replay(t, drivertest.Exchange{Ask: string(request), Answer: string(answer(4, registers))})
	defer conn.Close()
	i := open(t, conn, options)
	asked, ok := i.(driver.Reinterpreter)
	if !ok {
		t.Fatal("the instrument is no driver.Reinterpreter")
	}
	if before := asked.Reinterpret(); before != nil {
		t.Errorf("before the first answer: %+v, want none", before)
	}
	if _, err := i.Read(t.Context()); err != nil {
		t.Fatal(err)
	}
	return asked.Reinterpret()
}

// After an answer that was none there is nothing to read in another order.
func TestReinterpretNothing(t *testing.T) {
	request := string(modbus.Request(1, modbus.ReadInput, 0, 2))
	conn := drivertest.Replay(t,
		drivertest.Exchange{Ask: request, Answer: string(answer(4, []byte{0, 0, 0x45, 0xD1}))},
		drivertest.Exchange{Ask: request, Answer: string(frame(t, "m7"))},
	)
	defer conn.Close()
	i := open(t, conn, nil)
	if _, err := i.Read(t.Context()); err != nil {
		t.Fatal(err)
	}
	if _, err := i.Read(t.Context()); !errors.Is(err, driver.ErrRefused) {
		t.Fatalf("Read = %v, want %v", err, driver.ErrRefused)
	}
	if got := i.(driver.Reinterpreter).Reinterpret(); got != nil {
		t.Errorf("Reinterpret after an exception = %+v, want none", got)
	}
}

// openMarks are what transmitters send on an open input (common practice, no
// published source). The bytes of the numbers are computed by a second program,
// Python's struct.
var openMarks = []struct{ name, kind, hex string }{
	{"not a number", "float32", "7FC00000"},
	{"not a number, negative", "float32", "FFC00000"},
	{"not a number, signalling", "float32", "7F800001"},
	{"not a number, all bits", "float32", "FFFFFFFF"},
	{"infinity", "float32", "7F800000"},
	{"negative infinity", "float32", "FF800000"},
	{"9.9E37", "float32", "7E94F56A"},
	{"-9.9E37", "float32", "FE94F56A"},
	{"9.91E37", "float32", "7E951BEE"},
	{"1e38", "float32", "7E967699"},
	{"-1e38", "float32", "FE967699"},
	{"the largest float32", "float32", "7F7FFFFF"},
	{"1e30", "float32", "7149F2CA"},
	{"-9.99e20", "float32", "E2589FA4"},
	{"-9999", "float32", "C61C3C00"},
	{"the largest int16", "int16", "7FFF"},
	{"the smallest int16", "int16", "8000"},
	{"-9999", "int16", "D8F1"},
	{"the largest uint16", "uint16", "FFFF"},
	{"the largest int32", "int32", "7FFFFFFF"},
	{"the smallest int32", "int32", "80000000"},
	{"the largest uint32", "uint32", "FFFFFFFF"},
	{"the largest int32 in a uint32", "uint32", "7FFFFFFF"},
}

// What a meter sends on open clips is open in each order, whatever the scale;
// from a probe it is no temperature.
func TestOpenMarks(t *testing.T) {
	for _, mark := range openMarks {
		for _, o := range orders {
			for _, scale := range []float64{1, 0.001, 1000} {
				f := modbus.Format{Type: mark.kind, LowWordFirst: o.lowWord, LowByteFirst: o.lowByte, Scale: scale}
				registers := rearranged(unhex(t, mark.hex), o.column)
				got, err := f.Value(registers, driver.Resistance)
				if err != nil || got.Status != driver.Overload || got.Value != 0 {
					t.Errorf("%s in %s, order %s %s, scale %v = %+v, %v; want overload", mark.name, mark.kind, o.word, o.byte, scale, got, err)
				}
				got, err = f.Value(registers, driver.Temperature)
				if err != nil || got.Status == driver.OK && (scale != 0.001 || mark.name != "-9999") || got.Status != driver.OK && got.Reason == "" {
					t.Errorf("%s in %s from a probe = %+v, %v; want no temperature", mark.name, mark.kind, got, err)
				}
			}
		}
	}
}

// rearranged puts the bytes of a number, the highest first, into the order of a
// column of the table.
func rearranged(b []byte, column int) []byte {
	places := map[int][]int{1: {0, 1, 2, 3}, 2: {2, 3, 0, 1}, 3: {1, 0, 3, 2}, 4: {3, 2, 1, 0}}[column]
	if len(b) == 2 {
		places = map[int][]int{1: {0, 1}, 2: {0, 1}, 3: {1, 0}, 4: {1, 0}}[column]
	}
	moved := make([]byte, len(b))
	for i, from := range places {
		moved[i] = b[from]
	}
	return moved
}

// A coil of 6690.1 Ω read in a wrong order, and other numbers that only a wrong
// order makes, are no open clips and no short: they are impossible, and say why.
func TestWrongOrderIsNamed(t *testing.T) {
	for _, tt := range []struct {
		name, kind, hex string
		scale           float64
		q               driver.Quantity
		want            string
	}{
		{"6690.1 as CDAB", "float32", "10CD45D1", 1, driver.Resistance, "8.1e-29: wrong word order?"},
		{"6690.1 as BADC", "float32", "D145CD10", 1, driver.Resistance, "-5.31e+10: wrong word order?"},
		{"6690.1 as DCBA", "float32", "CD10D145", 1, driver.Resistance, "-1.52e+08: wrong word order?"},
		{"-2e11", "float32", "D23A43B7", 1, driver.Resistance, "-2e+11: wrong word order?"},
		{"a denormal", "float32", "000AE398", 1, driver.Resistance, "1e-39: wrong word order?"},
		{"enormous", "float32", "618B3629", 1, driver.Resistance, "3.21e+20: wrong word order?"},
		{"not a number as CDAB", "float32", "00007FC0", 1, driver.Resistance, "wrong word order?"},
		{"39458 as CDAB", "int32", "9A220000", 0.001, driver.Resistance, "-1.71e+09: wrong word order?"},
		{"6784 as BA", "int16", "801A", 1, driver.Resistance, "-3.27e+04: wrong byte order?"},
		{"21.5 as CDAB", "float32", "000041AC", 1, driver.Temperature, "wrong word order?"},
		{"21.5 as DCBA", "float32", "0000AC41", 1, driver.Temperature, "wrong word order?"},
		{"a temperature of -2e11", "float32", "D23A43B7", 1, driver.Temperature, "wrong word order?"},
	} {
		got, err := modbus.Format{Type: tt.kind, Scale: tt.scale}.Value(unhex(t, tt.hex), tt.q)
		if err != nil || got.Status != driver.Impossible || !strings.Contains(got.Reason, tt.want) ||
			!strings.Contains(got.Reason, "byte_order") {
			t.Errorf("%s: Value(%s) = %+v, %v; want impossible, saying %q and byte_order", tt.name, tt.hex, got, err, tt.want)
		}
	}
	// What may be true is left to the contact range: shorted clips behind a zero,
	// and the finite number of an ohmmeter of many megohms that is open.
	for _, ohms := range []float64{0, -0.3, -99, 1.2e9, 9.99e14} {
		registers := unhex(t, fmt.Sprintf("%08X", math.Float32bits(float32(ohms))))
		if got, err := (modbus.Format{Type: "float32", Scale: 1}).Value(registers, driver.Resistance); err != nil || got.Status != driver.OK {
			t.Errorf("Value of %v Ω = %+v, %v; want ok", ohms, got, err)
		}
	}
}

// FuzzValue holds that every pair of registers gives a whole reading, and that
// an order and its bytes moved accordingly are the same reading.
func FuzzValue(f *testing.F) {
	f.Add([]byte{0x41, 0xAC, 0, 0}, "float32", true, false, 1.0, 0.0)
	f.Add([]byte{0x7F, 0xFF}, "int16", false, true, 0.1, -50.0)
	for _, mark := range openMarks {
		f.Add(unhex(f, mark.hex), mark.kind, false, false, 1.0, 0.0)
	}
	f.Fuzz(func(t *testing.T, registers []byte, kind string, lowWord, lowByte bool, scale, offset float64) {
		format := modbus.Format{Type: kind, LowWordFirst: lowWord, LowByteFirst: lowByte, Scale: scale, Offset: offset}
		for _, q := range []driver.Quantity{driver.Resistance, driver.Temperature} {
			r, err := format.Value(registers, q)
			if err != nil {
				return
			}
			if r.Status == "" || (r.Status == driver.OK) != (r.Reason == "") || r.Status != driver.OK && r.Value != 0 {
				t.Fatalf("Value(% X) = %+v", registers, r)
			}
			for _, o := range orders {
				if o.lowWord != lowWord || o.lowByte != lowByte {
					continue
				}
				// Moving twice puts the bytes back: each order is its own inverse.
				plain := modbus.Format{Type: kind, Scale: scale, Offset: offset}
				if again, err := plain.Value(rearranged(registers, o.column), q); err != nil || again != r {
					t.Fatalf("Value(% X) = %+v, and with its bytes high first %+v, %v", registers, r, again, err)
				}
			}
		}
		want := 3
		if format.Registers() == 1 {
			want = 1
		}
		if others := format.OtherOrders(); len(others) != want || slices.Contains(others, format) {
			t.Fatalf("the other orders of %+v are %+v", format, others)
		}
	})
}
