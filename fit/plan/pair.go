package plan

import (
	"cmp"
	"context"
	"fmt"
	"math"

	"evenpole/fit"
	"evenpole/fit/layout"
	"evenpole/fit/level"
	"evenpole/profiles"

	"gonum.org/v1/gonum/stat"
)

// Pair says how loud the planned pickup is beside the other one of its instrument, mean
// of all strings, and where it is as loud as wanted.
type Pair struct {
	Order      string     `json:"order"`          // the other pickup's
	Wanted     float64    `json:"wanted_db"`      // this pickup less the other
	Tolerance  float64    `json:"tolerance_db"`   //
	Expected   float64    `json:"expected_db"`    // as both are planned
	SD         float64    `json:"sd_db"`          // standard deviation of that
	Interval   [2]float64 `json:"expected_db_95"` // 2.5 % and 97.5 % points
	Position   float64    `json:"position_db"`    // of it, what strings move more over this pickup than over the other
	Meets      float64    `json:"meets"`          // chance to be within tolerance as planned
	Raise      float64    `json:"raise_mm"`       // by which this whole pickup would be raised for what is wanted; negative: lowered
	Reached    float64    `json:"reached_db"`     // what is expected then: as wanted where limits leave room
	RaisedTo   float64    `json:"spread_db"`      // expected spread of this pickup's deviations then
	MeetsAfter float64    `json:"meets_after"`    // chance of the difference to be within tolerance then
	Warnings   []string   `json:"warnings"`       //
}

// Words says it to people, a line each.
func (r *Pair) Words(u profiles.Units) []string {
	if r == nil {
		return nil
	}
	out := []string{profiles.Sprintf("beside order %s: %+.1f dB expected (%+.1f to %+.1f), %+.1f wanted within %.2g, a chance of %.0f %%",
		r.Order, r.Expected, r.Interval[0], r.Interval[1], r.Wanted, r.Tolerance, 100*r.Meets)}
	if r.Raise != 0 {
		out = append(out, u.Text(profiles.Sprintf("with this whole pickup moved by %+.2f mm: %+.1f dB, a chance of %.0f %%, and a spread of %.2f dB among its strings", r.Raise, r.Reached, 100*r.MeetsAfter, r.RaisedTo)))
	}
	for _, w := range r.Warnings {
		out = append(out, "note: "+w)
	}
	return out
}

// What the difference of two pickups may be off by beside their levels: our assumptions.
const (
	pickupSD    = 1.3  // dB, of one coil beside another where a model does not say
	motionShare = 0.25 // of what strings move more over one place than over another: it depends on where and how they are plucked
)

// pairTolerance is what a difference may be off by, where an order does not say.
const pairTolerance = 1.5 // dB

// Pairing compares a plan with that of the other pickup on the instrument. Where that
// cannot be told, as the orders do not say where their pickups are, say, it is nil, and the
// plan's warnings say why.
func Pairing(ctx context.Context, o *profiles.Order, p *Plan, other *profiles.Order, q *Plan, m fit.Predictor, opt Options) (*Pair, error) {
	untold := ""
	switch {
	case o.ScaleLength == 0 || o.PickupFromBridge == 0 || other.PickupFromBridge == 0:
		untold = "how much strings move over either pickup follows from scale_length_mm in this order and pickup_from_bridge_mm in both, which are not all given"
	case math.IsNaN(meanLevel(p.Level)) || math.IsNaN(meanLevel(q.Level)):
		untold = "the model knows no levels in mV"
	case len(o.Strings) != len(other.Strings):
		untold = fmt.Sprintf("it has %s, and this one %d", profiles.Count(len(other.Strings), "string"), len(o.Strings))
	}
	if untold != "" {
		p.Warnings = append(p.Warnings, fmt.Sprintf("how loud this pickup is beside that of order %s cannot be told: %s", other.ID, untold))
		return nil, nil
	}
	out := &Pair{Order: other.ID, Wanted: o.Pair.Difference, Tolerance: o.Pair.Tolerance, Warnings: []string{}}
	if out.Tolerance == 0 {
		out.Tolerance = pairTolerance
	}
	out.Position = level.PerLn * math.Log(layout.MotionBetween(o.ScaleLength, other.PickupFromBridge, o.PickupFromBridge))
	out.Expected = meanLevel(p.Level) - meanLevel(q.Level) + out.Position
	coil := pickupSD
	if f, ok := m.(fit.Model); ok {
		if sd, known := f.PickupSD(); known && !fit.IsHandbook(m) {
			coil = float64(sd.DB())
		}
	}
	out.SD = math.Sqrt(2*coil*coil + math.Pow(motionShare*out.Position, 2))
	out.Interval = [2]float64{out.Expected - 1.96*out.SD, out.Expected + 1.96*out.SD}
	out.Meets = within(out.Expected-out.Wanted, out.SD, out.Tolerance)
	if err := out.raise(ctx, o, p, m, opt); err != nil {
		return nil, err
	}
	out.MeetsAfter = within(out.Reached-out.Wanted, out.SD, out.Tolerance)
	out.Warnings = append(out.Warnings, fmt.Sprintf("the difference of two pickups stands on their coils being wound alike, and on how the strings are plucked: %.1f dB of it is where the pickups are, give or take a quarter; measure both on one instrument to know", out.Position))
	return out, nil
}

// within is the chance of a normal deviate to be within tolerance.
func within(off, sd, tolerance float64) float64 {
	phi := func(x float64) float64 { return 0.5 * math.Erfc(-x/math.Sqrt2) }
	return phi((tolerance-off)/sd) - phi((-tolerance-off)/sd)
}

// meanLevel is the mean of levels, dB beside 1 mV.
func meanLevel(mv []level.Figure) float64 {
	dB := make([]float64, len(mv))
	for i, v := range mv {
		dB[i] = level.PerLn * math.Log(float64(v))
	}
	return stat.Mean(dB, nil)
}

// raise finds by how much the whole pickup has to be raised for the difference that is
// wanted, as far as its travel and the strings allow.
func (r *Pair) raise(ctx context.Context, o *profiles.Order, p *Plan, m fit.Predictor, opt Options) error {
	w := whatIf{ctx: ctx, model: layout.Over(m, o), opt: opt, plan: p}
	up, down := cmp.Or(o.PickupRaise, profiles.UsualTravel), cmp.Or(o.PickupLower, profiles.UsualTravel)
	best := math.Inf(1)
	for k := math.Ceil(-down/moveStep - rounding); k*moveStep <= up+rounding; k++ {
		by := profiles.Rounded(k*moveStep, 6)
		j, err := w.job(o, by, by)
		if err != nil {
			return err
		}
		if j.shortOfGap(p.Heights) > lengthTolerance && by > 0 {
			break
		}
		got, err := j.forecastUnder(j.variants[0], p.Heights)
		if err != nil {
			return err
		}
		reached := meanLevel(got.Level) - meanLevel(p.Level) + r.Expected
		if off := math.Abs(reached - r.Wanted); off < best-rounding {
			best, r.Raise, r.Reached, r.RaisedTo = off, by, reached, got.Spread
		}
	}
	if best > r.Tolerance {
		r.Warnings = append(r.Warnings, fmt.Sprintf("raising or lowering this pickup within its travel and the strings' gap does not bring the difference within %.2g dB of what is wanted: wind the coils otherwise, or move the other pickup, too", r.Tolerance))
	}
	return nil
}
