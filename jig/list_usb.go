//go:build !darwin || cgo

package jig

import "go.bug.st/serial/enumerator"

// List returns the serial ports of this machine, with what USB says of them.
// On macOS that takes a build with cgo; without it List gives only the names.
func List() ([]PortInfo, error) {
	found, err := enumerator.GetDetailedPortsList()
	if err != nil {
		return nil, listError(err)
	}
	var ports []PortInfo
	for _, p := range found {
		if p.Name == "" { // of a port without a device, which Linux may list
			continue
		}
		ports = append(ports, PortInfo{
			Name: p.Name, USB: p.IsUSB, VID: p.VID, PID: p.PID,
			Serial: p.SerialNumber, Product: p.Product,
		})
	}
	return ports, nil
}
