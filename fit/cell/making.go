package cell

import (
	"cmp"
	"slices"
	"strings"

	"evenpole/capture/record"
)

// mostOpen is how many takes are kept before cells are summed up to which no row has come
// for a while: some 10 MB of them.
const mostOpen = 1 << 17

// spot is a string over a pole in one session, in the making: its cells, of which there
// are more than one where takes were made in more than one way, and its rows that are no
// takes, which do not say how takes are made.
type spot struct {
	key
	others []Span
	cell   int32 // the newest of its cells; -1 for none
}

// making is a cell in the making.
type making struct {
	spot  int32
	how   int32 // in store.hows
	older int32 // cell of the same spot; -1 for none
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
	hows      ids[how]
	batches   ids[string]
	spots     []spot
	at        map[key]int32 // in spots
	cells     []making
	open      []int32 // in cells
	spare     [][]take

	here  told // where the last row belongs
	known bool
	spot  int32 // of the last row; -1 for none
	fault string
}

func newStore(mostOpen int) store {
	s := store{mostOpen: mostOpen, at: map[key]int32{}}
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
	gauge, wrap := gaugeAndWrap(r)
	m := mounting{r.Pickup, r.Session, r.StringSet, r.Jig, wrap, underOf(r), r.Scale, record.IsRecorder(r.Jig)}
	if m.pickup == "" {
		m.pickup = s.unnamed
	}
	k := key{s.mountings.of(m), int32(r.String), r.Core, gauge, Height(r), r.StringHeight}
	s.here, s.known, s.spot, s.fault = toldBy(r), true, -1, k.fault()
	if s.fault == lacksCell {
		return -1, s.fault
	}
	at, ok := s.at[k]
	if !ok {
		at = int32(len(s.spots))
		s.at[k] = at
		s.spots = append(s.spots, spot{key: k, cell: -1})
	}
	s.spot = at
	return at, s.fault
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
	if c := s.cellOf(r, at); c.stage == missed && len(c.takes) < mostTakes {
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

// sumUpIdle sums up the cells to which no take has come for so many takes of others.
func (s *store) sumUpIdle(standing *record.Standing, others int) {
	var idle, rest []int32
	for _, i := range s.open {
		c := &s.cells[i]
		if len(c.takes) > 0 && c.last < s.came-others && c.ofOnePower() {
			idle = append(idle, i)
		} else {
			rest = append(rest, i)
		}
	}
	s.open = rest
	s.sumUp(idle, standing)
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
		possible := s.spots[c.spot].key.fault() == ""
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
	s.sort(list, rank)
	out := make([]Cell, len(list))
	shared := sharer{of: s}
	for i, k := range list {
		out[i].Mounting = shared.mounting(&s.cells[k])
	}
	onAllCores(len(list), func(_ *sums, i int) { s.fill(&out[i], &s.cells[list[i]]) })
	return out
}

// sharer has cells share their mountings. They come by pickup and session.
type sharer struct {
	of   *store
	last []*Mounting // those of one pickup in one session
}

// mounting is that of a cell that is summed up.
func (s *sharer) mounting(c *making) *Mounting {
	m, h := &s.of.mountings.list[s.of.spots[c.spot].mounting], s.of.hows.list[c.how]
	own := Mounting{
		Pickup: m.pickup, Session: m.session, Set: m.set, Under: m.under, Batch: s.of.batches.list[c.sum.batch],
		Jig: m.jig, Mode: h.mode, Excite: h.excite, Scale: m.scale, ByHand: m.byHand,
	}
	if len(s.last) > 0 && (s.last[0].Session != own.Session || s.last[0].Pickup != own.Pickup) {
		s.last = s.last[:0]
	}
	for _, known := range s.last {
		if *known == own {
			return known
		}
	}
	shared := &own
	s.last = append(s.last, shared)
	return shared
}

// sort orders cells; rank is that of pickups and sessions. It and the string tell most
// cells apart, and so stand side by side in memory.
func (s *store) sort(list, rank []int32) {
	type place struct{ rank, string, cell int32 }
	places := make([]place, len(list))
	for x, i := range list {
		k := &s.spots[s.cells[i].spot].key
		places[x] = place{rank[k.mounting], k.string, i}
	}
	slices.SortFunc(places, func(a, b place) int {
		switch {
		case a.rank != b.rank:
			return int(a.rank - b.rank)
		case a.string != b.string:
			return int(a.string - b.string)
		}
		return s.compare(&s.cells[a.cell], &s.cells[b.cell])
	})
	for x := range places {
		list[x] = places[x].cell
	}
}

// compare orders cells of one string in one session of a pickup.
func (s *store) compare(c, d *making) int {
	a, b := &s.spots[c.spot].key, &s.spots[d.spot].key
	x, y := &s.mountings.list[a.mounting], &s.mountings.list[b.mounting]
	h, i := s.hows.list[c.how], s.hows.list[d.how]
	return cmp.Or(
		strings.Compare(x.set, y.set), strings.Compare(x.jig, y.jig), strings.Compare(x.scale, y.scale), cmp.Compare(a.core, b.core), cmp.Compare(a.gauge, b.gauge), cmp.Compare(x.wrap, y.wrap),
		cmp.Compare(a.poleHeight, b.poleHeight), cmp.Compare(a.stringHeight, b.stringHeight),
		cmp.Compare(h.mode, i.mode), cmp.Compare(h.excite, i.excite), cmp.Compare(x.under, y.under),
	)
}

// fill makes a cell, but for its mounting, of one that is summed up. It may be called on
// many at once.
func (s *store) fill(out *Cell, c *making) {
	p := &s.spots[c.spot]
	c.sum.stats.Others = p.others
	*out = Cell{
		Mounting: out.Mounting, Wrap: s.mountings.list[p.mounting].wrap, Rows: c.rows, TakeStats: c.sum.stats,
		String: int(p.string), Core: p.core, Gauge: p.gauge, PoleHeight: p.poleHeight, StringHeight: p.stringHeight,
		Takes: c.sum.takes, Mean: c.sum.mean, SD: c.sum.sd, Freq: c.sum.freq, First: c.sum.first, Weight: 1,
	}
}
