package repeat

import (
	"fmt"
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"evenpole/fit/solve"

	"gonum.org/v1/gonum/stat"
)

// onTwoJigs draws a study of one pickup on two jigs, of which the second reads higher by
// some dB, and its string 3 by some more.
func onTwoJigs(rng *rand.Rand, d *Design, level, third float64) []run {
	var runs []run
	for _, jig := range []string{"jig-a", "jig-b"} {
		for _, r := range drawRuns(rng, d) {
			r.jig, r.session, r.sitting, r.mounting = jig, jig+r.session, jig+r.sitting, jig+r.mounting
			if jig == "jig-b" {
				for i := range r.levels {
					r.levels[i] += level
				}
				r.levels[2] += third
			}
			runs = append(runs, r)
		}
	}
	return runs
}

func studyOf(t testing.TB, runs []run) *Study {
	t.Helper()
	s := &Study{Confidence: 0.95}
	if err := s.analyse(runs, Options{Takes: 10, Want: 0.3, Confidence: 0.95}); err != nil {
		t.Fatal(err)
	}
	return s
}

// TestJigsByMeansOfSittings: in a balanced study whose sittings scatter, the comparison is
// Student's of the means of sittings on two jigs, and for strings that of their balances
// with the scatter of all strings pooled.
func TestJigsByMeansOfSittings(t *testing.T) {
	d := &Design{Operators: 1, Sittings: 4, Mountings: 3, Takes: 5, Guess: Guess{Take: 0.2, Mounting: 0.1, Sitting: 0.5}}
	runs := onTwoJigs(rand.New(rand.NewPCG(1, 2)), d, 0.7, 0.4)
	s := studyOf(t, runs)
	if len(s.Compared) != 1 || s.Compared[0].Jigs != [2]string{"jig-a", "jig-b"} || s.Compared[0].DOF != 2*d.Sittings-2 {
		t.Fatalf("%+v", s.Compared)
	}
	// The means of sittings, of the level and of each string's balance.
	of := map[string]map[string][][]float64{} // by jig and sitting: values of its mountings
	for _, r := range runs {
		values := []float64{stat.Mean(r.levels, nil)}
		for _, l := range r.levels {
			values = append(values, l-stat.Mean(r.levels, nil))
		}
		if of[r.jig] == nil {
			of[r.jig] = map[string][][]float64{}
		}
		of[r.jig][r.sitting] = append(of[r.jig][r.sitting], values)
	}
	mean := map[string][7]float64{}
	var squares [7]float64
	for jig, sittings := range of {
		var all [7][]float64
		for _, mountings := range sittings {
			for i := range all {
				var here []float64
				for _, m := range mountings {
					here = append(here, m[i])
				}
				all[i] = append(all[i], stat.Mean(here, nil))
			}
		}
		var m [7]float64
		for i := range all {
			m[i] = stat.Mean(all[i], nil)
			squares[i] += stat.Variance(all[i], nil) * float64(len(all[i])-1)
		}
		mean[jig] = m
	}
	dof := float64(2*d.Sittings - 2)
	half := func(variance float64) float64 {
		return solve.CoverageFactor(dof, 0.95) * math.Sqrt(variance*2/float64(d.Sittings))
	}
	c := s.Compared[0]
	near(t, "level", c.Level, mean["jig-b"][0]-mean["jig-a"][0], 1e-9)
	near(t, "level's interval", float64(c.High-c.Low)/2, half(squares[0]/dof), 0.01)
	var pooled float64
	for i := 1; i <= 6; i++ {
		pooled += squares[i] / dof / 6
	}
	for i, x := range c.Strings {
		near(t, fmt.Sprintf("string %d", x.String), x.Balance, mean["jig-b"][i+1]-mean["jig-a"][i+1], 1e-9)
		near(t, fmt.Sprintf("string %d's interval", x.String), float64(x.High-x.Low)/2, half(pooled), 0.01)
	}
}

// TestIntervalsOfJigsCover: the true difference lies in 95 % of them, give or take what 120
// studies tell.
func TestIntervalsOfJigsCover(t *testing.T) {
	d := &Design{Operators: 1, Sittings: 3, Mountings: 2, Takes: 4, Guess: Guess{Take: 0.3, Mounting: 0.15, Sitting: 0.05}}
	rng := rand.New(rand.NewPCG(3, 4))
	const studies = 120
	level, strings, n := 0, 0, 0
	for range studies {
		c := studyOf(t, onTwoJigs(rng, d, -0.3, 0.2)).Compared[0]
		truth := -0.3 + 0.2/6
		if float64(c.Low) <= truth && truth <= float64(c.High) {
			level++
		}
		for i, x := range c.Strings {
			truth := -0.2 / 6
			if i == 2 {
				truth += 0.2
			}
			n++
			if float64(x.Low) <= truth && truth <= float64(x.High) {
				strings++
			}
		}
	}
	if share := float64(level) / studies; share < 0.91 {
		t.Errorf("the level's interval covers %.3f", share)
	}
	if share := float64(strings) / float64(n); share < 0.92 || share > 0.999 {
		t.Errorf("the strings' intervals cover %.3f", share)
	}
}

// TestJigsWithoutComparison: what nothing tells is said.
func TestJigsWithoutComparison(t *testing.T) {
	d := &Design{Operators: 1, Sittings: 2, Mountings: 2, Takes: 4, Guess: Guess{Take: 0.3, Mounting: 0.15, Sitting: 0.05}}
	runs := onTwoJigs(rand.New(rand.NewPCG(5, 6)), d, 1, 0)
	for i := range runs {
		if runs[i].jig == "jig-b" {
			runs[i].pickup = "S"
		}
	}
	s := studyOf(t, runs)
	if len(s.Compared) != 0 || !strings.Contains(strings.Join(s.Warnings, "\n"), "let a reference pickup travel") {
		t.Errorf("%+v, warnings %q", s.Compared, s.Warnings)
	}
	one := runs[:4] // on one jig
	if s := studyOf(t, one); len(s.Compared) != 0 || len(s.Jigs) != 1 {
		t.Errorf("one jig: %+v", s)
	}
	// Each jig once: the difference has no interval.
	few := onTwoJigs(rand.New(rand.NewPCG(7, 8)), &Design{Operators: 1, Sittings: 1, Mountings: 3, Takes: 4, Guess: d.Guess}, 1, 0)
	s = studyOf(t, few)
	if len(s.Compared) != 1 || s.Compared[0].DOF != 4 {
		t.Errorf("one sitting each: %+v", s.Compared)
	}
	if !strings.Contains(strings.Join(s.Warnings, "\n"), "each jig has one sitting") {
		t.Errorf("warnings %q", s.Warnings)
	}
}
