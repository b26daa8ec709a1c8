package sim

import (
	"time"

	"evenpole/jig"
)

// Practice is what happens on a bench beside the readings, so that repeat studies and
// control charts can be practised: mountings, people, days. The zero value is a bench
// where nothing happens.
type Practice struct {
	// Remount mounts what is there anew when a capture begins: when a host asks who the
	// jig is and readings were made since the mounting before.
	Remount bool

	// Hands are the people who mount, in turns: another each day where days pass, else
	// another each time. Each has a way of their own: how high the strings come to lie, how
	// far they are tilted, and by how much that scatters.
	Hands []string

	FirstDay time.Time // of the first mounting; zero: days do not pass
	PerDay   int       // mountings a day, 1
	Drift    float64   // dB a day, of all levels

	Told func(Mounting) // hears of every mounting; may be nil
}

// Mounting is one act of laying what is measured on the jig.
type Mounting struct {
	Number int       // from 1
	Hand   string    // "" is nobody's
	Day    time.Time // zero where days do not pass
}

// The ways of hands: figures of our own choosing.
const (
	handHeight  = 0.04 // mm, standard deviation between hands, all strings together
	handTilt    = 0.03 // mm, likewise, of an end string against the middle
	handScatter = 0.3  // relative, of the scatter of mountings
)

// mounting is what the mounting of a number is like.
func (p *Practice) mounting(number int) Mounting {
	m := Mounting{Number: number}
	turn := number - 1
	if !p.FirstDay.IsZero() {
		turn = p.daysUntil(number)
		m.Day = p.FirstDay.AddDate(0, 0, turn)
	}
	if n := len(p.Hands); n > 0 {
		m.Hand = p.Hands[turn%n]
	}
	return m
}

// daysUntil is how many days pass before a mounting.
func (p *Practice) daysUntil(number int) int { return (number - 1) / max(p.PerDay, 1) }

// way is how a hand mounts.
type way struct {
	height, tilt float64 // mm
	scatter      float64 // times that of nobody
}

func wayOf(seed uint64, hand string) way {
	if hand == "" {
		return way{scatter: 1}
	}
	r := source(seed, "hand", hand)
	return way{handHeight * r.NormFloat64(), handTilt * r.NormFloat64(), around(r, handScatter)}
}

// off is how far the hand has string i of n from where it should be, mm.
func (w way) off(i, n int) float64 {
	if n < 2 {
		return w.height
	}
	return w.height + w.tilt*(2*float64(i)/float64(n-1)-1)
}

// firmware is what the jig says that it runs: the simulation, and its day.
func (j *Jig) firmware() string {
	if day := j.cfg.Practice.mounting(max(j.mounts, 1)).Day; !day.IsZero() {
		return jig.SimulatedOn(day)
	}
	return j.cfg.Firmware
}

// arrived mounts anew what is on the jig, for a host that has just come.
func (j *Jig) arrived() {
	if j.cfg.Practice.Remount && j.made > j.mountedAt {
		j.mount(j.bench.Mounted)
	}
}
