//go:build windows || (darwin && cgo)

package port

import "go.bug.st/serial/enumerator"

const identifiesUSB = true

func enumerate() ([]Info, error) {
	details, err := enumerator.GetDetailedPortsList()
	if err != nil {
		return nil, err
	}
	ports := make([]Info, len(details))
	for i, d := range details {
		ports[i] = Info{
			Path: d.Name, VID: d.VID, PID: d.PID, Serial: d.SerialNumber,
			Manufacturer: d.Manufacturer, Product: d.Product,
		}
	}
	return ports, nil
}
