package fit

import (
	"math"
	"math/rand/v2"
	"reflect"
	"slices"
	"strings"
	"testing"

	"evenpole/profiles"

	"gonum.org/v1/gonum/mat"
)

// filled is a site whose every input has a value of its own, from seed on.
func filled(t *testing.T, seed float64) *site {
	t.Helper()
	s := &site{}
	v := reflect.ValueOf(s).Elem()
	for i := range v.NumField() {
		name := v.Type().Field(i).Name
		field := reflect.NewAt(v.Field(i).Type(), v.Field(i).Addr().UnsafePointer()).Elem()
		switch field.Kind() {
		case reflect.Float64:
			field.SetFloat(seed + float64(i)/8)
		case reflect.Int:
			field.SetInt(int64(seed))
		case reflect.Bool:
			field.SetBool(true)
		case reflect.String:
			field.SetString("nickel")
		default:
			t.Fatalf("site has an input %q of a kind that this test does not know: teach it", name)
		}
	}
	s.gauge = s.core + 0.25
	return s
}

// TestHybridForgetsNothing fails when a site has an input that belongs to no
// cause: give it one in hybrid.
func TestHybridForgetsNothing(t *testing.T) {
	s := filled(t, 1)
	var of [siteCauses]*site
	for c := range of {
		of[c] = s
	}
	h := hybrid(&of)
	got, want := reflect.ValueOf(h), reflect.ValueOf(*s)
	for i := range want.NumField() {
		g, w := got.Field(i), want.Field(i)
		same := g.Equal(w)
		if w.Kind() == reflect.Float64 {
			same = math.Abs(g.Float()-w.Float()) < 1e-12
		}
		if !same {
			t.Errorf("input %s: %v became %v", want.Type().Field(i).Name, w, g)
		}
	}
}

// drawnModel is a falloff model with parameters drawn from their priors.
func drawnModel(rng *rand.Rand) *falloff {
	f := &falloff{curve: curve{Wraps: []string{"nickel", "stainless"}}, Excite: Travel, Pitch: true}
	f.Theta = make([]float64, f.size())
	for j := range f.Theta {
		p := Normal{math.Log(0.2), 0.3}
		if j < pFixed {
			p = falloffPriors[j]
		}
		f.Theta[j] = p.Mean + p.SD*rng.NormFloat64()
	}
	f.SDs = []float64{0.03}
	for _, e := range falloffEffects {
		f.SDs = append(f.SDs, e.spread.SD)
		f.Levels = append(f.Levels, 1)
	}
	f.Cov = rowsOf(mat.NewSymDense(f.size(), nil), 1)
	return f
}

var bench = Setup{
	Strings: steels, StringHeights: []float64{3.0, 3.5, 3.9, 4.0, 3.7, 3.3}, Spacing: 10.2, Poles: profiles.Rod,
}

// TestPartsAddUp: whatever terms the model has, parts add up to what it
// predicts, and a cause's parts to zero over the strings.
func TestPartsAddUp(t *testing.T) {
	rng := rand.New(rand.NewPCG(5, 6))
	for _, play := range []string{Travel, Force} {
		for _, pitch := range []bool{true, false} {
			f := drawnModel(rng)
			f.Pitch = pitch
			s := bench
			s.Excite = play
			heights := []float64{0.1, 0.9, 1.4, 2.1, 1.2, 0.3}
			x, err := ExplainSetup(f, &s, heights)
			if err != nil {
				t.Fatal(err)
			}
			want := centred(f.Level(nil, &s, heights))
			checkSums(t, x, want)
			for i, e := range x.Strings {
				if e.Predicted != e.Balance || e.String != i+1 || e.Note != steels[i].Note || e.PoleHeight != heights[i] {
					t.Errorf("string %d: %+v", i+1, e)
				}
			}
		}
	}
}

// checkSums compares the sums of parts with balances in ln v.
func checkSums(t *testing.T, x *Explanation, want []float64) {
	t.Helper()
	for i, e := range x.Strings {
		var sum float64
		for _, c := range x.Causes {
			part, ok := e.Parts[c.Name]
			if !ok {
				t.Errorf("string %d has no part of cause %q", i+1, c.Name)
			}
			sum += part
		}
		if len(e.Parts) != len(x.Causes) || math.Abs(sum-dB*want[i]) > 1e-9 || math.Abs(e.Balance-sum) > 1e-9 {
			t.Errorf("string %d: %d parts add up to %.9f, balance %.9f, want %.9f dB", i+1, len(e.Parts), sum, e.Balance, dB*want[i])
		}
	}
	for _, c := range x.Causes {
		var sum float64
		for _, e := range x.Strings {
			sum += e.Parts[c.Name]
		}
		if math.Abs(sum) > 1e-9 {
			t.Errorf("parts of cause %q add up to %g over the strings", c.Name, sum)
		}
	}
}

// TestVersusIsShapley compares with a slow formula: the mean over all orders
// of the causes.
func TestVersusIsShapley(t *testing.T) {
	f := drawnModel(rand.New(rand.NewPCG(7, 8)))
	heights := []float64{0.1, 0.9, 1.4, 2.1, 1.2, 0.3}
	a, b := f.site(&bench, 0, heights), f.site(&bench, 4, heights)
	var want [siteCauses]float64
	orders := 0.0
	permute([]int{}, func(order []int) {
		orders++
		var of [siteCauses]*site
		for c := range of {
			of[c] = b
		}
		was := f.predict(f.Theta, b, 0)
		for _, c := range order {
			of[c] = a
			h := hybrid(&of)
			is := f.predict(f.Theta, &h, 0)
			want[c] += is - was
			was = is
		}
	})
	got := f.versus(a, b)
	for c := range got {
		if d := got[c] - want[c]/orders; math.Abs(d) > 1e-12 {
			t.Errorf("%s: %.12f, by all orders %.12f", siteCauseNames[c].Name, got[c], want[c]/orders)
		}
	}
	back := f.versus(b, a)
	for c := range got {
		if math.Abs(got[c]+back[c]) > 1e-12 {
			t.Errorf("%s: %.12f one way, %.12f the other", siteCauseNames[c].Name, got[c], back[c])
		}
	}
}

// permute visits all orders of the causes.
func permute(begun []int, visit func([]int)) {
	if len(begun) == siteCauses {
		visit(begun)
		return
	}
	for c := range siteCauses {
		if !slices.Contains(begun, c) {
			permute(append(begun, c), visit)
		}
	}
}

// TestOneCauseAlone: where strings differ in one input only, its cause has all
// of the difference.
func TestOneCauseAlone(t *testing.T) {
	f := drawnModel(rand.New(rand.NewPCG(9, 10)))
	base := site{core: 0.3, gauge: 0.5, wrap: "nickel", height: 1, stringHeight: 4, velocity: 0.2, spacing: 10.4, missing: 1}
	for _, c := range []struct {
		cause  int
		change func(*site)
	}{
		{byWrap, func(s *site) { s.wrap = "stainless" }},
		{byVelocity, func(s *site) { s.velocity = 0.9 }},
		{byAxis, func(s *site) { s.stringHeight = 3.1 }},
		{byNeighbours, func(s *site) { s.missing = 0 }},
	} {
		other := base
		c.change(&other)
		parts := f.versus(&other, &base)
		all := f.predict(f.Theta, &other, 0) - f.predict(f.Theta, &base, 0)
		for k, v := range parts {
			want := 0.0
			if k == c.cause {
				want = all
			}
			if math.Abs(v-want) > 1e-12 || all == 0 {
				t.Errorf("%s changed: part of %s %.12f, want %.12f", siteCauseNames[c.cause].Name, siteCauseNames[k].Name, v, want)
			}
		}
	}
	higher := base
	higher.height = 1.8
	parts := f.versus(&higher, &base)
	if want := f.Theta[pProtrude] * 0.8; math.Abs(parts[byProtrusion]-want) > 1e-12 {
		t.Errorf("pole 0.8 mm higher: protrusion %.12f, want %.12f", parts[byProtrusion], want)
	}
}

// TestExplainMeasured: with the truth for a model, the parts of what is random
// are found again, and all adds up to what was measured.
func TestExplainMeasured(t *testing.T) {
	rng := rand.New(rand.NewPCG(11, 12))
	th, cells := falloffShop(rng, 8)
	f := drawnModel(rng)
	f.Theta = th
	x, err := ExplainPickup(f, &Data{Cells: cells}, "P3", "s1")
	if err != nil {
		t.Fatal(err)
	}
	var measured []float64
	for _, c := range cells {
		if c.Pickup == "P3" && c.Session == "s1" {
			measured = append(measured, c.Mean)
		}
	}
	checkSums(t, x, centred(measured))
	for i, e := range x.Strings {
		if left := e.Parts["left"]; math.Abs(left) > 0.6 {
			t.Errorf("string %d: %.2f dB not explained, noise was 0.17 dB", i+1, left)
		}
		if e.Predicted == e.Balance {
			t.Errorf("string %d: predicted %g exactly as measured", i+1, e.Predicted)
		}
	}
	if x.Session != "s1" || x.Pickup != "P3" {
		t.Errorf("explained %q, %q", x.Pickup, x.Session)
	}
}

// TestEffectsHaveWords fails when the model gets an effect that no explanation
// shows: a pickup's strings share pickup and batch, so these are no causes.
func TestEffectsHaveWords(t *testing.T) {
	for _, e := range falloffEffects {
		c, ok := effectCauses[e.name]
		shared := e.name == "pickup" || e.name == "batch"
		if ok == shared || ok && (c.Name == "" || c.Words == "") {
			t.Errorf("effect %q: cause %+v", e.name, c)
		}
	}
}

// sampleModes fits the sample record and finds its effects again.
func sampleModes(t *testing.T) *modes {
	t.Helper()
	d := gather(t, readRecord(t, "readings.csv"))
	f, err := fitFalloff(d, nil)
	if err != nil {
		t.Fatal(err)
	}
	m, err := f.modesOf(d.Cells, nil)
	if err != nil {
		t.Fatal(err)
	}
	return m
}

// TestModesAreFitted: the fit's own modes come back at the fit's parameters.
func TestModesAreFitted(t *testing.T) {
	m := sampleModes(t)
	f := m.f
	for _, k := range []int{eString, eChannel} {
		for i := range m.cells {
			key := falloffEffects[k].name + falloffEffects[k].level(&m.cells[i])
			if d := m.mode(k, i) - f.Known[key]; math.Abs(d) > 2e-3 {
				t.Errorf("%s: %.5f, by the fit %.5f", key, m.mode(k, i), f.Known[key])
			}
		}
	}
	for i, r := range m.residuals() {
		if want := m.mixed.Y[i] - m.fit.Fitted[i]; math.Abs(r-want) > 1e-4 {
			t.Errorf("cell %d: residual %.6f, by the mixed model %.6f", i, r, want)
		}
	}
}

// TestPosterior compares standard deviations of effects with the plain inverse
// of the whole system.
func TestPosterior(t *testing.T) {
	m := sampleModes(t)
	f := m.f
	p, err := m.posterior()
	if err != nil {
		t.Fatal(err)
	}
	want := plainInverse(t, m)
	at := f.size()
	for k, e := range falloffEffects {
		sds, err := p.sds(k)
		if err != nil {
			t.Fatal(err)
		}
		for l, sd := range sds {
			if w := math.Sqrt(want.At(at, at)); math.Abs(sd-w) > 1e-6*w {
				t.Errorf("%s %d: %.8f, by the plain inverse %.8f", e.name, l, sd, w)
			}
			at++
		}
	}
}

// plainInverse is the covariance of the parameters and then of all effects,
// from the normal equations without elimination.
func plainInverse(t *testing.T, m *modes) *mat.SymDense {
	t.Helper()
	f, p := m.f, m.f.size()
	n := p
	var first []int
	for _, term := range m.mixed.Terms {
		first = append(first, n)
		n += slices.Max(term.Level) + 1
	}
	a := mat.NewSymDense(n, nil)
	for j, prior := range m.mixed.Prior {
		a.SetSym(j, j, 1/(prior.SD*prior.SD))
	}
	for k, at := range first {
		for l := range slices.Max(m.mixed.Terms[k].Level) + 1 {
			a.SetSym(at+l, at+l, 1/(f.SDs[k+1]*f.SDs[k+1]))
		}
	}
	for i := range m.cells {
		row := mat.NewVecDense(n, nil)
		for j := range p {
			row.SetVec(j, m.x.At(i, j))
		}
		for k, term := range m.mixed.Terms {
			z := 1.0
			if term.Z != nil {
				z = term.Z[i][0]
			}
			if term.Level[i] >= 0 {
				row.SetVec(first[k]+term.Level[i], z)
			}
		}
		a.SymRankOne(a, m.mixed.Weight[i]/(m.noise(i)*m.noise(i)), row)
	}
	var chol mat.Cholesky
	if !chol.Factorize(a) {
		t.Fatal("the plain system is singular")
	}
	inv := mat.NewSymDense(n, nil)
	if err := chol.InverseTo(inv); err != nil {
		t.Fatal(err)
	}
	return inv
}

func TestExplainRefuses(t *testing.T) {
	d := gather(t, readRecord(t, "readings.csv"))
	f := drawnModel(rand.New(rand.NewPCG(13, 14)))
	base, err := logHeight.kind().Fit(d)
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		name, want string
		err        func() error
	}{
		{"a baseline", "expected a falloff model", func() error { _, err := ExplainSetup(base, &bench, make([]float64, 6)); return err }},
		{"a baseline, measured", "expected a falloff model", func() error { _, err := ExplainPickup(base, d, "T-001", ""); return err }},
		{"heights", "expected 6, one a string, got 2", func() error { _, err := ExplainSetup(f, &bench, []float64{1, 2}); return err }},
		{"a pickup that is not there", `no good take of pickup "Z"`, func() error { _, err := ExplainPickup(f, d, "Z", ""); return err }},
		{"a session that is not there", `in session "Z"; its sessions: `, func() error { _, err := ExplainPickup(f, d, d.Pickups()[0], "Z"); return err }},
	} {
		if err := c.err(); err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: got %v, want %q", c.name, err, c.want)
		}
	}
}

// TestLatestSession: a pickup measured twice is explained as it was last.
func TestLatestSession(t *testing.T) {
	d := gather(t, readRecord(t, "readings.csv"))
	f := drawnModel(rand.New(rand.NewPCG(15, 16)))
	for _, p := range d.Pickups() {
		var last Cell
		for _, c := range d.Cells {
			if c.Pickup == p && (last.Session == "" || c.First.After(last.First)) {
				last = c
			}
		}
		if got, err := f.sessionOf(d, p, ""); err != nil || got != last.Session {
			t.Errorf("%s: session %q, %v, want %q", p, got, err, last.Session)
		}
	}
}

func TestParted(t *testing.T) {
	x := &Explanation{
		Causes: []Cause{{"core", "steel"}, {"wrap", "more steel"}, {"pitch", "speed"}},
		Strings: []ExplainedString{
			{Parts: map[string]float64{"core": 0.004, "wrap": 0, "pitch": -0.0049}},
			{Parts: map[string]float64{"core": -0.006, "wrap": 0, "pitch": 0.0049}},
		},
	}
	with, without := x.Parted()
	if len(with) != 1 || with[0].Name != "core" || CauseWords(without) != "more steel; speed" {
		t.Errorf("with %v, without %v", with, without)
	}
}
