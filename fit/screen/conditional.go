package screen

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"
)

const (
	studentDF    = 8   // of the likelihood, see logLikelihood
	unknownSD    = 0.5 // ln v, of a level that a mistake of no known kind made
	impossibleSD = 2   // ln v, of a level under lengths that cannot be
)

// conditional is the joint distribution of the levels of all cells of some pickups
// given those of all other pickups: normal, about what the others let expect.
type conditional struct {
	model       *levelModel
	cells       []int
	others      *estimate // the shared unknowns, by the other pickups
	rows        []row
	gradientCov *mat.Dense // rows' gradients times the covariance of the shared unknowns
	cov         *mat.SymDense
	residual    []float64
}

// conditional is the distribution for some pickups. The cells that are examined count
// in full, the others by their weights in the robust fit.
func (m *levelModel) conditional(pickups []string, examined []int) *conditional {
	slices.Sort(pickups)
	pickups = slices.Compact(pickups)
	d := &conditional{model: m, others: m.leavingOut(pickups)}
	for _, p := range pickups {
		d.cells = append(d.cells, m.byPickup[p]...)
	}
	n := len(d.cells)
	d.gradientCov = mat.NewDense(n, len(m.mean), nil)
	d.cov = mat.NewSymDense(n, nil)
	d.residual = make([]float64, n)
	for x, i := range d.cells {
		r := m.rows[i]
		if !slices.Contains(examined, i) {
			r.noise /= m.weight[i]
		}
		d.rows = append(d.rows, r)
		d.fillRow(x)
	}
	for x := range d.rows {
		d.fillCovariance(x)
	}
	return d
}

// fillRow derives what goes with one row.
func (d *conditional) fillRow(x int) {
	r := &d.rows[x]
	d.residual[x] = 0
	if !r.unknown {
		d.residual[x] = r.residual - inner(r.gradient, d.others.mean)
	}
	mat.NewVecDense(len(r.gradient), d.gradientCov.RawRowView(x)).MulVec(d.others.cov, mat.NewVecDense(len(r.gradient), r.gradient))
}

// fillCovariance fills one row of the covariance.
func (d *conditional) fillCovariance(x int) {
	r := &d.rows[x]
	for y := range d.rows {
		o := &d.rows[y]
		v := 0.0
		if !r.unknown && !o.unknown {
			v = inner(d.gradientCov.RawRowView(x), o.gradient) + d.model.localCovariance(r, o)
		}
		if x == y {
			v += r.noise
			if r.unknown {
				v = impossibleSD * impossibleSD
			}
		}
		d.cov.SetSym(x, y, v)
	}
}

// with is the distribution with other rows in place of those of some cells.
func (d *conditional) with(rows map[int]row) *conditional {
	c := *d
	c.rows, c.residual, c.gradientCov = slices.Clone(d.rows), slices.Clone(d.residual), mat.DenseCopyOf(d.gradientCov)
	c.cov = mat.NewSymDense(len(d.rows), nil)
	c.cov.CopySym(d.cov)
	var places []int
	for x, i := range d.cells {
		if r, ok := rows[i]; ok {
			c.rows[x] = r
			c.fillRow(x)
			places = append(places, x)
		}
	}
	for _, x := range places {
		c.fillCovariance(x)
	}
	return &c
}

// withUnknown is the distribution when a mistake of no known kind made the levels of
// some cells.
func (d *conditional) withUnknown(cells []int) *conditional {
	rows := map[int]row{}
	for x, i := range d.cells {
		if slices.Contains(cells, i) {
			r := d.rows[x]
			r.noise += unknownSD * unknownSD
			rows[i] = r
		}
	}
	return d.with(rows)
}

// withBest is the distribution when the levels of some cells are the likeliest ones:
// no other levels of theirs make the rest of the pickup's likelier.
func (d *conditional) withBest(cells []int) *conditional {
	rows := map[int]row{}
	for x, i := range d.cells {
		if slices.Contains(cells, i) {
			r := d.rows[x]
			r.unknown = true
			rows[i] = r
		}
	}
	c := d.with(rows)
	for x, i := range c.cells {
		if slices.Contains(cells, i) {
			c.cov.SetSym(x, x, d.rows[x].noise)
		}
	}
	return c
}

// logLikelihood is ln of the density of the levels, up to what all distributions of
// the same cells share. The scatter is not quite known: the density is Student's with
// studentDF degrees of freedom.
func (d *conditional) logLikelihood() float64 {
	var chol mat.Cholesky
	if !chol.Factorize(d.cov) {
		return math.Inf(-1)
	}
	n := len(d.residual)
	r := mat.NewVecDense(n, d.residual)
	var x mat.VecDense
	if chol.SolveVecTo(&x, r) != nil {
		return math.Inf(-1)
	}
	return -chol.LogDet()/2 - (studentDF+float64(n))/2*math.Log1p(mat.Dot(r, &x)/studentDF)
}

// slope estimates by how much levels rise with a covariate of some cells, of which
// the scatter of their takes gives an estimate of its own, inTakes with the variance
// inTakesVar. evidence is ln of the likelihood ratio of a slope that scatters by sd
// against one that scatters by sd0.
func (d *conditional) slope(covariate map[int]float64, inTakes, inTakesVar, sd, sd0 float64) (slope, evidence float64) {
	z := mat.NewVecDense(len(d.cells), nil)
	for x, i := range d.cells {
		if v, ok := covariate[i]; ok && !d.rows[x].unknown {
			z.SetVec(x, v)
		}
	}
	var chol mat.Cholesky
	var w mat.VecDense
	if !chol.Factorize(d.cov) || chol.SolveVecTo(&w, z) != nil {
		return 0, math.Inf(-1)
	}
	precision := mat.Dot(z, &w) + 1/inTakesVar
	sum := mat.Dot(&w, mat.NewVecDense(len(d.residual), d.residual)) + inTakes/inTakesVar
	logRatio := func(sd float64) float64 {
		shrink := 1 / (precision + 1/(sd*sd))
		return sum*sum*shrink/2 - math.Log1p(precision*sd*sd)/2
	}
	return sum / (precision + 1/(sd*sd)), logRatio(sd) - logRatio(sd0)
}
