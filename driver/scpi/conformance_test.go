package scpi_test

import (
	"bytes"
	"fmt"
	"testing"

	"coilkeep/driver"
	"coilkeep/driver/drivertest"
)

// respond plays a meter that knows the given commands besides READ?.
func respond(answers map[string]string) func(sent []byte) (int, drivertest.Response) {
	return func(sent []byte) (int, drivertest.Response) {
		end := bytes.IndexByte(sent, '\n')
		if end < 0 {
			return 0, drivertest.Response{}
		}
		message := string(sent[:end])
		return end + 1, drivertest.Response{Value: message == "READ?", Bytes: []byte(answers[message])}
	}
}

func TestConformance(t *testing.T) {
	d, _ := driver.Lookup("scpi")
	for name, answers := range map[string]map[string]string{
		"full":        {"*IDN?": identity + "\n", "SYST:ERR?": "0,\"No error\"\n", "FUNC?": "\"RES\"\n"},
		"no function": {"*IDN?": identity + "\n", "SYST:ERR?": "0,\"No error\"\n"},
		"no queue":    {"*IDN?": identity + "\n"},
		"no identity": nil,
	} {
		t.Run(name, func(t *testing.T) {
			drivertest.Conformance(t, d, drivertest.Peer{
				Answer:   func(value float64) []byte { return fmt.Appendf(nil, "%+.3E\n", value) },
				Respond:  respond(answers),
				Overload: []byte("+9.90000000E+37\n"),
			})
		})
	}
}
