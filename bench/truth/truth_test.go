package truth

import "testing"

func TestCompare(t *testing.T) {
	reading := func(seq uint32) Row {
		return Row{ID{"A1B2C3D4", seq}, Reading{String: 1, Take: 1, Mode: "P", RMS: int(seq)}}
	}
	log := Log{}
	for seq := range uint32(5) {
		log[reading(seq).ID] = reading(seq).Reading
	}
	changed, unmade := reading(2), reading(9)
	changed.RMS++
	for _, c := range []struct {
		rows []Row
		want Counts
	}{
		{[]Row{reading(4), reading(0), reading(1), reading(2), reading(3)}, Counts{}},
		{[]Row{reading(0), reading(1), reading(1), reading(2)}, Counts{Missing: 2, Doubled: 1}},
		{[]Row{reading(0), reading(1), changed, reading(3), reading(4), unmade}, Counts{Altered: 2}},
		{nil, Counts{Missing: 5}},
	} {
		if got := log.Compare(c.rows); got != c.want {
			t.Errorf("%v: got %+v, want %+v", c.rows, got, c.want)
		}
	}
}
