package screen

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"evenpole/fit/cell"
)

// finding is one mistake that a mounting may hold.
type finding struct {
	kind     string
	mount    int
	strings  []int // nil: all
	columns  []string
	cause    string
	now      map[int]cell.Cell // cells as they would have been filed without it
	pickups  []string          // whose cells it concerns
	prior    float64           // ln, less 0 the more there are of its kind
	evidence float64
}

// hearing is what a mount's findings are weighed against: the record as filed.
type hearing struct {
	mount  mount
	pickup string
	trial  *trial
	levels float64           // likelihood
	lists  float64           // agreement
	broken bool              // has a length that cannot be
	others map[string]*trial // together with another pickup's cells
}

// examine returns the likeliest mistake of a mount, nil when none has enough for
// it.
func (s *screener) examine(k int) *finding {
	m := s.mounts[k]
	h := &hearing{mount: m, pickup: s.cells[m[0]].Pickup, others: map[string]*trial{}}
	h.trial = s.j.try([]string{h.pickup}, m)
	if s.late {
		f, _ := s.drifted(k, h.trial)
		return f
	}
	h.levels = h.trial.likelihood()
	h.lists = s.agreement(m, nil)
	h.broken = slices.ContainsFunc(m, func(i int) bool { return s.lost[i] })
	// No other filing can gain more than leaving the mount's levels unexplained
	// altogether does, and what its lists lack.
	room := s.ceiling(h.trial, m) - h.levels - h.lists
	if h.broken {
		room = math.Inf(1)
	}
	if room+mostPrior < enough {
		return nil
	}
	var best *finding
	for _, f := range s.filings(m) {
		f.mount = k
		if room+f.prior >= enough && s.weighUp(f, h) && (best == nil || f.evidence > best.evidence) {
			best = f
		}
	}
	if best == nil {
		return nil
	}
	// What a drift does from string to string another filing may do as well, but
	// not what it does from take to take.
	if d, own := s.drifted(k, h.trial); d != nil && own > plainOwn && d.evidence > best.evidence {
		return d
	}
	return best
}

// ceiling bounds the likelihood of any filing of a mount: that of the rest of the
// pickup's levels, with those of the mount at their most likely.
func (s *screener) ceiling(t *trial, m mount) float64 {
	rows := map[int]row{}
	for x, i := range t.cells {
		if slices.Contains(m, i) {
			r := t.rows[x]
			r.lost = true
			rows[i] = r
		}
	}
	gone := t.changed(rows)
	for x, i := range gone.cells {
		if slices.Contains(m, i) {
			gone.cov.SetSym(x, x, t.rows[x].noise)
		}
	}
	return gone.likelihood()
}

// weighUp works out the evidence for a finding and reports whether it is enough.
func (s *screener) weighUp(f *finding, h *hearing) bool {
	f.pickups = []string{h.pickup}
	rows := map[int]row{}
	var touched []int
	for i, c := range f.now {
		if c.Pickup != h.pickup && len(f.pickups) == 1 {
			f.pickups = append(f.pickups, c.Pickup)
		}
		r := s.j.row(&c, s.j.last[i])
		r.noise += s.doubt[i]
		rows[i] = r
		touched = append(touched, i)
	}
	t, filed := h.trial, h.levels
	if len(f.pickups) > 1 {
		t, filed = s.together(h, f.pickups[1])
	}
	there := t.changed(rows).likelihood()
	levels := there - filed
	lists := s.agreement(h.mount, f.now) - h.lists
	f.evidence = levels + lists + f.prior
	switch {
	case h.broken:
		return f.mends(s) && levels+lists > 0 && f.evidence > enoughBroken
	case f.evidence < enough, levels < -lists/2-mostAgainst:
		return false
	}
	return there+lists > t.unknown(touched).likelihood()
}

// together is the trial of a mount with the cells of another pickup in it.
func (s *screener) together(h *hearing, other string) (*trial, float64) {
	t := h.others[other]
	if t == nil {
		t = s.j.try([]string{h.pickup, other}, h.mount)
		t.filed = t.likelihood()
		h.others[other] = t
	}
	return t, t.filed
}

// mends reports whether a finding makes possible what cannot be.
func (f *finding) mends(s *screener) bool {
	for i := range f.now {
		if s.lost[i] {
			return true
		}
	}
	return false
}

// length is a column of lengths that people type.
type length struct {
	columns       []string
	name          string
	get           func(c *cell.Cell) float64
	put           func(c *cell.Cell, v float64)
	decimal, swap string // kinds
}

var (
	poleLength = &length{[]string{"pole_height_mm"}, "pole height",
		func(c *cell.Cell) float64 { return c.PoleHeight }, func(c *cell.Cell, v float64) { c.PoleHeight = v }, DecimalPole, SwappedPoles}
	heightLength = &length{[]string{"string_height_mm"}, "string height",
		func(c *cell.Cell) float64 { return c.StringHeight }, func(c *cell.Cell, v float64) { c.StringHeight = v }, DecimalHeight, SwappedHeights}
	steelLength = &length{[]string{"core_mm", "gauge_mm"}, "core",
		func(c *cell.Cell) float64 { return c.Core }, putSteel, DecimalSteel, ""}
	lengths = []*length{poleLength, heightLength, steelLength}
)

// putSteel sets a core, to the digits that files have, and the gauge with it.
func putSteel(c *cell.Cell, core float64) {
	c.Gauge = math.Round(c.Gauge*core/c.Core*1e4) / 1e4
	c.Core = math.Round(core*1e4) / 1e4
}

// factors lead from a length as typed to what was meant. Some are rarer than
// others: ln, our assumptions.
var factors = []struct {
	by     float64
	inches bool
	rare   float64
	words  string
}{
	{10, false, 0, "a slip for"},
	{0.1, false, 0, "a slip for"},
	{0.01, false, 1.5, "a slip for"},
	{25.4, true, 0, "typed in inches, for"},
	{1 / 25.4, true, 2, "typed in an inch column, for"},
}

const leastChange = 2 * sameHeight // mm; a mistake that changes less can be seen by nobody

// filings lists the mistakes that a mount may hold.
func (s *screener) filings(m mount) []*finding {
	var out []*finding
	add := func(group []*finding) {
		for _, f := range group {
			f.prior -= math.Log(float64(len(group)))
		}
		out = append(out, group...)
	}
	for _, l := range lengths {
		single, whole := s.scaled(m, l)
		add(single)
		add(whole)
		if l.swap != "" {
			add(s.swapped(m, l))
		}
	}
	add(s.reversed(m))
	add(s.otherSets(m))
	add(s.otherPickups(m))
	return out
}

// scaled lists lengths in a wrong unit or with the point in a wrong place: of one
// string, and of all.
func (s *screener) scaled(m mount, l *length) (single, whole []*finding) {
	for _, factor := range factors {
		kind := l.decimal
		if factor.inches {
			kind = InchesTyped
		}
		all := &finding{kind: kind, columns: l.columns, now: map[int]cell.Cell{}, prior: -factor.rare}
		for _, i := range m {
			c := s.cells[i]
			l.put(&c, l.get(&c)*factor.by)
			all.now[i] = c
			if faulty(&c) || math.Abs(l.get(&c)-l.get(&s.cells[i])) < leastChange {
				continue
			}
			one := &finding{kind: kind, columns: l.columns, now: map[int]cell.Cell{i: c}, strings: []int{c.String}, prior: -factor.rare}
			if factor.by > 1 && s.odd(i, l) {
				one.prior += oddDigits
				all.prior = one.prior
			}
			one.cause = fmt.Sprintf("%s %s mm of string %d: %s %s mm?", l.name, mm(l.get(&s.filed[i])), c.String, factor.words, mm(l.get(&c)))
			single = append(single, one)
		}
		if len(m) > 1 && !anyFaulty(all.now) && s.change(all.now, l) >= leastChange {
			if l == steelLength && s.known(m, all.now) {
				all.prior += knownSet
			}
			all.cause = fmt.Sprintf("all %ss, %s mm: %s %s mm?", l.name, s.list(m, nil, l), factor.words, s.list(m, all.now, l))
			whole = append(whole, all)
		}
	}
	return single, whole
}

// knownSet is ln of how much likelier it is that diameters are a mistake when the
// shop has strings of those that were meant: our assumption.
const knownSet = 3

// known reports whether another mount has the strings that this one would have been
// filed with.
func (s *screener) known(m mount, now map[int]cell.Cell) bool {
	return slices.ContainsFunc(s.mounts, func(o mount) bool {
		if len(o) != len(m) || o[0] == m[0] {
			return false
		}
		for x, i := range m {
			a, b := s.at(i, now), &s.cells[o[x]]
			if a.String != b.String || math.Abs(math.Log(a.Core/b.Core)) > sameSteel {
				return false
			}
		}
		return true
	})
}

const sameSteel = 0.02 // of cores in two units, ln: as files round them

// change is the most by which lengths would have been filed otherwise.
func (s *screener) change(now map[int]cell.Cell, l *length) float64 {
	most := 0.0
	for i, c := range now {
		most = max(most, math.Abs(l.get(&c)-l.get(&s.cells[i])))
	}
	return most
}

// list writes a mount's lengths, as they would have been filed.
func (s *screener) list(m mount, now map[int]cell.Cell, l *length) string {
	var out []string
	for _, i := range m {
		out = append(out, mm(l.get(s.at(i, now))))
	}
	return strings.Join(out, " ")
}

// faulty reports whether a cell cannot be.
func faulty(c *cell.Cell) bool {
	_, cause := c.Fault()
	return cause != ""
}

func anyFaulty(now map[int]cell.Cell) bool {
	for _, c := range now {
		if faulty(&c) {
			return true
		}
	}
	return false
}

// swapped lists pairs of strings whose heights may stand in each other's place.
func (s *screener) swapped(m mount, l *length) []*finding {
	var out []*finding
	for x, i := range m {
		for _, k := range m[x+1:] {
			a, b := s.cells[i], s.cells[k]
			if math.Abs(l.get(&a)-l.get(&b)) < leastChange {
				continue
			}
			va, vb := l.get(&a), l.get(&b)
			l.put(&a, vb)
			l.put(&b, va)
			f := &finding{kind: l.swap, columns: l.columns, strings: []int{a.String, b.String}, now: map[int]cell.Cell{i: a, k: b}}
			if anyFaulty(f.now) {
				continue
			}
			f.cause = fmt.Sprintf("%ss %s and %s mm of strings %d and %d: each other's?", l.name, mm(va), mm(vb), a.String, b.String)
			out = append(out, f)
		}
	}
	return out
}

// reversed lists the heights read from the other end.
func (s *screener) reversed(m mount) []*finding {
	var out []*finding
	for _, which := range [][]*length{{poleLength}, {heightLength}, {poleLength, heightLength}} {
		f := &finding{kind: WrongEnd, now: map[int]cell.Cell{}}
		var names []string
		for x, i := range m {
			c := s.cells[i]
			other := s.cells[m[len(m)-1-x]]
			if c.String+other.String != s.cells[m[0]].String+s.cells[m[len(m)-1]].String {
				return nil // strings are missing
			}
			for _, l := range which {
				l.put(&c, l.get(&other))
			}
			f.now[i] = c
		}
		if len(m) < 3 || anyFaulty(f.now) {
			continue
		}
		for _, l := range which {
			if s.change(f.now, l) < leastChange {
				f = nil
				break
			}
			f.columns = append(f.columns, l.columns...)
			names = append(names, l.name+"s "+s.list(m, nil, l)+" mm")
		}
		if f != nil {
			f.cause = strings.Join(names, " and ") + ": listed from the last string to the first?"
			out = append(out, f)
		}
	}
	return out
}

// oftenSet is ln of how much commoner a wrong string set is than other mistakes:
// our assumption.
const oftenSet = 1

// otherSets lists the record's other string sets in place of the one filed.
func (s *screener) otherSets(m mount) []*finding {
	var out []*finding
	own := s.steel(m)
	seen := map[string]bool{own: true}
	for _, o := range s.mounts {
		steel := s.steel(o)
		name := s.cells[o[0]].Set
		if seen[steel] || name != "" && name == s.cells[m[0]].Set || slices.ContainsFunc(o, func(i int) bool { return s.lost[i] }) {
			continue
		}
		seen[steel] = true
		f := &finding{kind: WrongSet, columns: []string{"string_set", "core_mm", "gauge_mm", "wrap"}, now: map[int]cell.Cell{}, prior: oftenSet}
		for _, i := range m {
			k := slices.IndexFunc(o, func(k int) bool { return s.cells[k].String == s.cells[i].String })
			if k < 0 || len(o) != len(m) {
				f = nil
				break
			}
			c, from := s.cells[i], &s.cells[o[k]]
			c.Set, c.Core, c.Gauge, c.Wrap = from.Set, from.Core, from.Gauge, from.Wrap
			f.now[i] = c
		}
		if f == nil || anyFaulty(f.now) {
			continue
		}
		if slices.ContainsFunc(m, func(i int) bool { return s.lost[i] }) {
			f.prior = 0
		}
		f.cause = fmt.Sprintf("filed under %s: were the strings %s?", s.setName(m), s.setName(o))
		out = append(out, f)
	}
	return out
}

// steel tells string sets apart.
func (s *screener) steel(m mount) string {
	var b strings.Builder
	for _, i := range m {
		c := &s.cells[i]
		fmt.Fprintf(&b, "%d %s %g %g %s\n", c.String, c.Set, c.Core, c.Gauge, c.Wrap)
	}
	return b.String()
}

func (s *screener) setName(m mount) string {
	if name := s.cells[m[0]].Set; name != "" {
		return fmt.Sprintf("%q", name)
	}
	return "cores of " + s.list(m, nil, steelLength) + " mm"
}

// otherPickups lists the pickups that the mount may have held instead: with the
// heights that stand there, or with those of that pickup's other mounts when the
// whole of another mount's file was used.
func (s *screener) otherPickups(m mount) []*finding {
	own := s.cells[m[0]].Pickup
	filed := s.list(m, nil, poleLength)
	ownMisses, _ := s.poleMisses(m, nil, max(sameHeight, s.habits.poles.within)) // a whole file that was used again has the heights that stand there
	seen := map[string]bool{}
	var out []*finding
	for _, o := range s.mounts {
		id, whole := s.underPickupOf(m, o)
		if id == nil {
			continue
		}
		p, prior := s.cells[o[0]].Pickup, 0.0
		if s.habits.once && s.twice(m, id) {
			prior = -seldomTwice
		}
		if !seen[p] && !anyFaulty(id) {
			seen[p] = true
			out = append(out, &finding{kind: PickupMixedUp, columns: []string{"pickup"}, now: id, prior: prior,
				cause: fmt.Sprintf("filed as %q: was it %q?", own, p)})
		}
		heights := s.list(m, whole, poleLength)
		if seen[p+heights] || ownMisses > 0 || heights == filed || anyFaulty(whole) {
			continue
		}
		seen[p+heights] = true
		out = append(out, &finding{kind: PickupMixedUp, columns: []string{"pickup", "batch", "pole_height_mm"}, now: whole, prior: prior,
			cause: fmt.Sprintf("filed as %q with its pole heights %s mm: was it %q, whose are %s?", own, filed, p, heights)})
	}
	return out
}

// underPickupOf is a mount as filed under the pickup of another, with its own
// heights and with that other's; nil where it cannot be.
func (s *screener) underPickupOf(m, o mount) (id, whole map[int]cell.Cell) {
	p := s.cells[o[0]].Pickup
	if p == s.cells[m[0]].Pickup || len(o) != len(m) || slices.ContainsFunc(o, func(i int) bool { return s.lost[i] }) {
		return nil, nil
	}
	id, whole = map[int]cell.Cell{}, map[int]cell.Cell{}
	for x, i := range m {
		c, from := s.cells[i], &s.cells[o[x]]
		if c.String != from.String {
			return nil, nil
		}
		c.Pickup, c.Field, c.FieldKnown = p, from.Field, from.FieldKnown
		id[i] = c
		c.Batch, c.PoleHeight = from.Batch, from.PoleHeight
		whole[i] = c
	}
	return id, whole
}
