package jig

import (
	"errors"
	"fmt"
	"io"
	"io/fs"
	"runtime"

	"go.bug.st/serial"
)

// DefaultBaud is the rate of a jig on a plain serial port, in bit/s. A USB
// serial port ignores it.
const DefaultBaud = 115200

// PortInfo describes a serial port of this machine. What a system does not
// tell is empty.
type PortInfo struct {
	Name    string `json:"name"` // what Open takes
	USB     bool   `json:"usb"`
	VID     string `json:"vid"`    // USB vendor, four hex digits
	PID     string `json:"pid"`    // USB product, four hex digits
	Serial  string `json:"serial"` // USB serial number
	Product string `json:"product"`
}

// Open opens a serial port: 8 data bits, no parity, 1 stop bit, at baud bit/s
// or at DefaultBaud when that is 0. Reads wait for at least one byte; Close
// ends a read that waits. Errors are *PortError: ErrNoPort, ErrPortBusy,
// ErrPermission, ErrNotSerial, or what the system said.
func Open(name string, baud int) (io.ReadWriteCloser, error) {
	if baud == 0 {
		baud = DefaultBaud
	}
	port, err := serial.Open(name, &serial.Mode{BaudRate: baud, DataBits: 8})
	if err != nil {
		return nil, &PortError{name, explain(err, runtime.GOOS)}
	}
	return port, nil
}

// explain puts what the serial library says into our words.
func explain(err error, system string) error {
	var pe *serial.PortError
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return ErrNoPort
	case errors.Is(err, fs.ErrPermission):
		return permission(system)
	case !errors.As(err, &pe):
		return err
	}
	switch pe.Code() {
	case serial.PortNotFound:
		return ErrNoPort
	case serial.PortBusy:
		return ErrPortBusy
	case serial.PermissionDenied:
		return permission(system)
	case serial.InvalidSerialPort:
		return ErrNotSerial
	}
	return err
}

// permission says what to do where one cannot guess it.
func permission(system string) error {
	if system != "linux" {
		return ErrPermission
	}
	return fmt.Errorf("%w; add the user to the group that owns the port (often %q), then log in again", ErrPermission, "dialout")
}

func listError(err error) error { return fmt.Errorf("list serial ports: %w", err) }
