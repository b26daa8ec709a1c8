package recording

import (
	"evenpole/jig"
	"fmt"
	"math"
	"slices"
)

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
