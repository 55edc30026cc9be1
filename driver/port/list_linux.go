package port

import (
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
)

const identifiesUSB = true

// enumerate reads sysfs. The serial library's own list opens every on-board
// port to see whether it is real, which resets the line settings of one that
// is in use.
func enumerate() ([]Info, error) { return enumerateIn("/sys", "/dev") }

func enumerateIn(sys, dev string) ([]Info, error) {
	class := filepath.Join(sys, "class", "tty")
	entries, err := os.ReadDir(class)
	if errors.Is(err, fs.ErrNotExist) {
		return nil, nil // a system without terminals has no serial ports
	}
	if err != nil {
		return nil, err
	}
	var ports []Info
	for _, entry := range entries {
		node := filepath.Join(class, entry.Name())
		// Only a terminal with hardware behind it has this link.
		device, err := filepath.EvalSymlinks(filepath.Join(node, "device"))
		if err != nil || placeholder(node) {
			continue
		}
		info := Info{Path: filepath.Join(dev, entry.Name())}
		identify(&info, device, sys)
		ports = append(ports, info)
	}
	return ports, nil
}

// placeholder tells whether a terminal is one of the on-board ports the kernel
// reserves and the machine lacks: its UART type is PORT_UNKNOWN, 0 in Linux
// <linux/serial_core.h>. Other terminals have no type.
func placeholder(node string) bool { return attribute(node, "type") == "0" }

// identify fills in the USB identity from the nearest device above that has
// one, as Documentation/ABI/stable/sysfs-bus-usb of Linux names it.
func identify(info *Info, device, sys string) {
	for dir := device; len(dir) > len(sys); dir = filepath.Dir(dir) {
		if vid := attribute(dir, "idVendor"); vid != "" {
			info.VID, info.PID = strings.ToUpper(vid), strings.ToUpper(attribute(dir, "idProduct"))
			info.Serial = attribute(dir, "serial")
			info.Manufacturer, info.Product = attribute(dir, "manufacturer"), attribute(dir, "product")
			return
		}
	}
}

// attribute is the text of a file in sysfs; empty when there is none, or when
// the device goes away while it is read.
func attribute(dir, name string) string {
	text, err := os.ReadFile(filepath.Join(dir, name))
	if err != nil {
		return ""
	}
	return strings.TrimSpace(string(text))
}
