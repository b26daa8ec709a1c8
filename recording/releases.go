package recording

import (
	"math"
	"slices"
)

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

// leastChange is by how many decades bands have risen after a pluck, at least.
const leastChange = 0.06

// changed is by how many decades the bands have risen from before an onset at a frame to
// some time after it, mean of all bands: a knock is over by then.
func (l *Listener) changed(m int) float64 {
	half := l.frames.size / 2 / l.frames.hop
	return l.frames.rise(m-half-3, m+half+2)
}
