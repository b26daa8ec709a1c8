package recording

import (
	"math"
	"slices"
	"time"
)

// Listener finds plucks in sound as it comes. What it keeps of the sound is some
// seconds, however long a recording is.
type Listener struct {
	format Format
	opt    Options
	rate   float64
	frames *frames
	tuner  *tuner

	sound []float64 // the last of it
	from  int       // which sample of the recording is the first of these
	heard int       // samples in all

	due    []int // releases of plucks that are not measured yet, samples
	others []int // later releases within a window, which belong to the first of due
	ended  bool

	calm     []calmBlock
	looked   int // frames that were looked at for onsets
	last     int // release of the last onset, sample; -1 for none
	envelope Envelope
	noises   int
	wide     *spectra // of a window, to tell partials apart
}

// How far the listener looks, s.
const (
	quietBlock   = 0.1  // whole periods of mains of 50 and of 60 Hz
	quietReach   = 8.0  // before a pluck
	quietClear   = 0.03 // right before a pluck, where the finger is on the string
	doubleWithin = 0.25 // a second onset so soon is of the same stroke
	wideSeconds  = 0.4  // of sound in the spectrum by which partials are told apart
	lookAhead    = 0.15 // beyond a window's end, until which onsets in it are known
)

// Listen returns a listener to sound of a format.
func Listen(f Format, opt Options) *Listener {
	l := &Listener{format: f, opt: opt, rate: float64(f.Rate), frames: newFrames(f.Rate, f.Bits), tuner: newTuner(f.Rate, opt.Notes), last: -1}
	l.wide = newSpectra(l.samples(wideSeconds), 2, l.rate)
	l.envelope.rate = f.Rate
	return l
}

func (l *Listener) samples(seconds float64) int { return int(math.Round(seconds * l.rate)) }

func (l *Listener) time(sample int) time.Duration {
	return time.Duration(math.Round(float64(sample) / l.rate * 1e9))
}

// Heard is how long the sound was so far.
func (l *Listener) Heard() time.Duration { return l.time(l.heard) }

// Noises is how many onsets were found that are no plucks: they have no tone.
func (l *Listener) Noises() int { return l.noises }

// Envelope is the sound so far, to be drawn.
func (l *Listener) Envelope() *Envelope { return &l.envelope }

// piece is the sound from one sample of the recording to another; what lies outside of
// it is silent.
func (l *Listener) piece(from, to int) []float64 {
	if from >= l.from && to <= l.from+len(l.sound) {
		return l.sound[from-l.from : to-l.from]
	}
	out := make([]float64, to-from)
	for i := max(from, l.from); i < min(to, l.from+len(l.sound)); i++ {
		out[i-from] = l.sound[i-l.from]
	}
	return out
}

// within is the part of a piece that was heard.
func (l *Listener) within(from, to int) []float64 {
	from, to = max(from, l.from), min(to, l.from+len(l.sound))
	return l.sound[from-l.from : max(from, to)-l.from]
}

// quietBefore is the RMS of the quietest block in the seconds before a pluck. The strings
// ring on between plucks, more often than not; the noise is what is there between them.
func (l *Listener) quietBefore(at int) float64 {
	least := math.Inf(1)
	for _, b := range l.calm {
		if b.end <= at-l.samples(quietClear) && b.end >= at-l.samples(quietReach) {
			least = min(least, b.rms)
		}
	}
	if math.IsInf(least, 1) {
		return 0
	}
	return least
}

// calmBlock is how loud a block was.
type calmBlock struct {
	end int // sample
	rms float64
}

// listenForCalm measures the blocks that are complete.
func (l *Listener) listenForCalm() {
	block := l.samples(quietBlock)
	step := block / 4
	next := block
	if n := len(l.calm); n > 0 {
		next = l.calm[n-1].end + step
	}
	for ; next <= l.heard; next += step {
		rms, _ := rmsOf(l.within(next-block, next))
		l.calm = append(l.calm, calmBlock{next, rms})
	}
	old := 0
	for old < len(l.calm)-1 && l.calm[old].end < l.heard-l.samples(quietReach+2) {
		old++
	}
	if old > len(l.calm)/2 {
		l.calm = slices.Delete(l.calm, 0, old)
	}
}

// leastAbove is how many times louder than the quiet before it a pluck is, at least.
const leastAbove = 1.4

// powerFrom is the power spectrum of the sound from a sample on; nil where there is too
// little of it.
func (l *Listener) powerFrom(begin int) []float64 {
	x := l.within(begin, begin+len(l.wide.window))
	if len(x) < len(l.wide.window) {
		return nil
	}
	return l.wide.of(x)
}
