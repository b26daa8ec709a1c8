package report

import (
	"bytes"
	"fmt"
	"math"
	"math/rand/v2"
	"strings"
	"testing"
	"time"

	"evenpole/fit/explain"

	"gonum.org/v1/plot/plotter"
)

// largeDiagnosis is that of a record of many pickups, with one cell far off.
func largeDiagnosis(pickups int) *explain.Diagnosis {
	rng := rand.New(rand.NewPCG(1, 2))
	d := &explain.Diagnosis{Kind: "falloff", Effects: []explain.EffectGroup{{Name: "pickup", Unit: "dB", SD: 1}}}
	curve := []explain.FallPoint{{Gap: 2, Level: 5, Half: 0.4}, {Gap: 6, Level: -9, Half: 0.2}}
	d.Fall = []explain.FallClass{{From: 0.25, To: 0.33, Curve: curve}, {From: 0.5, To: 0.9, Curve: curve}}
	start := time.Date(2026, 1, 2, 0, 0, 0, 0, time.UTC)
	for p := range pickups {
		for s := range 2 {
			for i := range 6 {
				y := 3 * rng.NormFloat64()
				d.Cells = append(d.Cells, explain.Diagnosed{
					Pickup: fmt.Sprintf("P%d", p), Session: fmt.Sprintf("s%d-%d", p, s), String: i + 1, First: start.Add(time.Duration(2*p+s) * time.Hour),
					Measured: y, Predicted: y + 0.2*rng.NormFloat64(), Half: 0.4, Residual: 0.1 * rng.NormFloat64(),
				})
				class := &d.Fall[i%2]
				class.Points = append(class.Points, explain.FallPoint{Gap: 2 + 4*rng.Float64(), Level: 5 * rng.NormFloat64()})
			}
		}
		d.Effects[0].Levels = append(d.Effects[0].Levels, explain.EffectLevel{Name: fmt.Sprintf("P%d", p), Value: rng.NormFloat64(), Half: 0.1})
	}
	far := &d.Cells[len(d.Cells)/2]
	far.Predicted, far.Residual = far.Measured-4, 2
	return d
}

// Pictures of 5,000 pickups are of a size that opens, say how they are to be read, and
// name what lies farthest.
func TestPlotsOfManyPickups(t *testing.T) {
	d := largeDiagnosis(5000)
	far := &d.Cells[len(d.Cells)/2]
	name := fmt.Sprintf("%s/%d", far.Pickup, far.String)
	want := map[string][]string{
		"predicted.svg":           {"60000 cells lie within", "2 to 4", name, "median of the cells' intervals"},
		"falloff.svg":             {"medians of 60000 cells", "0.50 to 0.90 mm"},
		"residuals-by-string.svg": {"the middle half", name},
		"residuals-in-time.svg":   {"the middle half", name, "s0-0 P0"},
		"effects-pickup.svg":      {"48 farthest from 0 of 5000"},
	}
	plots := Plots(d, "")
	if len(plots) != len(want) {
		t.Errorf("%d plots, want %d", len(plots), len(want))
	}
	for _, p := range plots {
		var drawn bytes.Buffer
		if err := p.Write(&drawn); err != nil {
			t.Fatal(err)
		}
		if drawn.Len() > 300_000 {
			t.Errorf("%s has %d bytes", p.Name, drawn.Len())
		}
		text := strings.Join(strings.Fields(written(t, p)), " ")
		for _, w := range want[p.Name] {
			if !strings.Contains(text, w) {
				t.Errorf("%s does not say %q", p.Name, w)
			}
		}
	}
}

// A stretch of the axis has the quantiles of its points, and every point is in one.
func TestBinned(t *testing.T) {
	var points plotter.XYs
	for i := range 101 {
		points = append(points, plotter.XY{X: 1, Y: float64(100 - i)}, plotter.XY{X: 9.999 + float64(i%2), Y: 7})
	}
	bins := binned(points, 0, 10, 5)
	if len(bins) != 2 || bins[0].n != 101 || bins[1].n != 101 {
		t.Fatalf("%+v", bins)
	}
	for q, want := range []float64{5, 25, 50, 75, 95} {
		if got := bins[0].quantiles[q]; math.Abs(got-want) > 1e-9 {
			t.Errorf("quantile %d: %g, want %g", q, got, want)
		}
	}
	if b := bins[0]; b.from != 0 || b.to != 2 || b.middle() != 1 || bins[1].median() != 7 {
		t.Errorf("%+v", bins)
	}
	if one := binned(points[:1], 1, 1, 5); len(one) != 1 || one[0].median() != 100 {
		t.Errorf("one point: %+v", one)
	}
}

func TestShades(t *testing.T) {
	for n, want := range map[int]int{0: -1, 1: 0, 2: 1, 4: 1, 5: 2, 16: 2, 17: 3, 4097: 7} {
		if got := shadeOf(n); got != want {
			t.Errorf("%d points: shade %d, want %d", n, got, want)
		}
	}
	if shadeWords(0) != "1 cell" || shadeWords(1) != "2 to 4" || shadeWords(3) != "17 to 64" {
		t.Errorf("%q, %q, %q", shadeWords(0), shadeWords(1), shadeWords(3))
	}
	if one, last := grey(0, 1), grey(6, 7); one.Y <= last.Y {
		t.Errorf("greys %d to %d", one.Y, last.Y)
	}
}
