package fit

import (
	"context"
	"slices"
	"strings"
	"testing"

	"evenpole/fit/cell"
	"evenpole/fit/cell/celltest"
	"evenpole/fit/curve"
	"evenpole/profiles"
)

// TestToldByTheData: with few data most stands on the handbook and the captures
// that would tell are named; with the whole record little does.
func TestToldByTheData(t *testing.T) {
	all := celltest.Sample(t)
	some := func(keep func(c *cell.Cell) bool) *Falloff {
		d := &cell.Data{}
		for _, c := range all.Cells {
			if keep(&c) {
				d.Cells = append(d.Cells, c)
			}
		}
		f, err := fitFalloff(context.Background(), d, nil)
		if err != nil {
			t.Fatal(err)
		}
		return f
	}
	whole := some(func(*cell.Cell) bool { return true })
	one := some(func(c *cell.Cell) bool { return c.Session == "s001" })
	still := some(func(c *cell.Cell) bool { return c.Session < "s005" })
	for j, name := range whole.Names()[:curve.FixedParameters] {
		if j != curve.FieldExponent && !(one.fromData(j) <= whole.fromData(j)+0.01) {
			t.Errorf("%s: %.2f from one session, %.2f from all", name, one.fromData(j), whole.fromData(j))
		}
	}
	if v := whole.fromData(curve.FieldExponent); v != 0 {
		t.Errorf("%.3f of the field exponent told by a record without fields", v)
	}
	for _, c := range []struct {
		name, want string
		f          *Falloff
	}{
		{"one session", "how level follows pitch: told more by the handbook", one},
		{"strings at one height", "beside the gap: told more by the handbook than by the data; capture a pickup again with its strings 0.8 mm higher", still},
	} {
		if !slices.ContainsFunc(c.f.Notes(), func(n string) bool { return strings.Contains(n, c.want) }) {
			t.Errorf("%s: no word of %q in %q", c.name, c.want, c.f.Notes())
		}
	}
	if len(whole.Notes()) >= len(one.Notes()) {
		t.Errorf("the whole record leaves untold %q", whole.Notes())
	}
}

// TestOneFact: what every cell moves together cannot be told apart, and is
// said to be one fact.
func TestOneFact(t *testing.T) {
	f := Handbook(profiles.Travel).(*Falloff)
	a, b := curve.VelocityExponent, curve.AreaExponent
	for _, j := range []int{a, b} {
		f.Cov[j][j] = 1e-4
	}
	f.Cov[a][b] = 0.95e-4
	f.Cov[b][a] = f.Cov[a][b]
	twoHeights := []cell.Cell{{Mounting: &cell.Mounting{}, StringHeight: 3}, {Mounting: &cell.Mounting{}, StringHeight: 4}}
	notes := f.confounded(twoHeights)
	if len(notes) != 1 || !strings.Contains(notes[0], "only together (correlation +0.95)") {
		t.Errorf("got %q", notes)
	}
	f.Cov[a][b], f.Cov[b][a] = 0, 0
	if notes := f.confounded(twoHeights); len(notes) != 0 {
		t.Errorf("got %q", notes)
	}
}
