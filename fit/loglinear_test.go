package fit

import (
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"evenpole/capture/record"
	"evenpole/fit/cell"
	"evenpole/fit/cell/celltest"
	"evenpole/fit/curve"
	"evenpole/fit/level"
	"evenpole/fit/solve"
	"evenpole/profiles"

	"gonum.org/v1/gonum/mat"
)

// truth is a world in which a log-linear model is right.
type truth struct {
	pole, core, lift, noise float64 // ln v per mm, per ln mm, per mm; sd of a cell
}

// cores of a set of six strings, and of another.
var testCores = [][]float64{{0.254, 0.330, 0.432, 0.330, 0.368, 0.419}, {0.305, 0.406, 0.508, 0.381, 0.419, 0.457}}

// cells makes pickups under two sets, plain strings only, each string's height
// and pole's height drawn anew.
func (w truth) cells(rng *rand.Rand, pickups int) []cell.Cell {
	var cells []cell.Cell
	for p := range pickups {
		level := 2.5 + 0.2*rng.NormFloat64()
		for set, cores := range testCores {
			for i, core := range cores {
				c := cell.Cell{
					Mounting: &cell.Mounting{Pickup: fmt.Sprintf("P%02d", p), Session: fmt.Sprint(set), Excite: profiles.Travel, Batch: "M"},
					String:   i + 1, Core: core, Gauge: core, Wrap: profiles.Plain, PoleHeight: 2 * rng.Float64(), StringHeight: 3 + 1.5*rng.Float64(), Takes: 5,
				}
				c.Mean = level + w.pole*c.PoleHeight + w.core*math.Log(core) + w.lift*(c.StringHeight+core/2) + w.noise*rng.NormFloat64()
				cells = append(cells, c)
			}
		}
	}
	return cells
}

// parameter returns one estimate by name.
func parameter(t *testing.T, m Model, name string) Parameter {
	t.Helper()
	for _, p := range m.Parameters() {
		if p.Name == name {
			return p
		}
	}
	t.Fatalf("no parameter %q in %v", name, m.Parameters())
	return Parameter{}
}

func fitted(t *testing.T, k logKind, cells []cell.Cell) *logLinear {
	t.Helper()
	m, err := k.fit(&cell.Data{Cells: cells})
	if err != nil {
		t.Fatal(err)
	}
	return m
}

// Every estimate lies within 3.5 standard errors of the truth in each of 200
// seeded worlds, and within 2 in about 95 % of them: standard errors are right,
// not just large.
func TestLogLinearRecoversTruth(t *testing.T) {
	w := truth{pole: 0.45, core: 1.1, lift: -0.5, noise: 0.05}
	want := map[string]float64{"pole_height": w.pole * level.PerLn, "core": w.core * level.PerLn, "string_height": w.lift * level.PerLn}
	const worlds = 200
	near := 0
	var sd float64
	for seed := range uint64(worlds) {
		m := fitted(t, logHeight, w.cells(rand.New(rand.NewPCG(seed, 1)), 4))
		for name, value := range want {
			p := parameter(t, m, name)
			z := math.Abs(p.Value-value) / p.SE
			if z > 3.5 {
				t.Errorf("world %d: %s = %.3f, %.1f standard errors from %.3f", seed, name, p.Value, z, value)
			}
			if z < 2 {
				near++
			}
		}
		sd += m.SD / worlds
	}
	t.Logf("%d of %d estimates within 2 standard errors, residual sd %.4f of %.4f", near, 3*worlds, sd, w.noise)
	if share := float64(near) / (3 * worlds); share < 0.92 || share > 0.98 {
		t.Errorf("%.3f of estimates within 2 standard errors, want 0.95", share)
	}
	if math.Abs(sd/w.noise-1) > 0.03 {
		t.Errorf("residual sd %.4f, want %.4f", sd, w.noise)
	}
}

// A second formula: a level for each pickup as a column of its own.
func TestLogLinearMatchesPickupColumns(t *testing.T) {
	cells := truth{pole: 0.45, core: 1.1, lift: -0.5, noise: 0.1}.cells(rand.New(rand.NewPCG(2, 2)), 3)
	cells = append(cells[:5], cells[9:]...) // pickups of unequal size
	m := fitted(t, logHeight, cells)
	x := mat.NewDense(len(cells), 6, nil)
	y := mat.NewVecDense(len(cells), nil)
	for i, c := range cells {
		x.SetRow(i, []float64{c.PoleHeight, math.Log(c.Core), c.StringHeight + c.Gauge/2, 0, 0, 0})
		x.Set(i, 3+int(c.Pickup[2]-'0'), 1)
		y.SetVec(i, c.Mean)
	}
	var xtx, inv mat.Dense
	var xty, b, r mat.VecDense
	xtx.Mul(x.T(), x)
	if err := inv.Inverse(&xtx); err != nil {
		t.Fatal(err)
	}
	xty.MulVec(x.T(), y)
	b.MulVec(&inv, &xty)
	r.MulVec(x, &b)
	r.SubVec(y, &r)
	variance := mat.Dot(&r, &r) / float64(len(cells)-6)
	for j := range 3 {
		if d := math.Abs(m.B[j] - b.AtVec(j)); d > 1e-10 {
			t.Errorf("%s is off by %g", m.Terms[j], d)
		}
		if d := math.Abs(m.Cov[j][j]/(variance*inv.At(j, j)) - 1); d > 1e-10 {
			t.Errorf("variance of %s is off by %g of itself", m.Terms[j], d)
		}
	}
	// At the optimum, residuals are orthogonal to every column and each
	// pickup's sum to nothing.
	levels := []float64{b.AtVec(3), b.AtVec(4), b.AtVec(5)}
	var mean float64
	for p, l := range levels {
		var left float64
		for _, c := range cells {
			if int(c.Pickup[2]-'0') == p {
				left += c.Mean - l - m.B[0]*c.PoleHeight - m.B[1]*math.Log(c.Core) - m.B[2]*(c.StringHeight+c.Gauge/2)
			}
		}
		if math.Abs(left) > 1e-10 {
			t.Errorf("residuals of pickup %d sum to %g", p, left)
		}
		mean += l / 3
	}
	at := mean + m.B[0]*m.Centre[0] + m.B[1]*m.Centre[1] + m.B[2]*m.Centre[2]
	if math.Abs(at-m.Mean) > 1e-10 {
		t.Errorf("level of the mean pickup: got %g, want %g", m.Mean, at)
	}
}

// What the data cannot tell is left out, and the note says what would tell it.
func TestLogLinearLeavesOutWhatIsNotTold(t *testing.T) {
	w := truth{pole: 0.45, core: 1.1, lift: -0.5, noise: 0.05}
	for _, c := range []struct {
		name   string
		kind   logKind
		change func(c *cell.Cell)
		terms  string
		note   string
	}{
		{"all moved", logHeight, func(*cell.Cell) {}, "pole_height core string_height", ""},
		{"strings never moved", logHeight, func(c *cell.Cell) { c.StringHeight = 3 }, "pole_height core", "strings a millimetre higher"},
		{"poles never moved", logHeight, func(c *cell.Cell) { c.PoleHeight = 1 }, "core string_height", "capture pickups whose poles differ"},
		{"one core", logHeight, func(c *cell.Cell) { c.Core, c.Gauge = 0.3, 0.3 }, "pole_height string_height", "capture a set of other gauges"},
		{"gap never moved", logGap, func(c *cell.Cell) { c.StringHeight, c.PoleHeight = 3, 1 }, "core", "gaps did not differ"},
		{"gap", logGap, func(*cell.Cell) {}, "gap core", ""},
	} {
		cells := w.cells(rand.New(rand.NewPCG(3, 3)), 3)
		for i := range cells {
			c.change(&cells[i])
		}
		m := fitted(t, c.kind, cells)
		if got := strings.Join(m.Terms, " "); got != c.terms {
			t.Errorf("%s: got terms %q, want %q", c.name, got, c.terms)
		}
		notes := strings.Join(m.Notes(), "\n")
		if c.note != "" && !strings.Contains(notes, c.note) {
			t.Errorf("%s: no note says %q: %s", c.name, c.note, notes)
		}
		if c.note == "" && notes != "" {
			t.Errorf("%s: unexpected notes: %s", c.name, notes)
		}
	}
}

// degenerate records end in a model with finite figures or in a refusal.
func TestLogLinearOnDegenerateRecords(t *testing.T) {
	row := func(i int, change func(*record.Reading)) record.Reading {
		r := celltest.Good(nil)
		r.Seq, r.Line = uint32(i+1), i+2
		change(&r)
		return r
	}
	many := func(n int, change func(i int, r *record.Reading)) []record.Reading {
		var rows []record.Reading
		for i := range n {
			rows = append(rows, row(i, func(r *record.Reading) { change(i, r) }))
		}
		return rows
	}
	vary := func(i int, r *record.Reading) {
		r.String, r.PoleHeight, r.Core = i%6+1, float64(i%5)/2, 0.25+0.05*float64(i%6)
		r.Gauge = r.Core
	}
	for _, c := range []struct {
		name   string
		rows   []record.Reading
		refuse string // text of the refusal; "" when a model is wanted
		note   string
	}{
		{"nothing", nil, "no good take among 0 readings", ""},
		{"one string at one height", many(10, func(i int, r *record.Reading) { r.RMS = 10 + float64(i) }), "10 readings make 1 cell of 1 pickup", ""},
		{"all flagged", many(10, func(i int, r *record.Reading) { vary(i, r); r.Status = record.Clipped }), "no good take among 10 readings", ""},
		{"all at the quiet level", many(10, func(i int, r *record.Reading) { vary(i, r); r.Quiet = r.RMS }), "no good take", ""},
		{"two cells", many(2, vary), "make 2 cells of 1 pickup", ""},
		{"one cell a pickup", many(5, func(i int, r *record.Reading) { vary(i, r); r.Pickup = fmt.Sprint(i) }), "make 5 cells of 5 pickups", ""},
		{"three cells", many(3, vary), "", "too few to tell the effect of the core"},
		{"constant level", many(30, vary), "", "leaves nothing of any level"},
		{"level that heights do not matter to", many(30, func(i int, r *record.Reading) { vary(i, r); r.RMS += float64(i*i%7)/10 - float64(i%5)/100 }), "", "cannot be told from none"},
		{"one pickup", many(30, func(i int, r *record.Reading) { vary(i, r); r.RMS += float64(i % 7) }), "", "one pickup alone"},
	} {
		r, err := measuredAs(celltest.Gather(t, c.rows), logHeight.name)
		var refusal *CannotFitError
		switch {
		case c.refuse != "":
			if !errors.As(err, &refusal) || !strings.Contains(err.Error(), c.refuse) {
				t.Errorf("%s: got %v, want a refusal that says %q", c.name, err, c.refuse)
			}
		case err != nil:
			t.Errorf("%s: %v", c.name, err)
		default:
			if notes := strings.Join(r.Warnings, "\n"); !strings.Contains(notes, c.note) {
				t.Errorf("%s: no warning says %q: %s", c.name, c.note, notes)
			}
			for _, p := range r.Parameters {
				if !solve.Finite(p.Value) || !solve.Finite(p.SE) {
					t.Errorf("%s: %s = %g ± %g", c.name, p.Name, p.Value, p.SE)
				}
			}
		}
	}
}

func TestLogLinearFitsTheMostCommonExcitation(t *testing.T) {
	cells := truth{pole: 0.45, core: 1.1, lift: -0.5, noise: 0.05}.cells(rand.New(rand.NewPCG(4, 4)), 3)
	for i := range 12 { // the whole first pickup
		cells[i].Remount(func(m *cell.Mounting) { m.Excite = profiles.Force })
		cells[i].Mean += 5
	}
	r, err := measuredAs(&cell.Data{Cells: cells, Used: 180}, logHeight.name)
	if err != nil {
		t.Fatal(err)
	}
	if r.Used != 24*5 || r.Cells != 24 || r.Pickups != 2 {
		t.Errorf("got %d takes, %d cells, %d pickups; want 120, 24, 2", r.Used, r.Cells, r.Pickups)
	}
	if notes := strings.Join(r.Warnings, "\n"); !strings.Contains(notes, `12 of 36 cells were not excited by "travel"`) {
		t.Errorf("got %s", notes)
	}
}

func TestLogLinearNamesStrayCells(t *testing.T) {
	cells := truth{pole: 0.45, core: 1.1, lift: -0.5, noise: 0.05}.cells(rand.New(rand.NewPCG(6, 6)), 3)
	cells[20].Mean += 1
	cells[20].Rows = []cell.Span{{First: 100, Last: 104}}
	m := fitted(t, logHeight, cells)
	if notes := m.Notes(); len(notes) != 1 || !strings.Contains(notes[0], `lines 100-104 (pickup "P01", string 3) are +`) {
		t.Errorf("got %q", notes)
	}
	for i := range cells {
		cells[i].PoleHeight = 2 - cells[i].PoleHeight
	}
	if notes := strings.Join(fitted(t, logHeight, cells).Notes(), "\n"); !strings.Contains(notes, "falls with the pole height, against physics") {
		t.Errorf("heights upside down: got %s", notes)
	}
}

// setup is an order of three strings whose notes are known.
func setup() (*Setup, []float64) {
	return &Setup{
		Strings: []profiles.String{
			{Note: "E4", Gauge: 0.3, Core: 0.3, Wrap: "plain"},
			{Note: "B3", Gauge: 0.4, Core: 0.4, Wrap: "plain"},
			{Note: "G3", Gauge: 0.5, Core: 0.5, Wrap: "plain"},
		},
		StringHeights: []float64{3.2, 3.4, 3.3},
		Batch:         "M",
	}, []float64{0.5, 1.0, 1.5}
}

func TestLogLinearPredicts(t *testing.T) {
	w := truth{pole: 0.45, core: 1.1, lift: -0.5}
	m := fitted(t, logHeight, w.cells(rand.New(rand.NewPCG(8, 8)), 5))
	s, heights := setup()
	got := m.Level(nil, s, heights)
	for i := range got {
		str := s.Strings[i]
		want := w.pole*(heights[i]-heights[0]) + w.core*math.Log(str.Core/s.Strings[0].Core) +
			w.lift*(s.StringHeights[i]+str.Gauge/2-s.StringHeights[0]-s.Strings[0].Gauge/2)
		if d := got[i] - got[0] - want; math.Abs(d) > 1e-12 {
			t.Errorf("string %d against string 1: off by %g", i+1, d)
		}
	}
	if again := m.Level(got, s, heights); &again[0] != &got[0] {
		t.Error("dst was not used")
	}
	if w := m.Warnings(s, heights); len(w) != 0 {
		t.Errorf("within what was measured: got %q", w)
	}
	if m.Source() != "shop data" {
		t.Errorf("source %q", m.Source())
	}
	s.Excite = profiles.Force
	shift := curve.Convert(profiles.Travel, profiles.Force, s.Strings)
	for i, v := range m.Level(nil, s, heights) {
		if d := v - got[i] - shift[i]; math.Abs(d) > 1e-12 {
			t.Errorf("string %d by force: off by %g", i+1, d)
		}
	}
}

// Balance predicted for new pickups misses by as much as Uncertainty says: over
// many worlds, the squared error in units of its own variance is 1 on average.
func TestLogLinearUncertaintyIsTrue(t *testing.T) {
	w := truth{pole: 0.45, core: 1.1, lift: -0.5, noise: 0.05}
	s, heights := setup()
	const worlds = 400
	var ratio float64
	for seed := range uint64(worlds) {
		rng := rand.New(rand.NewPCG(seed, 5))
		m := fitted(t, logHeight, w.cells(rng, 2))
		level, cov := m.Level(nil, s, heights), m.Uncertainty(s, heights)
		built := func(i int) float64 {
			str := s.Strings[i]
			return w.pole*heights[i] + w.core*math.Log(str.Core) + w.lift*(s.StringHeights[i]+str.Gauge/2) + w.noise*rng.NormFloat64()
		}
		miss := (built(2) - built(0)) - (level[2] - level[0])
		ratio += miss * miss / (cov.At(0, 0) + cov.At(2, 2) - 2*cov.At(0, 2)) / worlds
		var chol mat.Cholesky
		if !chol.Factorize(cov) {
			t.Fatalf("world %d: the covariance is not positive definite", seed)
		}
	}
	t.Logf("squared error over stated variance: %.2f", ratio)
	if math.Abs(ratio-1) > 0.2 { // the ratio's own standard error is sqrt(2/400) = 0.07
		t.Errorf("squared error is %.2f of the stated variance", ratio)
	}
}

func TestLogLinearWarnsBeyondWhatWasMeasured(t *testing.T) {
	cells := truth{pole: 0.45, core: 1.1, lift: -0.5, noise: 0.05}.cells(rand.New(rand.NewPCG(8, 8)), 5)
	m := fitted(t, logHeight, cells)
	oneCore := fitted(t, logHeight, sameCore(cells))
	for _, c := range []struct {
		name   string
		model  *logLinear
		change func(s *Setup, heights []float64)
		want   string
	}{
		{"height", m, func(_ *Setup, h []float64) { h[1], h[2] = 2.3, -0.3 }, "pole height of strings 2, 3 beyond what was measured (0.0"},
		{"gap", m, func(s *Setup, _ []float64) { s.StringHeights[0] = 6 }, "gap of string 1 beyond what was measured"},
		{"core", m, func(s *Setup, _ []float64) { s.Strings[2].Core = 0.6 }, "core of string 3 beyond what was measured (0.25 to 0.51 mm)"},
		{"wrap", m, func(s *Setup, _ []float64) { s.Strings[2].Wrap = "bronze" }, `no string with "bronze" wrap was measured`},
		{"batch", m, func(s *Setup, _ []float64) { s.Batch = "M-99" }, `batch "M-99"`},
		{"converted", m, func(s *Setup, _ []float64) { s.Excite = profiles.Force }, `converted to "force" from the strings' notes`},
		{"not converted", m, func(s *Setup, _ []float64) { s.Excite, s.Strings[0].Note = profiles.Force, "" }, "cannot be converted without each string's note"},
		{"one core", oneCore, func(*Setup, []float64) {}, "does not know what cores do"},
	} {
		s, heights := setup()
		c.change(s, heights)
		if got := strings.Join(c.model.Warnings(s, heights), "\n"); !strings.Contains(got, c.want) {
			t.Errorf("%s: got %q, want %q", c.name, got, c.want)
		}
		for i, v := range c.model.Level(nil, s, heights) {
			if !solve.Finite(v) {
				t.Errorf("%s: level of string %d is %g", c.name, i+1, v)
			}
		}
	}
	s, heights := setup()
	before := m.Uncertainty(s, heights).At(2, 2)
	s.Strings[2].Wrap = "bronze"
	if after := m.Uncertainty(s, heights).At(2, 2); math.Abs(after-before-newWrapSD*newWrapSD) > 1e-12 {
		t.Errorf("a wrap that was not measured adds %g to the variance, want %g", after-before, newWrapSD*newWrapSD)
	}
	s.Strings[2].Wrap = "xyzzy"
	if after := m.Uncertainty(s, heights).At(2, 2); math.Abs(after-before-ownWrapSD*ownWrapSD) > 1e-12 {
		t.Errorf("a wrap that the handbook does not know adds %g to the variance, want %g", after-before, ownWrapSD*ownWrapSD)
	}
}

func sameCore(cells []cell.Cell) []cell.Cell {
	same := append([]cell.Cell(nil), cells...)
	for i := range same {
		same[i].Core, same[i].Gauge = 0.3, 0.3
	}
	return same
}

// An exciter is no way to play: a fixed force stands for it.
func TestLogLinearFromDrivenStrings(t *testing.T) {
	cells := truth{pole: 0.45, core: 1.1, lift: -0.5, noise: 0.05}.cells(rand.New(rand.NewPCG(8, 8)), 3)
	for i := range cells {
		cells[i].Remount(func(m *cell.Mounting) { m.Mode, m.Excite = "D", profiles.Drive })
	}
	m := fitted(t, logGap, cells)
	s, heights := setup()
	if got := strings.Join(m.Warnings(s, heights), "\n"); !strings.Contains(got, `measured by "drive", converted to "force"`) {
		t.Errorf("got %q", got)
	}
	unplayed := m.Level(nil, s, heights)
	s.Excite = profiles.Force
	for i, v := range m.Level(nil, s, heights) {
		if v != unplayed[i] {
			t.Errorf("string %d: %g by force, %g when not told", i+1, v, unplayed[i])
		}
	}
}

// The figures are those of this program when it was written: a change must be
// meant. Signs are physics: closer and thicker is louder.
func TestLogLinearOnSampleRecord(t *testing.T) {
	d := celltest.Sample(t)
	r, err := measuredAs(d, logGap.name)
	if err != nil {
		t.Fatal(err)
	}
	height, err := measuredAs(d, logHeight.name)
	if err != nil {
		t.Fatal(err)
	}
	if r.Kind != "loglinear-gap" || len(r.Warnings) != 0 || r.Used != 555 || r.Pickups != 4 {
		t.Errorf("got %s, warnings %q, %d used, %d pickups", r.Kind, r.Warnings, r.Used, r.Pickups)
	}
	gap, core := parameter(t, r.Model, "gap"), parameter(t, r.Model, "core")
	if gap.Value > -3*gap.SE || core.Value < 3*core.SE {
		t.Errorf("gap %+v, core %+v: want a clear fall and a clear rise", gap, core)
	}
	for name, c := range map[string][2]float64{
		"gap": {gap.Value, -4.633}, "core": {core.Value, 8.598}, "residual": {float64(r.ResidualSD), 1.761},
		"balance": {*r.CVBalance, 1.700}, "level": {*r.CVLevel, 2.101},
		"balance by height": {*height.CVBalance, 1.735},
	} {
		if math.Abs(c[0]-c[1]) > 0.0006 {
			t.Errorf("%s: got %.4f, want %.3f", name, c[0], c[1])
		}
	}
}
