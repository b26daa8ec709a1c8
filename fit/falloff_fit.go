package fit

import (
	"encoding/json"
	"fmt"
	"maps"
	"math"
	"slices"

	"evenpole/fit/cell"
	"evenpole/fit/curve"
	"evenpole/fit/level"
	"evenpole/fit/solve"

	"gonum.org/v1/gonum/floats"
	"gonum.org/v1/gonum/mat"
)

// falloffKind is the falloff model with random effects.
var falloffKind = Kind{
	Name:   "falloff",
	Fit:    func(d *cell.Data) (Model, error) { return fitFalloff(d, nil) },
	decode: decodeFalloff,
	refit: func(m Model) func(*cell.Data) (Model, error) {
		given := m.(*Falloff).SDs
		return func(d *cell.Data) (Model, error) { return fitFalloff(d, given) }
	},
}

// Falloff is a fitted falloff model: the state in its file.
type Falloff struct {
	curve.Curve

	Theta   []float64          `json:"theta"`      // in the scale in which they are fitted
	Cov     [][]float64        `json:"covariance"` // of Theta
	SDs     []float64          `json:"sd"`         // what cells leave, then each effect in order
	Levels  []int              `json:"levels"`     // of each effect: how many its sd was told by
	Magnets map[string]float64 `json:"magnets"`    // ln B of single magnets against their batch
	FieldSD float64            `json:"field_sd"`   // of ln B within a batch; 0 when not measured
	Fields  bool               `json:"fields"`     // poles of pickups were measured, too
	Prior   bool               `json:"prior"`      // no reading was seen
	Range   Range              `json:"range"`
	Told    []string           `json:"notes"`

	Known map[string]float64 `json:"known"` // ln v that strings, slots of the jig and batches which were measured add
}

// fitFalloff fits the curve and the scatter of its effects in turn: the curve is
// made linear at the last estimates, the linear mixed model solved. given are
// standard deviations to keep; nil finds them.
func fitFalloff(d *cell.Data, given []float64) (*Falloff, error) {
	if len(d.Cells) == 0 {
		return nil, &CannotFitError{fmt.Sprintf("no good take among %d readings", d.Readings), "capture a pickup first"}
	}
	excite, cells, note := cell.OneExcite(d.Cells)
	f := &Falloff{Curve: curve.Curve{Excite: excite}, Range: rangeOf(cells), SDs: given, Magnets: d.Magnets, FieldSD: d.FieldSD}
	if note != "" {
		f.Told = append(f.Told, note)
	}
	var notes []string
	f.Pitch, notes = cell.PitchNotes(cells)
	f.Told = append(f.Told, notes...)
	sites := make([]*curve.Site, len(cells))
	ends := cell.LastStrings(cells)
	for i := range cells {
		sites[i] = f.CellSite(&cells[i], ends[cells[i].Pickup])
	}
	f.Wraps = curve.WrapsOf(sites)
	if f.SDs == nil && len(cells) < fewCells {
		f.SDs = handbookSDs()
		f.Told = append(f.Told, fmt.Sprintf("%s of %s: how far poles, strings and mountings differ is taken from the handbook, and most else with it; capture other pickups and string sets",
			counted(len(cells), "cell"), counted(len(d.Pickups()), "pickup")))
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
	f.expectBatches(d.Batches)
	f.Told = append(f.Told, f.untold(cells)...)
	return f, nil
}

// fewCells is how many it takes before the scatter of what makes them differ
// is looked for.
const fewCells = 12

// mixed lays out the linear mixed model of the cells.
func (f *Falloff) mixed(cells []cell.Cell) *solve.Mixed {
	n := len(cells)
	m := &solve.Mixed{
		Y: make([]float64, n), X: mat.NewDense(n, f.Size(), nil), Known: make([]float64, n), Weight: make([]float64, n),
		Prior: f.Priors(), Sigma: curve.ResidualPrior, Rough: true,
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
		m.Weight[i] = c.Trust()
	}
	for k, e := range f.effects(cells) {
		t := solve.Term{Name: e.Name, Level: numbered(cells, e.Level), Spread: e.Spread, Local: e.Local}
		if k == curve.SetupEffect {
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

// effects are those of these cells. Where fields of poles were measured, what is
// left of the differences between poles is less; a pole whose field was not
// measured then differs by its magnet, too.
func (f *Falloff) effects(cells []cell.Cell) []curve.Effect {
	f.Fields = slices.ContainsFunc(cells, func(c cell.Cell) bool { return c.FieldKnown })
	if !f.Fields {
		return curve.Effects
	}
	out := slices.Clone(curve.Effects)
	out[curve.PoleEffect].Spread.SD = 0.03
	out[curve.MagnetEffect].Spread.SD = curve.FixedPriors[curve.FieldExponent].Mean * f.FieldSD
	out[curve.MagnetEffect].Level = func(c *cell.Cell) string {
		if c.FieldKnown {
			return curve.NoLevel
		}
		return out[curve.PoleEffect].Level(c)
	}
	return out
}

// numbered numbers the levels of an effect in order of appearance; -1 is a cell
// that has no part in it.
func numbered(cells []cell.Cell, level func(*cell.Cell) string) []int {
	seen := map[string]int{}
	out := make([]int, len(cells))
	for i := range cells {
		key := level(&cells[i])
		if key == curve.NoLevel {
			out[i] = -1
			continue
		}
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

// alike is how far cells are from the curve while nothing is known of what makes
// them differ, ln v.
const alike = 0.15

// start finds the parameters of cells that differ by nothing but chance and the
// curve: damped steps lead from the priors to where the data are, so that the plain
// steps of iterate may follow.
func (f *Falloff) start(m *solve.Mixed, cells []cell.Cell, sites []*curve.Site) error {
	n := len(cells)
	p := &solve.Nonlinear{M: n + f.Size(), N: f.Size(),
		Residual: func(dst, th []float64) {
			for i, s := range sites {
				dst[i] = m.Weight[i] * (f.Predict(th, s, 0) - cells[i].Mean) / alike
			}
			for j, prior := range m.Prior {
				dst[n+j] = (th[j] - prior.Mean) / prior.SD
			}
		},
		Jacobian: func(dst *mat.Dense, th []float64) {
			dst.Zero()
			for i, s := range sites {
				row := dst.RawRowView(i)
				f.Gradient(row, th, s, 0)
				floats.Scale(m.Weight[i]/alike, row)
			}
			for j, prior := range m.Prior {
				dst.Set(n+j, j, 1/prior.SD)
			}
		}}
	means := make([]float64, f.Size())
	for j, prior := range m.Prior {
		means[j] = prior.Mean
	}
	found, err := p.Solve(means)
	if err != nil {
		return fmt.Errorf("falloff: %w", err)
	}
	f.Theta = found.X
	return nil
}

// iterate solves for the parameters; what cells leave is weighted by P. J.
// Huber's function (Robust estimation of a location parameter, Ann. Math. Stat.
// 35, 1964), so that a slip in one cell does not bend the curve.
func (f *Falloff) iterate(m *solve.Mixed, cells []cell.Cell, sites []*curve.Site) (*solve.MixedFit, error) {
	if err := f.start(m, cells, sites); err != nil {
		return nil, err
	}
	sds := f.SDs
	if sds == nil {
		sds = []float64{curve.ResidualPrior.SD}
		for _, t := range m.Terms {
			sds = append(sds, t.Spread.SD)
		}
	}
	lift := make([]float64, len(cells))
	var fit *solve.MixedFit
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
			lift[i] = fit.U[curve.SetupEffect][m.Terms[curve.SetupEffect].Level[i]][0]
			z := math.Abs(m.Y[i]-fit.Fitted[i]) / math.Sqrt(sds[0]*sds[0]+m.Known[i])
			m.Weight[i] = cells[i].Trust() * min(1, falloffHuber/z)
		}
	}
	f.SDs = sds
	return fit, nil
}

// linearise writes the curve's tangent at the last estimates into the model.
func (f *Falloff) linearise(m *solve.Mixed, cells []cell.Cell, sites []*curve.Site, lift []float64) {
	grad := make([]float64, f.Size())
	for i, s := range sites {
		slope := f.Gradient(grad, f.Theta, s, lift[i])
		y := cells[i].Mean - f.Predict(f.Theta, s, lift[i]) + slope*lift[i]
		for j, g := range grad {
			m.X.Set(i, j, g)
			y += g * f.Theta[j]
		}
		m.Terms[curve.SetupEffect].Z[i][0] = slope
		m.Y[i] = y
	}
}

// remember keeps what was learnt of the strings and slots at the bench: it
// helps to predict cells of another pickup under the same strings. Built pickups
// get strings of their own, and the level of their batch.
func (f *Falloff) remember(m *solve.Mixed, fit *solve.MixedFit, cells []cell.Cell) {
	f.Known = map[string]float64{}
	for _, k := range []int{curve.BatchEffect, curve.StringEffect, curve.ChannelEffect} {
		for i := range cells {
			f.Known[curve.Effects[k].Key(&cells[i])] = fit.U[k][m.Terms[k].Level[i]][0]
		}
	}
}

// expectBatches adds the batches that no pickup was built with: as loud as the mean
// of those that one was, and as much louder as their loose magnets are stronger.
func (f *Falloff) expectBatches(fields map[string]float64) {
	var effect, field, n float64
	var unbuilt []string
	for _, batch := range slices.Sorted(maps.Keys(fields)) {
		if u, built := f.Known[batchKey(batch)]; built {
			effect, field, n = effect+u, field+fields[batch], n+1
		} else {
			unbuilt = append(unbuilt, batch)
		}
	}
	if n == 0 {
		return
	}
	for _, batch := range unbuilt {
		f.Known[batchKey(batch)] = effect/n + f.Theta[curve.FieldExponent]*(fields[batch]-field/n)
	}
}

func batchKey(batch string) string {
	return curve.Effects[curve.BatchEffect].Key(&cell.Cell{Batch: batch})
}

func (f *Falloff) Kind() string        { return falloffKind.Name }
func (f *Falloff) Notes() []string     { return slices.Clone(f.Told) }
func (f *Falloff) ResidualSD() float64 { return level.PerLn * f.SDs[0] }

func (f *Falloff) Parameters() []Parameter {
	units := map[int]string{curve.Level: "ln mV", curve.Slope: "1/mm", curve.Bend: "mm", curve.Protrusion: "1/mm"}
	var out []Parameter
	for j, name := range f.Names() {
		v, se := f.Theta[j], math.Sqrt(f.Cov[j][j])
		if j == curve.Slope || j == curve.Bend || j >= curve.WrapCommon { // fitted as logarithms
			v = math.Exp(v)
			se *= v
		}
		out = append(out, Parameter{Name: name, Value: v, SE: se, Unit: units[j], FromData: f.fromData(j)})
	}
	for k, e := range curve.Effects {
		if k == curve.MagnetEffect && f.Levels[k] == 0 {
			continue
		}
		unit := "ln v"
		if k == curve.SetupEffect {
			unit = "mm"
		}
		sd := f.effectSD(k)
		// The usual large-sample error of a standard deviation, its prior counted
		// as so many more levels.
		se := sd / math.Sqrt(2*(float64(f.Levels[k])+e.Spread.DF))
		out = append(out, Parameter{Name: "sd_" + e.Name, Value: sd, SE: se, Unit: unit, FromData: float64(f.Levels[k]) / (float64(f.Levels[k]) + e.Spread.DF)})
	}
	return out
}

func (f *Falloff) FieldExponent() (b, se float64, ok bool) {
	return f.Theta[curve.FieldExponent], math.Sqrt(f.Cov[curve.FieldExponent][curve.FieldExponent]), true
}

func (f *Falloff) PoleSD() (sd float64, ok bool)   { return f.effectSD(curve.PoleEffect), true }
func (f *Falloff) PickupSD() (sd float64, ok bool) { return f.effectSD(curve.PickupEffect), true }

// effectSD is the standard deviation of effect k.
func (f *Falloff) effectSD(k int) float64 { return math.Abs(f.SDs[k+1]) }

func (f *Falloff) Expect(cells []cell.Cell) []float64 {
	out := make([]float64, len(cells))
	last := cell.LastStrings(cells)
	for i := range cells {
		c := &cells[i]
		if c.Excite != f.Excite {
			out[i] = math.NaN()
			continue
		}
		out[i] = f.Predict(f.Theta, f.CellSite(c, last[c.Pickup]), 0)
		for _, k := range []int{curve.StringEffect, curve.ChannelEffect} {
			out[i] += f.Known[curve.Effects[k].Key(c)]
		}
	}
	return out
}

func decodeFalloff(state []byte) (Model, error) {
	f := &Falloff{}
	if err := json.Unmarshal(state, f); err != nil {
		return nil, err
	}
	n := f.Size()
	if len(f.Theta) != n || len(f.Cov) != n || len(f.SDs) != 1+len(curve.Effects) || len(f.Levels) != len(curve.Effects) {
		return nil, fmt.Errorf("expected %d parameters with their covariance and %d standard deviations, got %d, %d, %d",
			n, 1+len(curve.Effects), len(f.Theta), len(f.Cov), len(f.SDs))
	}
	for i, row := range f.Cov {
		if len(row) != n || !(row[i] >= 0) {
			return nil, fmt.Errorf("covariance: row %d: expected %d values, none negative on the diagonal", i+1, n)
		}
	}
	return f, nil
}
