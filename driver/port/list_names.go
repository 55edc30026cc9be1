//go:build !linux && !windows && !(darwin && cgo)

package port

import "go.bug.st/serial"

// identifiesUSB is false: without cgo the serial library's enumerator does not
// build on macOS, so this build knows the names of the ports only.
const identifiesUSB = false

func enumerate() ([]Info, error) {
	names, err := serial.GetPortsList()
	if err != nil {
		return nil, err
	}
	ports := make([]Info, len(names))
	for i, name := range names {
		ports[i] = Info{Path: name}
	}
	return ports, nil
}
