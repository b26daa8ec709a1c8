package repeat

import (
	"fmt"

	"evenpole/profiles"
)

// The sources of scatter, coarse first.
const (
	byOperator = "operator"
	bySitting  = "sitting"
	byMounting = "mounting"
)

// factor is a source of scatter, and which of its levels each run has.
type factor struct {
	name   string
	of     []int
	levels int
}

func newFactor(name string, runs []run, key func(*run) string) factor {
	f := factor{name: name}
	n := numbering{}
	for i := range runs {
		f.of = append(f.of, n.of(key(&runs[i])))
	}
	f.levels = len(n)
	return f
}

// sourcesOf lists the sources that the runs can tell apart, and warns of those that
// they cannot.
func sourcesOf(runs []run) (kept []factor, warnings []string) {
	all := []factor{
		newFactor(byOperator, runs, func(r *run) string { return r.operator }),
		newFactor(bySitting, runs, func(r *run) string { return r.sitting }),
		newFactor(byMounting, runs, func(r *run) string { return r.mounting }),
	}
	if unnamed := countUnnamed(runs); unnamed > 0 && all[0].levels > 1 {
		warnings = append(warnings, fmt.Sprintf("counted as one more operator: %s without a name, by capture --operator or in %s", profiles.Count(unnamed, "session"), OperatorsFile))
	}
	jigs := newFactor("jig", runs, func(r *run) string { return r.jig })
	for i, f := range all {
		switch {
		case jigs.levels > 1 && f.name != byMounting && sameParts(f, jigs):
			warnings = append(warnings, fmt.Sprintf("each jig has one %s: what differs between %ss is in the difference of jigs, and in no other figure here", f.name, f.name))
		case f.levels < 2:
			warnings = append(warnings, fmt.Sprintf("one %s only: what differs between %ss is in no figure here", f.name, f.name))
		case i+1 < len(all) && sameParts(f, all[i+1]):
			warnings = append(warnings, fmt.Sprintf("each %s has one %s: the two cannot be told apart, and count as %s", f.name, all[i+1].name, all[i+1].name))
		case f.name == byMounting && oneTakeEach(runs):
			warnings = append(warnings, "one take a string everywhere: mounting and take cannot be told apart, and count as take")
		default:
			kept = append(kept, f)
		}
	}
	return kept, warnings
}

func countUnnamed(runs []run) int {
	n := 0
	for _, r := range runs {
		if r.operator == "" {
			n++
		}
	}
	return n
}

// sameParts tells whether two sources divide the runs in the same way.
func sameParts(a, b factor) bool {
	if a.levels != b.levels {
		return false
	}
	pairs := map[[2]int]bool{}
	for i := range a.of {
		pairs[[2]int{a.of[i], b.of[i]}] = true
	}
	return len(pairs) == a.levels
}

// oneTakeEach tells whether no string has two takes in a mounting, and no mounting
// has two runs.
func oneTakeEach(runs []run) bool {
	seen := map[string]bool{}
	for _, r := range runs {
		if r.dof > 0 || seen[r.mounting] {
			return false
		}
		seen[r.mounting] = true
	}
	return true
}

// groupsOf numbers the runs' sittings or, when these are no source, their mountings:
// the groups between which no local source is shared.
func groupsOf(runs []run, sources []factor) []int {
	for _, f := range sources {
		if f.name != byOperator {
			return f.of
		}
	}
	return make([]int, len(runs))
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
