package main

import (
	"fmt"
	"iter"
	"math"
	"math/rand/v2"
	"slices"

	"evenpole/capture/record"
	"evenpole/jig"
	"evenpole/jig/sim"
	"evenpole/profiles"
)

// world is one simulated shop: its magnets, its jig and its record. What it is
// like is drawn from the seed; the physics are those of the simulated jig or of
// [evenpole/bench/magnetics], neither of which the models know.
type world struct {
	rng      *rand.Rand
	radius   float64 // mm, of the rods
	length   float64 // mm
	batches  []sim.Batch
	magnets  float64 // relative scatter within a batch
	excite   jig.Excite
	place    float64 // mm from the bridge, at the jig
	channels []float64
	twist    twist
	solved   *solved     // nil: the physics of the simulated jig, twisted
	sets     []stringSet // the physical strings on the jig
	rows     []record.Reading
	fields   []record.FieldReading
	loose    map[string]float64 // remanence of single magnets, by name
	drift    float64
	sessions int
}

// twist bends the physics a little from shop to shop, so that what is learnt
// of one is not true of another. Factors on the logarithm of the level.
type twist struct {
	area, fall, plain, bend, protrude, steep, velocity float64
	wraps                                              map[profiles.Wrap][2]float64 // weight of wrap beside core, as fits to records have it: of the simulated jig, and of this shop
}

// newTwist is centred on what the record of testdata/sample-shop shows: fits to the records of
// such shops have the parameters of a fit to it in the middle, each within one standard error
// of it. There a raised pole costs half of what the simulated jig has, plain strings fall nearly
// as steeply as wound ones, and wraps weigh two thirds.
func newTwist(r *rand.Rand) twist {
	n := r.NormFloat64
	return twist{area: -0.05 + 0.05*n(), fall: 0.18 + 0.05*n(), plain: 0.08 + 0.03*n(), bend: 0.015 + 0.01*n(), protrude: 0.08 + 0.03*n(), steep: 0.05 + 0.015*n(), velocity: -0.18 + 0.06*n(),
		wraps: map[profiles.Wrap][2]float64{
			"nickel": {0.20, 0.08 * math.Exp(0.3*n())}, "nickel_plated_steel": {0.40, 0.32 * math.Exp(0.25*n())}, "stainless": {0.30, 0.25 * math.Exp(0.3*n())},
		}}
}

// shift is by how much ln v is changed.
func (t *twist) shift(s profiles.String, gap, height, hz float64) float64 {
	size := 2 * math.Log(s.Core/0.35)
	far := gap - 3.5
	y := t.area*size - t.fall*far + t.bend*far*far + t.protrude*height + t.steep*size*far + t.velocity*math.Log(hz/200)
	if s.Plain() {
		y -= t.plain * far
	}
	if k, ok := t.wraps[s.Wrap]; ok {
		ring := s.Gauge*s.Gauge/(s.Core*s.Core) - 1
		y += math.Log((1 + k[1]*ring) / (1 + k[0]*ring))
	}
	return y
}

type stringSet struct {
	name   string
	listed []profiles.String
	actual []profiles.String
}

// design is what a shop has measured.
type design struct {
	pickups int
	sets    []string
	high    int // pickups that were measured with the strings higher, too
	fields  bool
	takes   int
}

var designs = map[string]design{
	"none":   {},
	"kind":   {}, // the handbook is another
	"kinds":  {},
	"one":    {pickups: 1, sets: []string{"ten"}, takes: 4},
	"full":   {pickups: 4, sets: []string{"ten", "twelve"}, high: 2, takes: 4},
	"many":   {pickups: 10, sets: []string{"ten", "twelve"}, high: 4, takes: 4},
	"fields": {pickups: 4, sets: []string{"ten", "twelve"}, high: 2, takes: 4, fields: true},
}

func newWorld(seed uint64, d design) *world { return newWorldOf(*physics, seed, d) }

func newWorldOf(physics string, seed uint64, d design) *world {
	r := rand.New(rand.NewPCG(seed, 0x73686f70))
	w := &world{rng: r, radius: 2.38, length: 14 + 4*r.Float64(), magnets: 0.05 + 0.025*r.Float64(), excite: jig.Excite(plucked),
		place: 60 + 90*r.Float64(), twist: newTwist(r)}
	if r.IntN(3) == 0 {
		w.radius = 2.5
	}
	mean := 0.5 + 0.15*r.Float64()
	own := rand.New(rand.NewPCG(seed, 0x7265636f696c)) // does not change what else is drawn
	permeability := 1.5 * math.Pow(4, own.Float64())   // 1.5 to 6
	if physics == "solved" {
		w.solved = newSolved(rand.New(rand.NewPCG(seed, 0x736f6c766564)))
		rod := w.solved.made.Rod
		w.radius, w.length, mean = rod.Radius, rod.Length, rod.Remanence
	}
	for b := range 4 {
		w.batches = append(w.batches, sim.Batch{Name: fmt.Sprintf("B%d", b+1), Remanence: mean * math.Exp(0.07*r.NormFloat64()),
			SD: w.magnets, Radius: w.radius, Length: w.length, Permeability: permeability})
	}
	for range 12 {
		w.channels = append(w.channels, 0.02*r.NormFloat64())
	}
	for _, name := range d.sets {
		set := stringSet{name: name, listed: orderSets[name]}
		for _, s := range set.listed {
			set.actual = append(set.actual, w.actual(s))
		}
		w.sets = append(w.sets, set)
	}
	w.capture(d)
	return w
}

// actual is a string as it came out of the packet.
func (w *world) actual(s profiles.String) profiles.String {
	f := math.Exp(0.009 * w.rng.NormFloat64())
	if s.Plain() {
		s.Gauge *= f
		s.Core = s.Gauge
		return s
	}
	s.Core = math.Min(s.Core*f, s.Gauge)
	s.Gauge *= math.Exp(0.004 * w.rng.NormFloat64())
	return s
}

// levels returns ln v of each string.
func (w *world) levels(poles []sim.Pole, strings []profiles.String, heights []float64, spacing, scale, place float64, excite jig.Excite) []float64 {
	switch *kindOf {
	case twoCoils:
		first := slices.Clone(poles)
		for i := range first {
			first[i].Height = slugs
		}
		return bothCoils(w.overRow(first, strings, heights, spacing, scale, place, excite), w.overRow(poles, strings, heights, spacing, scale, place, excite), scale, place)
	case blades:
		return w.bladed(poles[0].Height, strings, heights, spacing, func(poles []sim.Pole, strings []profiles.String, heights []float64, spacing float64) []float64 {
			return w.overRow(poles, strings, heights, spacing, scale, place, excite)
		})
	}
	return w.overRow(poles, strings, heights, spacing, scale, place, excite)
}

// overRow is ln v of each string over a single row of poles.
func (w *world) overRow(poles []sim.Pole, strings []profiles.String, heights []float64, spacing, scale, place float64, excite jig.Excite) []float64 {
	if w.solved != nil {
		return w.solved.levels(poles, strings, heights, spacing, profiles.Excitation(excite))
	}
	j := sim.New(sim.Config{Excite: excite, Scatter: &sim.Scatter{}})
	m := sim.Mounted{Poles: poles, StringHeights: heights, Spacing: spacing, ScaleLength: scale, PickupFromBridge: place}
	for _, s := range strings {
		hz, err := profiles.Pitch(s.Note)
		if err != nil {
			panic(err)
		}
		core := s.Core
		m.Strings = append(m.Strings, sim.String{Gauge: s.Gauge, Core: core, Wrap: string(s.Wrap), Freq: hz})
	}
	j.Mount(m)
	v := j.TrueLevels()
	for i, s := range strings {
		hz, _ := profiles.Pitch(s.Note)
		gap := heights[i] + s.Gauge/2 - poles[i].Height
		v[i] = math.Log(v[i]) + w.twist.shift(s, gap, poles[i].Height, hz)
	}
	return v
}

// poles draws magnets of a batch.
func (w *world) poles(batch int, heights []float64) []sim.Pole {
	b := w.batches[batch]
	var out []sim.Pole
	for _, h := range heights {
		out = append(out, poleOf(b, h, b.Remanence*math.Exp(b.SD*w.rng.NormFloat64())))
	}
	return out
}

// poleOf is a magnet of a batch, of this remanence, with its top at a height.
func poleOf(b sim.Batch, height, remanence float64) sim.Pole {
	return sim.Pole{Height: height, Radius: b.Radius, Length: b.Length, Remanence: remanence, Permeability: b.Permeability}
}

// staggers are the heights of test pickups, as shops make them.
func (w *world) stagger(n, strings int) []float64 {
	patterns := [][]float64{
		{0.6, 0.6, 0.6, 0.6, 0.6, 0.6},
		{1.25, 0.8, 2.2, 1.45, 0.9, 0.65},
		{2.25, 1.9, 1.05, 0.7, 0.9, 2.0},
		{1.5, 1.0, 2.3, 0.7, 0.15, 2.1},
	}
	h := make([]float64, strings)
	for i := range h {
		if n < len(patterns) {
			h[i] = patterns[n][i%6] + 0.05*w.rng.NormFloat64()
		} else {
			h[i] = 2.4 * w.rng.Float64()
		}
	}
	return h
}

// pickup is one as it was wound.
type pickup struct {
	name  string
	batch int
	poles []sim.Pole
	read  []float64 // mm, heights as the shop measured them
	coil  float64   // ln of its sensitivity
}

// mount measures a pickup under strings at these heights, mm.
func (w *world) mount(p pickup, set stringSet, heights []float64, takes int) {
	w.sessions++
	together := 0.05 * w.rng.NormFloat64()
	var off, read []float64
	for _, h := range heights {
		read = append(read, round(h))
		off = append(off, h+together+0.03*w.rng.NormFloat64())
	}
	v := w.levels(p.poles, set.actual, off, 10.4, 648, w.place, w.excite)
	for i, s := range set.listed {
		hz, _ := profiles.Pitch(s.Note)
		for t := range takes {
			w.drift = 0.97*w.drift + 0.25*0.01*w.rng.NormFloat64()
			level := math.Exp(v[i] + p.coil + w.channels[i] + w.drift + 0.03*w.rng.NormFloat64())
			row := record.Reading{
				Session: fmt.Sprintf("s%03d", w.sessions), Purpose: record.ForModel, Pickup: p.name, Batch: w.batches[p.batch].Name,
				String: i + 1, StringSet: set.name, Core: s.Core, Gauge: s.Gauge, Wrap: s.Wrap, PoleHeight: p.read[i], StringHeight: read[i],
				Mode: "P", Take: t + 1, RMS: math.Hypot(level, 0.3), Quiet: 0.3, Peak: 3.5 * level, Freq: hz, Excite: profiles.Excitation(w.excite), Line: len(w.rows) + 2,
			}
			w.file(&row)
			w.rows = append(w.rows, row)
		}
	}
}

// capture makes the record.
func (w *world) capture(d design) {
	heights := profiles.ArcHeights(241, 51, 6, 3.5, 3.7)
	var all []pickup
	for p := range d.pickups {
		h := w.stagger(p, 6)
		if d.pickups == 1 {
			h = w.stagger(1, 6)
		}
		if *kindOf == blades {
			h = slices.Repeat([]float64{0.5 * float64(p%4)}, 6)
		}
		x := pickup{name: fmt.Sprintf("P%d", p+1), batch: p % 3, poles: w.poles(p%3, h), coil: 0.12 * w.rng.NormFloat64()}
		for _, v := range h {
			x.read = append(x.read, round(v+0.02*w.rng.NormFloat64()))
		}
		all = append(all, x)
	}
	mount := func(p pickup, set stringSet, lift float64) {
		var at []float64
		for _, h := range heights {
			at = append(at, h+lift)
		}
		w.mount(p, set, at, d.takes)
	}
	for _, set := range w.sets {
		for _, p := range all {
			mount(p, set, 0)
		}
	}
	for _, p := range all[:min(d.high, len(all))] {
		mount(p, w.sets[0], 0.8)
	}
	if !d.fields {
		return
	}
	for _, p := range all {
		for i, b := range w.probe(p.poles) {
			w.field(b, record.FieldReading{Batch: w.batches[p.batch].Name, Pickup: p.name, String: i + 1, Position: i + 1})
		}
	}
	w.loose = map[string]float64{}
	for b := range w.batches {
		for i := range looseMagnets {
			m := w.poles(b, []float64{0})
			name := magnetName(b, i)
			w.loose[name] = m[0].Remanence
			w.field(w.probe(m)[0], record.FieldReading{Batch: w.batches[b].Name, Magnet: name, Position: i + 1})
		}
	}
}

func (w *world) field(tesla float64, r record.FieldReading) {
	for t := range 2 {
		r.Take, r.ProbeGap, r.Session, r.Line = t+1, 0.5, "f1", len(w.fields)+2
		r.Field = 1000 * tesla * math.Exp(0.005*w.rng.NormFloat64())
		w.fields = append(w.fields, r)
	}
}

// probe is the flux density in T, 0.5 mm over each pole.
func (w *world) probe(poles []sim.Pole) []float64 {
	const spacing, gap = 10.4, 0.5
	if w.solved != nil {
		return w.solved.probe(poles, spacing, gap)
	}
	j := sim.New(sim.Config{Scatter: &sim.Scatter{}})
	j.Mount(sim.Mounted{Poles: poles, Spacing: spacing, ProbeGap: gap})
	return j.TrueFields()
}

func round(v float64) float64 { return math.Round(v*100) / 100 }

func (w *world) readings() iter.Seq2[record.Reading, error] {
	return func(yield func(record.Reading, error) bool) {
		for _, r := range w.rows {
			if !yield(r, nil) {
				return
			}
		}
	}
}

func str(note string, gauge, core float64, wrap profiles.Wrap) profiles.String {
	if wrap == profiles.Plain {
		core = gauge
	}
	return profiles.String{Note: note, Gauge: round4(gauge * 25.4), Core: round4(core * 25.4), Wrap: wrap}
}

func round4(v float64) float64 { return math.Round(v*1e4) / 1e4 }

// bench are the string sets that shops measure with.
var bench = map[string][]profiles.String{
	"ten": {str("E4", .010, 0, "plain"), str("B3", .013, 0, "plain"), str("G3", .017, 0, "plain"),
		str("D3", .026, .013, "nickel_plated_steel"), str("A2", .036, .0145, "nickel_plated_steel"), str("E2", .046, .0165, "nickel_plated_steel")},
	"twelve": {str("E4", .012, 0, "plain"), str("B3", .016, 0, "plain"), str("G3", .022, .0115, "nickel"),
		str("D3", .032, .0145, "nickel"), str("A2", .042, .0165, "nickel"), str("E2", .052, .0185, "nickel")},
}

// looseMagnets of each batch are probed before they are used.
const looseMagnets = 18

func magnetName(batch, i int) string { return fmt.Sprintf("B%d/%02d", batch+1, i+1) }

func (w *world) fieldReadings() iter.Seq2[record.FieldReading, error] {
	return func(yield func(record.FieldReading, error) bool) {
		for _, r := range w.fields {
			if !yield(r, nil) {
				return
			}
		}
	}
}
