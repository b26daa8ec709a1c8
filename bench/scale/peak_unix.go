//go:build unix

package main

import (
	"os"
	"runtime"
	"syscall"
)

// peakOf is the most memory that a process had, MB.
func peakOf(s *os.ProcessState) float64 {
	r, ok := s.SysUsage().(*syscall.Rusage)
	switch {
	case !ok:
		return 0
	case runtime.GOOS == "darwin": // bytes there, KB elsewhere
		return float64(r.Maxrss) / 1e6
	}
	return float64(r.Maxrss) / 1e3
}
