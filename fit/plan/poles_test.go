package plan

import (
	"math"
	"slices"
	"testing"
)

// Each pole may be off until the chance to meet has lost a tenth: forecast anew
// with the pole there, it has lost about that.
func TestPolesMayBeOff(t *testing.T) {
	o, m := usual()
	o.FormerDepth = 11
	p := made(t, o, m, Options{})
	j := newJobOf(t, o, m)
	for i, q := range p.Poles {
		closeTo(t, "length", q.Length, p.Heights[i]+11, 1e-9)
		for _, off := range []float64{-q.Lower, q.Higher} {
			at := slices.Clone(p.Heights)
			at[i] += off
			got, err := j.forecast(at)
			if err != nil {
				t.Fatal(err)
			}
			if lost := 1 - got.Meets/p.Meets; math.Abs(lost-riskTaken) > 0.05 {
				t.Errorf("pole %d off by %+.2f mm loses %.2f of the chance, want about %g", i+1, off, lost, riskTaken)
			}
		}
	}
}

// Where there is no chance to lose, no pole has room to be off.
func TestNoChanceLeavesNoRoom(t *testing.T) {
	o, m := usual()
	o.Tolerance = 0.01
	for i, q := range made(t, o, m, Options{}).Poles {
		if q.Lower != 0 || q.Higher != 0 {
			t.Errorf("pole %d may be off by -%.2f to +%.2f mm, though the plan meets in no build", i+1, q.Lower, q.Higher)
		}
	}
}
