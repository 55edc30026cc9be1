package port

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"syscall"

	"go.bug.st/serial"
)

// findDevice returns the device behind a path, following links, or says why
// there is none.
func findDevice(path string) (string, error) {
	if isCOMName(path) {
		return path, checkCOMName(path)
	}
	device, err := filepath.EvalSymlinks(path)
	if err != nil {
		return "", explain(path, err)
	}
	info, err := os.Stat(device)
	if err != nil {
		return "", explain(device, err)
	}
	if info.Mode()&fs.ModeCharDevice == 0 {
		return "", settingsError("%s is not a serial device", device)
	}
	return device, nil
}

// isCOMName tells the two kinds of path that ParseAddress accepts apart.
func isCOMName(path string) bool { return !strings.HasPrefix(path, "/") }

// stillThere returns a function that says why the address no longer leads to
// the device that was opened; nil while it does.
func stillThere(address, device string) func() error {
	if isCOMName(device) {
		return nil // the system fails its reads
	}
	opened, openedErr := os.Stat(device)
	path := device
	if a, err := ParseAddress(address); err == nil && a.Kind == Device {
		path = a.Path
	}
	return func() error {
		now, err := os.Stat(path)
		if err := errors.Join(openedErr, err); err != nil {
			return fmt.Errorf("the device is gone: %w", err)
		}
		if !os.SameFile(opened, now) {
			return fmt.Errorf("another device took the place of %s", device)
		}
		return nil
	}
}

// explain turns an error of opening a device into one of this package's, with
// what to try.
func explain(path string, err error) error {
	var libraryErr *serial.PortError
	if errors.As(err, &libraryErr) {
		return explainLibrary(path, libraryErr)
	}
	switch {
	case errors.Is(err, fs.ErrPermission):
		return forbidden(path, err)
	case errors.Is(err, syscall.EBUSY):
		return busy(path)
	// A link or device file may outlive its device: no such file, device or
	// address, or input/output error.
	case errors.Is(err, fs.ErrNotExist), errors.Is(err, syscall.ENODEV), errors.Is(err, syscall.ENXIO), errors.Is(err, syscall.EIO):
		return missing(err)
	}
	return fmt.Errorf("%s: %w", path, err)
}

func explainLibrary(path string, err *serial.PortError) error {
	switch err.Code() {
	case serial.PortBusy:
		return busy(path)
	case serial.PortNotFound:
		return missing(err)
	case serial.PermissionDenied:
		return forbidden(path, err)
	case serial.InvalidSerialPort:
		return fmt.Errorf("%w: %s is not a working serial port: %w", ErrMissing, path, err)
	case serial.InvalidSpeed, serial.InvalidDataBits, serial.InvalidParity, serial.InvalidStopBits:
		return settingsError("%s cannot work with this baud or frame: %v", path, err)
	}
	return fmt.Errorf("%s: %w", path, err)
}

// missing names the ports that do exist. Whoever opens a port says which one.
func missing(cause error) error {
	var path *fs.PathError
	if errors.As(cause, &path) {
		cause = path.Err
	}
	ports, err := List()
	if err != nil {
		return fmt.Errorf("%w: %w (and the ports could not be listed: %w)", ErrMissing, cause, err)
	}
	return fmt.Errorf("%w: %w; %s", ErrMissing, cause, inventory(ports))
}

// inventory is the end of a sentence about what is plugged in.
func inventory(ports []Info) string {
	if len(ports) == 0 {
		return "no serial port is plugged in"
	}
	names := make([]string, len(ports))
	for i, p := range ports {
		names[i] = p.Path
		if p.Product != "" {
			names[i] += " (" + p.Product + ")"
		}
	}
	return "plugged in: " + strings.Join(names, ", ")
}

// busy names the programs that have the device open, where the system tells.
func busy(device string) error {
	holders := holders(device)
	if len(holders) == 0 {
		return fmt.Errorf("%w by another program: close it, or look for it as administrator", ErrBusy)
	}
	return fmt.Errorf("%w by %s", ErrBusy, strings.Join(holders, ", "))
}
