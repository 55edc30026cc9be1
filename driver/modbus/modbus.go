// Package modbus reads transmitters that speak Modbus RTU, one value each, over
// the driver's own small framing: functions 3 and 4 of the MODBUS Application
// Protocol V1.1b3, framed as in MODBUS over Serial Line V1.02. Several
// instruments may share one bus.
//
// # Setting up an unknown transmitter
//
// Its manual has a register table. From that take:
//
//   - unit_id, as set by its switches; it is mostly 1 when new.
//   - table: "input" (function 4, numbered 30001 and up) or "holding" (function
//     3, numbered 40001 and up).
//   - address: the register's number less 1 (30001 and 40001 are address 0).
//     Some manuals give the address already; off by one shows as exception 2 or
//     as a nonsense value.
//   - type: "float32" for two registers with an IEEE 754 number; "int16",
//     "uint16", "int32", "uint32" for whole numbers.
//   - word_order and byte_order: "big" when the high word, and in each word the
//     high byte, comes first. A float32 in the wrong order reads as nonsense,
//     mostly near 0 or enormous; the four orders are all in use.
//   - scale and offset: for an int16 in tenths of a degree scale = 0.1.
//   - status_address, status_open, status_fault: for a transmitter that goes on
//     showing some value when its input is open, and says so in a register of
//     its own. Two bits that mean overload, 2 and 3: status_open = 0x000C.
//
// The serial line is often 8E1 or 8N2 where the manual is silent; a wrong frame
// shows as bad checksums or no answer at all.
//
// # What is refused
//
// Every answer must be whole, with the right checksum, from the unit asked, for
// the function asked; anything else is driver.Unreadable, and the next question
// waits until the line is quiet and no late answer can come: a response does not
// say which question it answers. After a time-out, too, the late answer is
// waited for, up to 1.4 time-outs after its question; a still later
// one cannot be told from a timely one. On a shared bus an answer must come
// within 0.7 of the time-out; the rest of it is kept to catch a late one before
// another instrument asks. An exception is driver.ErrRefused with its name.
//
// Open clips show as not-a-number, as an infinity, as the end of an integer's
// range or as a number that stands for none, and then are driver.Overload. A
// value that only another order of bytes can have made is driver.Impossible.
package modbus

import (
	"context"
	"errors"
	"fmt"
	"math"
	"time"

	"coilkeep/driver"
	"coilkeep/driver/internal/lines"
	"coilkeep/driver/internal/number"
)

func init() {
	driver.Register(driver.Driver{
		Name:       "modbus",
		Help:       "a transmitter that speaks Modbus RTU",
		SharesPort: true,
		Options: []driver.Option{
			{Name: "unit_id", Kind: driver.Integer, Default: int64(1), Help: "the transmitter's address on the bus, 1 to 247"},
			{Name: "table", Kind: driver.Text, Default: "input", OneOf: []string{"input", "holding"},
				Help: "input registers (function 4) or holding registers (function 3)"},
			{Name: "address", Kind: driver.Integer, Default: int64(0),
				Help: "address of the first register; register number 30001 or 40001 is address 0"},
			{Name: "type", Kind: driver.Text, Default: "float32", OneOf: []string{"float32", "int16", "uint16", "int32", "uint32"},
				Help: "what the registers hold"},
			{Name: "word_order", Kind: driver.Text, Default: big, OneOf: []string{big, little},
				Help: "big when the high word of a 32-bit value comes first"},
			{Name: "byte_order", Kind: driver.Text, Default: big, OneOf: []string{big, little},
				Help: "big when the high byte of each word comes first"},
			{Name: "scale", Kind: driver.Number, Default: 1.0, Help: "ohms (or degrees Celsius) for each unit of the value"},
			{Name: "offset", Kind: driver.Number, Default: 0.0, Help: "ohms (or degrees Celsius) added after scaling"},
			{Name: "status_address", Kind: driver.Integer, Default: int64(-1), Help: "address of a status register in the same table; -1 for none"},
			{Name: "status_open", Kind: driver.Integer, Default: int64(0),
				Help: "the bits of the status register any of which means overload or open leads, such as 0x0004"},
			{Name: "status_fault", Kind: driver.Integer, Default: int64(0),
				Help: "the bits of the status register any of which means that the value is not valid"},
		},
		Open: open,
	})
}

// The orders of words and bytes.
const (
	big    = "big"
	little = "little"
)

func order(lowFirst bool) string {
	if lowFirst {
		return little
	}
	return big
}

type instrument struct {
	conn     driver.Conn
	bytes    *lines.Reader
	quantity driver.Quantity
	timeout  time.Duration
	unit     byte
	function byte
	value    question
	format   Format
	status   *status // nil for a transmitter without

	last  []byte // the registers of the last value; nil when it did not come
	late  bool   // the last question was not answered as it should be
	more  bool   // bytes came behind the last answer
	asked time.Time
}

// question is a request and how many registers its answer has.
type question struct {
	request   []byte
	registers uint16
}

func open(_ context.Context, conn driver.Conn, s driver.Settings) (driver.Instrument, error) {
	unit, address := s.Options["unit_id"].(int64), s.Options["address"].(int64)
	f := Format{
		Type:         s.Options["type"].(string),
		LowWordFirst: s.Options["word_order"].(string) == little,
		LowByteFirst: s.Options["byte_order"].(string) == little,
		Scale:        s.Options["scale"].(float64),
		Offset:       s.Options["offset"].(float64),
	}
	function := byte(ReadInput)
	if s.Options["table"].(string) == "holding" {
		function = ReadHolding
	}
	if err := errors.Join(checkSettings(unit, address, f), checkStatus(s.Options)); err != nil {
		return nil, fmt.Errorf("%w: %w", driver.ErrSettings, err)
	}
	i := &instrument{
		conn:     conn,
		bytes:    lines.New(conn, s.Now),
		quantity: s.Quantity,
		timeout:  s.Timeout,
		unit:     byte(unit),
		function: function,
		format:   f,
	}
	i.value = i.question(uint16(address), f.Registers())
	if at := s.Options["status_address"].(int64); at >= 0 {
		i.status = &status{
			question: i.question(uint16(at), 1),
			open:     uint16(s.Options["status_open"].(int64)),
			fault:    uint16(s.Options["status_fault"].(int64)),
		}
	}
	return i, nil
}

func (i *instrument) question(address, registers uint16) question {
	return question{Request(i.unit, i.function, address, registers), registers}
}

func checkSettings(unit, address int64, f Format) error {
	registers := int64(f.Registers())
	switch {
	case unit < 1 || unit > 247:
		return fmt.Errorf("unit_id %d is not within 1 to 247", unit)
	case registers == 0:
		return fmt.Errorf("type %q is not one of float32, int16, uint16, int32, uint32", f.Type)
	case address < 0 || address+registers > 1<<16:
		return fmt.Errorf("address %d: %d registers from there are not within 0 to 65535", address, registers)
	case f.Scale == 0 || math.IsInf(f.Scale, 0) || math.IsNaN(f.Scale):
		return fmt.Errorf("scale %v makes every value alike", f.Scale)
	case math.IsInf(f.Offset, 0) || math.IsNaN(f.Offset):
		return fmt.Errorf("offset %v is not a number", f.Offset)
	}
	return nil
}

// Close implements driver.Instrument.
func (i *instrument) Close() error { return i.conn.Close() }

// Dropped implements driver.Dropper.
func (i *instrument) Dropped() int64 { return i.bytes.Dropped() }

// Reinterpret implements driver.Reinterpreter: the last value in the other
// orders.
func (i *instrument) Reinterpret() []driver.Reinterpretation {
	if i.last == nil {
		return nil
	}
	var others []driver.Reinterpretation
	for _, f := range i.format.OtherOrders() {
		r, err := f.Value(i.last, i.quantity)
		if err != nil {
			continue // cannot be: the registers were a value in the order set
		}
		options := driver.Options{}
		if f.LowWordFirst != i.format.LowWordFirst {
			options["word_order"] = order(f.LowWordFirst)
		}
		if f.LowByteFirst != i.format.LowByteFirst {
			options["byte_order"] = order(f.LowByteFirst)
		}
		others = append(others, driver.Reinterpretation{Options: options, Reading: r})
	}
	return others
}

// Read implements driver.Instrument. On a shared port it first waits for the
// exchange of another instrument to end; the time-out counts from then on.
func (i *instrument) Read(ctx context.Context) (driver.Reading, error) {
	shared, ok := i.conn.(driver.Locker)
	if !ok {
		return i.read(ctx, time.Now().Add(i.timeout), 1)
	}
	shared.Lock()
	defer shared.Unlock()
	deadline := time.Now().Add(i.timeout)
	r, err := i.read(ctx, deadline, 0.7)
	if i.late && (err == nil || errors.Is(err, driver.ErrSilent)) {
		// Others do not know that an answer is still to come, and could take it
		// for theirs: it has to come before the lock is given back.
		if n, lateErr := i.bytes.AwaitLate(ctx, deadline, deadline); lateErr == nil && n > 0 {
			i.late = false
		} else if lateErr != nil && !errors.Is(lateErr, driver.ErrSilent) {
			return driver.Reading{}, fmt.Errorf("wait for a late answer of unit %d: %w", i.unit, lateErr)
		}
	}
	return r, err
}

// read asks for the value and, where there is one, for the status. Each answer
// must come within a share of the time that is left until the deadline when it
// is asked for.
func (i *instrument) read(ctx context.Context, deadline time.Time, share float64) (driver.Reading, error) {
	i.last = nil
	registers, r, err := i.ask(ctx, i.value, deadline, share)
	if err != nil {
		return driver.Reading{}, fmt.Errorf("ask unit %d: %w", i.unit, err)
	}
	if r.Status == driver.Unreadable {
		return r, nil
	}
	value, err := i.format.Value(registers, i.quantity)
	if err != nil {
		return driver.Reading{}, fmt.Errorf("ask unit %d: %w", i.unit, err)
	}
	i.last = registers
	value.Time, value.Raw = r.Time, r.Raw
	if i.status == nil {
		return value, nil
	}
	// The status is asked for after the value: what is off when contact is made
	// is the first reading, which a capture does not use.
	registers, r, err = i.ask(ctx, i.status.question, deadline, share)
	if err != nil {
		return driver.Reading{}, fmt.Errorf("ask unit %d for its status: %w", i.unit, err)
	}
	value.Raw += ", status " + r.Raw
	if r.Status == driver.Unreadable {
		r.Time, r.Raw = value.Time, value.Raw
		return r, nil
	}
	return i.status.judge(registers, value), nil
}

// ask puts a question and returns the registers of its answer. The reading has
// the time and the bytes of the answer and is driver.Unreadable when they are
// none; else its status is empty. An exception is an error; it is an answer, so
// the next one belongs to the next question.
func (i *instrument) ask(ctx context.Context, q question, deadline time.Time, share float64) ([]byte, driver.Reading, error) {
	if err := i.settle(ctx, deadline); err != nil {
		return nil, driver.Reading{}, fmt.Errorf("before the question: %w", err)
	}
	left := share * float64(time.Until(deadline))
	frame, at, err := i.exchange(ctx, q, time.Now().Add(time.Duration(left)))
	if err != nil {
		return nil, driver.Reading{}, err
	}
	var r driver.Reading
	registers, err := ParseResponse(frame, i.unit, i.function, q.registers)
	if errors.Is(err, ErrFrame) {
		i.late = true
		r, err = number.Unreadable(err.Error()), nil
	}
	r.Time, r.Raw = at, fmt.Sprintf("% X", frame)
	return registers, r, err
}

// settle makes sure that no answer to an earlier question is still to come.
func (i *instrument) settle(ctx context.Context, deadline time.Time) error {
	var err error
	if i.late {
		_, err = i.bytes.AwaitLate(ctx, i.asked.Add(lines.Late(i.timeout)), deadline)
	} else if i.bytes.Discard() > 0 || i.more {
		// What arrived unasked may not have arrived whole.
		_, err = i.bytes.Quiet(ctx, lines.Gap, deadline)
	}
	if err == nil {
		i.late, i.more = false, false
	}
	return err
}

// exchange sends the request and returns the frame that comes, and when it was
// whole. A frame that stays too short is returned when the line is quiet.
func (i *instrument) exchange(ctx context.Context, q question, deadline time.Time) (frame []byte, at time.Time, err error) {
	i.late, i.asked = true, time.Now() // until a good answer is here
	if _, err := i.conn.Write(q.request); err != nil {
		return nil, time.Time{}, fmt.Errorf("send the request: %w", err)
	}
	until := deadline
	for {
		err := i.bytes.Receive(ctx, until)
		if errors.Is(err, driver.ErrSilent) && len(frame) > 0 {
			return frame, at, nil
		}
		if err != nil {
			return nil, time.Time{}, fmt.Errorf("wait for the response: %w", err)
		}
		var more []byte
		more, at = i.bytes.Bytes()
		frame = append(frame, more...)
		if length := ResponseLength(frame, q.registers); length > 0 && len(frame) >= length {
			i.late, i.more = false, len(frame) > length
			i.bytes.Drop(len(frame) - length)
			return frame[:length], at, nil
		}
		// The bytes of a frame follow each other without a pause (MODBUS over
		// Serial Line V1.02, 2.5.1.1); adapters add theirs.
		if gap := time.Now().Add(lines.Gap); gap.Before(deadline) {
			until = gap
		}
	}
}
