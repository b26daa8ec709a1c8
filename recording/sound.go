// Package recording finds plucks of strings in recorded sound and measures them as a jig
// does: string, level over a window, peak, frequency, the quiet level before, and what
// is wrong with a take. It knows nothing of pickups, shops or files of takes.
//
// Levels are shares of the file's full scale: a recorder's millivolts are not known.
//
// The way through the package, in the order in which data flow:
//
//   - sound.go: a recording as samples, whatever its format ([Sound]), and where a damaged one
//     is damaged ([FormatError]); wav.go, flac.go: the formats; open.go: [Open].
//   - options.go: what to listen for ([Options]), and what is found ([Pluck]).
//   - spectrum.go: power spectra, means and RMS.
//   - onset.go: where the sound changes (frames), by published methods that are named there.
//   - pitch.go: the pitch of a piece of sound (tuner), likewise.
//   - envelope.go: the outline of a recording, to be drawn ([Envelope]).
//   - listener.go: what a [Listener] keeps of sound as it comes, and how quiet it is at rest;
//     releases.go: which changes of the sound are plucks; flags.go: what is wrong with a
//     take; measure.go: plucks in their windows, and which string it was ([Listener.Hear]).
//   - recording.go: [Hear], all of a recording.
//   - steady.go: the level of a steady tone ([Steady]), by which a recorder is calibrated.
//
// Package soundtest makes recordings for tests; bench/plucks measures how well plucks are
// found, also in sampled strings. The figures here were set by ear and eye on a few of
// these; both programs draw others each time they are given another seed.
package recording

import (
	"bufio"
	"fmt"
	"io"
)

// Sound is a recording as it is read: one channel of it, as samples of which 1 is the
// file's full scale. Floating-point files may have larger ones.
type Sound interface {
	// Format says what the file said of itself.
	Format() Format
	// Read reads samples as they come, and returns how many; io.EOF comes with the end.
	// An error that says that the file is damaged is a *FormatError.
	Read(dst []float64) (n int, err error)
	// Loudest is the largest magnitude so far of each of the file's channels.
	Loudest() []float64
	// Notices are what there is to say of a file that ended otherwise than it said.
	Notices() []string
}

// Format says how sound is stored.
type Format struct {
	Kind     string // "WAV" or "FLAC"
	Rate     int    // samples a second
	Channels int
	Bits     int  // of a sample
	Float    bool // floating point: full scale is no limit
	Channel  int  // the one that is read, 1 is the first
}

// String says "WAV, 24 bits, 48000 Hz, channel 1 of 2".
func (f Format) String() string {
	bits := fmt.Sprintf("%d bits", f.Bits)
	if f.Float {
		bits += " floating point"
	}
	return fmt.Sprintf("%s, %s, %d Hz, channel %d of %d", f.Kind, bits, f.Rate, f.Channel, f.Channels)
}

// Limits of what is read: a slower one has no tone of a guitar's string, and nobody
// records faster.
const (
	leastRate, mostRate = 8000, 1_000_000
	mostChannels        = 64
)

// FormatError says that a file is no recording, or a damaged one.
type FormatError struct {
	File   string
	Offset int64 // of the byte at which that was seen, 0 is the first
	Msg    string
}

// Error returns "FILE: byte 36: message".
func (e *FormatError) Error() string { return fmt.Sprintf("%s: byte %d: %s", e.File, e.Offset, e.Msg) }

// checkFormat refuses what cannot be listened to.
func (in *input) checkFormat(f Format) error {
	switch {
	case f.Rate < leastRate || f.Rate > mostRate:
		return in.fail("expected a rate from %d to %d Hz, got %d", leastRate, mostRate, f.Rate)
	case f.Channels < 1 || f.Channels > mostChannels:
		return in.fail("expected 1 to %d channels, got %d", mostChannels, f.Channels)
	case f.Channel < 1 || f.Channel > f.Channels:
		return &ChannelError{in.name, f.Channel, f.Channels}
	}
	return nil
}

// ChannelError says that the recording has no such channel.
type ChannelError struct {
	File           string
	Asked, Channel int
}

func (e *ChannelError) Error() string {
	return fmt.Sprintf("%s: expected a channel from 1 to %d, got %d", e.File, e.Channel, e.Asked)
}

// counter counts the bytes that were read.
type counter struct {
	r io.Reader
	n int64
}

func (c *counter) Read(p []byte) (int, error) {
	n, err := c.r.Read(p)
	c.n += int64(n)
	return n, err
}

// input is the bytes of a file, and where in it they stand.
type input struct {
	name  string
	b     *bufio.Reader
	under *counter
}

// at is the offset of the byte that is read next.
func (in *input) at() int64 { return in.under.n - int64(in.b.Buffered()) }

func (in *input) fail(format string, args ...any) error { return in.failAt(in.at(), format, args...) }

func (in *input) failAt(at int64, format string, args ...any) error {
	return &FormatError{in.name, at, fmt.Sprintf(format, args...)}
}

// full fills dst; the end of the file in the midst of it is a mistake of the file.
func (in *input) full(dst []byte, what string) error {
	n, err := io.ReadFull(in.b, dst)
	if err == io.EOF || err == io.ErrUnexpectedEOF {
		return in.fail("expected %d bytes of %s, got %d and the end of the file", len(dst), what, n)
	}
	return err
}

// levels follows how loud channels are.
type levels []float64

func (l levels) hear(channel int, x float64) { l[channel] = max(l[channel], x, -x) }
