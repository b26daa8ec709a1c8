package shop

import (
	"slices"

	"evenpole/fit"
	"evenpole/fit/explain"
	"evenpole/profiles"
)

// Trial is what may be tried on an order: one thing other than ordered, or several.
type Trial struct {
	Radius      float64   // mm, of the fretboard; 0 = flat
	First, Last float64   // mm, heights of the outer strings over the bobbin plane
	Raise       float64   // mm by which the pickup is raised towards the strings; less than 0 lowers it
	Tilt        float64   // mm by which its end under the last string then stands higher than that under string 1; both ends move
	Heights     []float64 // mm, of the poles, string 1 first
	Set         string    // of strings; "" = the order's
}

// Try says how loud each string of an order is expected to be, and why, when something is
// other than ordered.
func (s *Shop) Try(o *profiles.Order, m fit.Predictor, t Trial) (*explain.Explanation, []string, error) {
	if err := t.check(o); err != nil {
		return nil, nil, err
	}
	tried := t.On(o)
	if t.Set != "" && t.Set != o.Set {
		lib, err := s.Library()
		if err != nil {
			return nil, nil, err
		}
		i := slices.IndexFunc(lib.Sets(), func(set profiles.StringSet) bool { return set.Name == t.Set })
		if i < 0 || len(lib.Sets()[i].Strings) != len(o.Strings) {
			return nil, nil, bad("no string set %.60q has %s", t.Set, profiles.Count(len(o.Strings), "string"))
		}
		tried.Set, tried.Strings = t.Set, lib.Sets()[i].Strings
	}
	setup, heights, err := Given(tried, t.Heights)
	if err != nil {
		return nil, nil, err
	}
	return Explain(m, setup, heights)
}

// On is an order with the lengths that are tried, all heights over the bobbin plane where the
// pickup then stands. Strings that were measured one by one are shifted as the outer two are;
// under another radius they follow its arc.
func (t *Trial) On(o *profiles.Order) *profiles.Order {
	tried := *o
	tried.FretboardRadius = t.Radius
	tried.StringHeightFirst, tried.StringHeightLast = t.outer()
	if o.MeasuredHeights == nil || tried.FretboardRadius != o.FretboardRadius {
		tried.MeasuredHeights = nil // strings over another fretboard lie on its arc
		return &tried
	}
	tried.MeasuredHeights = slices.Clone(o.MeasuredHeights)
	for i := range tried.MeasuredHeights {
		along := float64(i) / float64(max(1, len(o.MeasuredHeights)-1))
		tried.MeasuredHeights[i] += (1-along)*(tried.StringHeightFirst-o.StringHeightFirst) + along*(tried.StringHeightLast-o.StringHeightLast)
	}
	return &tried
}

// outer are the heights of the outer strings over the bobbin plane where the pickup stands.
func (t *Trial) outer() (first, last float64) {
	return t.First - t.Raise + t.Tilt/2, t.Last - t.Raise - t.Tilt/2
}

// check refuses lengths that an order or a mount could not have.
func (t *Trial) check(o *profiles.Order) error {
	pole, _ := profiles.MountLimit("pole_height")
	str, _ := profiles.MountLimit("string_height")
	first, last := t.outer()
	for _, mm := range []float64{t.First, t.Last, first, last} {
		if !str.Has(mm) {
			return bad("string height: %s", str.In("mm", mm))
		}
	}
	for _, mm := range t.Heights {
		if !pole.Has(mm) {
			return bad("pole height: %s", pole.In("mm", mm))
		}
	}
	if t.Radius != 0 && !(t.Radius >= o.StringSpread/2 && t.Radius < 1e6) {
		return bad("radius: expected 0 (flat) or at least half the string spread (%.4g mm), got %.4g mm", o.StringSpread/2, t.Radius)
	}
	return nil
}
