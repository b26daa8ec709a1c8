package explain

import (
	"context"
	"fmt"
	"math"

	"evenpole/fit"
	"evenpole/fit/cell"
	"evenpole/fit/level"
	"evenpole/fit/solve"
)

// Diagnose works out what pictures of a model show on the data it was fitted
// to. Each pickup is predicted from the others, as in the model's cross-validation (see
// [fit.PredictUnseen]); step is called before each, from several goroutines at once, and
// may be nil.
func Diagnose(ctx context.Context, m fit.Model, d *cell.Data, step func(done, of int)) (*Diagnosis, error) {
	out := &Diagnosis{Kind: m.Kind()}
	if f, err := fit.AsFalloff(m); err == nil {
		if err := out.addEffects(f, d); err != nil {
			return nil, err
		}
	} else {
		for _, cells := range d.ByPickup() {
			out.addPickup(predicted(cells, m.Expect(cells)))
		}
	}
	return out, out.leaveOut(ctx, m, d, step)
}

// addEffects adds the cells with what the curve and all effects leave of them, the curve
// and the effects.
func (d *Diagnosis) addEffects(f *fit.Falloff, data *cell.Data) error {
	m, err := f.EffectsOf(data.Cells, nil)
	if err != nil {
		return err
	}
	kept := &cell.Data{Cells: m.Cells}
	for _, cells := range kept.ByPickup() {
		d.addPickup(cells, levelsOf(cells))
	}
	residuals := m.Residuals()
	for i := range d.Cells {
		d.Cells[i].Residual = level.PerLn * residuals[i]
	}
	d.Fall = falls(m, residuals)
	p, err := m.Posterior()
	if err != nil {
		return err
	}
	d.Effects = effects(p)
	return nil
}

// predicted are the cells that something is expected of, with that, ln v.
func predicted(cells []cell.Cell, expected []float64) (kept []cell.Cell, of []float64) {
	for i, v := range expected {
		if !math.IsNaN(v) {
			kept, of = append(kept, cells[i]), append(of, v)
		}
	}
	return kept, of
}

// addPickup adds the cells of a pickup, with their residuals once the pickup's mean is
// taken off.
func (d *Diagnosis) addPickup(cells []cell.Cell, expected []float64) {
	measured, expected := solve.Centred(levelsOf(cells)), solve.Centred(expected)
	for i, c := range cells {
		d.Cells = append(d.Cells, Diagnosed{
			Pickup: c.Pickup, Session: c.Session, String: c.String, First: c.First.Time(),
			Measured: level.PerLn * measured[i], Predicted: math.NaN(), Residual: level.PerLn * (measured[i] - expected[i]),
		})
	}
}

func levelsOf(cells []cell.Cell) []float64 {
	y := make([]float64, len(cells))
	for i := range cells {
		y[i] = cells[i].Mean
	}
	return y
}

// leaveOut predicts every pickup from the others.
func (d *Diagnosis) leaveOut(ctx context.Context, m fit.Model, data *cell.Data, step func(done, of int)) error {
	pickups := data.ByPickup()
	if len(pickups) < 2 {
		d.Notes = append(d.Notes, "one pickup alone cannot be predicted from others: capture a second one")
		return nil
	}
	unseen, err := fit.PredictUnseen(ctx, m, data, step)
	if err != nil {
		return err
	}
	shown := d.byPickup()
	for i, cells := range pickups {
		pickup := cells[0].Pickup
		if err := unseen[i].Err; err != nil {
			d.Notes = append(d.Notes, fmt.Sprintf("pickup %q cannot be predicted from the others: %v", pickup, err))
			continue
		}
		if !predict(shown[pickup], &unseen[i]) {
			d.Notes = append(d.Notes, fmt.Sprintf("pickup %q cannot be predicted from the others: they were plucked another way", pickup))
		}
	}
	return nil
}

// byPickup are the diagnosed cells of each pickup, which stand together.
func (d *Diagnosis) byPickup() map[string][]Diagnosed {
	out := map[string][]Diagnosed{}
	for from := 0; from < len(d.Cells); {
		to := from + 1
		for to < len(d.Cells) && d.Cells[to].Pickup == d.Cells[from].Pickup {
			to++
		}
		out[d.Cells[from].Pickup] = d.Cells[from:to]
		from = to
	}
	return out
}

// predict writes down what is said of a pickup's cells; false when that is not said of
// just these.
func predict(shown []Diagnosed, u *fit.Unseen) bool {
	var expected, sd []float64
	for i, y := range u.Expected {
		if !math.IsNaN(y) {
			expected, sd = append(expected, y), append(sd, u.BalanceSD[i])
		}
	}
	if len(expected) == 0 || len(expected) != len(shown) {
		return false
	}
	balance := solve.Centred(expected)
	for i := range shown {
		shown[i].Predicted, shown[i].Half = level.PerLn*balance[i], level.PerLn*normal95*sd[i]
	}
	return true
}
