package line_test

import (
	"bytes"
	"fmt"
	"strings"
	"testing"

	"coilkeep/driver"
	"coilkeep/driver/drivertest"
)

func TestConformanceFreeRunning(t *testing.T) {
	d, _ := driver.Lookup("line")
	drivertest.Conformance(t, d, drivertest.Peer{
		Answer:   func(value float64) []byte { return fmt.Appendf(nil, "R=%+.0f ohm\r\n", value) },
		Overload: []byte("R=OL ohm\r\n"),
	})
}

func TestConformancePrompted(t *testing.T) {
	d, _ := driver.Lookup("line")
	drivertest.Conformance(t, d, drivertest.Peer{
		Quantity: driver.Temperature,
		Options:  driver.Options{"prompt": "T?\r", "pattern": `^T: (?P<value>\S+) (?P<unit>.+)$`},
		Answer:   func(value float64) []byte { return fmt.Appendf(nil, "T: %.2f \xb0C\r", value) },
		Respond: func(sent []byte) (int, drivertest.Response) {
			if end := bytes.IndexByte(sent, '\r'); end >= 0 {
				return end + 1, drivertest.Response{Value: true}
			}
			return 0, drivertest.Response{}
		},
		Overload: []byte("T: --.-- \xb0C\r"),
	})
}

func TestConformanceFields(t *testing.T) {
	d, _ := driver.Lookup("line")
	drivertest.Conformance(t, d, drivertest.Peer{
		Answer:   func(value float64) []byte { return fmt.Appendf(nil, "000123,%+.4E,OHM,0\r\n", value) },
		Overload: []byte("000124,+9.9E+37,OHM,1\r\n"),
	})
	drivertest.Conformance(t, d, drivertest.Peer{
		Quantity: driver.Temperature,
		Options:  driver.Options{"prompt": "?\n"},
		Answer: func(value float64) []byte {
			return []byte("CH1;" + strings.Replace(fmt.Sprintf("%.2f", value), ".", ",", 1) + ";degC\n")
		},
		Respond: func(sent []byte) (int, drivertest.Response) {
			if end := bytes.IndexByte(sent, '\n'); end >= 0 {
				return end + 1, drivertest.Response{Value: true}
			}
			return 0, drivertest.Response{}
		},
		Overload: []byte("CH1;OL;degC\n"),
	})
}
