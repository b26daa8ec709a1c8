package screen

import (
	"cmp"
	"context"
	"slices"

	"evenpole/fit/cell"
	"evenpole/fit/solve"
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
	var found []mistake
	var s *screener
	solve.InParallelEach(2, func(k int) {
		if k == 0 {
			found = clippedTakes(d)
		} else {
			s = newScreener(d)
		}
	})
	for _, f := range found {
		for _, i := range f.cells {
			s.cutOff[i] = true
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
	s.fit()
	for range mostRounds {
		if err := s.examineAll(ctx); err != nil {
			return nil, err
		}
		likeliest := s.likeliest()
		if len(likeliest) == 0 {
			if s.driftsOnly {
				break
			}
			s.driftsOnly, s.again = true, again{}
			continue
		}
		touched := map[string]bool{}
		var accepted, putOff []*hypothesis
		for _, h := range likeliest {
			if slices.ContainsFunc(h.pickups, func(p string) bool { return touched[p] }) {
				putOff = append(putOff, h) // the next round looks at it again
				continue
			}
			for _, p := range h.pickups {
				touched[p] = true
			}
			found = append(found, s.report(h))
			accepted = append(accepted, h)
		}
		s.accept(accepted, putOff)
	}
	return append(found, s.unexplainedLengths()...), nil
}

// fit learns from the record as it seems to be, all of which is to be looked at again.
func (s *screener) fit() {
	s.levels, s.lists = nil, nil // both may be as large as the cells
	solve.InParallelEach(2, func(k int) {
		if k == 0 {
			s.lists = s.listsOf()
		} else {
			s.levels = newLevelModel(s)
		}
	})
	s.habits = s.learnHabits()
	s.again = again{all: true}
}

// accept puts the record right. The next round looks again at what that concerns: where
// little changes, the mountings of the pickups that it touches and those that may have
// been of these.
func (s *screener) accept(accepted, putOff []*hypothesis) {
	apply := func() {
		for _, h := range accepted {
			for i, c := range h.corrected {
				s.cells[i] = c
				s.impossible[i] = false
			}
			s.found[h.mounting]++
		}
	}
	concerned, ok := s.levels.correct(accepted, apply)
	if concerned == nil {
		apply()
	}
	if !ok {
		s.fit()
		return
	}
	if slices.ContainsFunc(accepted, func(h *hypothesis) bool { return h.kind != DriftInSession }) {
		s.lists = nil // as in fit
		s.lists = s.listsOf()
	}
	s.again = again{pickups: map[string]bool{}, others: map[string]bool{}}
	for _, p := range concerned {
		s.again.pickups[p.name], s.again.others[p.name] = true, true
	}
	for _, h := range putOff {
		s.again.pickups[h.pickups[0]] = true
	}
}

// likeliest returns the likeliest mistake of each mounting that has enough evidence, the
// one with the strongest first.
func (s *screener) likeliest() []*hypothesis {
	found := s.likely
	if s.driftsOnly {
		found = s.drifts
	}
	out := slices.DeleteFunc(slices.Clone(found), func(h *hypothesis) bool { return h == nil })
	slices.SortStableFunc(out, func(a, b *hypothesis) int { return cmp.Compare(b.evidence, a.evidence) })
	return out
}

// examineAll finds the likeliest mistake of each mounting that is to be looked at again.
func (s *screener) examineAll(ctx context.Context) error {
	inChunks(len(s.levels.all), func(_, from, to int) {
		w := examiner{screener: s, elimination: s.levels.elimination()}
		defer s.levels.room.Put(w.elimination)
		for _, p := range s.levels.all[from:to] {
			if ctx.Err() != nil {
				return
			}
			w.examine(p)
		}
	})
	return ctx.Err()
}

// examiner examines the mountings of one pickup after the other.
type examiner struct {
	*screener
	elimination *elimination
	locals      locals
	baseline    baseline
}

// examine finds the likeliest mistake of each of a pickup's mountings.
func (w *examiner) examine(p *pickup) {
	open := false
	var unexplained float64
	for _, k := range w.lists.byPickup[p.name] {
		all := w.again.all || w.again.pickups[p.name]
		if !all && (w.driftsOnly || !w.openToNames[k] || len(w.again.others) == 0) {
			continue
		}
		if w.found[k] >= mostPerMount {
			w.likely[k], w.drifts[k] = nil, nil
			continue
		}
		if !open {
			open = true
			w.locals.fill(w.elimination, p)
			unexplained = w.levels.unexplained(&w.locals)
		}
		w.baseline.namesOnly = !all
		w.likely[k] = w.screener.examine(k, &w.locals, unexplained, &w.baseline)
		for _, h := range []*hypothesis{w.likely[k], w.drifts[k]} {
			if h != nil {
				h.cause = h.words() // before others change the record
			}
		}
	}
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
