package main

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"

	"evenpole/capture/record"
	"evenpole/fit/level"
	"evenpole/jig"
	"evenpole/jig/sim"
	"evenpole/profiles"
)

// job is an order and what is true of it in its world.
type job struct {
	order   *profiles.Order
	world   *world
	batch   int
	excite  jig.Excite
	heights []float64   // of the strings
	grid    [][]float64 // heights that each string's pole may have, mm
	table   [][]float64 // ln v at these
}

// kinds are the string sets that orders ask for.
var kinds = []string{"ten", "ten", "twelve", "nine", "pure", "steel", "seven", "bronze"}

// newOrder draws an order.
func (w *world) newOrder(kind int) *job {
	r := w.rng
	o := &profiles.Order{ID: "X", File: "order", FretboardRadius: []float64{184.15, 241.3, 305, 355.6, 0}[r.IntN(5)], StringSpread: 49 + 4*r.Float64(),
		ScaleLength: []float64{628, 635, 648, 660}[r.IntN(4)], PickupFromBridge: 40 + 110*r.Float64(), Poles: profiles.Rod,
		PoleHeightMin: 0.2 * float64(r.IntN(2)), PoleHeightMax: 2.2 + 0.2*float64(r.IntN(5)), PoleHeightStep: 0.05, MinGap: 1.2,
		StringHeightFirst: round(2.6 + r.Float64()), Tolerance: []float64{1, 1.5, 2}[r.IntN(3)]}
	o.StringHeightLast = round(o.StringHeightFirst + 0.6*r.Float64())
	if easy {
		o.FretboardRadius = []float64{0, 0, 508, 406}[r.IntN(4)]
		o.Tolerance = 2 + 5*r.Float64()
	}
	name := kinds[kind%len(kinds)]
	o.Strings = slices.Clone(orderSets[name])
	if name == "seven" {
		o.StringSpread *= 1.2
	}
	as(o)
	b := r.IntN(4)
	o.Batch = w.batches[b].Name
	j := &job{order: o, world: w, batch: b, excite: w.excite, heights: o.StringHeights()}
	if j.excite == jig.Drive || r.IntN(4) == 0 { // nobody plays with an exciter
		o.Excite, j.excite = "force", jig.Force
	}
	if len(w.loose) > 0 {
		for _, i := range r.Perm(looseMagnets)[:len(o.Strings)] {
			o.Magnets = append(o.Magnets, magnetName(b, i))
		}
	}
	for _, s := range j.heights {
		var g []float64
		for h := o.PoleHeightMin; h <= min(o.PoleHeightMax, s-o.MinGap)+1e-6; h += o.PoleHeightStep {
			g = append(g, round(h))
		}
		j.grid = append(j.grid, g)
	}
	if *kindOf != blades {
		j.fill()
	}
	return j
}

var orderSets = map[string][]profiles.String{
	"ten": bench["ten"], "twelve": bench["twelve"],
	"nine": {str("E4", .009, 0, "plain"), str("B3", .011, 0, "plain"), str("G3", .016, 0, "plain"),
		str("D3", .024, .012, "nickel_plated_steel"), str("A2", .032, .0135, "nickel_plated_steel"), str("E2", .042, .015, "nickel_plated_steel")},
	"pure": {str("D#4", .011, 0, "plain"), str("A#3", .014, 0, "plain"), str("F#3", .018, .010, "nickel"),
		str("C#3", .028, .013, "nickel"), str("G#2", .038, .015, "nickel"), str("D#2", .049, .017, "nickel")},
	"steel": {str("E4", .010, 0, "plain"), str("B3", .013, 0, "plain"), str("G3", .017, 0, "plain"),
		str("D3", .026, .013, "stainless"), str("A2", .036, .0145, "stainless"), str("E2", .046, .0165, "stainless")},
	"seven": {str("E4", .010, 0, "plain"), str("B3", .013, 0, "plain"), str("G3", .017, 0, "plain"), str("D3", .026, .013, "nickel_plated_steel"),
		str("A2", .036, .0145, "nickel_plated_steel"), str("E2", .046, .0165, "nickel_plated_steel"), str("B1", .059, .019, "nickel_plated_steel")},
	"bronze": {str("E4", .012, 0, "plain"), str("B3", .016, 0, "plain"), str("G3", .020, .011, "bronze"),
		str("D3", .032, .015, "bronze"), str("A2", .042, .0175, "bronze"), str("E2", .054, .0189, "bronze")},
}

func (j *job) spacing() float64 { return j.order.StringSpread / float64(len(j.order.Strings)-1) }

// truth is ln v of a pickup with these poles.
func (j *job) truth(poles []sim.Pole, strings []profiles.String) []float64 {
	o := j.order
	return j.world.levels(poles, strings, j.heights, j.spacing(), o.ScaleLength, o.PickupFromBridge, j.excite)
}

func (j *job) nominal(heights []float64) []sim.Pole {
	b := j.world.batches[j.batch]
	var out []sim.Pole
	for i, h := range heights {
		r := b.Remanence
		if j.order.Magnets != nil {
			r = j.world.loose[j.order.Magnets[i]]
		}
		out = append(out, poleOf(b, h, r))
	}
	return out
}

// fill tabulates the levels that all poles at one height give, and refines
// them at the best stagger, where neighbours are what they are.
func (j *job) fill() {
	const points = 6
	o := j.order
	var at [][]float64
	var hs []float64
	for k := range points {
		h := o.PoleHeightMin + (o.PoleHeightMax-o.PoleHeightMin)*float64(k)/(points-1)
		all := make([]float64, len(o.Strings))
		for i := range all {
			all[i] = math.Min(h, j.heights[i]-o.MinGap)
		}
		hs = append(hs, h)
		at = append(at, j.truth(j.nominal(all), o.Strings))
	}
	for i, g := range j.grid {
		top := j.heights[i] - o.MinGap
		var xs, ys []float64
		for k, h := range hs {
			if h >= top {
				xs, ys = append(xs, top), append(ys, at[k][i])
				break
			}
			xs, ys = append(xs, h), append(ys, at[k][i])
		}
		var row []float64
		for _, h := range g {
			row = append(row, lagrange(xs, ys, h))
		}
		j.table = append(j.table, row)
	}
	for range 2 {
		best := j.best()
		v := j.truth(j.nominal(best), o.Strings)
		for i := range v {
			k := slices.Index(j.grid[i], best[i])
			d := v[i] - j.table[i][k]
			for n := range j.table[i] {
				j.table[i][n] += d
			}
		}
	}
}

func lagrange(xs, ys []float64, x float64) float64 {
	var sum float64
	for i := range xs {
		p := ys[i]
		for k := range xs {
			if k != i {
				p *= (x - xs[k]) / (xs[i] - xs[k])
			}
		}
		sum += p
	}
	return sum
}

// best is the stagger of least spread by the table.
func (j *job) best() []float64 {
	width := math.Inf(1)
	var best []float64
	for _, row := range j.table {
		for _, low := range row {
			h, w := j.above(low)
			if w < width {
				best, width = h, w
			}
		}
	}
	return best
}

// above picks the least level at or above low of each string.
func (j *job) above(low float64) (heights []float64, width float64) {
	for i, row := range j.table {
		at := -1
		for k, v := range row {
			if v >= low && (at < 0 || v < row[at]) {
				at = k
			}
		}
		if at < 0 {
			return nil, math.Inf(1)
		}
		heights = append(heights, j.grid[i][at])
		width = max(width, row[at]-low)
	}
	return heights, width
}

// built is ln v of one pickup built to heights (mm).
func (j *job) built(heights []float64, seed uint64) []float64 {
	poles, strings := j.build(heights, seed)
	return j.truth(poles, strings)
}

// build winds a pickup and strings it; what scatters does so by the seed, the
// same for every stagger.
func (j *job) build(heights []float64, seed uint64) ([]sim.Pole, []profiles.String) {
	w := j.world
	kept := w.rng
	defer func() { w.rng = kept }()
	w.rng = rand.New(rand.NewPCG(seed, 0x6275696c74))
	set := slices.Clone(heights)
	for i := range set {
		set[i] += 0.05 * w.rng.NormFloat64()
	}
	var strings []profiles.String
	for _, s := range j.order.Strings {
		strings = append(strings, w.actual(s))
	}
	poles := w.poles(j.batch, set)
	for i, name := range j.order.Magnets {
		poles[i].Remanence = w.loose[name]
	}
	return poles, strings
}

func spreadOf(v []float64) float64 { return level.PerLn * (slices.Max(v) - slices.Min(v)) }

func balance(v []float64) []float64 {
	var mean float64
	for _, x := range v {
		mean += x / float64(len(v))
	}
	out := make([]float64, len(v))
	for i, x := range v {
		out[i] = level.PerLn * (x - mean)
	}
	return out
}

// measure puts a pickup built to heights on the shop's jig.
func (j *job) measure(heights []float64, seed uint64) {
	w := j.world
	poles, strings := j.build(heights, seed)
	p := pickup{name: fmt.Sprintf("%s-%d", j.order.ID, seed), batch: j.batch, poles: poles, coil: 0.12 * w.rng.NormFloat64()}
	for _, pole := range poles {
		p.read = append(p.read, round(pole.Height+0.02*w.rng.NormFloat64()))
	}
	w.mount(p, stringSet{p.name, j.order.Strings, strings}, j.heights, 4)
}

// measured reports whether the shop has strings of every wrap that is ordered.
func (j *job) measured() bool {
	return !slices.ContainsFunc(j.order.Strings, func(s profiles.String) bool {
		return !slices.ContainsFunc(j.world.rows, func(r record.Reading) bool { return r.Wrap == s.Wrap })
	})
}

// meets reports whether every string is within the order's tolerance.
func (j *job) meets(v []float64) bool {
	for _, b := range balance(v) {
		if math.Abs(b) > j.order.Tolerance {
			return false
		}
	}
	return true
}
