package cell

import (
	"maps"
	"math"
	"slices"
	"time"

	"evenpole/capture/record"
	"evenpole/capture/record/pack"
	"evenpole/fit/solve"
	"evenpole/profiles"
)

// Each of these writes what cells in the making are, or reads it and says what cannot
// be: whatever they read is safe to go on with. What the reading of rows holds of limits
// is held here, too, as models count on it.

// packLines packs lines of the first file.
func packLines(c *pack.Coder, rows *[]Span) {
	pack.List(c, rows, func(s *Span) {
		pack.Whole(c, &s.First)
		pack.Whole(c, &s.Last)
		c.Check(0 <= s.First && s.First <= s.Last)
	})
}

// packFinite packs a number that is neither infinite nor NaN.
func packFinite(c *pack.Coder, v *float64) {
	c.Float(v)
	c.Check(solve.Finite(*v))
}

// packIDs packs numbered values.
func packIDs[T comparable](c *pack.Coder, s *ids[T], each func(x *T)) {
	list := s.list
	pack.List(c, &list, each)
	if c.Reading() {
		*s = ids[T]{}
		for _, x := range list {
			s.of(x)
		}
		c.Check(len(s.list) == len(list)) // none twice
	}
}

// packID packs the number of one of so many things.
func packID(c *pack.Coder, id *int32, of int) {
	pack.Whole(c, id)
	if c.Check(0 <= *id && int(*id) < of); c.Damaged() {
		*id = 0
	}
}

// lastInstant that a record can have, as years are of four digits.
var lastInstant = InstantOf(time.Date(9999, 12, 31, 23, 59, 59, 999999999, time.UTC))

// packInstant packs a time.
func packInstant(c *pack.Coder, i *Instant) {
	pack.Whole(c, &i.second)
	pack.Whole(c, &i.nano)
	c.Check(0 <= i.second && !lastInstant.Before(*i) && 0 <= i.nano && i.nano < 1e9)
}

// pack packs a gatherer of one file.
func (g *gatherer) pack(c *pack.Coder) {
	pack.Whole(c, &g.readings)
	c.Check(g.readings >= 0)
	g.standing.Pack(c)
	reasons := slices.Sorted(maps.Keys(g.left))
	pack.List(c, &reasons, func(reason *string) {
		pack.Text(c, reason)
		if c.Reading() {
			g.left[*reason] = &LeftOut{Reason: *reason}
		}
		l := g.left[*reason]
		pack.Whole(c, &l.Count)
		pack.Whole(c, &l.Line)
		c.Check(l.Count > 0 && l.Line >= 0)
	})
	g.store.pack(c, &g.standing)
}

func (s *store) pack(c *pack.Coder, standing *record.Standing) {
	pack.Whole(c, &s.came)
	packIDs(c, &s.mountings, func(m *mounting) {
		pack.Text(c, &m.pickup)
		pack.Text(c, &m.session)
		pack.Text(c, &m.set)
		pack.Text(c, &m.jig)
		pack.Text(c, &m.under)
		pack.Text(c, &m.scale)
		c.Bool(&m.byHand)
	})
	packIDs(c, &s.wraps, func(w *profiles.Wrap) { pack.Text(c, w) })
	packIDs(c, &s.hows, func(h *how) {
		pack.Text(c, &h.mode)
		pack.Text(c, &h.excite)
		c.Check(h.mode == record.Pluck || h.mode == record.Drive)
	})
	packIDs(c, &s.batches, func(b *string) { pack.Text(c, b) })
	c.Check(len(s.batches.list) > 0 && s.batches.list[unnamedBatch] == "")
	packIDs(c, &s.keys, func(k *key) { s.packKey(c, k) })
	pack.List(c, &s.spots, func(p *spot) { packLines(c, &p.others) })
	c.Check(len(s.spots) == len(s.keys.list))
	pack.List(c, &s.cells, func(m *making) { s.packMaking(c, m, standing) })
	if c.Reading() && !c.Damaged() {
		s.link(c)
	}
}

func (s *store) packKey(c *pack.Coder, k *key) {
	packID(c, &k.mounting, len(s.mountings.list))
	packID(c, &k.wrap, len(s.wraps.list))
	pack.Whole(c, &k.string)
	for _, v := range []*float64{&k.core, &k.gauge, &k.poleHeight, &k.stringHeight} {
		c.Float(v)
	}
	c.Check(k.fault() != lacksCell && k.string <= profiles.MaxStrings)
}

func (s *store) packMaking(c *pack.Coder, m *making, standing *record.Standing) {
	packID(c, &m.spot, len(s.spots))
	packID(c, &m.how, len(s.hows.list))
	packLines(c, &m.rows)
	pack.Whole(c, &m.good)
	pack.Whole(c, &m.last)
	pack.Whole(c, &m.stage)
	c.Check(0 <= m.good && m.good <= mostTakes && (m.stage == open || m.stage == summed))
	if m.stage == open {
		s.packTakes(c, m, standing)
		return
	}
	if c.Reading() {
		m.sum = &summary{}
	}
	standing.PackRef(c, &m.sum.from)
	standing.PackRef(c, &m.sum.to)
	pack.Whole(c, &m.sum.takenBefore)
	s.packSummary(c, m.sum)
}

// packTakes packs those of an open cell, which may have none.
func (s *store) packTakes(c *pack.Coder, m *making, standing *record.Standing) {
	t := m.open
	if t == nil {
		t = &takes{}
	}
	pack.List(c, &t.list, func(t *take) { s.packTake(c, t, standing) })
	c.Check(len(t.list) <= mostTakes)
	if m.open = t; len(t.list) == 0 {
		m.open = nil
	}
}

func (s *store) packTake(c *pack.Coder, t *take, standing *record.Standing) {
	packFinite(c, &t.level)
	c.Float(&t.freq)
	packFinite(c, &t.rms)
	c.Float(&t.peak)
	packFinite(c, &t.when)
	packInstant(c, &t.at)
	packID(c, &t.batch, len(s.batches.list))
	standing.PackRef(c, &t.ref)
	pack.Whole(c, &t.line)
	c.Check(t.rms > 0 && t.line >= 0)
}

func (s *store) packSummary(c *pack.Coder, x *summary) {
	pack.List(c, &x.lost, func(t *lostTake) {
		pack.Whole(c, &t.line)
		c.Check(t.line >= 0)
	})
	pack.Whole(c, &x.takes)
	if c.Check(0 <= x.takes && x.takes <= mostTakes); x.takes == 0 || c.Damaged() {
		return
	}
	packFinite(c, &x.mean)
	packFinite(c, &x.sd)
	packFinite(c, &x.freq)
	c.Check(x.sd >= 0 && x.freq >= 0)
	packID(c, &x.batch, len(s.batches.list))
	packInstant(c, &x.first)
	if c.Reading() {
		x.stats = &TakeStats{}
	}
	x.stats.pack(c)
}

// pack packs what is said of takes, but for the rows that are none, which spots have.
func (t *TakeStats) pack(c *pack.Coder) {
	packFinite(c, &t.Mean)
	packFinite(c, &t.SD)
	r, top := &t.Trend, &t.Top
	for _, v := range []*float64{&r.Mean, &r.First, &r.Last, &r.Spread, &r.Cross, &top.Value, &top.Scatter} {
		packFinite(c, v)
	}
	c.Float(&top.Step)
	pack.Whole(c, &top.Reached)
	pack.Whole(c, &top.Takes)
	packLines(c, &top.Rows)
	c.Bool(&top.OfPeaks)
	c.Check(t.SD >= 0 && !math.IsNaN(top.Step) && 0 <= top.Reached && top.Reached <= top.Takes && top.Takes <= mostTakes)
}

// link finds what follows from the spots and the cells that were read.
func (s *store) link(c *pack.Coder) {
	s.open, s.kept, s.known = nil, 0, false
	for i := range s.spots {
		s.spots[i].cell = -1
	}
	for i := range s.cells {
		m := &s.cells[i]
		p := &s.spots[m.spot]
		m.older, p.cell = p.cell, int32(i)
		if m.stage == open {
			s.open, s.kept = append(s.open, int32(i)), s.kept+m.count()
		}
	}
}
