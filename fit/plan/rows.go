package plan

import (
	"fmt"
	"math"
	"strings"

	"evenpole/fit/layout"
	"evenpole/profiles"
)

// Coils says of a pickup with two coils how its strings move over them, and where the
// poles of both rows stand.
type Coils struct {
	Gain      float64   `json:"gain"`        // RMS of a string's velocity over the second coil, by that over the first
	Alike     float64   `json:"correlation"` // of both velocities
	Adds      bool      `json:"adds"`        // the signals add up; else they are subtracted
	Apart     float64   `json:"apart_mm"`    // one row of poles from the other, along the strings
	Cancelled float64   `json:"cancels_at"`  // the harmonic, as a multiple of the fundamental, that the two do not hear together; 0 where they are subtracted
	Rows      []Row     `json:"rows"`        // the first coil's first
	Hz        []float64 `json:"cancels_hz"`  // that harmonic's frequency, by string; null where a note is missing or signals are subtracted
}

// Row is one coil's row of poles.
type Row struct {
	Poles   profiles.PoleKind `json:"poles"`
	Set     bool              `json:"set"` // the plan sets it; else it stands as it is
	Heights []float64         `json:"heights_mm"`
}

// setRow is the order as the search for heights sees it: with two coils, what it may set
// is the row whose poles can be set, or both rows to the same heights.
func setRow(o *profiles.Order) (*profiles.Order, error) {
	c := o.Layout.Coil
	if c == nil || c.Fixed != nil {
		return o, nil
	}
	out := *o
	if o.FixedHeights != nil {
		out.Poles, out.FixedHeights, out.PoleHeights, out.MagnetLengths, out.FormerDepth = c.Poles, nil, nil, nil, 0
		out.PoleHeightMin, out.PoleHeightMax, out.PoleHeightStep = c.Min, c.Max, c.Step
		return &out, nil
	}
	out.PoleHeightMin, out.PoleHeightMax = max(o.PoleHeightMin, c.Min), min(o.PoleHeightMax, c.Max)
	if out.PoleHeightMin > out.PoleHeightMax {
		return nil, fmt.Errorf("both coils' poles are set to the same heights, and none is allowed to both: %.2f to %.2f mm, and %.2f to %.2f mm",
			o.PoleHeightMin, o.PoleHeightMax, c.Min, c.Max)
	}
	return &out, nil
}

// describeCoils says how strings move over both coils of an order, and where poles stand
// when those that are set stand at these heights.
func describeCoils(o *profiles.Order, heights []float64) *Coils {
	c := o.Layout.Coil
	if c == nil {
		return nil
	}
	apart := math.Abs(o.PickupFromBridge - c.FromBridge)
	gain, alike := layout.Motion(o)
	out := &Coils{Gain: gain, Alike: alike, Adds: c.Adds(), Apart: apart, Cancelled: layout.Cancelled(o.ScaleLength, apart, c.Adds())}
	first, second := Row{o.Poles, true, heights}, Row{c.Poles, true, heights}
	if o.FixedHeights != nil {
		first.Set, first.Heights = false, o.FixedHeights
	}
	if c.Fixed != nil {
		second.Set, second.Heights = false, c.Fixed
	}
	out.Rows = []Row{first, second}
	for _, s := range o.Strings {
		hz, err := profiles.Pitch(s.Note)
		if err != nil || out.Cancelled == 0 {
			out.Hz = nil
			break
		}
		out.Hz = append(out.Hz, math.Round(hz*out.Cancelled))
	}
	return out
}

// Words says it to people, a line each.
func (c *Coils) Words(o *profiles.Order, u profiles.Units) []string {
	if c == nil {
		return nil
	}
	how := "add up"
	if !c.Adds {
		how = "are subtracted"
	}
	out := []string{fmt.Sprintf("two coils %s apart, whose signals %s: a string moves %.2f times as far over the second as over the first",
		u.Text(profiles.Sprintf("%.1f mm", c.Apart)), how, c.Gain)}
	for k, r := range c.Rows {
		does := "is set as planned"
		if !r.Set {
			var at []string
			for _, h := range r.Heights {
				at = append(at, u.Figure(h))
			}
			does = "stays at " + strings.Join(at, ", ") + " " + u.Name()
		}
		out = append(out, fmt.Sprintf("coil %d (%s) %s", k+1, r.Poles, does))
	}
	if n := len(c.Hz); n > 0 {
		out = append(out, fmt.Sprintf("they cancel each other at %.0f Hz on %s, at %.0f Hz on %s", c.Hz[0], o.Strings[0].Note, c.Hz[n-1], o.Strings[n-1].Note))
	}
	return out
}
