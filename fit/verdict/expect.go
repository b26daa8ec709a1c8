package verdict

import (
	"math"
	"slices"

	"evenpole/capture/record"
	"evenpole/fit"
	"evenpole/fit/cell"
	"evenpole/fit/level"
	"evenpole/fit/solve"
	"evenpole/profiles"

	"gonum.org/v1/gonum/stat"
)

// expect compares the levels with what the model expects, looks for causes, and reads
// the field probe, which needs no model to see a reversed pole.
func (c *check) expect() error {
	if c.opt.Bench == nil {
		return nil
	}
	x, lacks := c.newExpectation()
	probe, err := c.probe(x)
	if err != nil {
		return err
	}
	switch {
	case lacks != "":
		c.note("not compared with what the model expects: %s", lacks)
	case x != nil:
		x.probe = probe
		x.prepare()
		c.x = x
		d := &Diagnosis{Source: c.opt.Bench.Model.Source(), Strings: x.strings(c.shift), Causes: []Cause{}}
		d.Causes = append(d.Causes, x.causes()...)
		d.Tell = x.whatWouldTell(d.Causes)
		c.v.Diagnosis = d
	}
	c.polarity(probe)
	return nil
}

// probe is what the field probe says of the pickup; x is nil when it is not compared.
func (c *check) probe(x *expectation) (*probe, error) {
	poles := len(c.v.Strings)
	if c.opt.Bench.Fields == nil {
		return &probe{poles: poles}, nil
	}
	var cells []cell.Cell
	if x != nil {
		cells = x.cells
	}
	return probed(c.opt.Bench.Fields, c.v.Pickup, c.v.Batch, poles, cells)
}

// polarity warns of poles that have the other side up than most, of which balances
// say nothing. One alone, with every pole measured, is a mistake and fails the pickup;
// as long as poles are not measured, it may be one of several. Several may be meant.
func (c *check) polarity(p *probe) {
	turned, faint := p.sides()
	for _, n := range turned {
		c.warn("%s: its pole has the other side up than most (%+.0f mT), which no balance shows", c.name(n-1), p.field(n-1))
	}
	for _, n := range faint {
		c.warn("%s: its pole has hardly any field (%+.0f mT): demagnetised, or no magnet; which side is up cannot be told", c.name(n-1), p.field(n-1))
	}
	switch {
	case len(turned) != 1:
	case p.complete():
		c.turned = turned[0]
		c.v.Verdict = OutOfTolerance
	case c.v.Verdict == Conforms:
		c.v.Verdict = CannotTell
	}
	if c.order.Poles == profiles.Rod && !p.complete() {
		c.note("without a reading of the field over every pole a reversed magnet goes unseen: capture with --field all")
	}
}

// newExpectation is that of the mounting as the record has it, or what the record
// lacks for one; neither when there is no model.
func (c *check) newExpectation() (x *expectation, lacks string) {
	n := len(c.v.Strings)
	if c.opt.Bench.Model == nil {
		return nil, ""
	}
	x = &expectation{
		model: c.opt.Bench.Model, sets: c.opt.Bench.Sets, heights: make([]float64, n), noise: make([]float64, n), probe: &probe{}, relative: c.session.relative(),
		setup: &fit.Setup{
			StringHeights: make([]float64, n), Poles: c.order.Poles, Batch: c.v.Batch, Excite: c.session.excite(),
			ScaleLength: c.order.ScaleLength, PickupFromBridge: c.order.PickupFromBridge, Spacing: c.order.Spacing(),
		},
	}
	if n < 2 {
		return nil, "a pickup of one string has no balance"
	}
	if under := c.order.Under(); under != "" && !slices.Contains(x.model.Measured().Under, under) {
		return nil, "the model was fitted to no pickup with " + under.Words()
	}
	bench := perDB(solve.Square(float64(x.model.ResidualSD())) + c.channel()*c.channel())
	for i := range n {
		t := c.session.takes(i)
		x.heights[i], x.setup.StringHeights[i] = cell.Height(&t.row), t.row.StringHeight
		x.setup.Strings = append(x.setup.Strings, mounted(&t.row, c.order.Strings[i]))
		if gap := t.row.StringHeight - t.row.PoleHeight; !(gap > 0) || !known(gap) || !(t.row.Core > 0) {
			return nil, c.name(i) + ": the record does not say its heights and its core"
		}
		x.cells = append(x.cells, c.cell(i, x.setup))
		x.levels = append(x.levels, math.NaN())
		if len(t.levels) > 0 {
			x.levels[i] = stat.Mean(t.levels, nil) / level.PerLn
			x.noise[i] = bench + perDB(c.scatter())/float64(len(t.levels))
		}
	}
	return x, ""
}

// perDB turns a variance in dB² into one of ln v.
func perDB(variance float64) float64 { return variance / (level.PerLn * level.PerLn) }

// scatter is the variance of a single take in dB², pooled over the strings; that of a
// usual pluck (our assumption) when no string has two takes.
func (c *check) scatter() float64 {
	const usual = 0.3 // dB
	var squares, dof float64
	for i := range c.v.Strings {
		if l := c.session.takes(i).levels; len(l) > 1 {
			squares += stat.Variance(l, nil) * float64(len(l)-1)
			dof += float64(len(l) - 1)
		}
	}
	if dof == 0 {
		return usual * usual
	}
	return squares / dof
}

// mounted is the string that a row says was on the jig, with the note of the one
// ordered.
func mounted(r *record.Reading, ordered profiles.String) profiles.String {
	s := profiles.String{Note: ordered.Note, Gauge: r.Gauge, Core: r.Core, Wrap: r.Wrap}
	if !known(s.Gauge) {
		s.Gauge = r.Core
		if s.Wrap != "" && !s.Plain() {
			s.Gauge = max(ordered.Gauge, r.Core)
		}
	}
	if s.Wrap == "" {
		s.Wrap = ordered.Wrap
		if s.Gauge == s.Core {
			s.Wrap = profiles.Plain
		}
	}
	return s
}

// cell is string i of the session as a cell, without a level.
func (c *check) cell(i int, s *fit.Setup) cell.Cell {
	t, str := c.session.takes(i), s.Strings[i]
	out := cell.Cell{
		Mounting: &cell.Mounting{Pickup: c.v.Pickup, Set: t.row.StringSet, Under: c.order.Under(), Batch: c.v.Batch, Mode: t.row.Mode, Excite: s.Excite},
		String:   i + 1, Core: str.Core, Gauge: str.Gauge, Wrap: str.Wrap, PoleHeight: cell.Height(&t.row), StringHeight: t.row.StringHeight, Takes: len(t.levels),
	}
	if len(t.freqs) > 0 {
		out.Freq = middle(slices.Sorted(slices.Values(t.freqs)))
	} else if hz, err := profiles.Pitch(str.Note); err == nil {
		out.Freq = hz
	}
	return out
}
