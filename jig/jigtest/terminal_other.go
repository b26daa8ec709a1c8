//go:build !linux && !darwin

package jigtest

import (
	"errors"
	"fmt"
	"runtime"
)

// OpenTerminal is not to be had here.
func OpenTerminal() (*Terminal, error) {
	return nil, fmt.Errorf("a pseudo-terminal on %s: %w", runtime.GOOS, errors.ErrUnsupported)
}
