package drivertest

import (
	"bytes"
	"encoding/hex"
	"io"
	"strings"
	"testing"
)

func fromHex(t testing.TB, text string) []byte {
	t.Helper()
	b, err := hex.DecodeString(strings.ReplaceAll(text, " ", ""))
	if err != nil {
		t.Fatalf("bad hexadecimal %q: %v", text, err)
	}
	return b
}

func TestChecksum(t *testing.T) {
	t.Parallel()
	tests := []struct {
		source, frame string
		want          uint16
	}{
		{"MODBUS over Serial Line V1.02, appendix B", "02 07", 0x1241},
		{"CRC-16/MODBUS check value of \"123456789\"", "31 32 33 34 35 36 37 38 39", 0x4B37},
		{"MODBUS Application Protocol V1.1b3, 6.3, request", "01 03 00 6B 00 03", 0x1774},
		{"MODBUS Application Protocol V1.1b3, 6.3, response", "01 03 06 02 2B 00 00 00 64", 0x7A05},
	}
	for _, tt := range tests {
		if got := checksum(fromHex(t, tt.frame)); got != tt.want {
			t.Errorf("%s: got %04Xh, want %04Xh", tt.source, got, tt.want)
		}
	}
}

// registerBus is a bus with the registers of the example in MODBUS Application
// Protocol V1.1b3, 6.3, and one as in 6.4.
func registerBus() *ModbusBus {
	return &ModbusBus{Units: []ModbusUnit{
		{ID: 1, Table: Holding, Address: 107, Registers: func() []uint16 { return []uint16{555, 0, 100} }},
		{ID: 2, Table: Input, Address: 8, Registers: func() []uint16 { return []uint16{10} }},
	}}
}

func framed(body []byte) []byte { return withChecksum(bytes.Clone(body)) }

func TestModbusAnswers(t *testing.T) {
	t.Parallel()
	tests := []struct {
		name, request, want string
	}{
		// MODBUS Application Protocol V1.1b3, 6.3.
		{"holding registers", "01 03 00 6B 00 03 74 17", "01 03 06 02 2B 00 00 00 64 05 7A"},
		{"after noise", "FF 00 01 03 01 03 00 6B 00 03 74 17", "01 03 06 02 2B 00 00 00 64 05 7A"},
		{"after a question for nobody", "01 04 00 08 00 01 B0 09 01 03 00 6B 00 03 74 17", "01 03 06 02 2B 00 00 00 64 05 7A"},
		// Exceptions: the same, 7. The frames are from the published list.
		{"beyond the registers", "01 03 00 00 00 02 C4 0B", "01 83 02 C0 F1"},
		{"another table", "01 04 00 08 00 01 B0 08", hex.EncodeToString(framed([]byte{1, 0x84, 1}))},
		// 6.4, on unit 2 of this bus.
		{"input register", hex.EncodeToString(framed([]byte{2, 4, 0, 8, 0, 1})), hex.EncodeToString(framed([]byte{2, 4, 2, 0, 10}))},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			l := connect(t, registerBus())
			l.say(t, string(fromHex(t, tt.request)))
			want := fromHex(t, tt.want)
			got := make([]byte, len(want))
			if _, err := io.ReadFull(l, got); err != nil {
				t.Fatalf("reading the answer: %v", err)
			}
			if !bytes.Equal(got, want) {
				t.Errorf("got % X, want % X", got, want)
			}
		})
	}
}

func TestModbusFaults(t *testing.T) {
	t.Parallel()
	tests := []struct {
		name  string
		fault Fault
		want  string
	}{
		{"exception", Exception(IllegalDataAddress), "01 83 02 C0 F1"},
		{"bad checksum", BadChecksum(), "01 03 06 02 2B 00 00 00 64 05 2F"},
		{"another unit", FromUnit(9), hex.EncodeToString(framed(fromHex(t, "09 03 06 02 2B 00 00 00 64")))},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			bus := registerBus()
			bus.Next(tt.fault)
			l := connect(t, bus)
			l.say(t, string(fromHex(t, "01 03 00 6B 00 03 74 17")))
			want := fromHex(t, tt.want)
			got := make([]byte, len(want))
			if _, err := io.ReadFull(l, got); err != nil {
				t.Fatalf("reading the answer: %v", err)
			}
			if !bytes.Equal(got, want) {
				t.Errorf("got % X, want % X", got, want)
			}
		})
	}
}

func TestRegisters(t *testing.T) {
	t.Parallel()
	is := func(v float64) func() (float64, bool) { return func() (float64, bool) { return v, true } }
	overload := func() (float64, bool) { return 0, false }
	tests := []struct {
		name string
		got  []uint16
		want []uint16
	}{
		// IEEE 754 single precision: 1.234 is 3F9DF3B6h, −40 is C2200000h.
		{"float32, high word first", Float32(is(1.234), Encoding{})(), []uint16{0x3F9D, 0xF3B6}},
		{"float32, low word first", Float32(is(1.234), Encoding{Order: CDAB})(), []uint16{0xF3B6, 0x3F9D}},
		{"float32, below zero", Float32(is(-40), Encoding{})(), []uint16{0xC220, 0}},
		{"float32, overload", Float32(overload, Encoding{})(), []uint16{0x7E94, 0xF56A}},
		{"int32", Int32(is(6690.1), 0.1, Encoding{})(), []uint16{1, 0x0555}},
		{"int32, low word first, below zero", Int32(is(-2), 1, Encoding{Order: CDAB})(), []uint16{0xFFFE, 0xFFFF}},
		{"int32, overload", Int32(overload, 0.1, Encoding{})(), []uint16{0x7FFF, 0xFFFF}},
		{"int16", Int16(is(21.43), 0.01, Encoding{})(), []uint16{2143}},
		{"int16, below zero", Int16(is(-0.5), 0.01, Encoding{})(), []uint16{0xFFCE}},
		{"int16, overload", Int16(overload, 0.01, Encoding{})(), []uint16{0x7FFF}},
		// 1.234 in the orders of the driver's testdata/float32_word_order.csv.
		{"float32, bytes swapped", Float32(is(1.234), Encoding{Order: BADC})(), []uint16{0x9D3F, 0xB6F3}},
		{"float32, low byte first", Float32(is(1.234), Encoding{Order: DCBA})(), []uint16{0xB6F3, 0x9D3F}},
		{"float32, not a number", Float32(overload, Encoding{Order: DCBA, Overload: 0x7FC00000})(), []uint16{0, 0xC07F}},
		{"int32, smallest on overload", Int32(overload, 1, Encoding{Order: CDAB, Overload: 0x80000000})(), []uint16{0, 0x8000}},
		{"int16, low byte first", Int16(is(21.43), 0.01, Encoding{Order: DCBA})(), []uint16{0x5F08}}, // 2143 = 085Fh
		{"int16, words swapped", Int16(is(21.43), 0.01, Encoding{Order: CDAB})(), []uint16{0x085F}},
		{"uint16, largest on overload", Int16(overload, 1, Encoding{Overload: 0xFFFF})(), []uint16{0xFFFF}},
		{"status, nothing", Flag(is(1), 4)(), []uint16{0}},
		{"value and status", Joined(Int16(is(7), 1, Encoding{}), Flag(overload, 4))(), []uint16{7, 4}},
	}
	for _, tt := range tests {
		if len(tt.got) != len(tt.want) {
			t.Errorf("%s: got %X, want %X", tt.name, tt.got, tt.want)
			continue
		}
		for i := range tt.want {
			if tt.got[i] != tt.want[i] {
				t.Errorf("%s: got %X, want %X", tt.name, tt.got, tt.want)
				break
			}
		}
	}
}

// A meter that only its status register calls open goes on showing its last
// value.
func TestHeld(t *testing.T) {
	t.Parallel()
	b, _ := benchWith(6690)
	held := Held(MeterOhms(b))
	on, _ := held()
	b.Detach()
	if v, ok := held(); !ok || v != on || on < 6600 {
		t.Errorf("held %v, %v on open clips after %v; want the same value", v, ok, on)
	}
	if got := Flag(MeterOhms(b), 4)(); len(got) != 1 || got[0] != 4 {
		t.Errorf("the status of open clips is %X, want 4", got)
	}
}

func TestMeterAndProbeOnOneBus(t *testing.T) {
	t.Parallel()
	b, _ := benchWith(6690)
	l := connect(t, &ModbusBus{Units: []ModbusUnit{
		{ID: 1, Table: Input, Registers: Float32(MeterOhms(b), Encoding{})},
		{ID: 2, Table: Input, Registers: Int16(ProbeCelsius(b), 0.01, Encoding{})},
	}})
	for _, tt := range []struct{ request, want []byte }{
		// 6690 is 45D11000h in IEEE 754 single precision.
		{[]byte{1, 4, 0, 0, 0, 2}, []byte{1, 4, 4, 0x45, 0xD1, 0x10, 0}},
		{[]byte{2, 4, 0, 0, 0, 1}, []byte{2, 4, 2, 0x07, 0xD0}},
	} {
		l.say(t, string(framed(tt.request)))
		got := make([]byte, len(tt.want)+2)
		if _, err := io.ReadFull(l, got); err != nil {
			t.Fatalf("reading the answer: %v", err)
		}
		if want := framed(tt.want); !bytes.Equal(got, want) {
			t.Errorf("got % X, want % X", got, want)
		}
	}
}

func FuzzModbusBus(f *testing.F) {
	f.Add(fromHex(f, "01 03 00 6B 00 03 74 17"))
	f.Add(framed([]byte{1, 4, 0, 2, 0, 1})) // a status behind a value of two registers
	f.Add(fromHex(f, "FF 00 02 04 00 08 00 01 B0 3B 01 03 00 6B 00 03 74 17"))
	f.Fuzz(func(t *testing.T, heard []byte) {
		// Whatever was heard before it, a question is not lost, unless its
		// beginning happened to complete another one.
		heard = append(bytes.Clone(heard), fromHex(t, "01 03 00 6B 00 03 74 17")...)
		requests := 0
		for request, rest, found := nextRequest(heard); found; request, rest, found = nextRequest(rest) {
			requests++
			answer := registerBus().answer(request)
			if answer == nil {
				continue
			}
			size := 5 // an exception
			if answer[1] < 0x80 {
				size += int(answer[2])
			}
			if len(answer) != size || !checksumHolds(answer) {
				t.Fatalf("answered % X with % X, which is not a whole frame", request, answer)
			}
		}
		if requests == 0 {
			t.Errorf("found no request in % X", heard)
		}
	})
}

func FuzzSCPIMeter(f *testing.F) {
	f.Add("*IDN?;READ?")
	f.Add("CONF:RES 20000,0.1;:READ?")
	f.Add(":SYST:ERR:NEXT?;ERR?;*CLS;;:")
	f.Fuzz(func(t *testing.T, message string) {
		b, _ := benchWith(6690)
		var sent bytes.Buffer
		if err := (&SCPIMeter{Bench: b}).respond(t.Context(), &sent, message, nil); err != nil {
			t.Fatalf("responding to %q: %v", message, err)
		}
		if text := sent.String(); text != "" && strings.Index(text, "\n") != len(text)-1 {
			t.Errorf("%q got %q, want one line", message, text)
		}
	})
}
