package explain

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"

	"evenpole/fit"
	"evenpole/fit/cell"
	"evenpole/fit/curve"
	"evenpole/fit/level"
	"evenpole/profiles"
)

// effectCauses are the causes that only a measured pickup shows, by the name of
// the effect that estimates them. What all strings of a pickup share is no cause
// of balance and has none.
var effectCauses = map[string]curve.Cause{
	"pole":    {Name: "magnets", Words: "this magnet, beside others"},
	"magnet":  {Name: "magnets", Words: "this magnet, beside others"},
	"string":  {Name: "string", Words: "this string, beside others"},
	"channel": {Name: "channel", Words: "the jig's own slot"},
	"setup":   {Name: "mounting", Words: "strings mounted off height"},
}

var leftCause = curve.Cause{Name: "left", Words: "not explained"}

// Explanation is the balance of a pickup by cause. It marshals to the JSON of
// "evenpole explain --json". Balance and parts are in dB.
type Explanation struct {
	Pickup  string            `json:"pickup,omitempty"`  // of a measured pickup
	Session string            `json:"session,omitempty"` // likewise
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
		x.add(curve.Causes[curve.VelocityCause], centred(curve.Convert(f.Excite, to, s.Strings)), true)
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

// centred takes the mean off.
func centred(v []float64) []float64 {
	var mean float64
	for _, x := range v {
		mean += x / float64(len(v))
	}
	out := make([]float64, len(v))
	for i := range v {
		out[i] = v[i] - mean
	}
	return out
}

// ExplainPickup splits the measured balance of a pickup in one session, "" for
// its latest. What its magnets, strings, slots and mounting add is estimated
// from all the data by the model's own scatter, see modesOf; what is measured
// beside all that is left. A pickup or session without a good take is an error,
// and so is a model that is no falloff model.
func ExplainPickup(p fit.Predictor, d *cell.Data, pickup, session string) (*Explanation, error) {
	f, err := fit.AsFalloff(p)
	if err != nil {
		return nil, err
	}
	if session, err = sessionOf(f, d, pickup, session); err != nil {
		return nil, err
	}
	m, err := f.EffectsOf(d.Cells, nil)
	if err != nil {
		return nil, fmt.Errorf("effects: %w", err)
	}
	var own []int
	for i, c := range m.Cells {
		if c.Pickup == pickup && c.Session == session {
			own = append(own, i)
		}
	}
	x := explanation(f, p, pick(m.Sites, own))
	x.Pickup, x.Session = pickup, session
	for i, at := range own {
		x.Strings[i].String = m.Cells[at].String
	}
	for k, e := range curve.Effects {
		if c, ok := effectCauses[e.Name]; ok {
			x.add(c, centred(pick(m.Shifts(k), own)), false)
		}
	}
	measured := make([]float64, len(own))
	for i, at := range own {
		measured[i] = m.Cells[at].Mean
	}
	left := centred(measured)
	for i := range left {
		left[i] -= x.Strings[i].Balance / level.PerLn
	}
	x.add(leftCause, left, false)
	return x, nil
}

func pick[T any](of []T, at []int) []T {
	out := make([]T, len(at))
	for i, k := range at {
		out[i] = of[k]
	}
	return out
}

// sessionOf finds the session asked for, or the pickup's latest, among cells
// that the model speaks of.
func sessionOf(f *fit.Falloff, d *cell.Data, pickup, session string) (string, error) {
	var last *cell.Cell
	var sessions []string
	for i := range d.Cells {
		c := &d.Cells[i]
		if c.Pickup != pickup || c.Excite != f.Excite {
			continue
		}
		sessions = append(sessions, c.Session)
		if last == nil || cmp.Or(c.First.Compare(last.First), strings.Compare(c.Session, last.Session)) > 0 {
			last = c
		}
	}
	switch {
	case last == nil:
		return "", fmt.Errorf("no good take of pickup %q, plucked by %q as the model was; measured: %s",
			pickup, cmp.Or(f.Excite, "no known means"), strings.Join(d.Pickups(), ", "))
	case session == "":
		return last.Session, nil
	case !slices.Contains(sessions, session):
		return "", fmt.Errorf("no good take of pickup %q in session %q; its sessions: %s", pickup, session, strings.Join(slices.Compact(slices.Sorted(slices.Values(sessions))), ", "))
	}
	return session, nil
}
