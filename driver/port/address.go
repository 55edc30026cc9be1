package port

import (
	"fmt"
	"net"
	"regexp"
	"strconv"
	"strings"
	"unicode"
)

// AddressKind tells the ways to name a port apart.
type AddressKind int

const (
	Device AddressKind = iota // a device path or COM name
	USB                       // a USB identity
	TCP                       // a serial server
)

// Address is a port's name, taken apart.
type Address struct {
	Kind AddressKind
	// Path is the device path or COM name of a Device.
	Path string
	// VID and PID are the vendor and product of a USB adapter as four
	// upper-case hexadecimal digits; Serial is its serial number, empty when
	// any will do.
	VID, PID, Serial string
	// Host and Port are the server of a TCP address.
	Host string
	Port int
}

var (
	comName = regexp.MustCompile(`^(?i:(?:\\\\\.\\)?COM)([1-9][0-9]{0,3})$`)
	usbID   = regexp.MustCompile(`^[0-9A-Fa-f]{4}$`)
)

// ParseAddress understands a device path (/dev/ttyUSB0), a COM name (COM3), a
// USB identity (usb:VID:PID or usb:VID:PID:SERIAL) and a serial server
// (tcp:HOST:PORT). It does not look whether the port exists. Errors wrap
// driver.ErrSettings.
func ParseAddress(text string) (Address, error) {
	if i := strings.IndexFunc(text, func(r rune) bool { return !unicode.IsPrint(r) }); i >= 0 {
		return Address{}, settingsError("port = %q: has a character that cannot be printed", text)
	}
	if rest, ok := strings.CutPrefix(text, "usb:"); ok {
		return parseUSB(text, rest)
	}
	if rest, ok := strings.CutPrefix(text, "tcp:"); ok {
		return parseTCP(text, rest)
	}
	if com := comName.FindStringSubmatch(text); com != nil {
		return Address{Kind: Device, Path: "COM" + com[1]}, nil
	}
	if strings.HasPrefix(text, "/") {
		return Address{Kind: Device, Path: text}, nil
	}
	return Address{}, settingsError("port = %q: want a device path (/dev/ttyUSB0), a COM name (COM3), "+
		"usb:VID:PID[:SERIAL] or tcp:HOST:PORT", text)
}

func parseUSB(text, rest string) (Address, error) {
	parts := strings.SplitN(rest, ":", 3)
	if len(parts) < 2 || !usbID.MatchString(parts[0]) || !usbID.MatchString(parts[1]) {
		return Address{}, settingsError("port = %q: want usb:VID:PID[:SERIAL] with four hexadecimal digits for vendor and product, "+
			"for example usb:1A2B:0001", text)
	}
	a := Address{Kind: USB, VID: strings.ToUpper(parts[0]), PID: strings.ToUpper(parts[1])}
	if len(parts) == 3 {
		a.Serial = parts[2]
		if a.Serial == "" {
			return Address{}, settingsError("port = %q: the serial number is empty; leave its colon out to take any", text)
		}
	}
	return a, nil
}

func parseTCP(text, rest string) (Address, error) {
	host, digits, err := net.SplitHostPort(rest)
	number, numberErr := strconv.ParseUint(digits, 10, 16)
	if err != nil || numberErr != nil || host == "" || number == 0 {
		return Address{}, settingsError("port = %q: want tcp:HOST:PORT with a port number from 1 to 65535, "+
			"for example tcp:192.0.2.7:4001 or tcp:[2001:db8::7]:4001", text)
	}
	return Address{Kind: TCP, Host: strings.ToLower(host), Port: int(number)}, nil
}

// String is the address as [ParseAddress] takes it.
func (a Address) String() string {
	switch a.Kind {
	case USB:
		text := fmt.Sprintf("usb:%s:%s", a.VID, a.PID)
		if a.Serial != "" {
			text += ":" + a.Serial
		}
		return text
	case TCP:
		return "tcp:" + a.hostPort()
	default:
		return a.Path
	}
}

func (a Address) hostPort() string { return net.JoinHostPort(a.Host, strconv.Itoa(a.Port)) }
