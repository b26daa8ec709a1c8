package sim

import (
	"bytes"
	"math/rand/v2"
	"slices"
	"time"
)

// Faults is what goes wrong on the wire and in the jig. The chances are for
// each line, in both directions, where nothing else is said. What happens after
// so many readings in all happens once, and never when that is 0; times are the
// jig's own.
type Faults struct {
	BitFlip    float64 // one bit is wrong
	BitError   float64 // chance of each bit to be wrong
	LoseByte   float64
	DoubleByte float64
	LoseLine   float64
	DoubleLine float64
	Garbage    bool // some rubbish before the first line

	RestartAfter int           // the jig starts again
	CutAfter     int           // the same, in the middle of the reading's line
	HangUpAfter  int           // the port is lost
	JamAfter     int           // the plucker jams
	MuteAfter    int           // the jig neither hears nor speaks
	Mute         time.Duration // for so long; 0: for good

	SlowAnswer time.Duration // answers come so much later
	OldAnswer  float64       // chance of an answer to come behind the one before it, once more
	NoResend   bool          // no reading is remembered: RESEND is refused
}

// noise is one direction of the wire.
type noise struct {
	faults Faults
	random *rand.Rand
	rest   []byte // the start of a line whose end has not come
}

// maxRest is how much of a line without an end is held: far more than a line.
const maxRest = 4096

// pass appends to dst what arrives of p. Lines that are not whole wait.
func (n *noise) pass(dst, p []byte) []byte {
	n.rest = append(n.rest, p...)
	for {
		end := bytes.IndexByte(n.rest, '\n') + 1
		if end == 0 && len(n.rest) < maxRest {
			return dst
		}
		if end == 0 {
			end = len(n.rest)
		}
		dst = n.line(dst, n.rest[:end])
		n.rest = n.rest[end:]
	}
}

// line appends what arrives of one line.
func (n *noise) line(dst, line []byte) []byte {
	if n.happens(n.faults.LoseLine) {
		return dst
	}
	at := len(dst)
	dst = append(dst, line...)
	if n.happens(n.faults.DoubleLine) {
		dst = append(dst, line...)
	}
	if n.happens(n.faults.BitFlip) {
		dst[at+n.random.IntN(len(line))] ^= 1 << n.random.IntN(8)
	}
	for i := at; n.faults.BitError > 0 && i < len(dst); i++ {
		for bit := range 8 {
			if n.happens(n.faults.BitError) {
				dst[i] ^= 1 << bit
			}
		}
	}
	if n.happens(n.faults.LoseByte) {
		k := at + n.random.IntN(len(line))
		dst = append(dst[:k], dst[k+1:]...)
	}
	if len(dst) > at && n.happens(n.faults.DoubleByte) {
		k := at + n.random.IntN(len(dst)-at)
		dst = slices.Insert(dst, k, dst[k])
	}
	return dst
}

func (n *noise) happens(chance float64) bool {
	return chance > 0 && n.random.Float64() < chance
}

// rubbish is what a port may say before the jig does.
func (n *noise) rubbish() []byte {
	p := make([]byte, 1+n.random.IntN(40))
	for i := range p {
		p[i] = byte(n.random.Uint32())
	}
	return p
}
