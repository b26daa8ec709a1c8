package batch

import (
	"math"
	"slices"

	"evenpole/fit"
	"evenpole/fit/cell"
	"evenpole/fit/level"

	"gonum.org/v1/gonum/stat"
	"gonum.org/v1/gonum/stat/distuv"
)

// compare compares the batch with every other one of the record.
func (c *characterisation) compare(r *Record) {
	for _, name := range r.names {
		if name == c.Batch {
			continue
		}
		l, err := r.batches[name].at(c.opt.Gap, c.opt.Rods[name])
		if err != nil {
			c.warn("not compared with batch %q: %v", name, err)
			continue
		}
		c.Others = append(c.Others, c.comparison(name, l))
	}
}

func (c *characterisation) comparison(name string, l *lot) Comparison {
	magnets := l.list()
	mean, sd := stat.MeanStdDev(strengths(magnets), nil)
	d := difference(logStrengths(c.Magnets), logStrengths(magnets))
	out := Comparison{
		Batch: name, Reference: name == c.Reference, First: l.first, Count: len(magnets), Mean: mean, SD: level.Figure(sd),
		Percent: 100 * math.Expm1(d.mean), DB: float64(level.Ln(d.mean).DB()), Turned: poleUp(magnets)*poleUp(c.Magnets) < 0,
	}
	if half := d.halfWidth(c.opt.Confidence); level.Figure(half).Known() {
		out.Within = &Interval{100 * math.Expm1(d.mean-half), 100 * math.Expm1(d.mean+half)}
	}
	if out.Turned && out.Reference {
		c.warn("most magnets have the other pole up than those of the reference batch %q: turned in the jig, or magnetised the other way", name)
	}
	return out
}

func logStrengths(magnets []Magnet) []float64 {
	out := strengths(magnets)
	for i, x := range out {
		out[i] = math.Log(x)
	}
	return out
}

// poleUp is the sign of most magnets' fields.
func poleUp(magnets []Magnet) int {
	up := 0
	for i := range magnets {
		up += sign(magnets[i].Field)
	}
	return sign(float64(up))
}

// welch is a difference of two means with its standard error.
type welch struct{ mean, se, dof float64 }

// difference is the mean of a less that of b, whose scatter need not be the
// same: B. L. Welch, The generalization of Student's problem when several
// different population variances are involved, Biometrika 34, 28 (1947). With
// fewer than two values of either nothing is known of the error: it is NaN.
func difference(a, b []float64) welch {
	meanA, varA := stat.MeanVariance(a, nil)
	meanB, varB := stat.MeanVariance(b, nil)
	na, nb := float64(len(a)), float64(len(b))
	va, vb := varA/na, varB/nb
	return welch{meanA - meanB, math.Sqrt(va + vb), (va + vb) * (va + vb) / (va*va/(na-1) + vb*vb/(nb-1))}
}

func (w welch) halfWidth(confidence float64) float64 {
	if !(w.dof > 0) {
		return math.NaN()
	}
	return w.se * distuv.StudentsT{Sigma: 1, Nu: w.dof}.Quantile((1+confidence)/2)
}

// Compare tells how much louder pickups of a batch are than those of the
// reference, from cells of both: the mean residual of each pickup's levels from the
// model's expectation. Its error is from pickup to pickup
// as the falloff model tells it. ok is false when either batch has no
// pickup, or the model is of a kind that knows no such scatter.
//
// The model's own batch effect is this difference shrunk towards 0, the more the fewer
// the pickups.
func Compare(d *cell.Data, m fit.Model, batch, reference string, confidence float64) (l *Loudness, ok bool) {
	sd, known := m.PickupSD()
	left := map[string][]float64{}
	for _, cells := range d.ByPickup() {
		if x, of := unexplained(m, cells); !math.IsNaN(x) {
			left[of] = append(left[of], x)
		}
	}
	a, b := left[batch], left[reference]
	if !known || len(a) == 0 || len(b) == 0 || batch == reference {
		return nil, false
	}
	db := stat.Mean(a, nil) - stat.Mean(b, nil)
	half := standardNormal.Quantile((1+confidence)/2) * float64(sd.DB()) * math.Sqrt(1/float64(len(a))+1/float64(len(b)))
	return &Loudness{len(a), len(b), db, &Interval{db - half, db + half}}, true
}

// noBatch is a batch that no model knows, so that it expects what any batch's pickup has.
const noBatch = "\x00"

// unexplained is the mean of what a model leaves of a pickup's levels, dB, were its
// batch not known, and the pickup's batch; NaN when the model says nothing of it.
func unexplained(m fit.Model, cells []cell.Cell) (db float64, batch string) {
	unnamed := slices.Clone(cells)
	remount := cell.Remounting(func(m, _ *cell.Mounting) { m.Batch = noBatch })
	for i := range unnamed {
		remount(&unnamed[i], &unnamed[i])
	}
	var left []float64
	for i, y := range m.Expect(unnamed) {
		if !math.IsNaN(y) {
			left = append(left, float64(level.Ln(cells[i].Mean-y).DB()))
		}
	}
	if len(left) == 0 {
		return math.NaN(), ""
	}
	return stat.Mean(left, nil), cells[0].Batch
}
