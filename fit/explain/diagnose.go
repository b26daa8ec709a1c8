package explain

import (
	"context"
	"fmt"
	"math"
	"slices"

	"evenpole/fit"
	"evenpole/fit/cell"
	"evenpole/fit/level"
	"evenpole/fit/solve"
)

// Diagnose works out what pictures of a model show on the data it was fitted
// to. Each pickup is predicted by a model fitted to the others, as in the model's
// cross-validation (see [fit.Fold]).
func Diagnose(ctx context.Context, m fit.Model, d *cell.Data) (*Diagnosis, error) {
	if f, err := fit.AsFalloff(m); err == nil {
		return diagnoseFalloff(ctx, f, d)
	}
	out := &Diagnosis{Kind: m.Kind()}
	for _, p := range d.Pickups() {
		_, cells := d.Split(p)
		out.addPickup(predicted(m, cells))
	}
	half := func(m fit.Model, cells []cell.Cell) []float64 {
		return slices.Repeat([]float64{normal95 * float64(m.ResidualSD().Ln())}, len(cells))
	}
	return out, out.leaveOut(ctx, m, d, half)
}

func diagnoseFalloff(ctx context.Context, f *fit.Falloff, d *cell.Data) (*Diagnosis, error) {
	m, err := f.EffectsOf(d.Cells, nil)
	if err != nil {
		return nil, err
	}
	out := &Diagnosis{Kind: f.Kind()}
	kept := &cell.Data{Cells: m.Cells}
	for _, p := range kept.Pickups() {
		_, cells := kept.Split(p)
		out.addPickup(cells, levelsOf(cells))
	}
	residuals := m.Residuals()
	for i := range out.Cells {
		out.Cells[i].Residual = level.PerLn * residuals[i]
	}
	out.Fall = falls(m, residuals)
	p, err := m.Posterior()
	if err != nil {
		return nil, err
	}
	out.Effects = effects(p)
	return out, out.leaveOut(ctx, f, d, func(m fit.Model, cells []cell.Cell) []float64 {
		return unseenHalf(m.(*fit.Falloff), d.Cells, cells)
	})
}

// predicted are the cells that a model can predict, with the predictions, ln v.
func predicted(m fit.Model, cells []cell.Cell) (kept []cell.Cell, expected []float64) {
	for i, v := range m.Expect(cells) {
		if !math.IsNaN(v) {
			kept, expected = append(kept, cells[i]), append(expected, v)
		}
	}
	return kept, expected
}

// addPickup adds the cells of a pickup, with their residuals once the pickup's mean is
// taken off.
func (d *Diagnosis) addPickup(cells []cell.Cell, expected []float64) {
	measured, expected := solve.Centred(levelsOf(cells)), solve.Centred(expected)
	for i, c := range cells {
		d.Cells = append(d.Cells, Diagnosed{
			Pickup: c.Pickup, Session: c.Session, String: c.String, First: c.First,
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

// leaveOut predicts every pickup from the others. half is the half-widths, ln v, of the
// intervals of a pickup's balance by a model that has not seen it.
func (d *Diagnosis) leaveOut(ctx context.Context, m fit.Model, data *cell.Data, half func(fit.Model, []cell.Cell) []float64) error {
	refit, err := fit.RefitOf(m)
	if err != nil {
		return err
	}
	if len(data.Pickups()) < 2 {
		d.Notes = append(d.Notes, "one pickup alone cannot be predicted from others: capture a second one")
		return nil
	}
	for _, p := range data.Pickups() {
		others, cells := data.Split(p)
		model, err := refit(ctx, others)
		if ctx.Err() != nil {
			return ctx.Err()
		}
		if err != nil {
			d.Notes = append(d.Notes, fmt.Sprintf("pickup %q cannot be predicted from the others: %v", p, err))
			continue
		}
		shown := d.cellsOf(p)
		cells, expected := predicted(model, cells)
		if len(cells) == 0 || len(cells) != len(shown) {
			d.Notes = append(d.Notes, fmt.Sprintf("pickup %q cannot be predicted from the others: they were plucked another way", p))
			continue
		}
		balance, halves := solve.Centred(expected), half(model, cells)
		for i := range shown {
			shown[i].Predicted, shown[i].Half = level.PerLn*balance[i], level.PerLn*halves[i]
		}
	}
	return nil
}

// cellsOf are the diagnosed cells of a pickup, which stand together.
func (d *Diagnosis) cellsOf(pickup string) []Diagnosed {
	first := slices.IndexFunc(d.Cells, func(c Diagnosed) bool { return c.Pickup == pickup })
	if first < 0 {
		return nil
	}
	n := slices.IndexFunc(d.Cells[first:], func(c Diagnosed) bool { return c.Pickup != pickup })
	if n < 0 {
		return d.Cells[first:]
	}
	return d.Cells[first : first+n]
}
