package jig

import "slices"

// window is how far back a reading can be asked for: a jig keeps at least its
// last 256.
const window = 256

// A tracker knows which readings of one power-up have come and which are
// missing. Sequence numbers are compared by serial arithmetic (R. Elz,
// R. Bush, RFC 1982, 1996): of two, the one less than 2^31 ahead is the later,
// so that the wrap from 2^32-1 to 0 is a step like any other.
type tracker struct {
	last  uint32 // the last number that the jig is known to have used
	holes []hole // what is missing, oldest first
}

// A hole is a reading that was made and has not come.
type hole struct {
	seq   uint32
	asked int // how often a RESEND for it has been answered in vain
}

// after tells whether sequence number a is later than b.
func after(a, b uint32) bool { return order(a, b) > 0 }

// order is negative when a is earlier than b, 0 when they are the same, and
// positive when a is later.
func order(a, b uint32) int { return int(int32(a - b)) }

// use notes that the jig has used every number up to seq: missing says how many
// are new, lost how many of them are further back than the window and are
// given up at once.
func (t *tracker) use(seq uint32) (missing, lost uint32) {
	if !after(seq, t.last) {
		return 0, 0
	}
	missing = seq - t.last
	lost = missing - min(missing, window)
	for s := t.last + lost + 1; s != seq+1; s++ {
		t.holes = append(t.holes, hole{seq: s})
	}
	t.last = seq
	return missing, lost
}

// take notes that reading seq has come. It is fresh when it had not come
// before and was not given up.
func (t *tracker) take(seq uint32) (fresh bool) {
	t.use(seq)
	i := slices.IndexFunc(t.holes, func(h hole) bool { return h.seq == seq })
	if i < 0 {
		return false
	}
	t.holes = slices.Delete(t.holes, i, i+1)
	return true
}

// want makes readings from..to missing, whether or not they have come before.
// What the jig has not used yet is left out. The caller sees to it that the
// range is not too wide.
func (t *tracker) want(from, to uint32) {
	if after(to, t.last) {
		to = t.last
	}
	for s := from; !after(s, to); s++ {
		t.holes = append(t.holes, hole{seq: s})
	}
	slices.SortStableFunc(t.holes, func(a, b hole) int { return order(a.seq, b.seq) })
	t.holes = slices.CompactFunc(t.holes, func(a, b hole) bool { return a.seq == b.seq })
}

// run returns the oldest missing readings that follow one another, at most a
// window of them.
func (t *tracker) run() (from, to uint32, ok bool) {
	if len(t.holes) == 0 {
		return 0, 0, false
	}
	from = t.holes[0].seq
	to = from
	for _, h := range t.holes[1:] {
		if h.seq != to+1 || to-from+1 == window {
			break
		}
		to = h.seq
	}
	return from, to, true
}

// asked counts a vain RESEND of from..to against what of it is still missing,
// and gives up what has been asked for tries times.
func (t *tracker) asked(from, to uint32, tries int) (lost []uint32) {
	for i := range t.holes {
		if h := &t.holes[i]; within(h.seq, from, to) {
			h.asked++
		}
	}
	return t.giveUp(func(h hole) bool { return within(h.seq, from, to) && h.asked >= tries })
}

// gone gives up what is missing of from..to.
func (t *tracker) gone(from, to uint32) (lost []uint32) {
	return t.giveUp(func(h hole) bool { return within(h.seq, from, to) })
}

// forgotten gives up what a jig that no longer has reading seq cannot have
// either: it forgets the oldest first, and which of the forgotten ones it names
// is its own choice, so that what it need not keep goes as well.
func (t *tracker) forgotten(from, to, seq uint32) (lost []uint32) {
	return t.giveUp(func(h hole) bool {
		return within(h.seq, from, to) && (!after(h.seq, seq) || t.last-h.seq >= window)
	})
}

// missing tells whether any reading of from..to is.
func (t *tracker) missing(from, to uint32) bool {
	return slices.ContainsFunc(t.holes, func(h hole) bool { return within(h.seq, from, to) })
}

func (t *tracker) giveUp(hopeless func(hole) bool) (lost []uint32) {
	t.holes = slices.DeleteFunc(t.holes, func(h hole) bool {
		if hopeless(h) {
			lost = append(lost, h.seq)
			return true
		}
		return false
	})
	return lost
}

// within tells whether seq is one of from..to.
func within(seq, from, to uint32) bool { return seq-from <= to-from }
