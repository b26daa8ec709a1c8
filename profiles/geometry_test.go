package profiles

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"
)

// circumradius is the radius of the circle through three points, from the
// triangle's sides and area: R = abc / 4K (Heron of Alexandria, Metrica, for the
// triangle; the test keeps it apart from the centre that ArcHeights computes).
func circumradius(x, y [3]float64) float64 {
	a := math.Hypot(x[1]-x[2], y[1]-y[2])
	b := math.Hypot(x[0]-x[2], y[0]-y[2])
	c := math.Hypot(x[0]-x[1], y[0]-y[1])
	area := math.Abs((x[1]-x[0])*(y[2]-y[0])-(x[2]-x[0])*(y[1]-y[0])) / 2
	return a * b * c / (4 * area)
}

// Every inner string lies on a circle of the radius through the outer two, and
// above the line between them.
func TestArcIsTheCircle(t *testing.T) {
	r := rand.New(rand.NewPCG(9, 5))
	for range 200 {
		n := 3 + r.IntN(MaxStrings-2)
		spread := 20 + 60*r.Float64()
		first, last := 2+3*r.Float64(), 2+3*r.Float64()
		radius := spread * (0.6 + 10*r.Float64())
		h := ArcHeights(radius, spread, n, first, last)
		if h[0] != first || h[n-1] != last {
			t.Fatalf("outer strings at %v and %v, want %v and %v", h[0], h[n-1], first, last)
		}
		for i := 1; i < n-1; i++ {
			x := spread * float64(i) / float64(n-1)
			got := circumradius([3]float64{0, x, spread}, [3]float64{first, h[i], last})
			if math.Abs(got/radius-1) > 1e-8 {
				t.Errorf("string %d of %d at %.6f mm is on a circle of %.6f mm, want %.6f", i+1, n, h[i], got, radius)
			}
			if line := first + (last-first)*float64(i)/float64(n-1); h[i] <= line {
				t.Errorf("string %d of %d hangs below the line: %.4f, line %.4f", i+1, n, h[i], line)
			}
		}
	}
}

// The middle of three level strings stands out by the sagitta R − √(R² − s²/4).
func TestSagitta(t *testing.T) {
	// 9.5 in over 52 mm, worked by hand: 241.3 − √(241.3² − 26²) = 1.4048 mm.
	if got := ArcHeights(241.3, 52, 3, 3, 3)[1] - 3; math.Abs(got-1.4048) > 5e-5 {
		t.Errorf("sagitta %.5f mm, want 1.4048", got)
	}
}

func TestArcEnds(t *testing.T) {
	if got, want := ArcHeights(0, 50, 6, 3, 3.5), []float64{3, 3.1, 3.2, 3.3, 3.4, 3.5}; !near(got, want) {
		t.Errorf("flat: got %v, want %v", got, want)
	}
	if got := ArcHeights(250, 0, 1, 3, 3); !slices.Equal(got, []float64{3}) {
		t.Errorf("one string: got %v", got)
	}
	if got := ArcHeights(250, 10, 2, 3, 4); !slices.Equal(got, []float64{3, 4}) {
		t.Errorf("two strings: got %v", got)
	}
	if got := ArcHeights(250, 50, 0, 3, 4); len(got) != 0 {
		t.Errorf("no strings: got %v", got)
	}
	if got := ArcHeights(24, 50, 3, 3, 3); !math.IsNaN(got[1]) || got[0] != 3 || got[2] != 3 {
		t.Errorf("a circle that does not reach: got %v, want the middle NaN", got)
	}
	if got := ArcHeights(25, 50, 3, 3, 3); math.Abs(got[1]-28) > 1e-9 {
		t.Errorf("half a circle: got %v, want the middle at 28", got)
	}
}

func near(a, b []float64) bool {
	return slices.EqualFunc(a, b, func(x, y float64) bool { return math.Abs(x-y) < 1e-12 })
}
