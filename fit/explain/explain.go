package explain

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"evenpole/fit"
	"evenpole/fit/curve"
	"evenpole/fit/level"
	"evenpole/fit/solve"
	"evenpole/profiles"
)

// Explanation is the balance of a pickup by cause. It marshals to the JSON of
// "evenpole explain --json". Balance and parts are in dB.
type Explanation struct {
	Pickup  string            `json:"pickup,omitempty"`  // of a measured pickup
	Session string            `json:"session,omitempty"` // likewise
	Under   profiles.Under    `json:"under,omitempty"`   // what is under its strings where it is not one pole each
	Model   string            `json:"model"`             // its kind
	Source  string            `json:"source"`
	Causes  []curve.Cause     `json:"causes"`
	Strings []ExplainedString `json:"strings"`
	Method  string            `json:"method"`
}

// ExplainedString is one string's balance; its parts add up to it.
type ExplainedString struct {
	String       int                `json:"string"`
	Note         string             `json:"note,omitempty"`
	Core         float64            `json:"core_mm"`
	Gauge        float64            `json:"gauge_mm"`
	Wrap         profiles.Wrap      `json:"wrap"`
	PoleHeight   float64            `json:"pole_height_mm"`
	StringHeight float64            `json:"string_height_mm"` // underside
	Balance      float64            `json:"balance_db"`       // measured; predicted where nothing was
	Predicted    float64            `json:"predicted_db"`     // by the curve alone, for magnets and strings like the mean of those measured
	Parts        map[string]float64 `json:"parts_db"`         // by the name of a cause
}

const splitMethod = "each string is turned into every other one cause at a time; a cause's part is its mean over all orders of the causes (Shapley value) and over all strings"

// ExplainSetup splits the predicted balance of a pickup whose poles have the
// given heights, mm. A model that is no falloff model is an error.
func ExplainSetup(p fit.Predictor, s *fit.Setup, heights []float64) (*Explanation, error) {
	f, err := fit.AsFalloff(p)
	if err != nil {
		return nil, err
	}
	if len(heights) != len(s.Strings) {
		return nil, fmt.Errorf("pole heights: expected %d, one a string, got %d", len(s.Strings), len(heights))
	}
	sites := make([]*curve.Site, len(heights))
	for i := range heights {
		sites[i] = f.Site(s, i, heights)
	}
	x := explanation(f, p, sites)
	for i, str := range s.Strings {
		x.Strings[i].String, x.Strings[i].Note = i+1, str.Note
	}
	if to := s.PlayedBy(f.Excite); to != f.Excite && !f.Pitch {
		x.add(curve.Causes[curve.VelocityCause], solve.Centred(curve.Convert(f.Excite, to, s.Strings)), true)
	}
	return x, nil
}

// explanation splits what the curve says of sites.
func explanation(f *fit.Falloff, p fit.Predictor, sites []*curve.Site) *Explanation {
	x := &Explanation{Model: f.Kind(), Source: p.Source(), Method: splitMethod}
	x.Causes = slices.Clone(curve.Causes[:])
	for i, parts := range f.Split(f.Theta, sites) {
		s := sites[i]
		e := ExplainedString{
			String: i + 1, Core: s.Core, Gauge: s.Gauge, Wrap: s.Wrap,
			PoleHeight: s.Height, StringHeight: s.StringHeight, Parts: map[string]float64{},
		}
		for c, v := range parts {
			e.Parts[curve.Causes[c].Name] = level.PerLn * v
			e.Predicted += level.PerLn * v
		}
		e.Balance = e.Predicted
		x.Strings = append(x.Strings, e)
	}
	return x
}

// add adds parts, ln v by string, to a cause that may be new. predicted says
// that they are part of the prediction.
func (x *Explanation) add(c curve.Cause, parts []float64, predicted bool) {
	if !slices.Contains(x.Causes, c) {
		x.Causes = append(x.Causes, c)
	}
	for i, v := range parts {
		s := &x.Strings[i]
		s.Parts[c.Name] += level.PerLn * v
		s.Balance += level.PerLn * v
		if predicted {
			s.Predicted += level.PerLn * v
		}
	}
}

// Parted divides the causes into those with a part that shows at two decimals, and
// those without.
func (x *Explanation) Parted() (with, without []curve.Cause) {
	for _, c := range x.Causes {
		shows := func(s ExplainedString) bool { return math.Abs(s.Parts[c.Name]) >= 0.005 }
		if slices.ContainsFunc(x.Strings, shows) {
			with = append(with, c)
		} else {
			without = append(without, c)
		}
	}
	return with, without
}

// CauseWords lists causes for people.
func CauseWords(causes []curve.Cause) string {
	var words []string
	for _, c := range causes {
		words = append(words, c.Words)
	}
	return strings.Join(words, "; ")
}
