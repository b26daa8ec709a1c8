package verdict

import (
	"encoding/json"
	"slices"
	"strings"
	"testing"

	"evenpole/capture/record"
	"evenpole/fit/level"
	"evenpole/profiles"
)

// A pickup of another kind than ordered is said to be one: its levels may be even all the same.
func TestAnotherKindOfPickupIsSaid(t *testing.T) {
	o := order(2)
	rows := taken(around(20), around(20))
	for i := range rows {
		rows[i].Under = profiles.UnderBlade
	}
	const want = "the pickup on the jig has a blade, the order asks for one pole a string"
	if v := check1(t, rows, o, Options{}); !slices.Contains(v.Warnings, want) {
		t.Errorf("got %q", v.Warnings)
	}
	for i := range rows {
		rows[i].Under = ""
	}
	if v := check1(t, rows, o, Options{}); slices.Contains(v.Warnings, want) {
		t.Errorf("got %q", v.Warnings)
	}
}

// twoCoils is an order of a pickup with two coils, and takes of it as it was built.
func twoCoils(second float64) (*profiles.Order, []record.Reading) {
	o := order(2)
	o.Layout.Coil = &profiles.Coil{FromBridge: 36, Poles: profiles.Screw, Polarity: profiles.Opposite, Winding: profiles.Opposite, Max: 1.5, Step: 0.05}
	rows := taken(around(20), around(20))
	for i := range rows {
		rows[i].Gain2, rows[i].PoleHeight2 = "0.8", second
	}
	return o, rows
}

// The second coil's poles are part of what was built: they are in the verdict, beside the
// order's limits, and another height of theirs is another mounting.
func TestSecondCoilsPoles(t *testing.T) {
	o, rows := twoCoils(1.2)
	v := check1(t, rows, o, Options{})
	if h := v.Strings[1].PoleHeight2; h == nil || *h != 1.2 || !v.TwoCoils() {
		t.Errorf("got %v, want 1.2", h)
	}
	if text, err := json.Marshal(v); err != nil || !strings.Contains(string(text), `"pole_height_2_mm":1.2`) {
		t.Errorf("%s, %v", text, err)
	}
	said := func(v *Verdict, want string) bool {
		return slices.ContainsFunc(v.Warnings, func(w string) bool { return strings.Contains(w, want) })
	}
	const beyond = "string 1 (E4) in coil 2 at 1.70 mm, allowed 0.00 to 1.50 mm"
	if said(v, "in coil 2") {
		t.Errorf("got %q", v.Warnings)
	}
	o, rows = twoCoils(1.7)
	if v := check1(t, rows, o, Options{}); !said(v, beyond) {
		t.Errorf("got %q, want %q", v.Warnings, beyond)
	}
	rows[0].PoleHeight2 = 1.2
	if v := check1(t, rows, o, Options{}); v.Verdict != CannotTell || !said(v, "more than one height") {
		t.Errorf("%s: %q", v.Verdict, v.Warnings)
	}
	one, two := String{PoleHeight2: new(level.Figure)}, String{PoleHeight2: new(level.Figure)}
	*two.PoleHeight2 = 0.3
	if sameMounting(&one, &two) || !sameMounting(&one, &one) {
		t.Error("another height of the second coil's pole is the same mounting")
	}
	if text, err := json.Marshal(check1(t, taken(around(20), around(20)), order(2), Options{})); err != nil || strings.Contains(string(text), "pole_height_2_mm") {
		t.Errorf("with one coil: %s, %v", text, err)
	}
}

// Rows of a spreadsheet have no purpose, and are said to have none.
func TestReadingsWithoutAPurpose(t *testing.T) {
	err := &NotChecked{Pickup: "P1", Purposes: map[record.Purpose]int{"": 6, record.ForModel: 9}}
	const want = `pickup "P1": expected readings of purpose "check", got 6 without a purpose, 9 of purpose "model"; capture it with "evenpole capture --mount MOUNT --purpose check"`
	if got := err.Error(); got != want {
		t.Errorf("got %s", got)
	}
}
