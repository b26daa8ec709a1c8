package main

import (
	"fmt"
	"math"
	"math/rand/v2"
	"sync"
	"time"

	"evenpole/jig"
	"evenpole/profiles"
)

// Scatter of an ordinary shop: our assumptions. Lengths in mm, the rest of the
// logarithm.
const (
	pluck     = 0.03
	slowDrift = 0.008
	magnet    = 0.05
	lot       = 0.05 // of magnets
	coil      = 0.12
	slot      = 0.02
	packet    = 0.02 // one string of a set
	together  = 0.05 // string heights of a mounting
	caliper   = 0.03 // one height
	hum       = 0.4  // mV
)

// What goes wrong with a row, by its chance.
const (
	doubleStrike = 0.01
	shortWindow  = 0.003
	mechanical   = 0.002
	repeated     = 0.0002 // the row stands twice
	takenBack    = 0.0005
)

// Rows of one string in one mounting: quiet levels, then good takes.
const quiets, takes = 1, 9

// A workshop makes a record. Its levels are those of the simulated jig's physics.
type workshop struct {
	*rand.Rand
	sets    []stringSet
	pickups []pickup
	slots   [6]float64 // of the jig, ln v
	drift   float64
	now     time.Time
	boot    string
	seq     uint32
	session int
	out     *rows
}

type stringSet struct {
	name    string
	strings []profiles.String
	pitch   []float64 // Hz
	packet  []float64 // ln v, of each string as it came out of the packet
	levels  *levels
}

type pickup struct {
	name, batch string
	screws      bool // its poles are set for every mounting
	heights     [6]float64
	strength    [6]float64 // ln v of magnets and coil
}

// pickupsOf is how many pickups a record of so many rows is about: 100 at 10,000 rows,
// and twice as many for ten times the rows.
func pickupsOf(rows int) int {
	return max(2, int(math.Round(100*math.Pow(2, math.Log10(float64(rows)/1e4)))))
}

// newWorkshop draws a shop; the same seed draws the same one.
func newWorkshop(seed uint64, pickups, packs int, out *rows) *workshop {
	w := &workshop{Rand: rand.New(rand.NewPCG(seed, 0x7363616c65)), now: time.Date(2016, 3, 7, 8, 0, 0, 0, time.UTC), out: out}
	for i := range w.slots {
		w.slots[i] = slot * w.NormFloat64()
	}
	for _, s := range packsOf(heard(), packs) {
		for _, x := range s.strings {
			hz, _ := profiles.Pitch(x.Note) // the sets of this program
			s.pitch, s.packet = append(s.pitch, hz), append(s.packet, packet*w.NormFloat64())
		}
		w.sets = append(w.sets, s)
	}
	var lots []float64
	for range 12 {
		lots = append(lots, lot*w.NormFloat64())
	}
	for i := range pickups {
		b := w.IntN(len(lots))
		p := pickup{name: fmt.Sprintf("P%04d", i+1), batch: fmt.Sprintf("M-%02d", b+1), screws: i%2 == 1, heights: w.stagger()}
		own := lots[b] + coil*w.NormFloat64()
		for k := range p.strength {
			p.strength[k] = own + magnet*w.NormFloat64()
		}
		w.pickups = append(w.pickups, p)
	}
	return w
}

// stagger draws heights of poles, mm.
func (w *workshop) stagger() (h [6]float64) {
	for i := range h {
		h[i] = hundredths(0.1 + 2.3*w.Float64())
	}
	return h
}

// work mounts one pickup after the other until the rows are full.
func (w *workshop) work() {
	for {
		for _, i := range w.Perm(len(w.pickups)) {
			if w.session%20 == 0 {
				w.boot, w.seq = fmt.Sprintf("%08X", w.Uint32()), 0
				w.now = w.now.Add(3 * time.Hour)
			}
			if w.out.full() {
				return
			}
			w.mount(&w.pickups[i], &w.sets[w.IntN(len(w.sets))])
		}
	}
}

// mount measures a pickup under a set of strings.
func (w *workshop) mount(p *pickup, set *stringSet) {
	w.session++
	if p.screws {
		p.heights = w.stagger()
	}
	arc := profiles.ArcHeights(241, 51, 6, 3.3, 3.5)
	lift := 0.4 * float64(w.IntN(4))
	off := together * w.NormFloat64()
	x := row{session: fmt.Sprintf("s%06d", w.session), boot: w.boot, pickup: p.name, batch: p.batch, set: set.name}
	for i := range set.strings {
		x.number, x.str = i+1, &set.strings[i]
		x.pole, x.height = p.heights[i], hundredths(arc[i]+lift)
		level := set.levels.at(i, x.pole, x.height+off+caliper*w.NormFloat64(), p.higher(i))
		w.pluck(x, level+p.strength[i]+set.packet[i]+w.slots[i], set.pitch[i])
	}
}

// higher is by how much the neighbours of a pole stand higher than it on average, mm;
// what is not there is as high.
func (p *pickup) higher(i int) (mm float64) {
	for _, k := range []int{i - 1, i + 1} {
		if k >= 0 && k < len(p.heights) {
			mm += (p.heights[k] - p.heights[i]) / 2
		}
	}
	return mm
}

// pluck measures a string's quiet level and its takes.
func (w *workshop) pluck(x row, level, hz float64) {
	x.quiet = hum * math.Exp(0.08*w.NormFloat64())
	x.peak, x.mode = 3.5*x.quiet, 'Q'
	for x.take = 1; x.take <= quiets; x.take++ {
		x.rms = x.quiet
		w.add(x)
	}
	x.mode = 'P'
	for x.take = 1; x.take <= takes; {
		w.drift = 0.995*w.drift + 0.1*slowDrift*w.NormFloat64()
		v := math.Exp(level + w.drift + pluck*w.NormFloat64())
		x.status = w.slip(&v)
		x.rms, x.peak, x.freq = math.Hypot(v, x.quiet), 3.4*v, hz*math.Exp(0.0003*w.NormFloat64())
		w.add(x)
		if x.status == "" {
			x.take++
		}
	}
}

// slip makes some takes go wrong; the status is that which the jig notices.
func (w *workshop) slip(v *float64) (status string) {
	switch u := w.Float64(); {
	case u < doubleStrike:
		*v *= math.Exp(-0.05 - 0.25*w.Float64())
		return "double_strike"
	case u < doubleStrike+shortWindow:
		*v *= 1.2
		return "short_window"
	case u < doubleStrike+shortWindow+mechanical:
		*v *= 0.5
		return "fault"
	}
	return ""
}

// add files a row; a few of them twice, and a few are taken back.
func (w *workshop) add(x row) {
	w.seq++
	w.now = w.now.Add(time.Duration(1500+w.IntN(4000)) * time.Millisecond)
	x.seq, x.time = w.seq, w.now
	w.out.add(&x)
	switch u := w.Float64(); {
	case u < repeated:
		w.out.add(&x)
	case u < repeated+takenBack:
		x.status = "retracted"
		w.out.add(&x)
	}
}

func hundredths(v float64) float64 { return math.Round(v*100) / 100 }

// packsOf are so many packs of each set, which the shop tells apart by their names where
// there are several.
func packsOf(sets []stringSet, packs int) []stringSet {
	if packs == 1 {
		return sets
	}
	var out []stringSet
	for _, s := range sets {
		name := s.name
		for n := range packs {
			s.name = fmt.Sprintf("%s-%d", name, n+1)
			out = append(out, s)
		}
	}
	return out
}

// heard are the sets with their levels, which take seconds to make.
var heard = sync.OnceValue(func() []stringSet {
	sets := stringSets()
	for i := range sets {
		sets[i].levels = newLevels(sets[i].strings, jig.Travel)
	}
	return sets
})

// stringSets are the sets that the shop measures with, gauges and cores in inches.
func stringSets() []stringSet {
	str := func(note string, gauge, core float64, wrap profiles.Wrap) profiles.String {
		mm := func(inch float64) float64 { return math.Round(inch*25.4*1e4) / 1e4 }
		return profiles.String{Note: note, Gauge: mm(gauge), Core: mm(core), Wrap: wrap}
	}
	return []stringSet{
		{name: "ten", strings: []profiles.String{str("E4", .010, .010, "plain"), str("B3", .013, .013, "plain"), str("G3", .017, .017, "plain"),
			str("D3", .026, .013, "nickel_plated_steel"), str("A2", .036, .0145, "nickel_plated_steel"), str("E2", .046, .0165, "nickel_plated_steel")}},
		{name: "eleven", strings: []profiles.String{str("E4", .011, .011, "plain"), str("B3", .014, .014, "plain"), str("G3", .018, .018, "plain"),
			str("D3", .028, .0135, "stainless"), str("A2", .038, .015, "stainless"), str("E2", .049, .017, "stainless")}},
		{name: "twelve", strings: []profiles.String{str("E4", .012, .012, "plain"), str("B3", .016, .016, "plain"), str("G3", .022, .0115, "nickel"),
			str("D3", .032, .0145, "nickel"), str("A2", .042, .0165, "nickel"), str("E2", .052, .0185, "nickel")}},
	}
}
