package main

import (
	"fmt"
	"iter"
	"math"
	"math/rand/v2"
	"slices"
	"time"

	"evenpole/capture/record"
	"evenpole/jig"
	"evenpole/jig/sim"
	"evenpole/profiles"
)

// design is how much a shop has measured.
type design struct {
	pickups int
	sets    int // string sets that every pickup was mounted under
	high    int // pickups that were mounted once more with the strings 0.8 mm higher
	takes   int
	copied  bool // lists of heights are typed once; else they are measured for each mounting
}

// workshop is one simulated shop. Its levels are those of the simulated jig's physics,
// bent a little from shop to shop so that what one shop shows need not hold in
// the next, with the scatter of an ordinary bench.
type workshop struct {
	*rand.Rand
	seed uint64
	design
	bend  bend
	sets  []stringSet
	slots []float64 // of the jig, ln v
	place float64   // mm from the bridge
	now   time.Time
	drift float64
	rows  []record.Reading
	all   []*mounting
}

// bend is by how much the shop's levels, ln v, differ from the simulated jig's.
type bend struct{ area, fall, protrude, velocity float64 }

func (b *bend) at(s profiles.String, gap, height, hz float64) float64 {
	return b.area*2*math.Log(s.Core/0.35) - b.fall*(gap-3.5) + b.protrude*height + b.velocity*math.Log(hz/200)
}

type stringSet struct {
	name   string
	listed []profiles.String
	actual []profiles.String
}

// built is a pickup.
type built struct {
	name, batch string
	poles       []sim.Pole
	read        []float64 // heights as measured, mm
	coil        float64   // ln v
}

// mounting is one session: what was on the jig, and where its rows stand.
type mounting struct {
	session     string
	pickup      *built
	set         *stringSet
	poles       []float64 // heights as filed
	heights     []float64
	first, last int // rows, from 0
}

// Scatter of an ordinary shop: our assumptions. Lengths in mm, the rest of the
// logarithm.
const (
	pluck       = 0.03
	magnet      = 0.05
	coil        = 0.12
	slot        = 0.02
	core        = 0.006
	together    = 0.05 // string heights of a mounting
	caliper     = 0.03 // one height
	slowDrift   = 0.008
	doubled     = 0.005 // chance of a double strike that nobody noticed
	flaggedTake = 0.05  // chance of one that the jig flagged
)

func newShop(seed uint64, d design) *workshop {
	r := rand.New(rand.NewPCG(seed, 0x736c697073))
	s := &workshop{Rand: r, seed: seed, design: d, place: 60 + 90*r.Float64(), now: time.Date(2025, 3, 3, 8, 0, 0, 0, time.UTC)}
	n := r.NormFloat64
	s.bend = bend{area: -0.05 + 0.05*n(), fall: 0.15 + 0.06*n(), protrude: 0.05 + 0.03*n(), velocity: -0.1 + 0.08*n()}
	for range 6 {
		s.slots = append(s.slots, slot*n())
	}
	for _, k := range r.Perm(len(stringSets))[:d.sets] {
		set := stringSets[k]
		for _, x := range set.listed {
			set.actual = append(set.actual, s.actual(x))
		}
		s.sets = append(s.sets, set)
	}
	var pickups []*built
	for p := range d.pickups {
		pickups = append(pickups, s.build(p))
	}
	arc := profiles.ArcHeights(180+120*r.Float64(), 51, 6, 3+r.Float64(), 3.2+r.Float64())
	for k := range s.sets {
		for _, p := range pickups {
			s.mount(p, &s.sets[k], arc, 0)
		}
	}
	for _, p := range pickups[:d.high] {
		s.mount(p, &s.sets[0], arc, 0.8)
	}
	return s
}

// copy is the same shop, whose record may be changed.
func (s *workshop) copy() *workshop {
	c := *s
	c.rows = slices.Clone(s.rows)
	c.Rand = rand.New(rand.NewPCG(s.seed, s.Uint64()))
	return &c
}

// actual is a string as it came out of the packet.
func (s *workshop) actual(x profiles.String) profiles.String {
	f := math.Exp(core * s.NormFloat64())
	if x.Plain() {
		x.Gauge *= f
		x.Core = x.Gauge
		return x
	}
	x.Core = math.Min(x.Core*f, x.Gauge)
	return x
}

func (s *workshop) build(number int) *built {
	b := &built{name: fmt.Sprintf("T-%02d", number+1), batch: fmt.Sprintf("M-%02d", number%3+1), coil: coil * s.NormFloat64()}
	remanence := 0.55 * math.Exp(0.06*float64(number%3-1))
	flat, level := s.IntN(4) == 0, 0.4+s.Float64()
	for range 6 {
		h := 0.15 + 2.25*s.Float64()
		if flat {
			h = level
		}
		b.poles = append(b.poles, sim.Pole{Height: h, Radius: 2.38, Length: 16, Remanence: remanence * math.Exp(magnet*s.NormFloat64())})
	}
	b.read = s.measured(heightsOf(b.poles))
	return b
}

func heightsOf(poles []sim.Pole) []float64 {
	var out []float64
	for _, p := range poles {
		out = append(out, p.Height)
	}
	return out
}

// measured is a list of heights as a caliper gives it.
func (s *workshop) measured(heights []float64) []float64 {
	var out []float64
	for _, h := range heights {
		out = append(out, math.Round((h+caliper*s.NormFloat64())*100)/100)
	}
	return out
}

// mount captures a pickup under a string set.
func (s *workshop) mount(p *built, set *stringSet, arc []float64, lift float64) {
	m := &mounting{session: fmt.Sprintf("s%03d", len(s.all)+1), pickup: p, set: set, first: len(s.rows)}
	off := together * s.NormFloat64()
	var wanted, heights []float64
	for _, h := range arc {
		h = math.Round((h+lift)*100) / 100
		wanted = append(wanted, h)
		heights = append(heights, h+off+caliper*s.NormFloat64())
	}
	m.poles, m.heights = p.read, wanted
	if !s.copied {
		m.poles, m.heights = s.measured(heightsOf(p.poles)), s.measured(heights)
	}
	levels := s.levels(p, set, heights)
	for i := range levels {
		s.pluck(m, i, levels[i])
	}
	m.last = len(s.rows) - 1
	s.all = append(s.all, m)
	s.now = s.now.Add(15 * time.Minute)
}

// levels is ln v of each string, as it stands there.
func (s *workshop) levels(p *built, set *stringSet, heights []float64) []float64 {
	j := sim.New(sim.Config{Excite: jig.Travel, Scatter: &sim.Scatter{}})
	m := sim.Mounted{Poles: p.poles, StringHeights: heights, PickupFromBridge: s.place}
	for _, x := range set.actual {
		m.Strings = append(m.Strings, sim.String{Gauge: x.Gauge, Core: x.Core, Wrap: string(x.Wrap), Freq: pitch(x)})
	}
	j.Mount(m)
	v := j.TrueLevels()
	for i, x := range set.actual {
		gap := heights[i] + x.Gauge/2 - p.poles[i].Height
		v[i] = math.Log(v[i]) + s.bend.at(x, gap, p.poles[i].Height, pitch(x)) + p.coil + s.slots[i]
	}
	return v
}

func pitch(x profiles.String) float64 {
	hz, err := profiles.Pitch(x.Note)
	if err != nil {
		panic(err)
	}
	return hz
}

// pluck files the quiet readings and the takes of one string.
func (s *workshop) pluck(m *mounting, i int, level float64) {
	listed := m.set.listed[i]
	const quiet = 0.43
	row := record.Reading{
		Session: m.session, Purpose: record.ForModel, Jig: "jig-1", Boot: "0000000A", HasSeq: true, Pickup: m.pickup.name, Batch: m.pickup.batch,
		String: i + 1, StringSet: m.set.name, Core: listed.Core, Gauge: listed.Gauge, Wrap: listed.Wrap,
		PoleHeight: m.poles[i], StringHeight: m.heights[i], Quiet: quiet, Excite: "travel", Window: 500, Status: record.OK,
	}
	for t := range 2 + s.takes {
		r := row
		s.now = s.now.Add(time.Duration(3+2*s.Float64()) * time.Second)
		r.Time, r.Seq, r.Line, r.Take = s.now, uint32(len(s.rows)+1), len(s.rows)+2, t-1
		s.drift = 0.97*s.drift + 0.25*slowDrift*s.NormFloat64()
		v := 0.0
		if r.Mode = "Q"; t >= 2 {
			r.Mode = "P"
			v = math.Exp(level + s.drift + pluck*s.NormFloat64())
			v *= s.struck(&r)
			r.Freq = pitch(listed) * math.Exp(0.0006*s.NormFloat64())
		}
		r.RMS = thousandth(math.Hypot(v, quiet*math.Exp(0.08*s.NormFloat64())))
		r.Peak = thousandth(r.RMS * 3.6 * math.Exp(0.12*s.NormFloat64()))
		s.rows = append(s.rows, r)
	}
}

// struck is what a double strike makes of a take, seen or not.
func (s *workshop) struck(r *record.Reading) float64 {
	u := s.Float64()
	if u > doubled+flaggedTake {
		return 1
	}
	if u > doubled {
		r.Status = record.DoubleStrike
	}
	return math.Exp(-0.3 + 0.6*s.Float64())
}

func thousandth(v float64) float64 { return math.Round(v*1000) / 1000 }

func (s *workshop) readings() iter.Seq2[record.Reading, error] {
	return func(yield func(record.Reading, error) bool) {
		for _, r := range s.rows {
			if !yield(r, nil) {
				return
			}
		}
	}
}

// stringSets are what shops measure with; diameters of inch gauges in mm.
var stringSets = []stringSet{
	{name: "nine", listed: stringsOf("nickel_plated_steel", [6]float64{.009, .011, .016, .024, .032, .042}, [6]float64{0, 0, 0, .013, .0145, .016})},
	{name: "ten", listed: stringsOf("nickel_plated_steel", [6]float64{.010, .013, .017, .026, .036, .046}, [6]float64{0, 0, 0, .013, .0145, .0165})},
	{name: "eleven", listed: stringsOf("stainless", [6]float64{.011, .014, .018, .028, .038, .049}, [6]float64{0, 0, 0, .0145, .016, .0175})},
	{name: "twelve", listed: stringsOf("nickel", [6]float64{.012, .016, .022, .032, .042, .052}, [6]float64{0, 0, .0115, .0145, .0165, .0185})},
}

func stringsOf(wrap profiles.Wrap, gauges, cores [6]float64) []profiles.String {
	var out []profiles.String
	for i, note := range []string{"E4", "B3", "G3", "D3", "A2", "E2"} {
		x := profiles.String{Note: note, Gauge: inch(gauges[i]), Core: inch(cores[i]), Wrap: wrap}
		if cores[i] == 0 {
			x.Core, x.Wrap = x.Gauge, "plain"
		}
		out = append(out, x)
	}
	return out
}

func inch(v float64) float64 { return math.Round(v*25.4*1e4) / 1e4 }
