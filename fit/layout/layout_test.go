package layout

import (
	"math"
	"strings"
	"testing"

	"evenpole/fit"
	"evenpole/fit/field"
	"evenpole/profiles"

	"gonum.org/v1/gonum/mat"
)

// TestSheetIsAsBigAsItsPoints: the closed form is the sum over the face of y/r^3.
func TestSheetIsAsBigAsItsPoints(t *testing.T) {
	s := sheet{half: 6, thick: 1.5}
	for _, p := range [][3]float64{{0, 1, 2}, {3, -2, 1}, {7, 4, 3}} {
		sum, n := 0.0, 400
		dx, dy := 2*s.half/float64(n), 2*s.thick/float64(n)
		for i := range n {
			for k := range n {
				x, y := p[0]+s.half-(float64(i)+0.5)*dx, p[1]+s.thick-(float64(k)+0.5)*dy
				sum += y / math.Pow(x*x+y*y+p[2]*p[2], 1.5) * dx * dy
			}
		}
		if got := s.along(p[0], p[1], p[2]); math.Abs(got-sum) > 1e-3*math.Abs(sum) {
			t.Errorf("at %v: %.6f, by points %.6f", p, got, sum)
		}
	}
}

// TestPoleAtIsTheRodsField: the part along the string of Derby and Olbert's field.
func TestPoleAtIsTheRodsField(t *testing.T) {
	row := field.Row{{Rod: field.Rod{Radius: 2.4, Length: usualLength, Remanence: 1}, X: 3}}
	_, want, _ := row.At(0, 2, 1.7)
	if got := poleAt(4.8, 3)(2, 1.7); math.Abs(got-want) > 1e-12 {
		t.Errorf("got %g, want %g", got, want)
	}
}

// TestReach: one pole right under its string counts as it is; one beside it as one that
// is farther off, the less so the farther the string is from both.
func TestReach(t *testing.T) {
	under, beside := usualOf(4.8).reach(poleAt(4.8, 0), 0), usualOf(4.8).reach(poleAt(4.8, 3), 0)
	for gap := 1.0; gap < 8; gap += 0.7 {
		if d := under.more(gap); math.Abs(d) > 0.01 {
			t.Errorf("gap %g mm under the string: %+.3f mm", gap, d)
		}
		if beside.more(gap) <= 0 {
			t.Errorf("gap %g mm beside it: %+.3f mm", gap, beside.more(gap))
		}
	}
	if near, far := beside.more(1.5), beside.more(6); near < 2*far {
		t.Errorf("a pole 3 mm beside its string counts as %.2f mm farther at 1.5 mm, and %.2f mm at 6 mm", near, far)
	}
}

// TestBladeFallsMoreSlowly: a blade's field falls more slowly with the gap than a pole's,
// so that its far strings count as nearer.
func TestBladeFallsMoreSlowly(t *testing.T) {
	blade := bladeAt(3.2, -31, 31, 0)
	u := usualOf(usualDiameter)
	r := u.reach(blade, u.relative(blade))
	if near, far := r.more(2), r.more(6); near < 0 || far > 0 || near-far < 0.3 {
		t.Errorf("at 2 mm %+.2f mm, at 6 mm %+.2f mm", near, far)
	}
}

// TestMotion: two places that mirror each other move alike in all odd harmonics and
// opposite in even ones; one place moves as itself.
func TestMotion(t *testing.T) {
	if m := motionOf(648, 100, 100); math.Abs(m.gain-1) > 1e-12 || math.Abs(m.alike-1) > 1e-12 {
		t.Errorf("got %+v", m)
	}
	mirror := motionOf(648, 100, 548)
	if math.Abs(mirror.gain-1) > 1e-9 || mirror.alike > 0.95 || mirror.alike < -0.95 {
		t.Errorf("mirrored: %+v", mirror)
	}
	if near := motionOf(648, 55, 36.5); near.gain > 0.85 || near.gain < 0.6 || near.alike < 0.9 {
		t.Errorf("near the bridge: %+v", near)
	}
	if got := Cancelled(648, 18, true); got != 36 || Cancelled(648, 18, false) != 0 {
		t.Errorf("cancelled at %g", got)
	}
}

// TestCoils: two rows that are alike are as loud as one of them; a second row that is
// louder adds, or takes away, its share.
func TestCoils(t *testing.T) {
	add := coils{motion{0.8, 1}, true}
	if got := add.level(1, 1); math.Abs(got-1) > 1e-12 {
		t.Errorf("alike: %g", got)
	}
	if got, want := add.level(1, 1.2), 1+math.Log((1+0.8*math.Exp(0.2))/1.8); math.Abs(got-want) > 1e-12 {
		t.Errorf("got %g, want %g", got, want)
	}
	if s := add.share(1, 1); math.Abs(s-0.8/1.8) > 1e-6 {
		t.Errorf("share %g", s)
	}
	away := coils{motion{0.8, 1}, false}
	if got, want := away.level(1, 1.1), 1+math.Log((1-0.8*math.Exp(0.1))/0.2); math.Abs(got-want) > 1e-9 {
		t.Errorf("subtracted: got %g, want %g", got, want)
	}
	if away.share(1, 1) > -3 {
		t.Errorf("subtracted: share %g", away.share(1, 1))
	}
}

// order is one for six strings with this layout.
func order(poles profiles.PoleKind, l profiles.Layout) *profiles.Order {
	set, _ := profiles.Builtin().Set("light plain-third 10-46")
	o := &profiles.Order{File: "o", Strings: set.Strings, StringSpread: 52, ScaleLength: 648, PickupFromBridge: 55, Poles: poles, Layout: l}
	if poles == profiles.Blade {
		o.FixedHeights = []float64{1, 1, 1, 1, 1, 1}
	}
	return o
}

func setupFor(o *profiles.Order) *fit.Setup {
	return &fit.Setup{Strings: o.Strings, StringHeights: []float64{3, 3.5, 4, 4, 3.5, 3}, Spacing: o.Spacing()}
}

var heights = []float64{0.5, 1, 1.5, 1.5, 1, 0.5}

// TestOverOneCoil: an ordinary pickup's model is the model itself.
func TestOverOneCoil(t *testing.T) {
	m := fit.Handbook(profiles.Travel)
	if got := Over(m, order(profiles.Rod, profiles.Layout{})); got != fit.Predictor(m) {
		t.Errorf("got %T", got)
	}
}

// TestOverOtherPoles: by the handbook levels fall more gently over thick rods, and more
// steeply where rods are far apart; a shop's own model is of the shop's poles.
func TestOverOtherPoles(t *testing.T) {
	m := fit.Handbook(profiles.Travel)
	fall := func(m fit.Predictor, diameter, spread float64) float64 {
		o := order(profiles.Rod, profiles.Layout{PoleDiameter: diameter})
		o.StringSpread = spread
		near, far := setupFor(o), setupFor(o)
		far.StringHeights = []float64{4, 4.5, 5, 5, 4.5, 4}
		over := Over(m, o)
		return over.Level(nil, near, heights)[2] - over.Level(nil, far, heights)[2]
	}
	usual := fall(m, 0, 52)
	if thick, thin := fall(m, 6.35, 52), fall(m, 3.2, 52); !(thick < 0.95*usual && thin > 1.05*usual) {
		t.Errorf("falls by %.3f, over thick rods by %.3f, over thin ones by %.3f", usual, thick, thin)
	}
	if apart := fall(m, 0, 95); apart < 1.05*usual {
		t.Errorf("falls by %.3f, over rods 19 mm apart by %.3f", usual, apart)
	}
	own := *m.(*fit.Falloff)
	own.NoReadings = false
	if got := fall(&own, 6.35, 52); got != usual {
		t.Errorf("a shop's own model falls by %.3f, over thick rods by %.3f", usual, got)
	}
}

// TestOverTwoCoils: with the first row at rest, the second counts by its share; rows of
// equal heights are as one row.
func TestOverTwoCoils(t *testing.T) {
	m := fit.Handbook(profiles.Travel)
	coil := &profiles.Coil{FromBridge: 36.5, Poles: profiles.Screw, Polarity: profiles.Opposite, Winding: profiles.Opposite, Max: 2.5, Step: 0.1}
	o := order(profiles.Slug, profiles.Layout{Coil: coil})
	both := Over(m, o)
	s := setupFor(o)
	screws := *o
	screws.Layout = profiles.Layout{}
	steel := Over(m, &screws) // slugs in one coil
	one := steel.Level(nil, s, heights)
	if got := both.Level(nil, s, heights); !near(got, one, 1e-9) {
		t.Errorf("both rows at one height: %v, one row %v", got, one)
	}
	o.FixedHeights = make([]float64, 6)
	second := Over(m, o)
	got := second.Level(nil, s, heights)
	low := steel.Level(nil, s, o.FixedHeights)
	for i := range got {
		if share := (got[i] - low[i]) / (one[i] - low[i]); share < 0.3 || share > 0.6 {
			t.Errorf("string %d: the second row's poles count for %.2f of the first's", i+1, share)
		}
	}
	if wide, narrow := trace(second.Uncertainty(s, heights)), trace(m.Uncertainty(s, heights)); wide <= narrow {
		t.Errorf("variances %g and, of one row, %g", wide, narrow)
	}
	if w := strings.Join(second.Warnings(s, heights), "; "); !strings.Contains(w, "no pickup with two coils was measured") {
		t.Errorf("warnings: %s", w)
	}
	coil.Winding = profiles.Same
	if w := strings.Join(Over(m, o).Warnings(s, heights), "; "); !strings.Contains(w, "subtracted") {
		t.Errorf("warnings of subtracted coils: %s", w)
	}
}

// TestOverBlade: a model that saw no blade is less sure of one, and its far strings are
// louder than over poles.
func TestOverBlade(t *testing.T) {
	m := fit.Handbook(profiles.Travel)
	o := order(profiles.Blade, profiles.Layout{})
	b := Over(m, o)
	s := setupFor(o)
	poles, blade := m.Level(nil, s, o.FixedHeights), b.Level(nil, s, o.FixedHeights)
	far := blade[2] - poles[2] - (blade[0] - poles[0])
	if far < 0.02 {
		t.Errorf("a string 1 mm farther off is %.3f louder over a blade", far)
	}
	if w := strings.Join(b.Warnings(s, o.FixedHeights), "; "); !strings.Contains(w, "no pickup with a blade was measured") {
		t.Errorf("warnings: %s", w)
	}
}

// seen is a model that was fitted to pickups of a kind.
type seen struct {
	fit.Model
	under profiles.Under
}

func (seen) Source() string { return "shop data" }

func (s seen) Measured() fit.Range {
	r := s.Model.Measured()
	r.Under = []profiles.Under{s.under}
	return r
}

// TestMeasuredKind: of pickups like those that were measured the curve itself is true.
func TestMeasuredKind(t *testing.T) {
	m := seen{fit.Handbook(profiles.Travel), profiles.UnderBlade}
	o := order(profiles.Blade, profiles.Layout{})
	b, s := Over(m, o), setupFor(o)
	if got, want := b.Level(nil, s, o.FixedHeights), m.Level(nil, s, o.FixedHeights); !near(got, want, 0) {
		t.Errorf("got %v, want %v", got, want)
	}
	if got, want := trace(b.Uncertainty(s, o.FixedHeights)), trace(m.Uncertainty(s, o.FixedHeights)); got != want {
		t.Errorf("variances %g, want %g", got, want)
	}
}

func near(a, b []float64, within float64) bool {
	for i := range a {
		if math.Abs(a[i]-b[i]) > within {
			return false
		}
	}
	return true
}

func trace(m *mat.SymDense) float64 { return mat.Trace(m) }

// TestSteelOverABar: over screws plain strings fall faster with the gap than the handbook's
// rods let them, wound ones a little, and the more so the less sure.
func TestSteelOverABar(t *testing.T) {
	m := fit.Handbook(profiles.Travel)
	o := order(profiles.Screw, profiles.Layout{})
	b, s := Over(m, o), setupFor(o)
	low, high := make([]float64, 6), []float64{1, 1, 1, 1, 1, 1}
	rises := func(p fit.Predictor, i int) float64 { return p.Level(nil, s, high)[i] - p.Level(nil, s, low)[i] }
	if d := rises(b, 0) - rises(m, 0); math.Abs(d-steelFallPlain-steelRaise) > 1e-9 {
		t.Errorf("a screw raised by 1 mm under a plain string gives %.3f more than a rod", d)
	}
	if d := rises(b, 5) - rises(m, 5); math.Abs(d-steelFallWound-steelRaise) > 1e-9 {
		t.Errorf("a screw raised by 1 mm under a wound string gives %.3f more than a rod", d)
	}
	if wide, narrow := trace(b.Uncertainty(s, low)), trace(m.Uncertainty(s, low)); wide <= narrow {
		t.Errorf("variances %g and, over rods, %g", wide, narrow)
	}
}
