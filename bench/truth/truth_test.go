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

func TestLost(t *testing.T) {
	row := func(mode string, str, rms int) Row {
		return Row{Reading: Reading{Mode: mode, String: str, RMS: rms}}
	}
	rows := []Row{row("Q", 1, 300), row("P", 1, 9000), row("P", 1, 9100), row("P", 2, 9000)}
	q, a, b, c := "kept quiet, string 1: 0.300 mV, 1 of 3 good", "kept string 1: 9.000 mV, 0 of 4 good (clipped)",
		"kept string 1: 9.100 mV, 1 of 4 good", "kept string 2: 9.000 mV, 1 of 4 good"
	for _, x := range []struct {
		kept []string
		want int
	}{
		{[]string{q, a, b, c}, 0},
		{[]string{a, c}, 0}, // two were not printed any more
		{[]string{b, a}, 1}, // not in this order
		{[]string{c, c}, 1}, // once
		{[]string{"kept string 1: 9.001 mV, 1 of 4 good"}, 1}, // otherwise
	} {
		if got := Lost(x.kept, rows); got != x.want {
			t.Errorf("%q: %d lost, want %d", x.kept, got, x.want)
		}
	}
}
