package sim

import (
	"math"
	"testing"

	"evenpole/jig"

	"gonum.org/v1/gonum/integrate/quad"
)

// ideal is a jig that is never wrong.
var ideal = &Scatter{}

// set is an ordinary set of six strings.
var set = []String{
	{0.254, 0.254, "plain", 329.63}, {0.330, 0.330, "plain", 246.94}, {0.432, 0.432, "plain", 196.00},
	{0.660, 0.350, "nickel_plated_steel", 146.83}, {0.914, 0.380, "nickel_plated_steel", 110.00},
	{1.168, 0.420, "nickel_plated_steel", 82.41},
}

var lot = Batch{Name: "M-1", Remanence: 0.6, SD: 0.03, Radius: 2.38, Length: 16.5}

// flat is a pickup with its poles flush and all strings at one height.
func flat(strings []String, height float64) Mounted {
	m := Mounted{Strings: strings}
	for range strings {
		m.Poles = append(m.Poles, Pole{Radius: lot.Radius, Length: lot.Length, Remanence: lot.Remanence})
		m.StringHeights = append(m.StringHeights, height)
	}
	return m
}

// row is n strings that are all the same.
func row(n int, s String) []String {
	all := make([]String, n)
	for i := range all {
		all[i] = s
	}
	return all
}

func levels(x jig.Excite, m Mounted) []float64 {
	j := New(Config{Excite: x, Scatter: ideal})
	j.Mount(m)
	return j.TrueLevels()
}

func decibel(a, b float64) float64 { return 20 * math.Log10(a/b) }

func TestLevelsAreOfThisWorld(t *testing.T) {
	for _, x := range []jig.Excite{jig.Travel, jig.Force, jig.Drive} {
		near, far := levels(x, flat(set, 2.5)), levels(x, flat(set, 3.5))
		for i := range near {
			if near[i] < 5 || near[i] > 100 {
				t.Errorf("%s, string %d: %.1f mV", x, i+1, near[i])
			}
			if fall := decibel(near[i], far[i]); fall < 2 || fall > 6 {
				t.Errorf("%s, string %d: falls by %.2f dB/mm", x, i+1, fall)
			}
		}
	}
}

// Output follows the cross-section of plain strings (exponent 2 on the diameter,
// less where steel does not saturate): J. Audio Eng. Soc. 65(9), 711 (2017).
func TestThickerIsLouder(t *testing.T) {
	for d := 0.22; d < 0.5; d += 0.03 {
		thin := levels(jig.Drive, flat(row(5, String{Gauge: d}), 3))[2]
		thick := levels(jig.Drive, flat(row(5, String{Gauge: d * 1.05}), 3))[2]
		exponent := math.Log(thick/thin) / math.Log(1.05)
		if exponent < 1 || exponent > 2 {
			t.Errorf("core %.2f mm: exponent %.2f", d, exponent)
		}
	}
}

func TestEndStringsDiffer(t *testing.T) {
	v := levels(jig.Drive, flat(row(6, set[1]), 3))
	if edge := decibel(v[2], v[0]); edge < 0.1 || edge > 3 {
		t.Errorf("an end string is %.2f dB below an inner one", edge)
	}
	for i := range 3 {
		if off := decibel(v[i], v[5-i]); math.Abs(off) > 1e-9 {
			t.Errorf("strings %d and %d of a row that is the same from both ends differ by %.2g dB", i+1, 6-i, off)
		}
	}
}

// Wraps count the more the more easily and the longer they magnetise; nickel saturates first.
func TestWrapsRank(t *testing.T) {
	last := math.Inf(1)
	for _, wrap := range []string{"nickel_plated_steel", "stainless", "nickel", "bronze"} {
		v := levels(jig.Drive, flat(row(1, String{0.66, 0.35, wrap, 147}), 3))[0]
		if v >= last {
			t.Errorf("%s gives %.2f mV, want less than %.2f", wrap, v, last)
		}
		last = v
	}
	core := levels(jig.Drive, flat(row(1, String{0.66, 0.35, "silk", 147}), 3))[0]
	if core != last {
		t.Errorf("an unknown wrap gives %.2f mV and bronze %.2f: neither is magnetic", core, last)
	}
}

// By the field solver of testdata a ring of nickel-plated steel wire counts 0.38 of as much
// core where its turns touch it, and by the records there a quarter to a third: how turns
// touch moves a level by more than 1 dB, so that it cannot be told better than this.
func TestWrapWeighsAsSolved(t *testing.T) {
	for _, s := range []String{{0.66, 0.35, "nickel_plated_steel", 147}, {1.168, 0.42, "nickel_plated_steel", 82}} {
		bare := s
		bare.Wrap = "bronze"
		level := func(s String) float64 { return levels(jig.Drive, flat(row(6, s), 3.5))[2] }
		ring := s.Gauge*s.Gauge/(s.Core*s.Core) - 1
		if weight := (level(s)/level(bare) - 1) / ring; weight < 0.2 || weight > 0.4 {
			t.Errorf("a wrap of %g mm over %g mm counts %.2f of as much core", s.Gauge, s.Core, weight)
		}
	}
}

// fall is by how much string 3 of a row falls from a gap of 1 mm to 3 mm, dB/mm.
func fall(s String, of Steel) float64 {
	at := func(gap float64) float64 {
		m := flat(row(6, s), gap)
		m.Steel = of
		return levels(jig.Drive, m)[2]
	}
	return decibel(at(1), at(3)) / 2
}

// Thin cores of steel that magnetises easily fall more gently than wound strings; of steel
// that does not, all fall as fast.
func TestSteelDecidesTheFall(t *testing.T) {
	thin, wound := set[0], set[5]
	for _, c := range []struct {
		of          Steel
		least, most float64 // dB/mm by which the wound string falls faster
	}{{Steel{}, 1, 3}, {Steel{Permeability: 300, Saturation: 1.5}, 1.5, 4}, {Steel{Permeability: 15}, -0.5, 0.6}} {
		if more := fall(wound, c.of) - fall(thin, c.of); more < c.least || more > c.most {
			t.Errorf("%+v: the wound string falls by %.2f dB/mm, %.2f more than the thin one", c.of, fall(wound, c.of), more)
		}
	}
	if easy, hard := fall(thin, Steel{Permeability: 300}), fall(thin, Steel{Permeability: 15}); easy > hard-1 {
		t.Errorf("a thin string falls by %.2f dB/mm where it magnetises easily, by %.2f where it does not", easy, hard)
	}
}

// A pole that is raised out of its coil under a string that goes with it answers less:
// by 1.0 to 1.5 dB/mm in a row, by the field solver of testdata.
func TestRaisedPoleAnswersLess(t *testing.T) {
	at := func(height float64) float64 {
		m := flat(row(6, set[1]), height+3)
		for i := range m.Poles {
			m.Poles[i].Height = height
		}
		return levels(jig.Drive, m)[2]
	}
	if less := decibel(at(0), at(2.5)) / 2.5; less < 1 || less > 1.5 {
		t.Errorf("by %.2f dB/mm", less)
	}
}

// A stronger magnet is louder, but not in proportion once strings saturate; one
// that is turned round is as loud.
func TestMagnetStrength(t *testing.T) {
	with := func(remanence float64) float64 {
		m := flat(row(1, set[0]), 3)
		m.Poles[0].Remanence = remanence
		return levels(jig.Drive, m)[0]
	}
	if gain := with(0.8) / with(0.4); gain < 1.05 || gain > 1.9 {
		t.Errorf("twice the remanence is %.2f times as loud", gain)
	}
	if a, b := with(0.6), with(-0.6); math.Abs(a/b-1) > 1e-12 {
		t.Errorf("north up %.6f mV, south up %.6f mV", a, b)
	}
	if v := with(0); v != 0 {
		t.Errorf("no magnet gives %.6f mV", v)
	}
}

func TestStringsRestOnPoles(t *testing.T) {
	m := flat(row(1, set[0]), -1)
	touching := flat(row(1, set[0]), 0)
	if a, b := levels(jig.Drive, m)[0], levels(jig.Drive, touching)[0]; a != b {
		t.Errorf("below the pole's top: %.3f mV, on it: %.3f mV", a, b)
	}
}

// A loud string is louder by its curvature: the voltage in the time domain,
// step by step through the flux, for a string that swings as a sine.
func TestLevelInTheTimeDomain(t *testing.T) {
	const frequency, amplitude, steps = 200.0, 0.8, 120
	p := newPickup(flat(set, 2.5).withDefaults())
	for i, s := range set {
		z := 2.5 + s.Gauge/2
		period := 1 / frequency
		at := func(k int) float64 {
			return p.flux(s, p.x[i], z+amplitude*math.Sin(2*math.Pi*float64(k)/steps))
		}
		sum, last := 0.0, at(0)
		for k := range steps {
			now := at(k + 1)
			volts := (now - last) / (period / steps)
			sum, last = sum+volts*volts/steps, now
		}
		want := 1000 * math.Sqrt(sum)
		moves := swing{
			velocity: 2 * math.Pi * frequency * amplitude / 1000 / math.Sqrt2,
			travel:   amplitude / math.Sqrt2,
		}
		if got := p.level(s, i, 2.5, moves); math.Abs(got/want-1) > 2e-3 {
			t.Errorf("string %d: %.4f mV, want %.4f", i+1, got, want)
		}
	}
}

// The flux by another rule, over a longer stretch of string.
func TestFluxByQuadrature(t *testing.T) {
	p := newPickup(flat(set, 2.5).withDefaults())
	for i, s := range set {
		z := 2.5 + s.Gauge/2
		want := 1e-9 * p.gain * quad.Fixed(func(y float64) float64 { return p.density(s, p.x[i], y, z) }, -40, 40, 400, nil, 0)
		if got := p.flux(s, p.x[i], z); math.Abs(got/want-1) > 1e-2 {
			t.Errorf("string %d: %.6g Wb, want %.6g", i+1, got, want)
		}
	}
}

// A thin core saturates in a field that a thick one only follows.
func TestThinCoresSaturate(t *testing.T) {
	thin, thick := String{Core: 0.1}, String{Core: 1}
	of := Steel{steel.permeability, steel.saturation}
	weak, _ := thin.core(of, 0.002, 0)
	if strong, _ := thin.core(of, 0.2, 0); strong < 0.95*steel.saturation || strong > steel.saturation || strong > 40*weak {
		t.Errorf("0.1 mm: %.3f T in 2 mT and %.3f T in 200 mT, want the latter near %.1f T", weak, strong, steel.saturation)
	}
	weak, _ = thick.core(of, 0.001, 0)
	if strong, _ := thick.core(of, 0.004, 0); math.Abs(strong/weak-4) > 0.1 {
		t.Errorf("1 mm: %.3f T in 1 mT and %.3f T in 4 mT, want 4 times as much", weak, strong)
	}
}

func TestSaturating(t *testing.T) {
	for _, j := range []float64{1e-6, 3.3e-4, 3.4e-4, 1e-2} {
		if got := saturating(j, 1); math.Abs(got/j-1) > 1e-4 {
			t.Errorf("%g: got %g, want it in proportion", j, got)
		}
	}
	if a, b := saturating(3, 2), saturating(-3, 2); a != -b || a <= 0 || a >= 2 {
		t.Errorf("got %g and %g, want opposite and below 2", a, b)
	}
}

// T = (2 L f)² μ with 7850 kg/m³: E4 of 0.010 in at 0.6477 m, worked out to
// 72.5240 N, and B3 of 0.013 in, 68.7876 N, in 30-digit arithmetic.
func TestTension(t *testing.T) {
	for _, c := range []struct {
		inch, freq, want float64
	}{{0.010, 329.627557, 72.5240}, {0.013, 246.941651, 68.7876}} {
		d := c.inch * 25.4
		if got := (String{Gauge: d, Core: d, Freq: c.freq}).tension(647.7); math.Abs(got-c.want) > 1e-4 {
			t.Errorf("%g in: %.4f N, want %.4f", c.inch, got, c.want)
		}
	}
}

// Travel and force differ by the displacement at release, F L b (1−b) / T.
func TestForceAgainstTravel(t *testing.T) {
	s := set[0]
	travel, force := s.swing(jig.Travel, 648, 100), s.swing(jig.Force, 648, 100)
	want := pluckForce * 648 * pluckShare * (1 - pluckShare) / s.tension(648) / pluckTravel
	if got := force.velocity / travel.velocity; math.Abs(got/want-1) > 1e-12 {
		t.Errorf("force over travel is %.6f, want %.6f", got, want)
	}
}

// The swing in the time domain: the partials of the triangle that the string is
// pulled to, by quadrature, each ringing down; the velocity by differences.
func TestSwingInTheTimeDomain(t *testing.T) {
	s := set[3]
	const place, samples = 100.0 / 648, 400000
	var amplitude [modes + 1]float64
	for n := 1; n <= modes; n++ {
		triangle := func(x float64) float64 {
			pulled := pluckTravel * min(x/pluckShare, (1-x)/(1-pluckShare))
			return 2 * pulled * math.Sin(float64(n)*math.Pi*x)
		}
		projection := quad.Fixed(triangle, 0, pluckShare, 60, nil, 0) + quad.Fixed(triangle, pluckShare, 1, 60, nil, 0)
		amplitude[n] = projection * math.Sin(float64(n)*math.Pi*place)
	}
	var last, travel, velocity float64
	for k := range samples + 1 {
		at := window * float64(k) / samples
		u := 0.0
		for n := 1; n <= modes; n++ {
			u += amplitude[n] * math.Exp(-at*float64(n)/ringing) * math.Cos(2*math.Pi*float64(n)*s.Freq*at)
		}
		if k > 0 {
			v := (u - last) / 1000 * samples / window
			travel, velocity = travel+u*u/samples, velocity+v*v/samples
		}
		last = u
	}
	got := s.swing(jig.Travel, 648, 100)
	if math.Abs(got.travel/math.Sqrt(travel)-1) > 0.01 || math.Abs(got.velocity/math.Sqrt(velocity)-1) > 0.01 {
		t.Errorf("got %+v, want %.4f mm and %.4f m/s", got, math.Sqrt(travel), math.Sqrt(velocity))
	}
}

func TestMagnetsHaveNames(t *testing.T) {
	if a, b := lot.Magnet(1, "M-1/07"), lot.Magnet(1, "M-1/07"); a != b {
		t.Errorf("the same name gave %v and %v", a, b)
	}
	var sum, squares float64
	const n = 2000
	for i := range n {
		x := math.Log(lot.Magnet(uint64(i), "M-1/07").Remanence / lot.Remanence)
		sum, squares = sum+x, squares+x*x
	}
	mean := sum / n
	sd := math.Sqrt(squares/n - mean*mean)
	// Five standard errors of a mean and of a standard deviation.
	if math.Abs(mean) > 5*lot.SD/math.Sqrt(n) || math.Abs(sd/lot.SD-1) > 5/math.Sqrt(2*n) {
		t.Errorf("mean %.5f, sd %.5f, want 0 and %.3f", mean, sd, lot.SD)
	}
}

func TestMountPanics(t *testing.T) {
	for name, m := range map[string]Mounted{
		"no heights": {Strings: set},
		"no gauge":   flat([]String{{}}, 3),
	} {
		func() {
			defer func() {
				if recover() == nil {
					t.Errorf("%s: no panic", name)
				}
			}()
			New(Config{}).Mount(m)
		}()
	}
}
