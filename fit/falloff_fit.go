package fit

import (
	"cmp"
	"encoding/json"
	"fmt"
	"math"
	"slices"

	"evenpole/profiles"

	"gonum.org/v1/gonum/mat"
)

// falloffKind is the falloff model with random effects.
var falloffKind = Kind{
	Name:   "falloff",
	Fit:    func(d *Data) (Model, error) { return fitFalloff(d, nil) },
	decode: decodeFalloff,
	refit: func(m Model) func(*Data) (Model, error) {
		given := m.(*falloff).SDs
		return func(d *Data) (Model, error) { return fitFalloff(d, given) }
	},
}

// falloffPriors are the priors of the fixed parameters. Where they come from:
// level, none; area exponent and velocity exponent, output in proportion to
// the string's cross-section and to its velocity (measured: Analytical Modeling
// and Experimental Characterization of a Magnetic Pickup for Electric Guitar, J.
// Audio Eng. Soc. 65, 2017); slope and bend, the exact field of a 3/16 in by 0.65
// in rod, halfway between steel that magnetises in proportion to the field (7.8
// dB/mm at a gap of 3.5 mm) and steel that is saturated (3.9 dB/mm), computed with
// that field; the rest are our assumptions.
var falloffPriors = [pFixed]Normal{
	pLevel:     {Mean: 3, SD: 3},
	pArea:      {Mean: 1, SD: 0.15},
	pVelocity:  {Mean: 1, SD: 0.15},
	pSlope:     {Mean: math.Log(5.5 / dB), SD: 0.25},
	pBend:      {Mean: math.Log(1.2), SD: 0.5},
	pSteepness: {Mean: 0.05, SD: 0.06},
	pProtrude:  {Mean: 0, SD: 0.03},
	pEnd:       {Mean: 0.08, SD: 0.05},
	pWrap:      {Mean: 0, SD: 0.5},
}

// effect is a random effect of the falloff model: what carries it, and what is
// known of its scatter (ln v; of setup mm) before there are data: our
// assumptions, worth DF observations.
type effect struct {
	name   string
	local  bool // occurs in one pickup only
	spread Spread
	level  func(c *Cell) string
}

var falloffEffects = []effect{
	{"pickup", true, Spread{0.15, 3}, func(c *Cell) string { return c.Pickup }},
	{"batch", false, Spread{0.10, 3}, func(c *Cell) string { return c.Batch }},
	{"pole", true, Spread{0.05, 4}, func(c *Cell) string { return fmt.Sprintf("%s/%d", c.Pickup, c.String) }},
	{"string", false, Spread{0.04, 4}, func(c *Cell) string { return fmt.Sprintf("%s/%d/%g/%g", c.Set, c.String, c.Core, c.Gauge) }},
	{"channel", false, Spread{0.03, 4}, func(c *Cell) string { return fmt.Sprint(c.String) }},
	{"setup", true, Spread{0.05, 4}, func(c *Cell) string { return c.Pickup + "/" + c.Session }},
}

// Places in falloffEffects, and the spread of what cells leave.
const (
	ePole, eString, eChannel, eSetup = 2, 3, 4, 5
)

var falloffSigma = Spread{0.03, 4}

// falloff is a fitted falloff model: the state in its file.
type falloff struct {
	curve

	Theta  []float64   `json:"theta"`      // in the scale in which they are fitted
	Cov    [][]float64 `json:"covariance"` // of Theta
	SDs    []float64   `json:"sd"`         // what cells leave, then each effect in order
	Levels []int       `json:"levels"`     // of each effect: how many its sd was told by
	Excite string      `json:"excite"`
	Pitch  bool        `json:"pitch"` // every cell's pitch was measured; else the model goes without
	Range  Range       `json:"range"`
	Told   []string    `json:"notes"`

	known map[string]float64 // predicted shifts of strings and channels that were measured; not in the file
}

// fitFalloff fits the curve and the scatter of its effects in turn: the curve is
// made linear at the last estimates, the linear mixed model solved. given are
// standard deviations to keep; nil finds them.
func fitFalloff(d *Data, given []float64) (*falloff, error) {
	if len(d.Cells) == 0 {
		return nil, &CannotFitError{fmt.Sprintf("no good take among %d readings", d.Readings), "capture a pickup first"}
	}
	excite, cells, note := oneExcite(d.Cells)
	f := &falloff{Excite: excite, Range: rangeOf(cells), SDs: given}
	if note != "" {
		f.Told = append(f.Told, note)
	}
	f.Pitch = !slices.ContainsFunc(cells, func(c Cell) bool { return c.Freq <= 0 })
	if !f.Pitch {
		f.Told = append(f.Told, "readings without freq_hz: how level follows pitch is left out, so strings tuned otherwise than these are predicted as if they were not")
	}
	sites := make([]*site, len(cells))
	ends := lastStrings(cells)
	for i := range cells {
		sites[i] = f.cellSite(&cells[i], ends[cells[i].Pickup])
	}
	f.Wraps = wrapsOf(sites)
	if f.SDs == nil && len(cells) < 2*len(falloffEffects) {
		have := fmt.Sprintf("%s of %s", counted(len(cells), "cell"), counted(len(d.Pickups()), "pickup"))
		return nil, &CannotFitError{have, "a falloff model wants two pickups or more under strings of several gauges"}
	}
	m := f.mixed(cells)
	fit, err := f.iterate(m, cells, sites)
	if err != nil {
		return nil, fmt.Errorf("falloff: %w", err)
	}
	f.Cov = rowsOf(fit.Cov, 1)
	for _, u := range fit.U {
		f.Levels = append(f.Levels, len(u))
	}
	f.remember(m, fit, cells)
	return f, nil
}

// lastStrings is the highest string number of each pickup.
func lastStrings(cells []Cell) map[string]int {
	last := map[string]int{}
	for _, c := range cells {
		last[c.Pickup] = max(last[c.Pickup], c.String)
	}
	return last
}

func (f *falloff) cellSite(c *Cell, last int) *site {
	s := &site{core: c.Core, gauge: max(c.Gauge, c.Core), wrap: c.Wrap, height: c.PoleHeight, stringHeight: c.StringHeight}
	if f.Pitch {
		s.velocity = relativeVelocity(f.Excite, c.Freq, profiles.String{Gauge: s.gauge, Core: s.core, Wrap: s.wrap})
	}
	s.missing = missingNeighbours(c.String, last)
	return s
}

func missingNeighbours(number, last int) int {
	n := 0
	if number == 1 {
		n++
	}
	if number == last {
		n++
	}
	return n
}

// relativeVelocity is X beside a plain string of refDiameter at refPitch; 0
// where it cannot be told.
func relativeVelocity(excite string, hz float64, s profiles.String) float64 {
	ref := profiles.String{Gauge: refDiameter, Core: refDiameter, Wrap: "plain"}
	x, ok := Velocity(cmp.Or(excite, Travel), hz, profiles.UnitMass(s))
	zero, _ := Velocity(cmp.Or(excite, Travel), refPitch, profiles.UnitMass(ref))
	if !ok {
		return 0
	}
	return x - zero
}

// mixed lays out the linear mixed model of the cells.
func (f *falloff) mixed(cells []Cell) *Mixed {
	n := len(cells)
	m := &Mixed{
		Y: make([]float64, n), X: mat.NewDense(n, f.size(), nil), Known: make([]float64, n), Weight: make([]float64, n),
		Prior: slices.Clone(falloffPriors[:]), Sigma: falloffSigma, Group: make([]int, n), Rough: true,
	}
	for _, w := range f.Wraps {
		m.Prior = append(m.Prior, wrapPrior(w))
	}
	var ss, df float64
	for _, c := range cells {
		ss += c.SD * c.SD * float64(c.Takes-1)
		df += float64(c.Takes - 1)
	}
	take := 0.03 * 0.03 // one take a cell: the usual scatter of a pluck, our assumption
	if df > 0 {
		take = ss / df
	}
	for i, c := range cells {
		m.Known[i] = take / float64(c.Takes)
		m.Weight[i] = 1
	}
	for k, e := range falloffEffects {
		t := Term{Name: e.name, Level: numbered(cells, e.level), Spread: e.spread, Local: e.local}
		if k == eSetup {
			t.Z = make([][]float64, n)
			for i := range t.Z {
				t.Z[i] = []float64{0}
			}
		}
		m.Terms = append(m.Terms, t)
	}
	m.Group = m.Terms[0].Level
	return m
}

// numbered numbers the levels of an effect in order of appearance.
func numbered(cells []Cell, level func(*Cell) string) []int {
	seen := map[string]int{}
	out := make([]int, len(cells))
	for i := range cells {
		key := level(&cells[i])
		l, ok := seen[key]
		if !ok {
			l = len(seen)
			seen[key] = l
		}
		out[i] = l
	}
	return out
}

const (
	falloffRounds = 14
	falloffReml   = 4 // rounds between estimates of the scatter
	falloffHuber  = 2.5
)

// iterate solves for the parameters; what cells leave is weighted by P. J.
// Huber's function (Robust estimation of a location parameter, Ann. Math. Stat.
// 35, 1964), so that a slip in one cell does not bend the curve.
func (f *falloff) iterate(m *Mixed, cells []Cell, sites []*site) (*MixedFit, error) {
	f.Theta = make([]float64, f.size())
	for j, p := range m.Prior {
		f.Theta[j] = p.Mean
	}
	sds := f.SDs
	if sds == nil {
		sds = []float64{falloffSigma.SD}
		for _, e := range falloffEffects {
			sds = append(sds, e.spread.SD)
		}
	}
	lift := make([]float64, len(cells))
	var fit *MixedFit
	for round := 1; round <= falloffRounds; round++ {
		f.linearise(m, cells, sites, lift)
		var err error
		if f.SDs == nil && round%falloffReml == 0 {
			if fit, err = m.Fit(); err == nil {
				sds = []float64{fit.Sigma}
				for k := range m.Terms {
					sds = append(sds, fit.SD(k, 0))
				}
			}
		} else {
			fit, err = m.At(sds[0], sds[1:])
		}
		if err != nil {
			return nil, err
		}
		copy(f.Theta, fit.Beta)
		for i := range lift {
			lift[i] = fit.U[eSetup][m.Terms[eSetup].Level[i]][0]
			z := math.Abs(m.Y[i]-fit.Fitted[i]) / math.Sqrt(sds[0]*sds[0]+m.Known[i])
			m.Weight[i] = min(1, falloffHuber/z)
		}
	}
	f.SDs = sds
	return fit, nil
}

// linearise writes the curve's tangent at the last estimates into the model.
func (f *falloff) linearise(m *Mixed, cells []Cell, sites []*site, lift []float64) {
	grad := make([]float64, f.size())
	for i, s := range sites {
		slope := f.gradient(grad, f.Theta, s, lift[i])
		y := cells[i].Mean - f.predict(f.Theta, s, lift[i]) + slope*lift[i]
		for j, g := range grad {
			m.X.Set(i, j, g)
			y += g * f.Theta[j]
		}
		m.Terms[eSetup].Z[i][0] = slope
		m.Y[i] = y
	}
}

// remember keeps what was learnt of the strings and slots at the bench: it
// helps to predict cells of another pickup under the same strings.
func (f *falloff) remember(m *Mixed, fit *MixedFit, cells []Cell) {
	f.known = map[string]float64{}
	for _, k := range []int{eString, eChannel} {
		for i := range cells {
			f.known[falloffEffects[k].name+falloffEffects[k].level(&cells[i])] = fit.U[k][m.Terms[k].Level[i]][0]
		}
	}
}

func (f *falloff) Kind() string        { return falloffKind.Name }
func (f *falloff) Source() string      { return "shop data" }
func (f *falloff) Notes() []string     { return slices.Clone(f.Told) }
func (f *falloff) ResidualSD() float64 { return dB * f.SDs[0] }

func (f *falloff) Parameters() []Parameter {
	units := map[int]string{pLevel: "ln mV", pSlope: "1/mm", pBend: "mm", pProtrude: "1/mm"}
	var out []Parameter
	for j, name := range f.names() {
		v, se := f.Theta[j], math.Sqrt(f.Cov[j][j])
		if j == pSlope || j == pBend || j >= pWrap { // fitted as logarithms
			v = math.Exp(v)
			se *= v
		}
		out = append(out, Parameter{Name: name, Value: v, SE: se, Unit: units[j]})
	}
	for k, e := range falloffEffects {
		unit := "ln v"
		if k == eSetup {
			unit = "mm"
		}
		sd := math.Abs(f.SDs[k+1])
		// The usual large-sample error of a standard deviation, its prior counted
		// as so many more levels.
		se := sd / math.Sqrt(2*(float64(f.Levels[k])+e.spread.DF))
		out = append(out, Parameter{Name: "sd_" + e.name, Value: sd, SE: se, Unit: unit})
	}
	return out
}

func (f *falloff) Expect(cells []Cell) []float64 {
	out := make([]float64, len(cells))
	last := lastStrings(cells)
	for i := range cells {
		c := &cells[i]
		if c.Excite != f.Excite {
			out[i] = math.NaN()
			continue
		}
		out[i] = f.predict(f.Theta, f.cellSite(c, last[c.Pickup]), 0)
		for _, k := range []int{eString, eChannel} {
			out[i] += f.known[falloffEffects[k].name+falloffEffects[k].level(c)]
		}
	}
	return out
}

// site is one string of a setup over its pole.
func (f *falloff) site(s *Setup, i int, heights []float64) *site {
	str := s.Strings[i]
	out := &site{core: str.Core, gauge: str.Gauge, wrap: str.Wrap, height: heights[i], stringHeight: s.StringHeights[i],
		missing: missingNeighbours(i+1, len(s.Strings)), spacing: s.Spacing}
	if hz, err := profiles.Pitch(str.Note); err == nil && f.Pitch {
		out.velocity = relativeVelocity(s.playedBy(f.Excite), hz, str)
	}
	return out
}

// Level predicts for a pickup and strings like the mean of those measured.
func (f *falloff) Level(dst []float64, s *Setup, heights []float64) []float64 {
	if dst == nil {
		dst = make([]float64, len(heights))
	}
	for i := range heights {
		dst[i] = f.predict(f.Theta, f.site(s, i, heights), 0)
	}
	if to := s.playedBy(f.Excite); to != f.Excite && !f.Pitch {
		for i, v := range convert(f.Excite, to, s.Strings) {
			dst[i] += v
		}
	}
	return dst
}

// Uncertainty is the covariance of the parameters carried to the levels, plus
// for each string what differs from pole to pole and from string to string and
// what cells leave. The jig's slots are not part of a built pickup.
func (f *falloff) Uncertainty(s *Setup, heights []float64) *mat.SymDense {
	n, p := len(heights), f.size()
	j := mat.NewDense(n, p, nil)
	for i := range heights {
		f.gradient(j.RawRowView(i), f.Theta, f.site(s, i, heights), 0)
	}
	var half, full mat.Dense
	half.Mul(j, symmetric(f.Cov))
	full.Mul(&half, j.T())
	cov := mat.NewSymDense(n, nil)
	own := f.SDs[0]*f.SDs[0] + f.SDs[1+ePole]*f.SDs[1+ePole] + f.SDs[1+eString]*f.SDs[1+eString]
	for i := range n {
		for k := i; k < n; k++ {
			v := full.At(i, k)
			if w := s.Strings[i].Wrap; w == s.Strings[k].Wrap && w != "plain" && !slices.Contains(f.Wraps, w) {
				v += f.ownWrap(s, i) * f.ownWrap(s, k)
			}
			if i == k {
				v += own
			}
			cov.SetSym(i, k, v)
		}
	}
	return cov
}

// ownWrap is how far a string's level may be off, ln v, because its wrap was
// never measured, beside what all wraps share.
func (f *falloff) ownWrap(s *Setup, i int) float64 {
	str := s.Strings[i]
	wrap := f.weight(f.Theta, str.Wrap) * (str.Gauge*str.Gauge - str.Core*str.Core)
	return f.Theta[pArea] * wrap / (str.Core*str.Core + wrap) * wrapPrior(str.Wrap).SD
}

func (f *falloff) Warnings(s *Setup, heights []float64) []string {
	out := f.Range.warnings(s, heights)
	for _, str := range s.Strings {
		if _, err := profiles.Pitch(str.Note); err != nil && f.Pitch {
			out = append(out, "the strings' notes are not all given: levels are predicted as if they sounded alike; write each string's note into the order")
			break
		}
	}
	if to := s.playedBy(f.Excite); to != f.Excite {
		out = append(out, fmt.Sprintf("measured by %q, converted to %q from the strings' notes and masses", cmp.Or(f.Excite, "no known means"), to))
	}
	return out
}

func decodeFalloff(state []byte) (Model, error) {
	f := &falloff{}
	if err := json.Unmarshal(state, f); err != nil {
		return nil, err
	}
	n := f.size()
	if len(f.Theta) != n || len(f.Cov) != n || len(f.SDs) != 1+len(falloffEffects) || len(f.Levels) != len(falloffEffects) {
		return nil, fmt.Errorf("expected %d parameters with their covariance and %d standard deviations, got %d, %d, %d",
			n, 1+len(falloffEffects), len(f.Theta), len(f.Cov), len(f.SDs))
	}
	for i, row := range f.Cov {
		if len(row) != n || !(row[i] >= 0) {
			return nil, fmt.Errorf("covariance: row %d: expected %d values, none negative on the diagonal", i+1, n)
		}
	}
	return f, nil
}
