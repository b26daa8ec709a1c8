package repeat

import (
	"cmp"
	"fmt"
	"math"

	"evenpole/capture/record"

	"gonum.org/v1/gonum/stat/distuv"
)

// Guess is what a shop expects of its jig before it has studied it, dB, of each
// string on its own. What is 0 is the usual: our assumptions, the mounting's that
// of package verdict.
type Guess struct {
	Take     float64 `json:"take_db"`     // 0 = 0.3
	Mounting float64 `json:"mounting_db"` // 0 = 0.15
	Sitting  float64 `json:"sitting_db"`  // 0 = 0.05
	Operator float64 `json:"operator_db"` // 0 = 0.05
}

func (g Guess) withDefaults() Guess {
	g.Take = cmp.Or(g.Take, 0.3)
	g.Mounting = cmp.Or(g.Mounting, 0.15)
	g.Sitting = cmp.Or(g.Sitting, 0.05)
	g.Operator = cmp.Or(g.Operator, 0.05)
	return g
}

// Wish says how well a study is to know the scatter of a check.
type Wish struct {
	Strings   int     // of the pickup; 0 = 6
	Operators int     // who take part; 0 = 1
	Takes     int     // of a check whose scatter is to be known; 0 = 10
	Certainty float64 // the upper limit of that scatter above its estimate, as a share; 0 = 0.25
	Guess     Guess
}

func (w Wish) withDefaults() Wish {
	w.Strings = cmp.Or(w.Strings, 6)
	w.Operators = cmp.Or(w.Operators, 1)
	w.Takes = cmp.Or(w.Takes, record.UsualTakes)
	w.Certainty = cmp.Or(w.Certainty, 0.25)
	w.Guess = w.Guess.withDefaults()
	return w
}

// Design is a study to be made: each operator has as many sittings, each of as
// many mountings.
type Design struct {
	Strings   int     `json:"strings"`
	Operators int     `json:"operators"`
	Sittings  int     `json:"sittings"`  // of each operator
	Mountings int     `json:"mountings"` // in each sitting
	Takes     int     `json:"takes"`     // of each string, in each mounting
	Check     int     `json:"check_takes"`
	Guess     Guess   `json:"guess"`
	SD        float64 `json:"sd_db"`     // of a balance in a check, should the guess be right
	DOF       float64 `json:"dof"`       // with which the study will know it
	Certainty float64 `json:"certainty"` // upper 95 % limit of it above the estimate, as a share
	Minutes   float64 `json:"minutes"`   // at the bench
	Plan      []Step  `json:"plan"`
}

// Step is one mounting of the plan.
type Step struct {
	Number   int `json:"number"`
	Operator int `json:"operator"` // from 1
	Sitting  int `json:"sitting"`  // from 1, over all operators
}

// How long a mounting and a take take, minutes (our assumptions; what matters is their
// ratio), and the bounds of the search.
const (
	mountingMinutes = 6.0
	takeMinutes     = 0.1
	mostSittings    = 12
	mostPerSitting  = 8
	leastStudyTakes = 3
	mostStudyTakes  = 15
)

// NewDesign finds the study that takes the least time at the bench and is
// expected to know the scatter as well as wished. When none does, the error is a
// [*TooFew].
func NewDesign(w Wish) (*Design, error) {
	w = w.withDefaults()
	if err := w.validate(); err != nil {
		return nil, err
	}
	var best *Design
	for sittings := 2; sittings <= mostSittings; sittings++ {
		for mountings := 2; mountings <= mostPerSitting; mountings++ {
			for takes := leastStudyTakes; takes <= mostStudyTakes; takes++ {
				d := w.expect(sittings, mountings, takes)
				if d.Certainty <= w.Certainty && (best == nil || d.Minutes < best.Minutes) {
					best = d
				}
			}
		}
	}
	if best == nil {
		limit := w.expect(mostSittings, mostPerSitting, mostStudyTakes)
		return nil, &TooFew{fmt.Sprintf("certainty: expected one that %d sittings of %d mountings for each operator can reach, %.2f or more, got %g: let more operators take part, or be content with less",
			mostSittings, mostPerSitting, limit.Certainty, w.Certainty)}
	}
	best.plan()
	return best, nil
}

func (w *Wish) validate() error {
	g := w.Guess
	switch {
	case w.Strings < 2:
		return &TooFew{fmt.Sprintf("strings: expected 2 or more, for one has no balance, got %d", w.Strings)}
	case w.Operators < 1 || w.Takes < 1:
		return &TooFew{fmt.Sprintf("operators and takes: expected 1 or more, got %d and %d", w.Operators, w.Takes)}
	case !(w.Certainty > 0):
		return &TooFew{fmt.Sprintf("certainty: expected more than 0, got %g", w.Certainty)}
	case !(min(g.Take, g.Mounting, g.Sitting, g.Operator) > 0):
		return &TooFew{"guesses: expected more than 0 dB each"}
	}
	return nil
}

// expect works out what a study of this size would know. The variance of a
// balance in a check is a combination of the mean squares of a nested analysis
// of variance; its degrees of freedom follow from theirs (F. E. Satterthwaite,
// 1946, as in estimate.sum). With one operator, operators are not in it.
func (w *Wish) expect(sittings, mountings, takes int) *Design {
	d := &Design{
		Strings: w.Strings, Operators: w.Operators, Sittings: sittings, Mountings: mountings, Takes: takes, Check: w.Takes, Guess: w.Guess,
	}
	square := func(x float64) float64 { return x * x }
	o, s, m, n := float64(w.Operators), float64(sittings), float64(mountings), float64(takes)
	free := float64(w.Strings - 1) // contrasts
	take := square(w.Guess.Take)
	mounting := take + n*square(w.Guess.Mounting)
	sitting := mounting + m*n*square(w.Guess.Sitting)
	operator := sitting + s*m*n*square(w.Guess.Operator)
	var variance, spread float64
	add := func(share, meanSquare, dof float64) {
		if dof > 0 {
			variance += share * meanSquare
			spread += square(share*meanSquare) / dof
		}
	}
	between := 1.0 // share of the sittings' mean square that is not the operators'
	if w.Operators > 1 {
		between = 1 - 1/s
		add(1/(s*m*n), operator, free*(o-1))
	}
	sittingDOF := free * o * (s - 1)
	add(between/(m*n), sitting, sittingDOF)
	add((1-1/m)/n, mounting, free*o*s*(m-1))
	add(1/float64(w.Takes)-1/n, take, (free+1)*o*s*m*(n-1))
	d.SD = math.Sqrt(variance * (1 - 1/float64(w.Strings)))
	d.DOF = variance * variance / spread
	d.Certainty = math.Sqrt(d.DOF/distuv.ChiSquared{K: d.DOF}.Quantile(0.05)) - 1
	d.Minutes = o * s * m * (mountingMinutes + n*takeMinutes*float64(w.Strings))
	return d
}

// plan lists the mountings. Operators take turns, so that what drifts does not
// look like one of them.
func (d *Design) plan() {
	for sitting := range d.Sittings * d.Operators {
		for range d.Mountings {
			d.Plan = append(d.Plan, Step{len(d.Plan) + 1, sitting%d.Operators + 1, sitting + 1})
		}
	}
}
