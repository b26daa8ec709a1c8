package recording

import (
	"time"

	"evenpole/jig"
)

// Where a take's window lies, as the notes for firmware writers have it: it begins
// after the pick's own noise.
const (
	WindowDelay  = 20 * time.Millisecond  // after the release
	WindowLength = 500 * time.Millisecond // of a take that nothing cut short
)

// Options says what to listen for.
type Options struct {
	Notes   []float64 // Hz of each string's note, string 1 first; 0 where it is not known
	Only    int       // all plucks are of this string, whatever their pitch; 0 tells them by pitch
	Channel int       // of the file; 0: the first
}

// Pluck is one pluck that was found. Levels are shares of the file's full scale.
type Pluck struct {
	Release time.Duration // since the beginning of the recording
	Window  time.Duration // over which it was measured, from WindowDelay after the release
	String  int           // by its pitch; of a pitch that is no string's the nearest; 0 without any
	Freq    float64       // Hz, fundamental; 0 when there is no pitch
	RMS     float64       // over the window, with the mean removed
	Peak    float64       // largest magnitude in the window, with the mean removed
	Quiet   float64       // RMS of the quietest tenth of a second before it
	Hum     float64       // Hz of the mains, where their hum is too near to the level; else 0
	Flags   jig.Flags
	Notes   []string // what is wrong with it, in words, beside the flags
}

// fault flags a pluck as a jig's mechanical fault, and says why.
func (p *Pluck) fault(why string) {
	p.Flags |= jig.Fault
	p.Notes = append(p.Notes, why)
}
