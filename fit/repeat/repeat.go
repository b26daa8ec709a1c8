// Package repeat tells how well a jig repeats itself: from one take to the next,
// when the same pickup is mounted again, from one sitting to the next, and
// between the people who mount it.
//
// A run is one session of purpose repeat. The levels of its strings, dB, split
// into their mean, which is the level of the pickup, and the rest, its balance. Each
// has variance components for the operator, the sitting at the bench, the mounting
// and the take,
//
//	level of string i = m_i + operator + sitting + mounting + take,
//
// each of which moves all strings together, and each string on its own besides.
// What moves all strings together cancels in the balance. The variances are found by
// restricted maximum likelihood, which allows unequal numbers of everything, and
// agrees with the analysis of variance when all numbers are equal and no variance is 0
// (S. R. Searle, G. Casella, C. E. McCulloch, Variance Components, 1992, from memory;
// the tests show it).
//
// The share of a tolerance that the jig takes up is the precision-to-tolerance ratio
// P/T = 6 s/(upper limit - lower limit) of D. C. Montgomery, Introduction to
// Statistical Quality Control, chapter on gauge capability (from memory): s is
// the standard deviation of a balance that is measured in one mounting, limits
// are the tolerance either side of the target.
//
// Where a pickup was measured on several jigs, as one that travels is, each scatter is that
// about its mean on each jig, and the jigs are compared: see [JigDifference].
//
// The way through the package, in the order in which data flow:
//
//   - operators.go: who made which session ([Operators]).
//   - document.go: [Options], and what a study says ([Study], [Check], [Tolerance]).
//   - runs.go: readings to runs (run), with operator, sitting and mounting.
//   - sources.go: which sources of scatter the runs can tell apart (factor).
//   - variances.go: variance components of a sample (sample, estimate).
//   - tolerance.go: what the components make of a check (checkModel).
//   - jigs.go: by how much jigs differ.
//   - repeat.go: [Analyse], which runs all of these in order.
//   - design.go: a study yet to be made ([NewDesign]).
package repeat

import (
	"fmt"
	"iter"
	"math"
	"slices"

	"evenpole/capture/record"
	"evenpole/fit/level"
)

// Analyse studies a record. Readings count by their status, retractions and
// repetitions as in [cell.Gather].
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

// enough refuses runs that show no scatter: of one string, or one of each pickup on each jig.
func enough(runs []run, pickup string) error {
	const capture = `capture a pickup several times with "evenpole capture --purpose repeat --again", mounting it anew each time`
	count := map[[2]string]int{} // by pickup and jig
	for _, r := range runs {
		if len(r.levels) < 2 {
			return &TooFew{fmt.Sprintf("pickup %q: expected two strings or more, for one has no balance", r.pickup)}
		}
		count[[2]string{r.pickup, r.jig}]++
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
	o.step("variances of the balance in %d sessions", len(runs))
	balance, err := balanceOf(runs, sources).estimate()
	if err != nil {
		return &TooFew{err.Error()}
	}
	o.step("variances of the level in %d sessions", len(runs))
	mean, err := levelOf(runs, sources).estimate()
	if err != nil {
		return &TooFew{err.Error()}
	}
	takes := 0
	for _, r := range runs {
		for _, n := range r.takes {
			takes += n
		}
	}
	s.Balance = balance.components("balance", sources, takes, o)
	s.Level = mean.components("level", sources, takes, o)
	s.addCheck(balance, mean, runs, o)
	return s.compareJigs(balance, mean, runs, sources, o.Confidence)
}

// components lists the standard deviations of an estimate, of which name says what it is
// of, with their intervals.
func (e *estimate) components(name string, sources []factor, takes int, o Options) []Component {
	var out []Component
	for k, sd := range e.sd {
		c := Component{Source: "take", SD: sd, Levels: takes}
		if k < len(sources) {
			c.Source, c.Levels = sources[k].name, sources[k].levels
		}
		o.step("%s: interval %d of %d", name, k+1, len(e.sd))
		c.Low, c.High = e.interval(k, o.Confidence)
		out = append(out, c)
	}
	return out
}

// balanceOf is the sample of all contrasts. A contrast has a mean of its own in each
// pickup on each jig. A source moves each contrast independently, and by the same amount in all
// pickups of as many strings.
func balanceOf(runs []run, sources []factor) *sample {
	s := newSample(runs, sources)
	levels := make([]numbering, len(sources))
	for i, r := range runs {
		for j, y := range r.contrasts() {
			s.add(y, r.weight(), s.means.of(contrastMean(j, r.pickup, r.jig)), s.groupOf[i])
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

// levelOf is the sample of the pickups' mean levels, which each have a mean on each jig.
func levelOf(runs []run, sources []factor) *sample {
	s := newSample(runs, sources)
	for i, r := range runs {
		s.add(r.level(), r.weight()*float64(len(r.levels)), s.means.of(levelMean(r.pickup, r.jig)), s.groupOf[i])
		for k, f := range sources {
			s.sources[k].level = append(s.sources[k].level, f.of[i])
		}
	}
	return &s.sample
}

// sampleBuilder is a sample in the making.
type sampleBuilder struct {
	sample
	groupOf []int // of each run
}

// newSample starts a sample with its sources and the scatter of the takes, and no
// values yet.
func newSample(runs []run, sources []factor) *sampleBuilder {
	s := &sampleBuilder{groupOf: groupsOf(runs, sources)}
	s.means = numbering{}
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

func (s *sampleBuilder) add(y, weight float64, mean, group int) {
	s.y, s.weight = append(s.y, y), append(s.weight, weight)
	s.fixed, s.group = append(s.fixed, mean), append(s.group, group)
}

// addCheck works out what to expect of a check with this scatter; see tolerance.go.
func (s *Study) addCheck(balance, mean *estimate, runs []run, o Options) {
	strings := len(runs[0].levels)
	for _, r := range runs {
		strings = min(strings, len(r.levels))
	}
	b := newCheckModel(balance, strings, o.Takes, o.Confidence)
	s.Mounting = b.mounting()
	sd, expanded := b.check(1, o.Takes)
	s.Check = Check{Takes: o.Takes, SD: sd, DOF: level.Figure(b.dof), Expanded: expanded}
	variance, _ := mean.sum(mean.ofMounting(o.Takes * strings))
	s.Check.LevelSD = math.Sqrt(variance)
	if o.Tolerance > 0 {
		s.Tolerance = b.tolerance(o)
	}
}
