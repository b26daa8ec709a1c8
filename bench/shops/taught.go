package main

import (
	"sync"

	"evenpole/fit"
	"evenpole/fit/solve"
	"evenpole/profiles"

	"gonum.org/v1/gonum/floats"
	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/stat"
)

// firstTeacher is the seed of the first shop that a handbook is taught by: no orders are
// planned in these.
const firstTeacher = 5001

// teachersRecord leaves little open.
var teachersRecord = design{pickups: 10, sets: []string{"ten", "twelve", "steel", "bronze"}, high: 4, takes: 4}

// taught is the handbook that somebody could write who had measured so many shops of each
// of these physics: their parameters' means and covariance, and the mean of their scatter. A plan by
// it leaves on the table what nobody can know who has not measured this very shop.
func taught(teachers int, physics ...string) *fit.Falloff {
	models := make([]*fit.Falloff, teachers*len(physics))
	var wg sync.WaitGroup
	for i := range models {
		wg.Go(func() {
			w := newWorldOf(physics[i/teachers], firstTeacher+uint64(i%teachers), teachersRecord)
			models[i] = w.models()["falloff"].(*fit.Falloff)
		})
	}
	wg.Wait()
	n := models[0].Size()
	theta := mat.NewDense(len(models), n, nil)
	out := fit.Handbook(profiles.Travel).(*fit.Falloff)
	out.Wraps = models[0].Wraps
	clear(out.SDs)
	for i, m := range models {
		theta.SetRow(i, m.Theta)
		floats.AddScaled(out.SDs, 1/float64(len(models)), m.SDs)
	}
	out.Theta = nil
	for j := range n {
		out.Theta = append(out.Theta, stat.Mean(mat.Col(nil, j, theta), nil))
	}
	var cov mat.SymDense
	stat.CovarianceMatrix(&cov, theta, nil)
	out.Cov = solve.Rows(&cov, 1)
	return out
}
