package profiles

import (
	"math"
	"slices"
	"strings"
	"testing"
)

const readTwice = `pickup = "P"
batch = "b"
pole_heights_mm = [0.40, 0.80]
pole_heights_again_mm = [0.44, 0.77]
string_heights_mm = [3.0, 3.2]
string_heights_again_in = [0.118, 0.126]
string = [{gauge_mm = 0.25, wrap = "plain"}, {gauge_mm = 0.33, wrap = "plain"}]
`

func TestHeightsReadTwice(t *testing.T) {
	m, err := ParseMount("m.toml", []byte(readTwice), Builtin())
	if err != nil {
		t.Fatal(err)
	}
	near := func(a, b float64) bool { return math.Abs(a-b) < 1e-9 }
	if !slices.EqualFunc(m.PoleHeights, []float64{0.42, 0.785}, near) || !slices.EqualFunc(m.StringHeights, []float64{2.9986, 3.2002}, near) {
		t.Errorf("heights: %v, %v", m.PoleHeights, m.StringHeights)
	}
	p := m.PolesTwice
	if p.Heights != 2 || p.Worst != 1 || !near(p.Most, 0.04) || !near(p.Apart, math.Sqrt(0.00125)) || !near(p.Scatter(), 0.025) {
		t.Errorf("poles: %+v", p)
	}
	if got := p.Told("pole"); got != "pole heights were read twice: the readings differ by 0.04 mm (root mean square), most at pole 1, by 0.04 mm; one reading scatters by 0.02 mm, their mean, which counts, by 0.02 mm" {
		t.Error(got)
	}
	if got := (&Twice{Heights: 6, Apart: 0.2, Worst: 4, Most: 0.48}).Told("pole"); !strings.HasSuffix(got, "by 0.48 mm; one of the two is wrong: read pole 4 once more") {
		t.Error(got)
	}
	if s := m.StringsTwice; s.Worst != 1 || !near(s.Most, 0.0028) {
		t.Errorf("strings: %+v", s)
	}
}

func TestHeightsReadTwiceAreRefused(t *testing.T) {
	for _, c := range []struct{ old, new, want string }{
		{"[0.44, 0.77]", "[0.44]", "m.toml:4:1: pole_heights_again_mm: expected 2 values, one a string, got 1"},
		{"[0.44, 0.77]", "[0.44, 77]", "pole_heights_again_mm"},
		{"string_heights_mm = [3.0, 3.2]", "string_height_first_mm = 3\nstring_height_last_mm = 3\nfretboard_radius_mm = 0", "string_heights_again_in: expected first readings beside it, as string_heights_in"},
	} {
		_, err := ParseMount("m.toml", []byte(strings.Replace(readTwice, c.old, c.new, 1)), Builtin())
		if err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: got %v, want %s", c.new, err, c.want)
		}
	}
}
