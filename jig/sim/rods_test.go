package sim

import (
	"fmt"
	"math"
	"testing"

	"evenpole/fit/field"
	"evenpole/fit/field/fieldtest"
	"evenpole/jig"

	"gonum.org/v1/gonum/floats"
	"gonum.org/v1/gonum/stat"
)

// place is where the field solver of testdata computed a level.
type place struct {
	str         string // diameter, or gauge/core
	height, gap float64
}

// solverLevels are the levels in dB of a case of testdata/field_solver.
func solverLevels(t *testing.T, kase string) map[place]float64 {
	t.Helper()
	all := map[place]float64{}
	for _, s := range fieldtest.Levels(t) {
		if s.Case == kase {
			all[place{s.String, s.Height, s.Gap}] = s.DB
		}
	}
	return all
}

// solverRow is the field solver's row of six poles in its coil: rods of a permeability of 4
// with this polarisation in no field, and steel that at first magnetises as its does.
func solverRow(polarisation, height float64, nodes []float64) *pickup {
	pole := Pole{Height: height, Radius: 4.76 / 2, Length: 16.5, Remanence: 1, Permeability: 4}
	pole.Remanence = polarisation / newColumn(pole, 0, nodes).own
	m := Mounted{Poles: []Pole{pole, pole, pole, pole, pole, pole}, Steel: Steel{Permeability: 100, Saturation: 1.9}}.withDefaults()
	in := newCoil(m)
	in.aside, in.top, in.bottom = (2.95+5.8)/2, -1.8, -12.5
	return newPickupIn(in, m, nodes)
}

// third is the level in dB of a string over the third pole, in small motion.
func (p *pickup) third(t *testing.T, at place) float64 {
	t.Helper()
	s := String{Wrap: "nickel_plated_steel"}
	if n, _ := fmt.Sscanf(at.str, "%g/%g", &s.Gauge, &s.Core); n == 0 {
		t.Fatalf("a string of %q", at.str)
	}
	return 20 * math.Log10(p.level(s.actual(1, 0, 0), 2, at.height+at.gap, swing{velocity: 1, travel: 0.01}))
}

var solverCases = []struct {
	name         string
	polarisation float64 // T
}{{"row3", 1.25}, {"row3_weak", 0.85}}

var solverStrings = []string{"0.254", "0.432", "0.66/0.33", "1.17/0.44"}

// TestRaisedPoleCosts: a pole that is raised out of its coil under a string that goes with
// it answers less, by nearly as much as in the field solver, whose rods are of surface
// elements: up to 0.11 dB/mm more, since polarisation is not quite even across a rod and
// the steel's curves differ.
func TestRaisedPoleCosts(t *testing.T) {
	for _, c := range solverCases {
		want := solverLevels(t, c.name)
		flush := solverRow(c.polarisation, 0, nodes)
		for _, height := range []float64{1.25, 2.5} {
			raised := solverRow(c.polarisation, height, nodes)
			for _, str := range solverStrings {
				for gap := 1.0; gap <= 4; gap++ {
					low, high := place{str, 0, gap}, place{str, height, gap}
					cost := (flush.third(t, low) - raised.third(t, high)) / height
					solver := (want[low] - want[high]) / height
					t.Logf("%s, %s mm at %g mm, raised by %g mm: %.2f dB/mm, by the solver %.2f", c.name, str, gap, height, cost, solver)
					if math.Abs(cost-solver) > 0.12 || solver < 1 {
						t.Errorf("%s, %s mm at %g mm, raised by %g mm: %.2f dB/mm, by the solver %.2f", c.name, str, gap, height, cost, solver)
					}
				}
			}
		}
	}
}

// TestFallOverRaisedPoles: over a pole that stands higher level falls more gently, by -0.026
// per mm where the field solver has -0.031 and -0.032, for the same reasons.
func TestFallOverRaisedPoles(t *testing.T) {
	const low, high, ref = 0, 2.5, 1.2 // mm
	// z of fall(h) = fall (1 + z (h - ref)), from two heights
	slope := func(level func(place) float64, str string) float64 {
		a := level(place{str, low, 2}) - level(place{str, low, 4})
		b := level(place{str, high, 2}) - level(place{str, high, 4})
		return (b - a) / (a*(high-ref) - b*(low-ref))
	}
	for _, c := range solverCases {
		solver := solverLevels(t, c.name)
		rows := map[float64]*pickup{low: solverRow(c.polarisation, low, nodes), high: solverRow(c.polarisation, high, nodes)}
		var found, want []float64
		for _, str := range solverStrings {
			found = append(found, slope(func(at place) float64 { return rows[at.height].third(t, at) }, str))
			want = append(want, slope(func(at place) float64 { return solver[at] }, str))
		}
		t.Logf("%s: %.4f per mm, by the solver %.4f", c.name, found, want)
		if got, want := stat.Mean(found, nil), stat.Mean(want, nil); math.Abs(got-want) > 0.008 {
			t.Errorf("%s: %.4f per mm, by the solver %.4f", c.name, got, want)
		}
	}
}

// TestHardRodsAddUp: rods of a permeability of 1 neither answer to each other nor to the
// coil; their fields add up.
func TestHardRodsAddUp(t *testing.T) {
	m := flat(row(5, set[0]), 3).withDefaults()
	var each field.Row
	for i := range m.Poles {
		p := &m.Poles[i]
		p.Height, p.Remanence, p.Permeability = 0.4*float64(i), 0.5+0.1*float64(i), 1
		each = append(each, field.Pole{Rod: field.Rod{Radius: p.Radius, Length: p.Length, Remanence: p.Remanence}, X: m.x(i), Top: p.Height})
	}
	all := newRods(m, nodes, newCoil(m))
	for _, at := range [][3]float64{{0, 0, 3}, {1, 2, 2}, {10.4, 5, 4}, {-20.8, 0.5, 1}, {3, 12, 8}} {
		magnets, iron := all.at(at[0], at[1], at[2])
		_, along, up := each.At(at[0], at[1], at[2])
		if math.Hypot(magnets.along-along, magnets.up-up) > 1e-14 || iron != (vector{}) {
			t.Errorf("at %g: %+v and, of the coil, %+v, want %.15f and %.15f, and nothing", at, magnets, iron, along, up)
		}
	}
}

// TestEffectiveRemanence: where a lone rod is measured its field is that of an even rod of
// its remanence; further away that of one with more.
func TestEffectiveRemanence(t *testing.T) {
	even := field.Rod{Radius: lot.Radius, Length: lot.Length, Remanence: lot.Remanence}
	loose := func(gap float64) float64 {
		m := Mounted{Loose: []Pole{lot.Magnet(1, "any")}, ProbeGap: gap}
		m.Loose[0].Remanence, m.Loose[0].Height = lot.Remanence, 3
		return newBench(m.withDefaults(), Config{}, Scatter{}, Mounting{Number: 1}).fields[0]
	}
	if got, want := loose(0.5), even.OnAxis(0.5); math.Abs(got/want-1) > 1e-12 {
		t.Errorf("at 0.5 mm: %.6f T, want %.6f", got, want)
	}
	for gap, most := range map[float64]float64{0.3: 1, 0.8: 1.06, 3: 1.25} {
		if more := loose(gap) / even.OnAxis(gap); more < most-0.06 || more > most {
			t.Errorf("at %g mm: %.3f times the field of an even rod, want %.2f to %.2f", gap, more, most-0.06, most)
		}
	}
}

// TestProbeOverRow: over a row the probe sees each pole weakened or, the other way up,
// strengthened by its neighbours' iron and magnets, and no more where they are hard.
func TestProbeOverRow(t *testing.T) {
	fields := func(permeability, neighbour float64) []float64 {
		m := flat(row(3, set[0]), 3)
		for i := range m.Poles {
			m.Poles[i].Permeability = permeability
		}
		m.Poles[0].Remanence *= neighbour
		j := New(Config{})
		j.Mount(m)
		return j.TrueFields()
	}
	hard := field.Rod{Radius: lot.Radius, Length: lot.Length, Remanence: lot.Remanence}
	_, beside := hard.At(10.4, 0.5)
	_, further := hard.At(20.8, 0.5)
	for i, others := range []float64{beside + further, 2 * beside, beside + further} {
		if got, want := fields(1, 1)[i], hard.OnAxis(0.5)+others; math.Abs(got-want) > 1e-14 {
			t.Errorf("hard pole %d: %.6f T, want %.6f", i+1, got, want)
		}
	}
	loose := Mounted{Loose: []Pole{{Height: 1, Radius: lot.Radius, Length: lot.Length, Remanence: lot.Remanence, Permeability: 1}}, ProbeGap: 0.7}
	if got := newBench(loose.withDefaults(), Config{}, Scatter{}, Mounting{Number: 1}).fields[0]; math.Abs(got-hard.OnAxis(0.7)) > 1e-12 {
		t.Errorf("loose hard magnet: %.6f T, want %.6f", got, hard.OnAxis(0.7))
	}
	alone, same, turned := hard.OnAxis(0.5), fields(4, 1)[1], fields(4, -1)[1]
	if same > alone-3e-3 || turned < same+3e-3 {
		t.Errorf("alone %.6f T, between poles the same way up %.6f, one turned round %.6f", alone, same, turned)
	}
}

// between are nodes with as many more between them.
func between(nodes []float64) []float64 {
	var all []float64
	for i := range len(nodes) - 1 {
		all = append(all, nodes[i], (nodes[i]+nodes[i+1])/2)
	}
	return append(all, 1)
}

// TestNodesAreEnough: with twice as many nodes levels stay as they are to 0.1 dB, and
// beside one another to half of that, over poles of the largest permeability that shops of
// bench have.
func TestNodesAreEnough(t *testing.T) {
	low, high := math.Inf(1), math.Inf(-1)
	for _, height := range []float64{0, 1, 2.5} {
		m := flat(row(6, set[0]), 3).withDefaults()
		for i := range m.Poles {
			m.Poles[i].Height, m.Poles[i].Permeability = height, 6
		}
		few, many := newPickupIn(newCoil(m), m, nodes), newPickupIn(newCoil(m), m, between(nodes))
		for _, str := range solverStrings {
			for gap := 1.0; gap <= 6; gap++ {
				at := place{str, height, gap}
				off := few.third(t, at) - many.third(t, at)
				low, high = min(low, off), max(high, off)
			}
		}
	}
	if high > 0.1 || low < -0.1 || high-low > 0.05 {
		t.Errorf("levels differ by %.3f to %.3f dB", low, high)
	}
	t.Logf("levels differ by %.3f to %.3f dB", low, high)
}

// at is the polarisation at a node: what leaves at the top and at the side above came
// through there.
func (c *column) at(node int, q charges) float64 {
	j, side := q.top, 0.0
	for k := range node {
		side += q.side[k]
		j += side / c.perStep(k)
	}
	return j
}

// TestDemagnetisation: what weakens the field in the middle of a lone rod, by its
// polarisation there, is the ballistic demagnetising factor of cylinders by their length
// over diameter. For iron without bounds at 5 diameters 0.040 is published (R. Bozorth,
// D. Chapin, J. Appl. Phys. 13, 320 (1942), from memory); the other figures are those of
// the surface elements of bench/magnetics, which has 0.0401 there. Rods that are short are
// off the most: their polarisation is least even across them.
func TestDemagnetisation(t *testing.T) {
	even := coil{aside: 1e4, top: 1e4, bottom: -1e4}
	nodes := floats.Span(make([]float64, 41), 0, 1)
	for _, c := range []struct{ slim, permeability, factor float64 }{
		{5, 1e5, 0.040}, {10, 1e5, 0.0155}, {20, 1e5, 0.00536}, {3.5, 4, 0.0486}, {5, 4, 0.0265}, {10, 4, 0.00663},
	} {
		r := rods{newColumn(Pole{Radius: 1, Length: 2 * c.slim, Remanence: 1, Permeability: c.permeability}, 0, nodes)}
		r.magnetise(even)
		field := even.at(0, 0, -c.slim).up
		factor := field/r[0].at(20, r[0].iron) - 1/(c.permeability-1)
		t.Logf("%g diameters, permeability %g: %.5f, want %.5f", c.slim, c.permeability, factor, c.factor)
		if math.Abs(factor/c.factor-1) > 0.06 {
			t.Errorf("%g diameters, permeability %g: %.5f, want %.5f", c.slim, c.permeability, factor, c.factor)
		}
	}
}

// TestNeighbourMagnetises: a short rod that is no magnet takes the polarisation that the
// field of a hard magnet far beside it and its own demagnetising factor say.
func TestNeighbourMagnetises(t *testing.T) {
	const far, permeability, factor = 40, 4, 0.0486 // of 3.5 diameters, as in TestDemagnetisation
	magnet := Pole{Radius: 2.4, Length: 16, Remanence: 0.6, Permeability: 1}
	iron := Pole{Height: -8 + 1.75, Radius: 0.5, Length: 3.5, Permeability: permeability}
	r := newRods(Mounted{Poles: []Pole{magnet, iron}, Spacing: far}, []float64{0, 0.1, 0.3, 0.5, 0.7, 0.9, 1}, coil{})
	_, beside := field.Rod{Radius: 2.4, Length: 16, Remanence: 0.6}.At(far, -8)
	want := beside / (factor + 1.0/(permeability-1))
	if got := r[1].at(3, r[1].magnet); math.Abs(got/want-1) > 0.03 || want > 0 {
		t.Errorf("%.6f T, want %.6f", got, want)
	}
}

// TestCostByPermeability: the less iron answers to the coil, the more it costs to raise a
// string together with its pole.
func TestCostByPermeability(t *testing.T) {
	last := math.Inf(1)
	for _, permeability := range []float64{1, 2, 4, 6} {
		at := func(height float64) float64 {
			m := flat(row(6, set[1]), height+3)
			for i := range m.Poles {
				m.Poles[i].Height, m.Poles[i].Permeability = height, permeability
			}
			return levels(jig.Drive, m)[2]
		}
		cost := decibel(at(0), at(2.5)) / 2.5
		if cost >= last-0.05 || cost < 1 || cost > 2 {
			t.Errorf("permeability %g: %.2f dB/mm, after %.2f", permeability, cost, last)
		}
		last = cost
	}
}

func BenchmarkLevels(b *testing.B) {
	m := flat(set, 2.5)
	for b.Loop() {
		levels(jig.Drive, m)
	}
}
