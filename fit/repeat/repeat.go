// Package repeat tells how well a jig repeats itself: from one take to the next,
// when the same pickup is mounted again, from one sitting to the next, and
// between the people who mount it.
//
// A run is one session of purpose repeat. The levels of its strings, dB, split
// into their mean, which is the level of the pickup, and what is left, its
// balance. Each has variances for the operator, the sitting at the bench, the
// mounting and the take,
//
//	level of string i = m_i + operator + sitting + mounting + take,
//
// each of which moves all strings together, and each string on its own besides.
// What moves all of them together is gone from the balance, whatever it is. The
// variances are found by restricted maximum likelihood, which bears unequal
// numbers of everything, and gives what the analysis of variance gives when all
// numbers are equal and no variance is 0 (S. R. Searle, G. Casella, C. E.
// McCulloch, Variance Components, 1992, from memory; the tests show it).
//
// What the jig eats of a tolerance is the precision-to-tolerance ratio
// P/T = 6 s/(upper limit - lower limit) of D. C. Montgomery, Introduction to
// Statistical Quality Control, chapter on gauge capability (from memory): s is
// the standard deviation of a balance that is measured in one mounting, limits
// are the tolerance either side of the target.
package repeat

import (
	"cmp"
	"fmt"
	"iter"
	"math"
	"slices"
	"time"

	"evenpole/capture/record"
)

// Options says what of a record is studied, and what for.
type Options struct {
	Pickup     string    // "" = all that have readings of purpose repeat
	Since      time.Time // readings before it do not count
	Who        Who       // may be nil
	Tolerance  float64   // dB, either side; 0 = none to compare with
	Takes      int       // of a string in a check; 0 = 10, as capture makes
	Want       float64   // wanted U of a check, as a share of the tolerance; 0 = 0.3
	Confidence float64   // of the intervals and of U; 0 = 0.95
}

// The defaults of Options. That of Want is our choice: a pickup whose strings are
// within 70 % of the tolerance is passed.
const (
	defaultWant       = 0.3
	defaultConfidence = 0.95
)

func (o Options) withDefaults() Options {
	o.Takes = cmp.Or(o.Takes, record.UsualTakes)
	o.Want = cmp.Or(o.Want, defaultWant)
	o.Confidence = cmp.Or(o.Confidence, defaultConfidence)
	return o
}

// Component is one standard deviation, dB, with its interval.
type Component struct {
	Source string  `json:"source"` // "operator", "sitting", "mounting", "take"
	SD     float64 `json:"sd_db"`
	Low    float64 `json:"low_db"`
	High   float64 `json:"high_db"`
	Levels int     `json:"n"` // operators, sittings, mountings; takes in all
}

// Study is what the runs say. It marshals to the document of "evenpole repeat
// --json".
type Study struct {
	Pickups    []string    `json:"pickups"`
	Runs       int         `json:"n_runs"`
	From       time.Time   `json:"from"`
	To         time.Time   `json:"to"`
	Confidence float64     `json:"confidence"`
	Balance    []Component `json:"balance"` // what each string has of its own; coarse first
	Level      []Component `json:"level"`   // of the pickup's mean level
	Mounting   float64     `json:"mounting_db"`
	Check      Check       `json:"check"`
	Tolerance  *Tolerance  `json:"tolerance"` // null without one
	Warnings   []string    `json:"warnings"`
}

// Check is what to expect of a balance that is measured in one mounting.
type Check struct {
	Takes    int      `json:"takes"`         // of each string
	SD       float64  `json:"sd_db"`         // of a string's balance
	DOF      *float64 `json:"dof"`           // effective degrees of freedom; null when without limit
	Expanded float64  `json:"expanded_u_db"` // Student's t times it
	LevelSD  float64  `json:"level_sd_db"`
}

// TooFew says that a record has not what a study needs.
type TooFew struct{ Msg string }

// Error says what is missing, and what to do.
func (e *TooFew) Error() string { return e.Msg }

// Analyse studies a record. Of a reading's status, retractions and repetitions it
// makes what [fit.Gather] makes.
//
// A record without two runs of a pickup of two strings or more is a [*TooFew];
// an error of rows is returned as it is.
func Analyse(rows iter.Seq2[record.Reading, error], o Options) (*Study, error) {
	o = o.withDefaults()
	runs, warnings, err := gather(rows, o)
	if err != nil {
		return nil, err
	}
	if err := enough(runs, o.Pickup); err != nil {
		return nil, err
	}
	s := &Study{Runs: len(runs), From: runs[0].at, To: runs[len(runs)-1].at, Confidence: o.Confidence, Warnings: append([]string{}, warnings...)}
	for _, r := range runs {
		if !slices.Contains(s.Pickups, r.pickup) {
			s.Pickups = append(s.Pickups, r.pickup)
		}
	}
	slices.Sort(s.Pickups)
	return s, s.analyse(runs, o)
}

func enough(runs []run, pickup string) error {
	const capture = `capture a pickup several times with "evenpole capture --purpose repeat --again", mounting it anew each time`
	count := map[string]int{}
	for _, r := range runs {
		if len(r.levels) < 2 {
			return &TooFew{fmt.Sprintf("pickup %q: expected two strings or more, for one has no balance", r.pickup)}
		}
		count[r.pickup]++
	}
	for _, n := range count {
		if n > 1 {
			return nil
		}
	}
	what := "a pickup"
	if pickup != "" {
		what = fmt.Sprintf("pickup %q", pickup)
	}
	return &TooFew{fmt.Sprintf("expected two sessions of purpose repeat of %s, got %d in all; %s", what, len(runs), capture)}
}

func (s *Study) analyse(runs []run, o Options) error {
	sources, warnings := sourcesOf(runs)
	s.Warnings = append(s.Warnings, warnings...)
	balance, err := balanceOf(runs, sources).estimate()
	if err != nil {
		return &TooFew{err.Error()}
	}
	level, err := levelOf(runs, sources).estimate()
	if err != nil {
		return &TooFew{err.Error()}
	}
	takes := 0
	for _, r := range runs {
		for _, n := range r.takes {
			takes += n
		}
	}
	s.Balance = balance.components(sources, takes, o.Confidence)
	s.Level = level.components(sources, takes, o.Confidence)
	s.use(balance, level, runs, o)
	return nil
}

// components puts an estimate into words.
func (e *estimate) components(sources []factor, takes int, confidence float64) []Component {
	var out []Component
	for k, sd := range e.sd {
		c := Component{Source: "take", SD: sd, Levels: takes}
		if k < len(sources) {
			c.Source, c.Levels = sources[k].name, sources[k].levels
		}
		c.Low, c.High = e.interval(k, confidence)
		out = append(out, c)
	}
	return out
}

// balanceOf is the sample of all contrasts. Each has a mean of its own for each
// pickup; a source moves each on its own, in all pickups of as many strings alike.
func balanceOf(runs []run, sources []factor) *sample {
	s := newSample(runs, sources)
	means := numbering{}
	levels := make([]numbering, len(sources))
	for i, r := range runs {
		for j, y := range r.contrasts() {
			s.add(y, r.weight(), means.of(fmt.Sprintf("%d of %q", j, r.pickup)), s.groupOf[i])
			for k, f := range sources {
				if levels[k] == nil {
					levels[k] = numbering{}
				}
				level := levels[k].of(fmt.Sprintf("%d of %d in %d", j, len(r.levels), f.of[i]))
				s.sources[k].level = append(s.sources[k].level, level)
			}
		}
	}
	return &s.sample
}

// levelOf is the sample of the pickups' mean levels.
func levelOf(runs []run, sources []factor) *sample {
	s := newSample(runs, sources)
	means := numbering{}
	for i, r := range runs {
		s.add(r.level(), r.weight()*float64(len(r.levels)), means.of(r.pickup), s.groupOf[i])
		for k, f := range sources {
			s.sources[k].level = append(s.sources[k].level, f.of[i])
		}
	}
	return &s.sample
}

// growing is a sample in the making.
type growing struct {
	sample
	groupOf []int // of each run
}

// newSample has the sources without levels, and the scatter of the takes.
func newSample(runs []run, sources []factor) *growing {
	s := &growing{groupOf: groupsOf(runs, sources)}
	var squares float64
	for _, r := range runs {
		squares += r.squares
		s.within.DF += r.dof
	}
	if s.within.DF > 0 {
		s.within.SD = math.Sqrt(squares / s.within.DF)
	}
	for _, f := range sources {
		s.sources = append(s.sources, source{name: f.name, local: f.name != byOperator})
	}
	return s
}

func (s *growing) add(y, weight float64, mean, group int) {
	s.y, s.weight = append(s.y, y), append(s.weight, weight)
	s.fixed, s.group = append(s.fixed, mean), append(s.group, group)
}

// use works out what the scatter makes of a check; see tolerance.go.
func (s *Study) use(balance, level *estimate, runs []run, o Options) {
	strings := len(runs[0].levels)
	for _, r := range runs {
		strings = min(strings, len(r.levels))
	}
	b := newBench(balance, strings, o.Takes, o.Confidence)
	s.Mounting = b.mounting()
	sd, expanded := b.check(1, o.Takes)
	s.Check = Check{Takes: o.Takes, SD: sd, DOF: finite(b.dof), Expanded: expanded}
	variance, _ := level.sum(level.ofMounting(o.Takes * strings))
	s.Check.LevelSD = math.Sqrt(variance)
	if o.Tolerance > 0 {
		s.Tolerance = b.tolerance(o)
	}
}

func finite(x float64) *float64 {
	if math.IsInf(x, 0) || math.IsNaN(x) {
		return nil
	}
	return &x
}

// numbering gives names numbers from 0 in the order in which they are met.
type numbering map[string]int

func (n numbering) of(name string) int {
	i, ok := n[name]
	if !ok {
		i = len(n)
		n[name] = i
	}
	return i
}
