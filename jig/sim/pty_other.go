//go:build !linux && !darwin

package sim

// Terminal returns a port in process: this system has no pseudo-terminals.
func Terminal() (*Term, error) { return InProcess(), nil }
