package fit

import (
	"context"
	"fmt"
	"maps"
	"math"
	"slices"

	"evenpole/fit/cell"
	"evenpole/fit/curve"
	"evenpole/fit/solve"
	"evenpole/profiles"

	"gonum.org/v1/gonum/floats"
	"gonum.org/v1/gonum/mat"
)

const (
	falloffRounds = 100 // at most
	fewCells      = 12  // with fewer, the scatter is not estimated
)

// fitFalloff fits the curve and the scatter of its effects in turn: the curve is
// made linear at the last estimates, the linear mixed model solved. given is a model
// whose standard deviations are kept, and near whose parameters the search begins; nil
// estimates all.
func fitFalloff(ctx context.Context, d *cell.Data, given *Falloff) (*Falloff, error) {
	if len(d.Cells) == 0 {
		return nil, noTake(d, "capture a pickup first")
	}
	excite, cells, note := cell.OneExcite(d.Cells)
	f := &Falloff{
		Curve: curve.Curve{Excite: excite}, Range: rangeOf(cells),
		Magnets: d.Magnets, FieldSD: d.FieldSD, PoleFields: knowPoleFields(cells),
	}
	f.Remarks = append(f.Remarks, d.Remarks...)
	if note := f.Range.severalKinds(); note != "" {
		f.Remarks = append(f.Remarks, note)
	}
	if note != "" {
		f.Remarks = append(f.Remarks, note)
	}
	var notes []string
	f.Pitch, notes = cell.PitchNotes(cells)
	f.Remarks = append(f.Remarks, notes...)
	sites := f.sitesOf(cells)
	f.Wraps = curve.WrapsOf(sites.strings)
	if given != nil {
		f.SDs = given.SDs
		if slices.Equal(f.Wraps, given.Wraps) && f.Excite == given.Excite {
			f.Theta = slices.Clone(given.Theta)
		}
	}
	if f.SDs == nil && len(cells) < fewCells {
		f.SDs = handbookSDs()
		f.Remarks = append(f.Remarks, fmt.Sprintf("%s of %s: how far poles, strings and mountings differ is taken from the handbook, and most else with it; capture other pickups and string sets",
			profiles.Count(len(cells), "cell"), profiles.Count(len(d.Pickups()), "pickup")))
	}
	m := f.mixedModel(cells)
	it, err := f.iterate(ctx, m, cells, sites)
	if ctx.Err() != nil {
		return nil, ctx.Err()
	}
	if err != nil {
		return nil, &CannotFitError{fmt.Sprintf("falloff: %v", err), "look whether the readings were measured"}
	}
	solved, err := it.solve()
	if err != nil {
		return nil, fmt.Errorf("falloff: %w", err)
	}
	fit := solved.Fit()
	f.fitted = newFalloffLeaver(it, solved, d.Batches)
	f.Cov = solve.Rows(fit.Cov, float64(it.tempering))
	for _, u := range fit.U {
		f.LevelCounts = append(f.LevelCounts, len(u))
	}
	f.keepOffsets(m, fit, cells)
	f.offsetUnbuiltBatches(d.Batches)
	f.Remarks = append(f.Remarks, f.notLearnt(cells)...)
	return f, nil
}

// The start of a fit.
const (
	startSD    = 0.15 // of cells about the curve, ln v, while no effects are told apart
	startCells = 600  // as many cells, of all of the record, say where to start
)

// startTheta finds the parameters of a model without effects: damped steps lead from
// the priors to where the data are, so that the undamped steps of iterate converge.
func (f *Falloff) startTheta(m *solve.Mixed, cells []cell.Cell, sites *sites) error {
	var some []int
	for i := 0; i < len(cells); i += startStride(len(cells)) {
		some = append(some, i)
	}
	n := len(some)
	p := &solve.Nonlinear{M: n + f.Size(), N: f.Size(), Rough: true,
		Residual: func(dst, th []float64) {
			for x, i := range some {
				dst[x] = m.Weight[i] * (f.Predict(th, sites.at(i), 0) - cells[i].Mean) / startSD
			}
			for j, prior := range m.Prior {
				dst[n+j] = (th[j] - prior.Mean) / prior.SD
			}
		},
		Jacobian: func(dst *mat.Dense, th []float64) {
			dst.Zero()
			for x, i := range some {
				row := dst.RawRowView(x)
				f.Gradient(row, th, sites.at(i), 0)
				floats.Scale(m.Weight[i]/startSD, row)
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

// startStride leads to startCells of so many. It has no factor in common with the number
// of strings of a pickup, so that it meets all of them.
func startStride(cells int) int {
	n := (cells + startCells - 1) / startCells
	for n > 1 && (n%2 == 0 || n%3 == 0 || n%5 == 0 || n%7 == 0) {
		n++
	}
	return n
}

// start finds where the search begins: of a large record in some of its pickups, in which
// the search begins likewise.
func (f *Falloff) start(ctx context.Context, m *solve.Mixed, cells []cell.Cell, sites *sites) (sds []float64, err error) {
	if some := fewPickups(cells); some != nil && f.Theta == nil {
		g := &Falloff{Curve: f.Curve, SDs: f.SDs, FieldSD: f.FieldSD, PoleFields: f.PoleFields, rough: true}
		if _, err := g.iterate(ctx, g.mixedModel(some), some, g.sitesOf(some)); err != nil {
			return nil, err
		}
		f.Theta = g.Theta
		return g.SDs, nil
	}
	if f.Theta == nil {
		if err := f.startTheta(m, cells, sites); err != nil {
			return nil, err
		}
	}
	if f.SDs != nil {
		return f.SDs, nil
	}
	sds = []float64{curve.ResidualPrior.SD}
	for _, t := range m.Terms {
		sds = append(sds, t.Spread.SD)
	}
	return sds, nil
}

// fewPickups is the cells of some pickups of a large record; none of another.
func fewPickups(cells []cell.Cell) []cell.Cell {
	all := (&cell.Data{Cells: cells}).ByPickup()
	var few [][]cell.Cell
	for _, k := range cell.FewPickups(len(all), func(k int) int { return len(all[k]) }) {
		few = append(few, all[k])
	}
	return slices.Concat(few...)
}

// iteration is the search for a falloff model's parameters.
type iteration struct {
	f     *Falloff
	m     *solve.Mixed
	cells []cell.Cell
	sites *sites
	sds   []float64 // as the mixed model has them, see tempering
	tempering
	lift []float64        // of each mounting: how much higher its strings lie than was said, mm; nil = not known yet
	skip func(i int) bool // cells that have no weight; nil = none
}

// iterate solves for the parameters and, where f has none, for the standard deviations.
func (f *Falloff) iterate(ctx context.Context, m *solve.Mixed, cells []cell.Cell, sites *sites) (*iteration, error) {
	estimated := f.SDs == nil
	sds, err := f.start(ctx, m, cells, sites)
	if err != nil {
		return nil, err
	}
	it := &iteration{f: f, m: m, cells: cells, sites: sites, tempering: temperingOf(len(cells))}
	it.apply(m)
	if _, it.sds, err = it.run(ctx, it.within(sds), estimated, f.rest(len(cells))); err != nil {
		return nil, err
	}
	f.SDs = it.without(it.sds)
	return it, nil
}

// run solves for the parameters, and for better standard deviations than sds where these
// are to be estimated: in each round the curve is made linear at the last estimates and
// cells are weighed by what it left of them, until nothing moves by more than rest. It
// returns the last solution.
func (it *iteration) run(ctx context.Context, sds []float64, estimated bool, rest float64) (*solve.MixedFit, []float64, error) {
	f, m := it.f, it.m
	sdsMoved := math.Inf(1)
	var faster fasterSearch
	for round := 1; ; round++ {
		if err := ctx.Err(); err != nil {
			return nil, nil, err
		}
		m.Given = it.tangent()
		fit, next, err := stepOrSolve(m, sds, estimated && sdsMoved >= sdsRest(rest))
		if err != nil {
			return nil, nil, err
		}
		sdsMoved = furthest(sds, next)
		moved := max(furthest(f.Theta, fit.Beta), sdsMoved*rest/sdsRest(rest))
		it.reweigh(fit, sds[0])
		if moved < rest || round == falloffRounds {
			copy(f.Theta, fit.Beta)
			return fit, next, nil
		}
		f.Theta, sds = faster.next(m.Prior, f.Theta, fit.Beta, sds, next)
	}
}

// fasterSearch leads a search to its end in fewer rounds. Parameters lie on ridges, where
// level and shape stand for each other: rounds alone leave a half of each step there.
type fasterSearch struct {
	both  *solve.Anderson
	alone *solve.Anderson // once standard deviations stay
}

// next is where to go from parameters and standard deviations whose round led to others.
func (s *fasterSearch) next(units []solve.Normal, theta, toTheta, sds, toSDs []float64) (nextTheta, nextSDs []float64) {
	unit := make([]float64, len(theta), len(theta)+len(sds))
	for j := range theta {
		unit[j] = units[j].SD
	}
	if slices.Equal(sds, toSDs) {
		if s.alone == nil {
			s.alone = &solve.Anderson{Unit: unit}
		}
		return s.alone.Next(theta, toTheta), toSDs
	}
	if s.both == nil {
		for range sds {
			unit = append(unit, 1)
		}
		s.both = &solve.Anderson{Unit: unit}
	}
	x, to := slices.Clone(theta), slices.Clone(toTheta)
	for k := range sds {
		x, to = append(x, math.Log(sds[k])), append(to, math.Log(toSDs[k]))
	}
	next := s.both.Next(x, to)
	for k := range sds {
		nextSDs = append(nextSDs, math.Exp(next[len(theta)+k]))
	}
	return next[:len(theta):len(theta)], nextSDs
}

// reweigh takes over what a round says of mountings, and weighs the cells by what it left
// of them.
func (it *iteration) reweigh(fit *solve.MixedFit, sigma float64) {
	it.lift = liftsOf(fit)
	solve.InParallel(len(it.cells), func(from, to int) {
		for i := from; i < to; i++ {
			it.m.Weight[i] = 0
			if it.skip == nil || !it.skip(i) {
				it.m.Weight[i] = huberWeight(it.m, fit, sigma, it.cells, i)
			}
		}
	})
}

// liftsOf is what a fit says of mountings.
func liftsOf(fit *solve.MixedFit) []float64 {
	lifts := make([]float64, len(fit.U[curve.MountingEffect]))
	for l, u := range fit.U[curve.MountingEffect] {
		lifts[l] = u[0]
	}
	return lifts
}

// tangent is the curve made linear at the last estimates.
func (it *iteration) tangent() *tangent {
	return it.f.tangent(it.m, it.sites, it.lift)
}

// solve solves the model once more where the search has ended.
func (it *iteration) solve() (*solve.Solved, error) {
	it.m.Given = it.tangent()
	return it.m.Solve(it.sds[0], it.sds[1:])
}

// largeRest is the rest of a large record: see rest.
const largeRest = 1e-5

// rest is by how much a round may move estimates and be the last. Of a large record it is
// some 0.0001 dB, far below what its readings tell.
func (f *Falloff) rest(cells int) float64 {
	switch {
	case f.rough:
		return 5e-3
	case cells > 5000:
		return largeRest
	}
	return 5e-8
}

// sdsRest is by how much standard deviations may move in the last step: of a large record
// ten times as much as parameters. Each step leaves a tenth of its length or less, and
// costs three times as much as solving for the parameters alone.
func sdsRest(rest float64) float64 {
	if rest == largeRest {
		return 10 * rest
	}
	return rest
}

// stepOrSolve solves a model at given standard deviations, and says which are better
// where they are to be estimated.
func stepOrSolve(m *solve.Mixed, sds []float64, estimated bool) (fit *solve.MixedFit, next []float64, err error) {
	if !estimated {
		fit, err = m.At(sds[0], sds[1:])
		return fit, sds, err
	}
	fit, sigma, rest, err := m.Step(sds[0], sds[1:])
	return fit, append([]float64{sigma}, rest...), err
}

// furthest is the largest difference between the entries of two lists.
func furthest(a, b []float64) float64 { return floats.Distance(a, b, math.Inf(1)) }

// keepOffsets keeps the effects of strings and slots, which help to predict cells of
// another pickup under the same strings at the same bench, of batches, which help to
// predict a built pickup, and of jigs, where there are several.
func (f *Falloff) keepOffsets(m *solve.Mixed, fit *solve.MixedFit, cells []cell.Cell) {
	f.Offsets = map[string]float64{}
	for _, k := range offsetEffects {
		kept := make([]bool, len(fit.U[k]))
		effect := offsetEffect(k)
		for i, l := range m.Terms[k].Level {
			if l >= 0 && !kept[l] {
				f.Offsets[effect.Key(&cells[i])] = fit.U[k][l][0]
				kept[l] = true
			}
		}
	}
}

// offsetUnbuiltBatches adds offsets of the batches that no pickup was built with.
func (f *Falloff) offsetUnbuiltBatches(fields map[string]float64) {
	built := map[string]float64{}
	for batch := range fields {
		if u, ok := f.Offsets[batchKey(batch)]; ok {
			built[batch] = u
		}
	}
	for batch, u := range unbuiltOffsets(fields, built, f.Theta[curve.FieldExponent]) {
		f.Offsets[batchKey(batch)] = u
	}
}

// unbuiltOffsets are the offsets of batches that no pickup was built with: the mean offset
// of those that one was, corrected for how much stronger its loose magnets are than theirs.
// fields is ln B of loose magnets by batch, built the offsets of batches.
func unbuiltOffsets(fields, built map[string]float64, exponent float64) map[string]float64 {
	var effect, field, n float64
	var unbuilt []string
	for _, batch := range slices.Sorted(maps.Keys(fields)) {
		if u, ok := built[batch]; ok {
			effect, field, n = effect+u, field+fields[batch], n+1
		} else {
			unbuilt = append(unbuilt, batch)
		}
	}
	out := map[string]float64{}
	for _, batch := range unbuilt {
		if n > 0 {
			out[batch] = effect/n + exponent*(fields[batch]-field/n)
		}
	}
	return out
}
