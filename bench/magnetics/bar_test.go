package magnetics

import (
	"math"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/stat"
)

// overBar is a pole of plain steel in the field of a bar magnet under it, T: by it a rod
// of that permeability is magnetised as by a remanence.
func overBar(radius, length, field float64) Rod {
	const permeability = 60
	return Rod{Radius: radius, Length: length, Permeability: permeability, Remanence: (permeability - 1) * field}
}

// TestSteelOverABar: by what levels over screws and slugs over a bar magnet differ from those over
// rod magnets, in worlds drawn at random: what fit/layout says of them in its bar.go. Their
// field is weaker, so that strings saturate less: plain strings fall faster with the
// gap, wound ones a little; and raising one out of the coil costs less.
func TestSteelOverABar(t *testing.T) {
	r := rand.New(rand.NewPCG(5, 6))
	var plain, wound, raise []float64
	for range 5 {
		w := Draw(r)
		of := func(rod Rod) (p, q, h float64) {
			b := NewBobbin(rod, w.Coil, 10.4)
			level := func(height, gap, d, core float64, wrap string) float64 {
				all := make([]Pole, 3)
				for i := range all {
					all[i] = Pole{height, 1}
				}
				return b.Pickup(all).Level(w.String(d, core, wrap), 1, height+gap+d/2)
			}
			p = (level(0.5, 2, 0.33, 0.33, "plain") - level(0.5, 4, 0.33, 0.33, "plain")) / 2
			q = (level(0.5, 2, 0.9, 0.37, "nickel_plated_steel") - level(0.5, 4, 0.9, 0.37, "nickel_plated_steel")) / 2
			return p, q, (level(1.5, 3, 0.33, 0.33, "plain") - level(0, 3, 0.33, 0.33, "plain")) / 1.5
		}
		p0, q0, h0 := of(w.Rod)
		for _, radius := range []float64{1.6, 2.4} {
			p, q, h := of(overBar(radius, 18, 0.02+0.02*r.Float64()))
			plain, wound, raise = append(plain, p-p0), append(wound, q-q0), append(raise, h-h0)
		}
	}
	for _, c := range []struct {
		what           string
		got            []float64
		mean, sd, near float64 // of bar.go, and how near the mean of so few has to be
	}{
		{"plain strings' fall, ln v per mm", plain, 0.14, 0.06, 0.05},
		{"wound strings' fall, ln v per mm", wound, 0.05, 0.05, 0.05},
		{"raising, ln v per mm", raise, 0.06, 0.02, 0.03},
	} {
		mean, sd := stat.MeanStdDev(c.got, nil)
		t.Logf("%s: %.3f, sd %.3f", c.what, mean, sd)
		if math.Abs(mean-c.mean) > c.near || sd > 1.6*c.sd {
			t.Errorf("%s: %.3f with a scatter of %.3f, said to be %.2f and %.2f", c.what, mean, sd, c.mean, c.sd)
		}
	}
}
