package fit

import (
	"fmt"
	"maps"
	"slices"

	"evenpole/fit/cell"
	"evenpole/fit/curve"
	"evenpole/fit/solve"

	"gonum.org/v1/gonum/floats"
	"gonum.org/v1/gonum/mat"
)

const (
	falloffRounds = 14
	remlRounds    = 4  // from one estimate of the scatter to the next
	fewCells      = 12 // with fewer, the scatter is not estimated
)

// fitFalloff fits the curve and the scatter of its effects in turn: the curve is
// made linear at the last estimates, the linear mixed model solved. given are
// standard deviations to keep; nil estimates them.
func fitFalloff(d *cell.Data, given []float64) (*Falloff, error) {
	if len(d.Cells) == 0 {
		return nil, &CannotFitError{fmt.Sprintf("no good take among %d readings", d.Readings), "capture a pickup first"}
	}
	excite, cells, note := cell.OneExcite(d.Cells)
	f := &Falloff{
		Curve: curve.Curve{Excite: excite}, Range: rangeOf(cells), SDs: given,
		Magnets: d.Magnets, FieldSD: d.FieldSD, PoleFields: knowPoleFields(cells),
	}
	if note != "" {
		f.Remarks = append(f.Remarks, note)
	}
	var notes []string
	f.Pitch, notes = cell.PitchNotes(cells)
	f.Remarks = append(f.Remarks, notes...)
	sites := f.sitesOf(cells)
	f.Wraps = curve.WrapsOf(sites)
	if f.SDs == nil && len(cells) < fewCells {
		f.SDs = handbookSDs()
		f.Remarks = append(f.Remarks, fmt.Sprintf("%s of %s: how far poles, strings and mountings differ is taken from the handbook, and most else with it; capture other pickups and string sets",
			counted(len(cells), "cell"), counted(len(d.Pickups()), "pickup")))
	}
	m := f.mixedModel(cells)
	fit, err := f.iterate(m, cells, sites)
	if err != nil {
		return nil, &CannotFitError{fmt.Sprintf("falloff: %v", err), "look whether the readings were measured"}
	}
	f.Cov = solve.Rows(fit.Cov, 1)
	for _, u := range fit.U {
		f.LevelCounts = append(f.LevelCounts, len(u))
	}
	f.keepOffsets(m, fit, cells)
	f.offsetUnbuiltBatches(d.Batches)
	f.Remarks = append(f.Remarks, f.notLearnt(cells)...)
	return f, nil
}

// startSD is the standard deviation of cells about the curve, ln v, while no effects
// are told apart.
const startSD = 0.15

// startTheta finds the parameters of a model without effects: damped steps lead from
// the priors to where the data are, so that the undamped steps of iterate converge.
func (f *Falloff) startTheta(m *solve.Mixed, cells []cell.Cell, sites []*curve.Site) error {
	n := len(cells)
	p := &solve.Nonlinear{M: n + f.Size(), N: f.Size(),
		Residual: func(dst, th []float64) {
			for i, s := range sites {
				dst[i] = m.Weight[i] * (f.Predict(th, s, 0) - cells[i].Mean) / startSD
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

// iterate solves for the parameters and, where f has none, for the standard deviations.
func (f *Falloff) iterate(m *solve.Mixed, cells []cell.Cell, sites []*curve.Site) (*solve.MixedFit, error) {
	if err := f.startTheta(m, cells, sites); err != nil {
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
		if f.SDs == nil && round%remlRounds == 0 {
			if fit, err = m.Fit(); err == nil {
				sds = sdsOf(fit)
			}
		} else {
			fit, err = m.At(sds[0], sds[1:])
		}
		if err != nil {
			return nil, err
		}
		copy(f.Theta, fit.Beta)
		for i := range lift {
			lift[i] = fit.U[curve.MountingEffect][m.Terms[curve.MountingEffect].Level[i]][0]
			m.Weight[i] = huberWeight(m, fit, sds[0], cells, i)
		}
	}
	f.SDs = sds
	return fit, nil
}

// sdsOf lists a fit's standard deviations: the residual one, then each effect's.
func sdsOf(fit *solve.MixedFit) []float64 {
	sds := []float64{fit.Sigma}
	for k := range fit.Factor {
		sds = append(sds, fit.SD(k, 0))
	}
	return sds
}

// keepOffsets keeps the effects of strings and slots, which help to predict cells of
// another pickup under the same strings at the same bench, and of batches, which help
// to predict a built pickup.
func (f *Falloff) keepOffsets(m *solve.Mixed, fit *solve.MixedFit, cells []cell.Cell) {
	f.Offsets = map[string]float64{}
	for _, k := range []int{curve.BatchEffect, curve.StringEffect, curve.SlotEffect} {
		for i := range cells {
			f.Offsets[curve.Effects[k].Key(&cells[i])] = fit.U[k][m.Terms[k].Level[i]][0]
		}
	}
}

// offsetUnbuiltBatches adds offsets of the batches that no pickup was built with: the mean
// offset of those that one was, corrected for how much stronger its loose magnets are
// than theirs. fields is ln B of loose magnets by batch.
func (f *Falloff) offsetUnbuiltBatches(fields map[string]float64) {
	var effect, field, n float64
	var unbuilt []string
	for _, batch := range slices.Sorted(maps.Keys(fields)) {
		if u, built := f.Offsets[batchKey(batch)]; built {
			effect, field, n = effect+u, field+fields[batch], n+1
		} else {
			unbuilt = append(unbuilt, batch)
		}
	}
	if n == 0 {
		return
	}
	for _, batch := range unbuilt {
		f.Offsets[batchKey(batch)] = effect/n + f.Theta[curve.FieldExponent]*(fields[batch]-field/n)
	}
}
