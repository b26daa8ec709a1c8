package explain

import (
	"cmp"
	"fmt"
	"slices"
	"strings"

	"evenpole/fit"
	"evenpole/fit/cell"
	"evenpole/fit/curve"
	"evenpole/fit/level"
	"evenpole/fit/solve"
	"evenpole/profiles"
)

// effectCauses are the causes that only a measured pickup shows, by the name of the
// effect that estimates them. An effect that all strings of a pickup share is no cause
// of its balance.
var effectCauses = map[string]curve.Cause{
	"pole":    {Name: "magnets", Words: "this magnet, beside others"},
	"magnet":  {Name: "magnets", Words: "this magnet, beside others"},
	"string":  {Name: "string", Words: "this string, beside others"},
	"channel": {Name: "channel", Words: "the jig's own slot"},
	"setup":   {Name: "mounting", Words: "strings mounted off height"},
}

var leftCause = curve.Cause{Name: "left", Words: "not explained"}

// ExplainPickup splits the measured balance of a pickup in one session, "" for
// its latest. What its magnets, strings, slots and mounting add is estimated
// from all the data by the model's own scatter (see [fit.CellEffects]); the rest of the
// balance is not explained. A pickup or session without a good take is a
// [*NotMeasured]; a model that is no falloff model is an error, too.
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
	var at []int // the session's cells
	for i, c := range m.Cells {
		if c.Pickup == pickup && c.Session == session {
			at = append(at, i)
		}
	}
	x := explanation(f, p, pick(m.Sites, at))
	x.Pickup, x.Session = pickup, session
	for i, k := range at {
		x.Strings[i].String, x.Under = m.Cells[k].String, m.Cells[k].Under
	}
	for k, e := range curve.Effects {
		if c, ok := effectCauses[e.Name]; ok {
			x.add(c, solve.Centred(pick(m.Shifts(k), at)), false)
		}
	}
	measured := make([]float64, len(at))
	for i, k := range at {
		measured[i] = m.Cells[k].Mean
	}
	left := solve.Centred(measured)
	for i := range left {
		left[i] -= x.Strings[i].Balance / level.PerLn
	}
	x.add(leftCause, left, false)
	return x, nil
}

// pick takes the items at some places.
func pick[T any](of []T, at []int) []T {
	out := make([]T, len(at))
	for i, k := range at {
		out[i] = of[k]
	}
	return out
}

// NotMeasured says that the record has nothing of a pickup, or of a session of it, that could
// be explained.
type NotMeasured struct{ words string }

func (e *NotMeasured) Error() string { return e.words }

func notMeasured(format string, args ...any) error {
	return &NotMeasured{fmt.Sprintf(format, args...)}
}

// sessionOf finds the session asked for, or the pickup's latest, among cells of the
// model's excitation.
func sessionOf(f *fit.Falloff, d *cell.Data, pickup, session string) (string, error) {
	var last *cell.Cell
	var sessions []string
	for i := range d.Cells {
		c := &d.Cells[i]
		if c.Pickup != pickup || c.Excite != f.Excite {
			continue
		}
		sessions = append(sessions, c.Session)
		if last == nil || cmp.Or(c.First.Time().Compare(last.First.Time()), strings.Compare(c.Session, last.Session)) > 0 {
			last = c
		}
	}
	switch {
	case last == nil:
		how := ""
		if f.Excite != "" {
			how = fmt.Sprintf(", excited by %q as the model's were", f.Excite)
		}
		return "", notMeasured("no good take of pickup %q%s; measured: %s", pickup, how, profiles.Listed(d.Pickups()))
	case session == "":
		return last.Session, nil
	case !slices.Contains(sessions, session):
		return "", notMeasured("no good take of pickup %q in session %q; its sessions: %s", pickup, session, profiles.Listed(slices.Compact(slices.Sorted(slices.Values(sessions)))))
	}
	return session, nil
}
