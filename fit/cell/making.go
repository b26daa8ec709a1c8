package cell

import (
	"cmp"
	"runtime/debug"
	"slices"
	"strings"

	"evenpole/capture/record"
	"evenpole/profiles"
)

// mostOpen is how many takes are kept before cells are summed up to which no row has come
// for a while: some 10 MB of them.
const mostOpen = 1 << 17

// spot is a string over a pole in one session, in the making: its cells, of which there
// are more than one where takes were made in more than one way, and its rows that are no
// takes, which do not say how takes are made.
type spot struct {
	others []Span
	cell   int32 // the newest of its cells; -1 for none
}

// making is a cell in the making. There are many, so that what only few of them need, as
// rows still come, stands apart.
type making struct {
	spot  int32
	how   int32 // in store.hows
	older int32 // cell of the same spot; -1 for none
	good  int32 // takes that came, at most mostTakes
	last  int32 // when the last one came, in takes of all cells
	stage stage
	rows  []Span
	open  *takes   // until it is summed up
	sum   *summary // from then on
}

// takes are those of a cell that is open.
type takes struct {
	list     []take
	from, to record.Ref // those of lowest and highest number, see ofOnePower
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
	kept     int   // takes
	came     int32 // takes

	mountings ids[mounting]
	wraps     ids[profiles.Wrap]
	hows      ids[how]
	batches   ids[string]
	keys      ids[key]
	spots     []spot // one for each key
	cells     []making
	open      []int32  // in cells
	spare     []*takes // of cells that were summed up

	here  told // where the last row belongs
	known bool
	spot  int32 // of the last row; -1 for none
	fault string
}

func newStore(mostOpen int) store {
	s := store{mostOpen: mostOpen}
	s.batches.of("")
	return s
}

// begin begins a file.
func (s *store) begin(file int, unnamed string) { s.file, s.unnamed, s.known = file, unnamed, false }

// find finds or adds the spot of a row, and says why there can be no cell: there is no
// spot when the row lacks what tells spots apart.
func (s *store) find(r *record.Reading) (at int32, fault string) {
	if s.known && s.here.by(r) {
		return s.spot, s.fault
	}
	gauge, wrap := GaugeAndWrap(r)
	m := mounting{r.Pickup, r.Session, r.StringSet, r.Jig, UnderOf(r), r.Scale, record.IsRecorder(r.Jig)}
	if m.pickup == "" {
		m.pickup = s.unnamed
	}
	k := key{s.mountings.of(m), s.wraps.of(wrap), int32(r.String), r.Core, gauge, Height(r), r.StringHeight}
	s.here, s.known, s.spot, s.fault = toldBy(r), true, -1, k.fault()
	if s.fault == lacksCell {
		return -1, s.fault
	}
	s.spot = s.keys.of(k)
	if int(s.spot) == len(s.spots) {
		s.spots = append(s.spots, spot{cell: -1})
	}
	return s.spot, s.fault
}

// cellOf finds or adds the cell of a take at a spot.
func (s *store) cellOf(r *record.Reading, at int32) *making {
	p, h := &s.spots[at], s.hows.of(howOf(r))
	for i := p.cell; i >= 0; i = s.cells[i].older {
		if s.cells[i].how == h {
			return &s.cells[i]
		}
	}
	s.cells = append(s.cells, making{spot: at, how: h, older: p.cell})
	p.cell = int32(len(s.cells) - 1)
	s.open = append(s.open, p.cell)
	return &s.cells[p.cell]
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
	at, _ := s.find(r)
	if at < 0 {
		return
	}
	if c := s.cellOf(r, at); c.stage == missed && c.count() < mostTakes {
		s.add(c, r, y, ref)
	}
}

func (s *store) add(c *making, r *record.Reading, y float64, ref record.Ref) {
	if n := len(s.spare); c.open == nil && n > 0 {
		c.open, s.spare = s.spare[n-1], s.spare[:n-1]
	}
	if c.open == nil {
		c.open = &takes{list: make([]take, 0, record.UsualTakes)}
	}
	c.open.list = append(c.open.list, takeOf(r, y, s.batches.of(r.Batch), ref, s.file))
	s.kept++
}

// count is how many takes are kept of the cell.
func (c *making) count() int {
	if c.open == nil {
		return 0
	}
	return len(c.open.list)
}

// sumUpIdle sums up the cells to which no take has come for so many takes of others.
func (s *store) sumUpIdle(standing *record.Standing, others int32) {
	var idle, rest []int32
	for _, i := range s.open {
		if c := &s.cells[i]; c.open != nil && c.last < s.came-others && c.open.ofOnePower() {
			idle = append(idle, i)
		} else {
			rest = append(rest, i)
		}
	}
	s.open = rest
	s.sumUp(idle, standing)
}

// ofOnePower notes the lowest and the highest number of takes; false when they are not of
// one power-up of one jig.
func (t *takes) ofOnePower() bool {
	for i := range t.list {
		ref := t.list[i].ref
		switch {
		case i == 0:
			t.from, t.to = ref, ref
		case !ref.SamePower(t.from):
			return false
		case ref.Before(t.from):
			t.from = ref
		case t.to.Before(ref):
			t.to = ref
		}
	}
	return true
}

// sumUp sums cells up, and lets go of their takes.
func (s *store) sumUp(list []int32, standing *record.Standing) {
	made, stats := make([]summary, len(list)), make([]TakeStats, len(list)) // at once, as a record has many
	onAllCores(len(list), func(w *sums, i int) {
		c, sum := &s.cells[list[i]], &made[i]
		sum.stats = &stats[i]
		if t := c.open; t != nil {
			w.sumUp(t.list, standing, sum)
			sum.from, sum.to, sum.takenBefore = t.from, t.to, standing.TakenBack(t.from)
		}
		c.sum, c.stage = sum, summed
	})
	for _, i := range list {
		c := &s.cells[i]
		s.kept -= c.count()
		if t := c.open; t != nil && cap(t.list) == record.UsualTakes {
			t.list = t.list[:0]
			s.spare = append(s.spare, t)
		}
		c.open = nil
	}
}

// reopen makes open cells of those that were missed, whose takes have been read again.
func (s *store) reopen() {
	for i := range s.cells {
		if c := &s.cells[i]; c.stage == missed {
			c.stage = open
			s.open = append(s.open, int32(i))
		}
	}
}

// miss finds the cells that were summed up too early, as takes of theirs were taken back
// since; false when there are none, and none to which a take came.
func (s *store) miss(standing *record.Standing) bool {
	any := false
	for i := range s.cells {
		c := &s.cells[i]
		if c.stage == summed && standing.TakesBackSince(c.sum.from, c.sum.to, c.sum.takenBefore) {
			c.stage, c.sum = missed, nil
		}
		any = any || c.stage == missed
	}
	return any
}

// manyCells take so much memory that what was garbage has to make room for them, and what
// they were made of for what is made of them: half a second of one core at a million.
const manyCells = 200_000

// finish sums up what is left, and turns everything into cells that can and that cannot
// be, in order; cells without a good take are none. lost is told the takes that were
// taken back. The store is no good any more.
func (s *store) finish(standing *record.Standing, lost func(lostTake)) (cells, impossible []Cell) {
	var rest, good, bad []int32
	for i := range s.cells {
		if s.cells[i].stage != summed {
			rest = append(rest, int32(i))
		}
	}
	s.sumUp(rest, standing)
	s.spare, s.open = nil, nil
	for i := range s.cells {
		c := &s.cells[i]
		possible := s.keys.list[c.spot].fault() == ""
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
	s.keys.slots = nil
	if len(good) > manyCells {
		debug.FreeOSMemory()
	}
	rank := s.mountings.ranks(func(a, b mounting) int {
		return cmp.Or(strings.Compare(a.pickup, b.pickup), strings.Compare(a.session, b.session))
	})
	shared := sharer{of: s}
	cells, impossible = shared.cells(good, rank), shared.cells(bad, rank)
	if len(good) > manyCells {
		*s = store{}
		debug.FreeOSMemory()
	}
	return cells, impossible
}

// sort sorts cells by pickup, session and string, and then by what else tells them apart.
// rank is that of pickups and sessions.
func (s *store) sort(list, rank []int32) []int32 {
	ends := make([]int32, len(rank)) // of the cells of each rank
	for _, i := range list {
		ends[rank[s.keys.list[s.cells[i].spot].mounting]]++
	}
	for r := 1; r < len(ends); r++ {
		ends[r] += ends[r-1]
	}
	out := make([]int32, len(list))
	for _, i := range slices.Backward(list) {
		end := &ends[rank[s.keys.list[s.cells[i].spot].mounting]]
		*end--
		out[*end] = i
	} // where the cells of a rank begin is in ends now
	onAllCores(len(ends), func(_ *sums, r int) {
		end := len(out)
		if r+1 < len(ends) {
			end = int(ends[r+1])
		}
		slices.SortFunc(out[ends[r]:end], func(i, k int32) int { return s.compare(&s.cells[i], &s.cells[k]) })
	})
	return out
}

// compare orders cells of one pickup and session.
func (s *store) compare(c, d *making) int {
	a, b := &s.keys.list[c.spot], &s.keys.list[d.spot]
	if a.string != b.string {
		return int(a.string - b.string)
	}
	x, y := &s.mountings.list[a.mounting], &s.mountings.list[b.mounting]
	h, i := s.hows.list[c.how], s.hows.list[d.how]
	return cmp.Or(
		strings.Compare(x.set, y.set), strings.Compare(x.jig, y.jig), strings.Compare(x.scale, y.scale), cmp.Compare(a.core, b.core), cmp.Compare(a.gauge, b.gauge), cmp.Compare(s.wraps.list[a.wrap], s.wraps.list[b.wrap]),
		cmp.Compare(a.poleHeight, b.poleHeight), cmp.Compare(a.stringHeight, b.stringHeight),
		cmp.Compare(h.mode, i.mode), cmp.Compare(h.excite, i.excite), cmp.Compare(x.under, y.under),
	)
}

// sharer makes cells, which share their mountings.
type sharer struct {
	of        *store
	known     ids[sharing]
	mountings []*Mounting // of those that are known
}

// sharing is what cells have in common that share a mounting: numbers in a store's lists.
type sharing struct{ mounting, how, batch int32 }

// cells makes cells of some that are summed up, in order.
func (s *sharer) cells(list, rank []int32) []Cell {
	if len(list) == 0 {
		return nil
	}
	out, place := make([]Cell, len(list)), make([]int32, len(s.of.cells))
	for x, i := range s.of.sort(list, rank) {
		out[x].Mounting = s.mounting(&s.of.cells[i])
		place[i] = int32(x)
	}
	onAllCores(len(list), func(w *sums, x int) { // in the order in which they were summed up, so that memory is let go of
		i := list[x]
		s.of.fill(w, &out[place[i]], &s.of.cells[i])
	})
	return out
}

// mounting is that of a cell that is summed up.
func (s *sharer) mounting(c *making) *Mounting {
	x := sharing{s.of.keys.list[c.spot].mounting, c.how, c.sum.batch}
	at := int(s.known.of(x))
	if at == len(s.mountings) {
		m, h := &s.of.mountings.list[x.mounting], s.of.hows.list[x.how]
		s.mountings = append(s.mountings, &Mounting{
			Pickup: m.pickup, Session: m.session, Set: m.set, Under: m.under, Batch: s.of.batches.list[x.batch],
			Jig: m.jig, Mode: h.mode, Excite: h.excite, Scale: m.scale, ByHand: m.byHand,
		})
	}
	return s.mountings[at]
}

// fill makes a cell, but for its mounting, of one that is summed up, and lets go of that.
// It may be called on many at once.
func (s *store) fill(w *sums, out *Cell, c *making) {
	k := &s.keys.list[c.spot]
	c.sum.stats.Others = w.others.kept(s.spots[c.spot].others)
	*out = Cell{
		Mounting: out.Mounting, Wrap: s.wraps.list[k.wrap], Rows: w.rows.kept(c.rows), TakeStats: c.sum.stats,
		String: int(k.string), Core: k.core, Gauge: k.gauge, PoleHeight: k.poleHeight, StringHeight: k.stringHeight,
		Takes: c.sum.takes, Mean: c.sum.mean, SD: c.sum.sd, Freq: c.sum.freq, First: c.sum.first, Weight: 1,
	}
	c.sum, c.rows = nil, nil
}
