package record

import (
	"strings"
	"testing"
)

// Whatever an instrument says, its label can be kept.
func TestLabel(t *testing.T) {
	for _, c := range []struct{ text, want string }{
		{"Elder Vale,EV-41,0007,1.2", "Elder Vale,EV-41,0007,1.2"},
		{" Elder Vale,EV-41 \r\n", "Elder Vale,EV-41"},
		{"Elder\x00Vale\xff,Ω", "Elder Vale ,Ω"},
		{"\x01\x02", ""},
		{strings.Repeat("x", 300), strings.Repeat("x", 256)},
	} {
		got := Label(c.text)
		if got != c.want {
			t.Errorf("Label(%.30q) = %.30q, want %.30q", c.text, got, c.want)
		}
		if err := ValidateLabel("meter", got); err != nil {
			t.Errorf("Label(%.30q) cannot be kept: %v", c.text, err)
		}
	}
}
