//go:build darwin && !cgo

package jig

import "go.bug.st/serial"

// List returns the names of the serial ports of this machine. What USB says of
// them can be had on macOS in a build with cgo only.
func List() ([]PortInfo, error) {
	names, err := serial.GetPortsList()
	if err != nil {
		return nil, listError(err)
	}
	ports := make([]PortInfo, len(names))
	for i, name := range names {
		ports[i].Name = name
	}
	return ports, nil
}
