package shop

import (
	"testing"

	"evenpole/fit/cell"
	"evenpole/profiles"
)

// The mount of a session of a spreadsheet has the strings that models take its rows to be
// of: one that is thicker than its core is wound, though no row names its wrap.
func TestMountOfRowsHasTheirStrings(t *testing.T) {
	const text = `session,pickup,batch,string,core_mm,gauge_mm,wrap,pole_height_mm,string_height_mm,rms_mv
s1,P,b,1,0.254,,,0.5,3,10
s1,P,b,2,0.35,0.66,,0.5,3,11
s1,P,b,3,0.38,0.914,NPS,0.5,3,11
`
	s := shopOf(t, text)
	mount, err := s.MountText(t.Context(), "s1")
	if err != nil {
		t.Fatal(err)
	}
	m, err := profiles.ParseMount("m.toml", []byte(mount), profiles.Builtin())
	if err != nil {
		t.Fatalf("%v of\n%s", err, mount)
	}
	for i, want := range []profiles.String{
		{Gauge: 0.254, Core: 0.254, Wrap: profiles.Plain}, {Gauge: 0.66, Core: 0.35, Wrap: cell.Unnamed}, {Gauge: 0.914, Core: 0.38, Wrap: profiles.NickelPlatedSteel},
	} {
		if got := m.Strings[i]; got.Gauge != want.Gauge || got.Core != want.Core || got.Wrap != want.Wrap {
			t.Errorf("string %d: %+v, want %+v", i+1, got, want)
		}
	}
}
