package batch

import (
	"math"
	"slices"

	"evenpole/fit/level"
	"evenpole/profiles"

	"gonum.org/v1/gonum/floats"
	"gonum.org/v1/gonum/stat"
	"gonum.org/v1/gonum/stat/distuv"
)

// components works out how much strengths vary from magnet to magnet, from placing to
// placing and from take to take. observed is the standard deviation of the magnets'
// strengths, mT.
//
// Where magnets were measured in several placings, a placing's mean is the unit
// and what differs between placings counts as measurement; else the take is.
func (l *lot) components(confidence, observed float64) *Scatter {
	takes, byMagnet, severalPlacings := l.groups()
	within := oneWay(takes)
	s := &Scatter{Observed: observed, Take: level.Figure(math.Sqrt(within.varWithin)), Placing: level.Figure(math.NaN())}
	share := meanInverse(takes) // of a take's variance in a placing's mean
	a := oneWay(byMagnet)
	measurement := within.varWithin * share
	if severalPlacings {
		placing := a.varWithin
		if s.Take.Known() {
			placing = max(0, placing-measurement)
		}
		s.Placing = level.Figure(math.Sqrt(placing))
		measurement = a.varWithin * meanInverse(byMagnet)
	}
	s.Measurement = level.Figure(math.Sqrt(measurement))
	s.Magnets = math.Sqrt(a.varBetween)
	i := a.interval(confidence)
	s.Interval = &i
	return s
}

// groups are the strengths of the lot: takes has a group of takes for each placing;
// byMagnet has a group for each magnet, of the means of its placings when some magnet
// has several placings, and else of its takes.
func (l *lot) groups() (takes, byMagnet [][]float64, severalPlacings bool) {
	severalPlacings = slices.ContainsFunc(l.magnets, func(m *measured) bool { return len(m.placings) > 1 })
	for _, m := range l.magnets {
		up := float64(sign(m.field()))
		means := m.means()
		floats.Scale(up, means)
		for _, p := range m.placings {
			one := slices.Clone(p.takes)
			floats.Scale(up, one)
			takes = append(takes, one)
		}
		if severalPlacings {
			byMagnet = append(byMagnet, means)
		}
	}
	if !severalPlacings {
		byMagnet = takes
	}
	return takes, byMagnet, severalPlacings
}

// meanInverse is the mean of one over the sizes of groups.
func meanInverse(groups [][]float64) float64 {
	sum := 0.0
	for _, g := range groups {
		sum += 1 / float64(len(g))
	}
	return sum / float64(len(groups))
}

// leastInCommon is how many magnets two sessions must share to be compared, and
// leastForTrend how many values in a row a trend wants (our rules; the second is
// where the normal approximation is good).
const (
	leastInCommon = 3
	leastForTrend = 10
)

// shifts says which sessions read otherwise than an earlier one of the same
// magnets: a paired t test.
func (l *lot) shifts() []string {
	var out []string
	several := l.severalTimes()
	sessions := l.sessionsOf(several)
	for j, later := range sessions {
		for _, earlier := range sessions[:j] {
			ratios := several.ratios(earlier, later)
			if len(ratios) < leastInCommon {
				continue
			}
			mean, sd := stat.MeanStdDev(ratios, nil)
			n := float64(len(ratios))
			p := 2 * distuv.StudentsT{Sigma: 1, Nu: n - 1}.Survival(math.Abs(mean)*math.Sqrt(n)/sd)
			if sd > 0 && p < suspicion {
				out = append(out, profiles.Sprintf("session %s reads %+.1f %% against session %s on the %d magnets of both (p = %.2g): the probe, its zero or its gap has changed",
					later, 100*math.Expm1(mean), earlier, len(ratios), p))
			}
			break
		}
	}
	return out
}

// severalTimes is the lot's magnets that were placed more than once: no other is in two
// sessions.
func (l *lot) severalTimes() *lot {
	out := &lot{}
	for _, m := range l.magnets {
		if len(m.placings) > 1 {
			out.magnets = append(out.magnets, m)
		}
	}
	return out
}

// sessionsOf are the sessions of some of the lot's magnets, in the order in which the lot
// had its first readings of them.
func (l *lot) sessionsOf(some *lot) []string {
	wanted := map[string]bool{}
	for _, m := range some.magnets {
		for _, p := range m.placings {
			wanted[p.session] = true
		}
	}
	var names []string
	for _, m := range l.magnets {
		for _, p := range m.placings {
			if wanted[p.session] {
				names = append(names, p.session)
				delete(wanted, p.session)
			}
		}
	}
	return names
}

// ratios are, for each magnet of two sessions, the logarithm of its later
// strength over its earlier one.
func (l *lot) ratios(earlier, later string) []float64 {
	var out []float64
	for _, m := range l.magnets {
		before, after := math.NaN(), math.NaN()
		for _, p := range m.placings {
			switch strength := math.Abs(stat.Mean(p.takes, nil)); p.session {
			case earlier:
				before = strength
			case later:
				after = strength
			}
		}
		if r := math.Log(after / before); level.Figure(r).Known() {
			out = append(out, r)
		}
	}
	return out
}
