package fit

import (
	"fmt"
	"math"
	"slices"

	"evenpole/fit/cell"
	"evenpole/fit/curve"
	"evenpole/fit/level"
)

// falloffName is the kind of the falloff model with random effects.
const falloffName = "falloff"

// Falloff is a fitted falloff model: the state in its file.
type Falloff struct {
	curve.Curve

	Theta       []float64          `json:"theta"`      // in the scale in which they are fitted
	Cov         [][]float64        `json:"covariance"` // of Theta
	SDs         []float64          `json:"sd"`         // what cells leave, then each effect in order
	LevelCounts []int              `json:"levels"`     // of each effect: how many levels its sd was estimated from
	Magnets     map[string]float64 `json:"magnets"`    // ln B of single magnets less the mean of their batch
	FieldSD     float64            `json:"field_sd"`   // of ln B within a batch; 0 when not measured
	PoleFields  bool               `json:"fields"`     // fields of poles of pickups were measured, too
	NoReadings  bool               `json:"prior"`      // the model is made of priors alone, see Handbook
	Range       Range              `json:"range"`
	Remarks     []string           `json:"notes"` // see Notes
	Offsets     map[string]float64 `json:"known"` // ln v: effects of the strings, slots and batches of the record, by their keys

	rough  bool           // three digits will do
	fitted *falloffLeaver // what it was fitted to; nil for a model from a file
}

// AsFalloff is a model as a falloff model. One of another kind cannot tell causes
// apart: it is an error.
func AsFalloff(p Predictor) (*Falloff, error) {
	if f, ok := p.(*Falloff); ok {
		return f, nil
	}
	kind := "this"
	if m, ok := p.(Model); ok {
		kind = m.Kind()
	}
	return nil, fmt.Errorf("a %s model tells no causes apart: expected a %s model", kind, falloffName)
}

func (f *Falloff) Kind() string { return falloffName }

func (f *Falloff) Source() string {
	if f.NoReadings {
		return fromHandbook
	}
	return fromReadings
}

func (f *Falloff) Notes() []string { return slices.Clone(f.Remarks) }

func (f *Falloff) ResidualSD() level.DB { return level.Ln(f.SDs[0]).DB() }

func (f *Falloff) Measured() Range { return f.Range }

func (f *Falloff) Parameters() []Parameter {
	units := map[int]string{curve.Level: "ln mV", curve.Slope: "1/mm", curve.Bend: "mm", curve.Protrusion: "1/mm"}
	var out []Parameter
	priors := f.Priors()
	for j, name := range f.Names() {
		p := Parameter{Name: name, Unit: units[j], FromData: f.fromData(j), Prior: new(Prior)}
		p.Value, p.SE = withoutLog(j, f.Theta[j], math.Sqrt(f.Cov[j][j]))
		p.Prior.Value, p.Prior.SE = withoutLog(j, priors[j].Mean, priors[j].SD)
		out = append(out, p)
	}
	for k := range curve.Effects {
		if k == curve.RecorderEffect {
			continue // no estimate
		}
		if k != curve.MagnetEffect && k != curve.JigEffect || f.LevelCounts[k] > 0 {
			out = append(out, f.scatterOf(k))
		}
	}
	return out
}

// withoutLog is parameter j with its standard error as it is told: what is fitted as a logarithm
// is told without.
func withoutLog(j int, value, se float64) (float64, float64) {
	if j == curve.Slope || j == curve.Bend || j >= curve.WrapCommon {
		value = math.Exp(value)
		se *= value
	}
	return value, se
}

func (f *Falloff) FieldExponent() (b, se float64, ok bool) {
	return f.Theta[curve.FieldExponent], math.Sqrt(f.Cov[curve.FieldExponent][curve.FieldExponent]), true
}

func (f *Falloff) PoleSD() (sd level.Ln, ok bool)   { return f.effectSD(curve.PoleEffect), true }
func (f *Falloff) PickupSD() (sd level.Ln, ok bool) { return f.effectSD(curve.PickupEffect), true }

// effectSD is the standard deviation of effect k.
func (f *Falloff) effectSD(k int) level.Ln { return level.Ln(math.Abs(f.SDs[k+1])) }

// scatterOf is the standard deviation of effect k as a parameter. Its standard error
// is the usual large-sample one, its prior counted as so many more levels.
func (f *Falloff) scatterOf(k int) Parameter {
	e := &curve.Effects[k]
	levels, prior := float64(f.LevelCounts[k]), e.Spread.DF
	p := Parameter{Name: "sd_" + e.Name, Value: float64(f.effectSD(k)), Unit: "ln v", FromData: levels / (levels + prior)}
	if k == curve.MountingEffect {
		p.Unit = "mm"
	}
	p.SE = p.Value / math.Sqrt(2*(levels+prior))
	p.Prior = &Prior{e.Spread.SD, e.Spread.SD / math.Sqrt(2*prior)}
	return p
}

// fromData is the share of the information on a parameter that the data gave, 0 to 1:
// 1 less its variance over that of its prior (the shrinkage of a posterior; M.
// Betancourt, Towards a Principled Bayesian Workflow, 2020, from memory).
func (f *Falloff) fromData(j int) float64 {
	sd := f.Priors()[j].SD
	return min(max(0, 1-f.Cov[j][j]/(sd*sd)), 1)
}

// batchKey is where a batch stands in Offsets.
func batchKey(batch string) string {
	return curve.Effects[curve.BatchEffect].Key(&cell.Cell{Mounting: &cell.Mounting{Batch: batch}})
}

// handbookSDs is the priors' scatter: what cells leave, then each effect.
func handbookSDs() []float64 {
	sds := []float64{curve.ResidualPrior.SD}
	for _, e := range curve.Effects {
		sds = append(sds, e.Spread.SD)
	}
	return sds
}
