package port

import (
	"fmt"
	"slices"
	"strings"
)

// Info is one serial port that is plugged in.
type Info struct {
	// Path is the device path or COM name.
	Path string `json:"path"`
	// Address is what to write into a configuration: the USB identity when
	// only one port has it, so that another socket or order of plugging in
	// does not matter, and otherwise the path.
	Address string `json:"address"`
	// VID and PID are four upper-case hexadecimal digits, empty for a port
	// that is not USB or whose identity this build cannot read. The others are
	// what the adapter says of itself, often nothing.
	VID          string `json:"vid,omitempty"`
	PID          string `json:"pid,omitempty"`
	Serial       string `json:"serial,omitempty"`
	Manufacturer string `json:"manufacturer,omitempty"`
	Product      string `json:"product,omitempty"`
}

// List returns the serial ports that are plugged in, sorted by path. It opens
// none of them where the system can be asked without: on Linux, macOS and
// Windows. On macOS a build without cgo knows no USB identities.
func List() ([]Info, error) {
	ports, err := enumerate()
	if err != nil {
		return nil, fmt.Errorf("list serial ports: %w", err)
	}
	slices.SortFunc(ports, func(a, b Info) int { return strings.Compare(a.Path, b.Path) })
	for i := range ports {
		ports[i].Address = bestAddress(ports[i], ports)
	}
	return ports, nil
}

// bestAddress is the address that names p among ports and keeps doing so.
func bestAddress(p Info, ports []Info) string {
	usb := Address{Kind: USB, VID: p.VID, PID: p.PID, Serial: p.Serial}
	parsed, err := ParseAddress(usb.String())
	if p.VID == "" || err != nil || parsed != usb || len(matching(usb, ports)) != 1 {
		return p.Path
	}
	return usb.String()
}

// matching returns the ports that a USB address fits.
func matching(a Address, ports []Info) []Info {
	var fit []Info
	for _, p := range ports {
		if p.VID == a.VID && p.PID == a.PID && (a.Serial == "" || p.Serial == a.Serial) {
			fit = append(fit, p)
		}
	}
	return fit
}

// findUSB returns the path of the one port that a USB address fits.
func findUSB(a Address, list func() ([]Info, error)) (string, error) {
	if !identifiesUSB {
		return "", settingsError("%s: this build cannot read USB identities (on macOS that needs cgo); "+
			"give the device path instead, for example /dev/cu.usbserial-1", a)
	}
	ports, err := list()
	if err != nil {
		return "", err
	}
	fit := matching(a, ports)
	switch {
	case len(fit) == 0:
		return "", fmt.Errorf("%w: %s is not plugged in; %s", ErrMissing, a, inventory(ports))
	case len(fit) > 1 && a.Serial == "":
		return "", fmt.Errorf("%w %s: add the serial number; %s", ErrAmbiguous, a, inventory(fit))
	case len(fit) > 1:
		return "", fmt.Errorf("%w %s: give the device path; %s", ErrAmbiguous, a, inventory(fit))
	}
	return fit[0].Path, nil
}
