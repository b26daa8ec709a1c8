package recording

import (
	"context"
	"fmt"
	"io"
	"math"
	"slices"
)

// SteadyError says that a recording is not of a steady tone.
type SteadyError struct{ File, Msg string }

func (e *SteadyError) Error() string { return e.File + ": " + e.Msg }

// What a steady tone is: our rules.
const (
	leastWindows   = 4    // of WindowLength
	steadyWithin   = 0.02 // of the level, from window to window
	steadyLoudness = 0.5  // of the loudest: softer windows are before the tone, or after it
)

// Steady measures a recording of a tone of one level, as a signal generator makes it: the
// RMS, a share of full scale, of each of its windows. The sound before the tone and
// after it does not count.
func Steady(ctx context.Context, name string, r io.Reader, channel int) ([]float64, error) {
	s, err := Open(name, &stoppable{ctx, r}, max(1, channel))
	if err != nil {
		return nil, err
	}
	window := make([]float64, int(math.Round(WindowLength.Seconds()*float64(s.Format().Rate))))
	var all []float64
	for filled := 0; ; {
		n, err := s.Read(window[filled:])
		if filled += n; filled == len(window) {
			rms, _ := rmsOf(window)
			all, filled = append(all, rms), 0
		}
		if err == io.EOF {
			break
		}
		if err != nil {
			return nil, err
		}
	}
	return steadyOf(name, all)
}

// steadyOf is the windows that are of a tone.
func steadyOf(name string, all []float64) ([]float64, error) {
	fail := func(format string, args ...any) ([]float64, error) {
		return nil, &SteadyError{name, fmt.Sprintf(format, args...)}
	}
	if len(all) == 0 {
		return fail("expected a tone of %d s or more, got less than a window of %v", leastWindows/2+1, WindowLength)
	}
	loudest := slices.Max(all)
	first := slices.IndexFunc(all, func(v float64) bool { return v >= steadyLoudness*loudest })
	last := len(all)
	for last > first && all[last-1] < steadyLoudness*loudest {
		last--
	}
	tone := all[first:last]
	if len(tone) > 2 { // the windows in which the tone begins and ends
		tone = tone[1 : len(tone)-1]
	}
	if len(tone) < leastWindows {
		return fail("expected a tone of %d s or more, got %d windows of %v", leastWindows/2+1, len(tone), WindowLength)
	}
	if low, high := slices.Min(tone), slices.Max(tone); high > (1+steadyWithin)*low {
		return fail("expected a tone of one level, got one that goes from %.5g to %.5g of full scale", low, high)
	}
	return tone, nil
}
