package screen

import (
	"cmp"
	"fmt"
	"slices"

	"evenpole/fit/cell"
	"evenpole/profiles"
)

// The kinds of mistake that Screen finds.
const (
	DecimalPole    = "decimal slip in a pole height"
	DecimalHeight  = "decimal slip in a string height"
	DecimalSteel   = "decimal slip in a diameter"
	SwappedPoles   = "two pole heights swapped"
	SwappedHeights = "two string heights swapped"
	InchesTyped    = "inches typed as millimetres"
	WrongSet       = "wrong string set"
	PickupMixedUp  = "pickup mixed up"
	WrongEnd       = "heights listed from the wrong end"
	ClippedUnseen  = "clipped takes, not flagged"
	DriftInSession = "drift"
	Impossible     = "impossible length"
)

// suspect is a Suspect with the cells that it touches.
type suspect struct {
	cell.Suspect
	cells []int // in Data.Cells
}

// Weights of cells that a mistake touches: they are kept, and count as little as
// what is wrong with them may be large. A length or a name that is wrong says
// next to nothing; a level that drifted or was cut off is somewhat off.
const (
	misfiledWeight = 0.01
	cutWeight      = 0.1
	driftedWeight  = 0.25
)

// What a mistake must have for it, as ln of a likelihood ratio. Each was found on
// simulated shops: see bench/slips.
const (
	enough       = 5  // over the record as filed, less ln of the alternatives of its kind
	enoughDrift  = 3  // of a drift: there is one alternative
	enoughBroken = -3 // for lengths that cannot be: something is wrong for certain
	mostAgainst  = 1  // levels may speak against what lists of heights say by half of that, and so much
	mostPrior    = 3  // what speaks for a mistake before it is looked at
	mostRounds   = 15
	mostAgain    = 3 // mistakes of one mounting
)

// Screen looks for the mistakes that shops make in their records. It sets the
// Weight of the cells in d that they touch (1 elsewhere), and keeps and returns
// the mistakes with the strongest evidence first. Nothing is deleted or put right.
//
// The record as filed is compared with what would have been filed without this or
// that mistake, by how likely the levels of the mounting are given all the rest,
// and by whether its heights are those of the same pickup's, or the same bench's,
// other mountings. The clearest mistake is believed and the record seen anew in
// its light, until none is left. A pickup mixed up with one that the record does not
// know cannot be told from a pickup of its own.
func Screen(d *cell.Data) []cell.Suspect {
	for i := range d.Cells {
		d.Cells[i].Weight = 1
	}
	found := ceilings(d)
	s := newScreener(d)
	for _, f := range found {
		for _, i := range f.cells {
			s.doubt[i] = unknownSD * unknownSD
		}
	}
	found = append(found, s.run()...)
	for _, f := range found {
		for _, i := range f.cells {
			d.Cells[i].Weight = min(d.Cells[i].Weight, weightOf(f.Kind))
		}
	}
	slices.SortStableFunc(found, func(a, b suspect) int { return cmp.Compare(b.Evidence, a.Evidence) })
	d.Suspects = nil
	for _, f := range found {
		d.Suspects = append(d.Suspects, f.Suspect)
	}
	return d.Suspects
}

func weightOf(kind string) float64 {
	switch kind {
	case ClippedUnseen:
		return cutWeight
	case DriftInSession:
		return driftedWeight
	}
	return misfiledWeight
}

// screener holds the record as far as it has been put right.
type screener struct {
	possible int         // cells of Data.Cells; those behind are impossible ones
	filed    []cell.Cell // as the record has them
	cells    []cell.Cell // as they seem to be
	lost     []bool      // impossible, and not put right
	doubt    []float64
	mounts   []mount
	again    []int // mistakes found, by mount
	late     bool  // nothing but drifts is looked for: what else is wrong may look like one
	habits   habits
	j        *judge
}

// mount is the cells of one mounting of a pickup, no string twice.
type mount []int

func newScreener(d *cell.Data) *screener {
	s := &screener{possible: len(d.Cells), filed: append(slices.Clone(d.Cells), d.Impossible...)}
	s.cells = slices.Clone(s.filed)
	s.doubt = make([]float64, len(s.cells))
	s.lost = make([]bool, len(s.cells))
	for i := range d.Impossible {
		s.lost[s.possible+i] = true
	}
	s.mounts = mountsOf(s.cells)
	s.again = make([]int, len(s.mounts))
	return s
}

// mountsOf groups cells by pickup and session. A string that stands there more
// than once, at several heights, was mounted as often: the k-th mount has the
// k-th of each, in the order of rows.
func mountsOf(cells []cell.Cell) []mount {
	type place struct {
		pickup, session string
		excite          profiles.Excitation
		again           int
	}
	order := make([]int, len(cells))
	for i := range order {
		order[i] = i
	}
	slices.SortStableFunc(order, func(a, b int) int { return compareRows(&cells[a], &cells[b]) })
	seen := map[string]int{}
	at := map[place]int{}
	var out []mount
	for _, i := range order {
		c := &cells[i]
		id := fmt.Sprintf("%q %q %q %d", c.Pickup, c.Session, c.Excite, c.String)
		p := place{c.Pickup, c.Session, c.Excite, seen[id]}
		seen[id]++
		k, ok := at[p]
		if !ok {
			k = len(out)
			at[p] = k
			out = append(out, nil)
		}
		out[k] = append(out[k], i)
	}
	for _, m := range out {
		slices.SortFunc(m, func(a, b int) int { return cells[a].String - cells[b].String })
	}
	return out
}

// compareRows orders cells by where their first rows stand.
func compareRows(a, b *cell.Cell) int {
	switch {
	case len(a.Rows) == 0 || len(b.Rows) == 0:
		return len(a.Rows) - len(b.Rows)
	case a.Rows[0].File != b.Rows[0].File:
		return a.Rows[0].File - b.Rows[0].File
	}
	return a.Rows[0].First - b.Rows[0].First
}

// run finds mistakes until none is left.
func (s *screener) run() []suspect {
	var found []suspect
	for range mostRounds {
		s.j = newJudge(s.cells, s.lost, s.doubt)
		s.habits = s.learn()
		best := s.best()
		if len(best) == 0 {
			if s.late {
				break
			}
			s.late = true
			continue
		}
		touched := map[string]bool{}
		for _, f := range best {
			if slices.ContainsFunc(f.pickups, func(p string) bool { return touched[p] }) {
				continue // seen anew in the next round
			}
			for _, p := range f.pickups {
				touched[p] = true
			}
			found = append(found, s.suspect(f))
			s.believe(f)
		}
	}
	return append(found, s.unexplained()...)
}

// best returns the best mistake of each mount that has enough for it, the clearest
// first.
func (s *screener) best() []*finding {
	var out []*finding
	for k := range s.mounts {
		if s.again[k] < mostAgain {
			if f := s.examine(k); f != nil {
				out = append(out, f)
			}
		}
	}
	slices.SortStableFunc(out, func(a, b *finding) int { return cmp.Compare(b.evidence, a.evidence) })
	return out
}

// believe puts the record right.
func (s *screener) believe(f *finding) {
	for i, c := range f.now {
		s.cells[i] = c
		s.lost[i] = false
	}
	s.again[f.mount]++
}

// suspect is what is told of a finding.
func (s *screener) suspect(f *finding) suspect {
	out := suspect{Suspect: cell.Suspect{Kind: f.kind, Strings: f.strings, Columns: f.columns, Cause: f.cause, Evidence: f.evidence}}
	for _, i := range s.mounts[f.mount] {
		if _, ok := f.now[i]; !ok {
			continue
		}
		c := &s.filed[i]
		out.Pickup, out.Session = f.now[i].Pickup, c.Session
		out.Rows = append(out.Rows, c.Rows...)
		if c.Within != nil && f.kind != DriftInSession {
			out.Rows = append(out.Rows, c.Within.Others...)
		}
		if i < s.possible {
			out.cells = append(out.cells, i)
		}
	}
	out.Rows = merged(out.Rows)
	return out
}

// unexplained lists the lengths that cannot be and that no usual mistake explains.
func (s *screener) unexplained() []suspect {
	var out []suspect
	for k, m := range s.mounts {
		for _, i := range m {
			if !s.lost[i] {
				continue
			}
			c := &s.filed[i]
			f := &finding{kind: Impossible, mount: k, strings: []int{c.String}, now: map[int]cell.Cell{i: *c}, evidence: certain}
			f.columns, f.cause = c.Fault()
			out = append(out, s.suspect(f))
		}
	}
	return out
}

// certain is the evidence for a length that cannot be.
const certain = 100

// mm writes a length as it was typed, more or less.
func mm(v float64) string { return fmt.Sprintf("%.4g", v) }
