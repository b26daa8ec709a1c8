package cell

import (
	"cmp"
	"slices"
	"strings"

	"evenpole/capture/record"
)

// mostOpen is how many takes are kept before cells are summed up to which no row has come
// for a while: some 20 MB of them.
const mostOpen = 1 << 18

// making is a cell in the making.
type making struct {
	key
	rows  []Span
	takes []take
	good  int // takes that came, at most mostTakes
	last  int // when the last one came, in takes of all cells
	stage stage

	sum         *summary   // once it is summed up
	from, to    record.Ref // its takes of lowest and highest number
	takenBefore int        // how many rows had taken readings of its power-up back then
}

// stage is how far a cell is.
type stage byte

const (
	open   stage = iota
	summed       // its takes are gone
	missed       // it was summed up too early
)

// store is cells in the making.
type store struct {
	file     int
	unnamed  string // the name of a pickup without one
	mostOpen int
	kept     int // takes
	came     int // takes

	mountings ids[mounting]
	batches   ids[string]
	cells     []making
	open      []int32 // in cells
	index     map[key]int32
	others    []otherRows
	otherAt   map[key]int32
	take      rowCell // that of the last take
	other     rowCell // that of the last row that is no take
	spare     [][]take
}

// otherRows are the rows of a cell that are no takes.
type otherRows struct{ rows []Span }

// rowCell is where rows belong that tell the same.
type rowCell struct {
	told
	known bool
	at    int32 // in store.cells or store.others; -1 for nowhere
	fault string
}

func newStore(mostOpen int) store {
	s := store{mostOpen: mostOpen, index: map[key]int32{}, otherAt: map[key]int32{}}
	s.batches.of("")
	return s
}

// begin begins a file.
func (s *store) begin(file int, unnamed string) {
	s.file, s.unnamed, s.take.known, s.other.known = file, unnamed, false, false
}

// cellOf finds or adds the cell of a take, and says why there can be none: it is nil when
// the row lacks what tells cells apart.
func (s *store) cellOf(r *record.Reading) (c *making, fault string) {
	if !s.take.known || !s.take.by(r) {
		m := mountingOf(r, s.unnamed)
		k := keyOf(r, s.mountings.of(m))
		s.take = rowCell{told: toldBy(r), known: true, at: -1, fault: k.fault()}
		if s.take.fault != lacksCell {
			s.take.at = s.find(k)
		}
	}
	if s.take.at < 0 {
		return nil, s.take.fault
	}
	return &s.cells[s.take.at], s.take.fault
}

// find finds or adds a cell.
func (s *store) find(k key) int32 {
	at, ok := s.index[k]
	if !ok {
		at = int32(len(s.cells))
		s.index[k] = at
		s.cells = append(s.cells, making{key: k})
		s.open = append(s.open, at)
	}
	return at
}

// otherOf finds or adds the rows that stand with the cell of a row and are no takes; nil
// when the row lacks what tells cells apart.
func (s *store) otherOf(r *record.Reading) *otherRows {
	if !s.other.known || !s.other.by(r) {
		m := mountingOf(r, s.unnamed).anyExcitation()
		k := keyOf(r, s.mountings.of(m))
		s.other = rowCell{told: toldBy(r), known: true, at: -1}
		if k.fault() != lacksCell {
			at, ok := s.otherAt[k]
			if !ok {
				at = int32(len(s.others))
				s.otherAt[k] = at
				s.others = append(s.others, otherRows{})
			}
			s.other.at = at
		}
	}
	if s.other.at < 0 {
		return nil
	}
	return &s.others[s.other.at]
}

// keep keeps a good take of a cell.
func (s *store) keep(c *making, r *record.Reading, y float64, ref record.Ref) {
	c.good++
	s.came++
	c.last = s.came
	switch c.stage {
	case open:
		s.add(c, r, y, ref)
	case summed:
		c.stage, c.sum = missed, nil
	}
}

// keepMissed keeps a take of a cell that was missed, when its file is read again.
func (s *store) keepMissed(r *record.Reading, y float64, ref record.Ref) {
	if c, _ := s.cellOf(r); c != nil && c.stage == missed && len(c.takes) < mostTakes {
		s.add(c, r, y, ref)
	}
}

func (s *store) add(c *making, r *record.Reading, y float64, ref record.Ref) {
	if n := len(s.spare); c.takes == nil && n > 0 {
		c.takes, s.spare = s.spare[n-1], s.spare[:n-1]
	}
	if c.takes == nil {
		c.takes = make([]take, 0, record.UsualTakes)
	}
	c.takes = append(c.takes, takeOf(r, y, s.batches.of(r.Batch), ref, s.file))
	s.kept++
}

// sumUpIdle sums up the cells to which no take has come for a while. Where these are few,
// more takes are kept from then on.
func (s *store) sumUpIdle(standing *record.Standing) {
	var idle, rest []int32
	for _, i := range s.open {
		c := &s.cells[i]
		if len(c.takes) > 0 && c.last < s.came-s.mostOpen/4 && c.ofOnePower() {
			idle = append(idle, i)
		} else {
			rest = append(rest, i)
		}
	}
	s.open = rest
	s.sumUp(idle, standing)
	if s.kept > s.mostOpen/2 {
		s.mostOpen *= 2
	}
}

// ofOnePower notes the lowest and the highest number of a cell's takes; false when they
// are not of one power-up of one jig.
func (c *making) ofOnePower() bool {
	for i := range c.takes {
		ref := c.takes[i].ref
		switch {
		case i == 0:
			c.from, c.to = ref, ref
		case !ref.SamePower(c.from):
			return false
		case ref.Before(c.from):
			c.from = ref
		case c.to.Before(ref):
			c.to = ref
		}
	}
	return true
}

// sumUp sums cells up, and lets go of their takes.
func (s *store) sumUp(list []int32, standing *record.Standing) {
	onAllCores(len(list), func(w *sums, i int) {
		c := &s.cells[list[i]]
		sum := w.summaryOf(c.takes, standing)
		c.sum, c.stage, c.takenBefore = &sum, summed, standing.TakenBack(c.from)
	})
	for _, i := range list {
		c := &s.cells[i]
		s.kept -= len(c.takes)
		if cap(c.takes) == record.UsualTakes {
			s.spare = append(s.spare, c.takes[:0])
		}
		c.takes = nil
	}
}

// miss finds the cells that were summed up too early, as takes of theirs were taken back
// since; false when there are none, and none to which a take came.
func (s *store) miss(standing *record.Standing) bool {
	any := false
	for i := range s.cells {
		c := &s.cells[i]
		if c.stage == summed && standing.TakesBackSince(c.from, c.to, c.takenBefore) {
			c.stage, c.sum = missed, nil
		}
		any = any || c.stage == missed
	}
	return any
}

// finish sums up what is left, and turns everything into cells that can and that cannot
// be, in order; cells without a good take are none. lost is told the takes that were
// taken back.
func (s *store) finish(standing *record.Standing, lost func(lostTake)) (cells, impossible []Cell) {
	var rest, good, bad []int32
	for i := range s.cells {
		if s.cells[i].stage != summed {
			rest = append(rest, int32(i))
		}
	}
	s.sumUp(rest, standing)
	s.spare = nil
	for i := range s.cells {
		c := &s.cells[i]
		possible := c.fault() == ""
		switch {
		case c.sum.takes > 0 && possible:
			good = append(good, int32(i))
		case c.sum.takes > 0:
			bad = append(bad, int32(i))
		}
		for _, t := range c.sum.lost {
			if possible {
				lost(t)
			}
		}
	}
	return s.sorted(good), s.sorted(bad)
}

// sorted makes cells of some that are summed up: by pickup, session and string, and then
// by what else tells them apart.
func (s *store) sorted(list []int32) []Cell {
	if len(list) == 0 {
		return nil
	}
	rank := s.mountings.ranks(func(a, b mounting) int {
		return cmp.Or(strings.Compare(a.pickup, b.pickup), strings.Compare(a.session, b.session))
	})
	slices.SortFunc(list, func(i, k int32) int { return s.compare(&s.cells[i].key, &s.cells[k].key, rank) })
	out := make([]Cell, len(list))
	onAllCores(len(list), func(_ *sums, i int) { out[i] = s.cell(&s.cells[list[i]]) })
	return out
}

// compare orders keys; rank is that of pickups and sessions.
func (s *store) compare(a, b *key, rank []int32) int {
	if x, y := rank[a.mounting], rank[b.mounting]; x != y {
		return int(x - y)
	}
	if a.string != b.string {
		return int(a.string - b.string)
	}
	x, y := &s.mountings.list[a.mounting], &s.mountings.list[b.mounting]
	return cmp.Or(
		strings.Compare(x.set, y.set), cmp.Compare(a.core, b.core), cmp.Compare(a.gauge, b.gauge), cmp.Compare(x.wrap, y.wrap),
		cmp.Compare(a.poleHeight, b.poleHeight), cmp.Compare(a.stringHeight, b.stringHeight),
		cmp.Compare(x.mode, y.mode), cmp.Compare(x.excite, y.excite),
	)
}

// cell is a cell that is summed up. It may be called on many at once.
func (s *store) cell(c *making) Cell {
	m := s.mountings.list[c.mounting]
	other := c.key
	var ok bool
	if other.mounting, ok = s.mountings.at[m.anyExcitation()]; ok {
		if at, ok := s.otherAt[other]; ok {
			c.sum.stats.Others = s.others[at].rows
		}
	}
	return Cell{
		Pickup: m.pickup, Session: m.session, String: int(c.string), Set: m.set, Core: c.core, Gauge: c.gauge, Wrap: m.wrap,
		PoleHeight: c.poleHeight, StringHeight: c.stringHeight, Mode: m.mode, Excite: m.excite,
		Batch: s.batches.list[c.sum.batch], Takes: c.sum.takes, Mean: c.sum.mean, SD: c.sum.sd, Freq: c.sum.freq,
		First: c.sum.first, Rows: c.rows, Weight: 1, TakeStats: c.sum.stats,
	}
}
