package modbus

import (
	"encoding/binary"
	"fmt"
	"math"

	"coilkeep/driver"
	"coilkeep/driver/internal/number"
)

// status is the register in which a transmitter says what its value is worth.
type status struct {
	question
	// open and fault are the bits any of which means that the input is open or
	// out of range, and that the value is not valid.
	open, fault uint16
}

func checkStatus(o driver.Options) error {
	address, open, fault := o["status_address"].(int64), o["status_open"].(int64), o["status_fault"].(int64)
	switch {
	case address < -1 || address > math.MaxUint16:
		return fmt.Errorf("status_address %d is not within 0 to 65535, and not -1 for none", address)
	case open < 0 || open > math.MaxUint16 || fault < 0 || fault > math.MaxUint16:
		return fmt.Errorf("status_open %#x, status_fault %#x: bits of one register are 0x0000 to 0xffff", open, fault)
	case address >= 0 && open == 0 && fault == 0:
		return fmt.Errorf("status_address %d without status_open or status_fault: say which bits mean something", address)
	case address < 0 && (open != 0 || fault != 0):
		return fmt.Errorf("status_open and status_fault need a status_address")
	}
	return nil
}

// judge makes of a reading what the status register says of it. Its high byte
// comes first, whatever the order of the value. Open goes before fault: many a
// transmitter calls an open input both.
func (s *status) judge(register []byte, r driver.Reading) driver.Reading {
	bits := binary.BigEndian.Uint16(register)
	judged := r
	switch {
	case bits&s.open != 0:
		judged = number.Overload()
	case bits&s.fault != 0:
		judged = number.Impossible(fmt.Sprintf("its status register shows %#04x: the value is not valid (status_fault = %#04x)", bits, s.fault))
	}
	judged.Time, judged.Raw = r.Time, r.Raw
	return judged
}
