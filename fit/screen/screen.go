package screen

import (
	"cmp"
	"context"
	"slices"

	"evenpole/fit/cell"
)

const (
	mostRounds   = 15
	mostPerMount = 3 // mistakes that are found of one mounting
)

// Screen looks for the mistakes that shops make in their records. It sets the
// Weight of the cells in d that they touch (1 elsewhere), and keeps and returns
// the mistakes with the strongest evidence first. Nothing is deleted or put right.
//
// The record as filed is compared with what would have been filed without this or
// that mistake, by how likely the levels of the mounting are given all the rest,
// and by whether its heights are those of the same pickup's, or the same bench's,
// other mountings. The likeliest mistake is taken as made and put right, and the
// record looked at again, until none is left. A pickup mixed up with one that the
// record does not know cannot be told from a pickup of its own.
//
// When ctx is done, Screen returns its error and no suspect; weights may be set.
func Screen(ctx context.Context, d *cell.Data) ([]cell.Suspect, error) {
	for i := range d.Cells {
		d.Cells[i].Weight = 1
	}
	found := clippedTakes(d)
	s := newScreener(d)
	for _, f := range found {
		for _, i := range f.cells {
			s.extraVariance[i] = unknownSD * unknownSD
		}
	}
	more, err := s.findAll(ctx)
	if err != nil {
		return nil, err
	}
	found = append(found, more...)
	for _, f := range found {
		for _, i := range f.cells {
			d.Cells[i].Weight = min(d.Cells[i].Weight, f.cellWeight())
		}
	}
	slices.SortStableFunc(found, func(a, b mistake) int { return cmp.Compare(b.Evidence, a.Evidence) })
	d.Suspects = nil
	for _, f := range found {
		d.Suspects = append(d.Suspects, f.Suspect)
	}
	return d.Suspects, nil
}

// findAll finds mistakes in rounds until none is left.
func (s *screener) findAll(ctx context.Context) ([]mistake, error) {
	var found []mistake
	changed := true
	for range mostRounds {
		if changed {
			s.lists = s.listsOf()
			s.levels = newLevelModel(s)
			s.habits = s.learnHabits()
		}
		likeliest, err := s.likeliest(ctx, changed)
		if err != nil {
			return nil, err
		}
		if len(likeliest) == 0 {
			if s.driftsOnly {
				break
			}
			s.driftsOnly, changed = true, false
			continue
		}
		changed = true
		touched := map[string]bool{}
		for _, h := range likeliest {
			if slices.ContainsFunc(h.pickups, func(p string) bool { return touched[p] }) {
				continue // the next round looks at it again
			}
			for _, p := range h.pickups {
				touched[p] = true
			}
			found = append(found, s.report(h))
			s.accept(h)
		}
	}
	return append(found, s.unexplainedLengths()...), nil
}

// likeliest returns the likeliest mistake of each mounting that has enough evidence, the
// one with the strongest first. Of a record that has not changed since it was asked last,
// the drifts are known.
func (s *screener) likeliest(ctx context.Context, changed bool) ([]*hypothesis, error) {
	found := s.drifts
	if changed {
		var err error
		if found, err = s.examineAll(ctx); err != nil {
			return nil, err
		}
	}
	out := slices.DeleteFunc(slices.Clone(found), func(h *hypothesis) bool { return h == nil })
	slices.SortStableFunc(out, func(a, b *hypothesis) int { return cmp.Compare(b.evidence, a.evidence) })
	return out, nil
}

// examineAll returns the likeliest mistake of each mounting.
func (s *screener) examineAll(ctx context.Context) ([]*hypothesis, error) {
	found := make([]*hypothesis, len(s.mountings))
	s.drifts = make([]*hypothesis, len(s.mountings))
	inChunks(len(s.levels.all), func(_, from, to int) {
		w := newExaminer(s)
		for _, p := range s.levels.all[from:to] {
			if ctx.Err() != nil {
				return
			}
			w.examine(p, found)
		}
	})
	return found, ctx.Err()
}

// examiner examines the mountings of one pickup after the other.
type examiner struct {
	*screener
	elimination *elimination
	locals      locals
	baseline    baseline
}

func newExaminer(s *screener) *examiner {
	return &examiner{screener: s, elimination: newElimination(s.levels)}
}

// examine finds the likeliest mistake of each of a pickup's mountings.
func (w *examiner) examine(p *pickup, found []*hypothesis) {
	open := false
	var unexplained float64
	for _, k := range w.lists.byPickup[p.name] {
		if w.found[k] >= mostPerMount {
			continue
		}
		if !open {
			open = true
			w.locals.fill(w.elimination, p)
			unexplained = w.levels.unexplained(&w.locals)
		}
		found[k] = w.screener.examine(k, &w.locals, unexplained, &w.baseline)
		for _, h := range []*hypothesis{found[k], w.drifts[k]} {
			if h != nil {
				h.cause = h.words() // before others change the record
			}
		}
	}
}

// accept puts the record right.
func (s *screener) accept(h *hypothesis) {
	for i, c := range h.corrected {
		s.cells[i] = c
		s.impossible[i] = false
	}
	s.found[h.mounting]++
}

// report is a hypothesis as users read it.
func (s *screener) report(h *hypothesis) mistake {
	out := mistake{Suspect: cell.Suspect{Kind: h.kind, Strings: h.strings, Columns: h.columns, Cause: h.cause, Evidence: h.evidence}}
	for _, i := range s.mountings[h.mounting] {
		if _, ok := h.corrected[i]; !ok {
			continue
		}
		c := s.filed[i]
		out.Pickup, out.Session = h.corrected[i].Pickup, c.Session
		out.Rows = append(out.Rows, c.Rows...)
		if c.TakeStats != nil && h.kind != DriftInSession {
			out.Rows = append(out.Rows, c.TakeStats.Others...)
		}
		if i < s.nPossible {
			out.cells = append(out.cells, i)
		}
	}
	out.Rows = mergeSpans(out.Rows)
	return out
}

// unexplainedLengths lists the lengths that cannot be and that no usual mistake explains.
func (s *screener) unexplainedLengths() []mistake {
	var out []mistake
	for k, m := range s.mountings {
		for _, i := range m {
			if !s.impossible[i] {
				continue
			}
			c := s.filed[i]
			h := &hypothesis{kind: Impossible, mounting: k, strings: []int{c.String}, corrected: map[int]*cell.Cell{i: c}, evidence: certain}
			h.columns, h.cause = c.Fault()
			out = append(out, s.report(h))
		}
	}
	return out
}
