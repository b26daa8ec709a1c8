package recording

import (
	"fmt"
	"math"
	"slices"
	"time"

	"evenpole/jig"
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

// Hear takes the sound that follows, and returns the plucks that it completes.
func (l *Listener) Hear(x []float64) []Pluck {
	var out []Pluck
	const most = 1 << 14
	for len(x) > 0 {
		n := min(most, len(x))
		l.sound = append(l.sound, x[:n]...)
		l.heard += n
		l.envelope.add(x[:n])
		x = x[n:]
		l.listenForCalm()
		l.look()
		out = append(out, l.measureDue()...)
		l.forget()
	}
	return out
}

// End says that the recording has ended, and returns the last plucks.
func (l *Listener) End() []Pluck {
	l.ended = true
	l.look()
	return l.measureDue()
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

// look makes the frames that the sound is there for, and finds onsets in them.
func (l *Listener) look() {
	f := l.frames
	for l.ended && f.count*f.hop < l.heard || f.count*f.hop+f.size <= l.heard {
		start := f.count*f.hop - f.size/2
		f.add(l.piece(start, start+f.size))
		for ; l.looked+peakAfter < f.count; l.looked++ {
			if f.onset(l.looked) {
				l.onset(l.looked)
			}
		}
	}
}

// onset takes an onset at a frame for a pluck, for the second stroke of the last one, or
// for nothing: where a string is stopped the sound changes, too, and falls.
func (l *Listener) onset(m int) {
	const much = 0.3
	at := l.release(m)
	if l.changed(m) < leastChange || !l.louder(at) {
		return
	}
	if l.last >= 0 && at-l.last < l.samples(0.03) {
		return
	}
	l.last = at
	n := len(l.due)
	switch {
	case n == 0 || at-l.due[n-1] >= l.samples(doubleWithin):
		l.due = append(l.due, at)
	case l.loudAfter(l.due[n-1], at) < much*l.loudAfter(at, l.heard):
		l.due[n-1] = at // what came before was the finger
		l.others = nil
	default:
		l.others = append(l.others, at)
	}
}

// louder reports whether the sound is louder after a release than it just was: a string
// is touched before it is let go.
func (l *Listener) louder(at int) bool {
	const usual, low = 0.12, 82 // 1 dB; Hz below which blocks hold so few periods that they differ by more
	rise := 1 + usual*max(1, low*belowNotes/l.tuner.low)
	block, step := l.samples(0.04), l.samples(0.01)
	least := math.Inf(1)
	for end := at - l.samples(0.005); end > at-l.samples(0.07); end -= step {
		rms, _ := rmsOf(l.piece(end-block, end))
		least = min(least, rms)
	}
	after, _ := rmsOf(l.within(at+l.samples(0.005), at+l.samples(0.005)+block))
	return after > rise*least
}

// loudAfter is the RMS right after a release, before the next.
func (l *Listener) loudAfter(at, next int) float64 {
	rms, _ := rmsOf(l.within(at+l.samples(0.005), min(next, at+l.samples(0.035))))
	return rms
}

// release is the sample at which the string was let go, about a frame: where the slope of
// the sound first rises above what it was by a share of its highest. The slope has more
// of the attack and less of hum than the sound itself (Bello and others, section III A).
func (l *Listener) release(m int) int {
	const before, after, settled, share = 50, 30, 10, 0.25 // ms
	centre, block := m*l.frames.hop, max(1, l.samples(0.001))
	from := centre - before*block
	rise := l.slopes(from, before+after, block)
	was, top := slices.Max(rise[:settled]), slices.Max(rise)
	for i, v := range rise {
		if i >= settled && v >= was+share*(top-was) {
			return max(0, from+i*block)
		}
	}
	return centre
}

// slopes are the RMS of the slope of the sound in so many blocks from a sample on.
func (l *Listener) slopes(from, blocks, block int) []float64 {
	x := l.piece(from, from+blocks*block+1)
	out := make([]float64, blocks)
	for b := range out {
		sum := 0.0
		for i := b * block; i < (b+1)*block; i++ {
			d := x[i+1] - x[i]
			sum += d * d
		}
		out[b] = math.Sqrt(sum / float64(block))
	}
	return out
}

// measureDue measures the plucks whose windows have been heard.
func (l *Listener) measureDue() []Pluck {
	var out []Pluck
	for len(l.due) > 0 {
		at := l.due[0]
		end := at + l.samples((WindowDelay + WindowLength).Seconds())
		if !l.ended && l.heard < end+l.samples(lookAhead) {
			break
		}
		next := l.heard
		if len(l.due) > 1 {
			next = l.due[1]
		}
		var strokes []int
		for len(l.others) > 0 && l.others[0] < next {
			strokes, l.others = append(strokes, l.others[0]), l.others[1:]
		}
		l.due = l.due[1:]
		if p, ok := l.measure(at, next, strokes); ok {
			out = append(out, p)
		} else {
			l.noises++
		}
	}
	return out
}

// forget lets go of sound that no question goes back to.
func (l *Listener) forget() {
	keep := l.heard - l.samples((WindowDelay+WindowLength).Seconds()+lookAhead+1)
	if len(l.due) > 0 {
		keep = min(keep, l.due[0]-l.samples(1))
	}
	if n := keep - l.from; n > len(l.sound)/2 {
		l.sound = slices.Delete(l.sound, 0, n)
		l.from += n
	}
}

// measure measures what was let go at a sample, and is over at next at the latest; false
// when it is no pluck. strokes are later onsets of the same stroke.
func (l *Listener) measure(at, next int, strokes []int) (p Pluck, ok bool) {
	begin := at + l.samples(WindowDelay.Seconds())
	end := begin + l.samples(WindowLength.Seconds())
	clear := l.samples(0.01)
	if next < end+clear && next > begin+clear {
		end = min(end, next-clear)
		p.Flags |= jig.ShortWindow
	}
	if end-begin < l.samples(0.05) || end > l.heard {
		return p, false
	}
	x := l.within(begin, end)
	p.Release, p.Window = l.time(at), l.time(len(x))
	p.RMS, p.Peak = rmsOf(x)
	p.Quiet = l.quietBefore(at)
	pitch := l.pitchAfter(at, end, strokes)
	if pitch.clarity < leastClear {
		pitch.freq = l.strongest(at)
	}
	if pitch.freq == 0 || p.RMS < leastAbove*p.Quiet || l.isHum(x, pitch.freq, p.Quiet) || l.isKnock(x, p.Quiet) {
		return p, false
	}
	p.Freq = pitch.freq
	l.tellString(&p)
	l.flag(&p, x, begin, strokes)
	return p, true
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

// pitchAfter is the pitch after a release.
func (l *Listener) pitchAfter(at, end int, strokes []int) tone {
	from := at + l.samples(pitchDelay)
	if n := len(strokes); n > 0 && strokes[n-1]+l.samples(pitchDelay) < end {
		from = strokes[n-1] + l.samples(pitchDelay)
	}
	x := l.within(from, min(end, from+l.samples(pitchSeconds)))
	if len(x) < l.samples(0.02) {
		return tone{}
	}
	t := l.tuner.listen(x)
	if t.freq > 0 {
		if power := l.powerFrom(from); power != nil {
			t.freq = fundamental(power, l.wide.bin, t.freq)
		}
	}
	return t
}

// leastChange is by how many decades bands have risen after a pluck, at least.
const leastChange = 0.06

// leastAbove is how many times louder than the quiet before it a pluck is, at least.
const leastAbove = 1.4

// changed is by how many decades the bands have risen from before an onset at a frame to
// some time after it, mean of all bands: a knock is over by then.
func (l *Listener) changed(m int) float64 {
	half := l.frames.size / 2 / l.frames.hop
	return l.frames.rise(m-half-3, m+half+2)
}

// tellString names the string by the pitch.
func (l *Listener) tellString(p *Pluck) {
	if l.opt.Only > 0 {
		p.String = l.opt.Only
		if l.opt.Only <= len(l.opt.Notes) {
			l.checkNote(p)
		}
		return
	}
	near, twin := 0, 0
	for i, hz := range l.opt.Notes {
		if hz <= 0 {
			continue
		}
		off := math.Abs(cents(p.Freq, hz))
		switch {
		case near == 0 || off < math.Abs(cents(p.Freq, l.opt.Notes[near-1]))-1:
			near, twin = i+1, 0
		case twin == 0 && math.Abs(cents(hz, l.opt.Notes[near-1])) < sameNote:
			twin = i + 1
		}
	}
	if p.String = near; near == 0 {
		return
	}
	if l.checkNote(p); twin > 0 {
		p.fault(fmt.Sprintf("strings %d and %d sound at the same note: a recording of one of them alone tells which it is", near, twin))
	}
}

// checkNote flags a pitch that is not that of the string's note.
func (l *Listener) checkNote(p *Pluck) {
	if hz := l.opt.Notes[p.String-1]; hz > 0 && math.Abs(cents(p.Freq, hz)) > nearNote {
		p.fault(fmt.Sprintf("its pitch of %.1f Hz is no string's", p.Freq))
	}
}

// How far a pitch may be from a note, in cents.
const (
	nearNote = 60 // and be that string's: a little more than half a semitone, as strings go sharp when plucked hard
	sameNote = 30 // and be the same note
)
