package jig

import (
	"errors"
	"fmt"
)

// What a [PortError] can be about.
var (
	ErrNoPort       = errors.New("does not exist")
	ErrPortBusy     = errors.New("is in use by another program")
	ErrPermission   = errors.New("may not be opened by this user")
	ErrNotSerial    = errors.New("is not a serial port")
	ErrSilent       = errors.New("jig is silent")
	ErrUnplugged    = errors.New("port was unplugged or lost")
	ErrUnresponsive = errors.New("jig is alive but does not do what it is asked")
	ErrOtherJig     = errors.New("another jig is on the port")
	ErrClosed       = errors.New("port was closed")
)

// PortError is a failure of the port, or of the jig behind it as a whole. The
// record is as good as it was: open the port again and go on.
type PortError struct {
	Port string
	Err  error // wraps one of the errors above, or what the system said
}

func (e *PortError) Error() string { return fmt.Sprintf("port %q: %v", e.Port, e.Err) }

// Unwrap returns the cause.
func (e *PortError) Unwrap() error { return e.Err }

// RestartError says that the jig has started again: what was running is not
// finished, and [Conn.Reattach] is due.
type RestartError struct {
	Port string
	Was  Boot
	Now  Boot
}

func (e *RestartError) Error() string {
	return fmt.Sprintf("port %q: jig restarted: boot was %s, is %s", e.Port, e.Was, e.Now)
}

// CommandError is a jig's refusal or failure of a command. What came before it
// stays.
type CommandError struct {
	Command Command
	Code    Code
	Text    string // the jig's own words
}

func (e *CommandError) Error() string {
	s := fmt.Sprintf("%s: %s", e.Command.words(), e.Code)
	if e.Text != "" {
		s += fmt.Sprintf(": %q", e.Text)
	}
	return s
}

// String names the reason for people.
func (c Code) String() string {
	names := [...]string{"done", "unknown command", "bad argument", "not available",
		"mechanical fault", "stopped", "busy"}
	if c >= 0 && int(c) < len(names) {
		return names[c]
	}
	return fmt.Sprintf("code %d", int(c))
}
