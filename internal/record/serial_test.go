package record

import (
	"errors"
	"testing"
)

func TestValidateSerialPattern(t *testing.T) {
	t.Parallel()
	for _, bad := range []string{"", "HN", "HN-%d", "HN-%4d", "HN-%0d", "HN-%00d", "HN-%016d", "HN-%04x", "%02d-%02d", "HN-%", "HN-%04",
		"%+04d", "%s%04d", " %04d", "\n%04d"} {
		if err := ValidateSerialPattern(bad); !errors.Is(err, ErrInvalid) {
			t.Errorf("%q: %v, want ErrInvalid", bad, err)
		}
	}
	for _, good := range []string{"HN-%04d", "%01d", "%015d", "100%%-%02d", "d%02d"} {
		if err := ValidateSerialPattern(good); err != nil {
			t.Errorf("%q: %v", good, err)
		}
	}
}

func FuzzSerialPattern(f *testing.F) {
	for _, seed := range []string{"HN-%04d", "%%%02d-b", "%d", "x%015dy", "%0999999999d", "%04d%"} {
		f.Add(seed, uint64(42))
	}
	f.Fuzz(func(t *testing.T, pattern string, number uint64) {
		p, err := ParseSerialPattern(pattern)
		if err != nil {
			return
		}
		number %= 1e15
		serial := p.Format(number)
		if got, ok := p.Number(serial); !ok || got != number {
			t.Errorf("pattern %q made %q of %d, read back as %d, %v", pattern, serial, number, got, ok)
		}
	})
}

func TestSerialNumber(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		pattern, serial string
		want            uint64
		made            bool
	}{
		{"HN-%04d", "HN-0042", 42, true},
		{"HN-%04d", "hn-0042", 42, true},
		{"HN-%04d", "A-17", 0, false},
		{"HN-%04d", "HN-042", 0, false},
		{"HN", "HN", 0, false},
	} {
		if got, made := SerialNumber(c.pattern, c.serial); made != c.made || made && got != c.want {
			t.Errorf("%s of %s: %d, %t; want %d, %t", c.serial, c.pattern, got, made, c.want, c.made)
		}
	}
}

func TestRemarkOnSerial(t *testing.T) {
	t.Parallel()
	for serial, want := range map[string]string{
		"HN-0025": "", "HN-0035": "", "HN-0004": "",
		"HN-0036": "HN-0036 is 11 beyond HN-0025, and the count will go on from HN-0037",
		"H N;--":  "H N;-- is of another form than HN-%04d, so the count stays at HN-0025",
	} {
		if got := RemarkOnSerial("HN-%04d", "HN-0025", serial); got != want {
			t.Errorf("%s: %q, want %q", serial, got, want)
		}
	}
}
