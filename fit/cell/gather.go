package cell

import (
	"cmp"
	"fmt"
	"iter"
	"math"
	"slices"
	"strings"

	"evenpole/capture/record"
	"evenpole/fit/level"
	"evenpole/fit/solve"
	"evenpole/profiles"
)

// The reasons to leave a row out, besides those of [record.Standing].
const (
	isQuiet    = "quiet level"
	lacksLevel = "no level"
	isUnheard  = "not above the quiet level"
	isUnneeded = "more takes than a cell needs"
)

// Gather collapses the rows of readings files into cells in one pass. Memory
// grows with the number of cells; at most 1000 takes of a cell are kept.
//
// A take is good when its row counts, see [record.Standing], and its RMS is above its
// quiet level: v^2 = rms^2 - quiet^2 (no quiet level counts as 0). Rows without a
// pickup's name are one pickup for each file. The order of rows matters to line
// numbers, to cells of more than 1000 takes, and to what was taken back and filed
// anew.
//
// The first error of a file ends the reading and is returned as it is. No row
// at all is no error here: models say what they lack.
func Gather(files ...iter.Seq2[record.Reading, error]) (*Data, error) {
	return GatherOnly(func(*record.Reading) bool { return true }, files...)
}

// GatherOnly makes cells of the rows that are wanted. It reads the other rows, too, as
// one of them may take a wanted row back.
func GatherOnly(wanted func(*record.Reading) bool, files ...iter.Seq2[record.Reading, error]) (*Data, error) {
	g := gatherer{
		cells:  map[key]*gathered{},
		others: map[key]*gathered{},
		left:   map[string]*LeftOut{},
	}
	for i, rows := range files {
		g.file = i
		g.unnamed = ""
		if len(files) > 1 {
			g.unnamed = fmt.Sprintf("file %d", i+1)
		}
		for r, err := range rows {
			if err != nil {
				return nil, err
			}
			if ref, why := g.standing.Meet(&r); wanted(&r) {
				g.add(&r, ref, why)
			}
		}
	}
	return g.data(), nil
}

// key is what tells cells apart.
type key struct {
	pickup, session, set                  string
	wrap                                  profiles.Wrap
	mode                                  record.Mode
	excite                                profiles.Excitation
	string                                int
	core, gauge, poleHeight, stringHeight float64
}

// anyExcitation is the key without the excitation: rows that are no takes do
// not say.
func (k key) anyExcitation() key {
	k.mode, k.excite = "", ""
	return k
}

// fault says why there can be no such cell; "" when there can.
func (k *key) fault() string { return fault(k.string, k.core, k.gauge, k.poleHeight, k.stringHeight) }

// gaugeAndWrap fills in what a row may leave out: a string of unnamed wrap
// is plain when its gauge is absent or equal to its core. A wrap that the handbook
// knows is called by its one name, however the row spells it.
func gaugeAndWrap(r *record.Reading) (gauge float64, wrap profiles.Wrap) {
	known := r.Gauge > 0
	named, _ := profiles.ParseWrap(string(r.Wrap))
	switch {
	case r.Wrap == "" && (!known || r.Gauge == r.Core):
		return r.Core, profiles.Plain
	case r.Wrap == "":
		return r.Gauge, Unnamed
	case known:
		return r.Gauge, named
	case named == profiles.Plain:
		return r.Core, profiles.Plain
	}
	return 0, named
}

// gathered is a cell in the making.
type gathered struct {
	takes []take
	rows  []Span
}

// gatherer makes cells of rows.
type gatherer struct {
	file     int
	unnamed  string // the name of a pickup without one
	readings int
	standing record.Standing
	cells    map[key]*gathered
	others   map[key]*gathered // rows that are no takes, by key.mounted
	left     map[string]*LeftOut
}

func (g *gatherer) add(r *record.Reading, ref record.Ref, why record.Reason) {
	g.readings++
	switch {
	case why == record.TakesBack || why == record.Repeated:
		g.passOver(r, string(why))
	case r.Mode == record.Quiet:
		g.passOver(r, isQuiet)
	default:
		g.addTake(r, ref, why)
	}
}

// leaveOut counts a row that is in no cell.
func (g *gatherer) leaveOut(reason string, file, line int) {
	l := g.left[reason]
	if l == nil {
		l = &LeftOut{Reason: reason, File: file, Line: line}
		g.left[reason] = l
	}
	l.Count++
	if file == l.File && line < l.Line {
		l.Line = line
	}
}

// passOver counts a row that is no take, and notes with which cell it stands.
func (g *gatherer) passOver(r *record.Reading, reason string) {
	g.leaveOut(reason, g.file, r.Line)
	if k := g.key(r); k.fault() != lacksCell {
		c := gatheredAt(g.others, k.anyExcitation())
		c.rows = addLine(c.rows, g.file, r.Line)
	}
}

func gatheredAt(cells map[key]*gathered, k key) *gathered {
	c := cells[k]
	if c == nil {
		c = &gathered{}
		cells[k] = c
	}
	return c
}

func (g *gatherer) addTake(r *record.Reading, ref record.Ref, why record.Reason) {
	k := g.key(r)
	fault := k.fault()
	if fault != "" {
		g.leaveOut(fault, g.file, r.Line)
	}
	if fault == lacksCell {
		return
	}
	c := gatheredAt(g.cells, k)
	c.rows = addLine(c.rows, g.file, r.Line)
	y, reason := levelOf(r, why)
	if reason == "" && len(c.takes) == mostTakes {
		reason = isUnneeded
	}
	if reason != "" {
		if fault == "" {
			g.leaveOut(reason, g.file, r.Line)
		}
		return
	}
	c.takes = append(c.takes, take{y, r.Freq, r.RMS, r.Peak, timeOf(r), r.Time.UTC(), r.Batch, ref, int32(g.file), int32(r.Line)})
}

// levelOf returns ln v of a good take, or why it is none.
func levelOf(r *record.Reading, why record.Reason) (y float64, reason string) {
	if why != record.Counts {
		return 0, string(why)
	}
	if !(r.RMS > 0) || !solve.Finite(r.RMS) {
		return 0, lacksLevel
	}
	if y = float64(level.Of(r.RMS, r.Quiet)); math.IsNaN(y) {
		return 0, isUnheard
	}
	return y, ""
}

// key returns the cell that a row belongs to.
func (g *gatherer) key(r *record.Reading) key {
	k := key{
		pickup: r.Pickup, session: r.Session, set: r.StringSet, mode: cmp.Or(r.Mode, record.Pluck), excite: r.Excite,
		string: r.String, core: r.Core, poleHeight: r.PoleHeight, stringHeight: r.StringHeight,
	}
	if k.pickup == "" {
		k.pickup = g.unnamed
	}
	if k.mode == record.Drive {
		k.excite = profiles.Drive
	}
	k.gauge, k.wrap = gaugeAndWrap(r)
	return k
}

// data ends the gathering.
func (g *gatherer) data() *Data {
	d := &Data{Readings: g.readings}
	for k, c := range g.cells {
		x, ok := g.finish(k, c)
		switch {
		case ok && k.fault() != "":
			d.Impossible = append(d.Impossible, x)
		case ok:
			d.Cells = append(d.Cells, x)
			d.Used += x.Takes
		}
	}
	slices.SortFunc(d.Cells, compareCells)
	d.tune()
	slices.SortFunc(d.Impossible, compareCells)
	for _, l := range g.left {
		d.LeftOut = append(d.LeftOut, *l)
	}
	slices.SortFunc(d.LeftOut, func(a, b LeftOut) int { return strings.Compare(a.Reason, b.Reason) })
	return d
}

// finish turns gathered takes into a cell; false when no good one is left.
func (g *gatherer) finish(k key, c *gathered) (Cell, bool) {
	var levels, freqs []float64
	var kept []take
	for _, t := range c.takes {
		if g.standing.IsTakenBack(t.ref) {
			if k.fault() == "" {
				g.leaveOut(string(record.TakenBack), int(t.file), int(t.line))
			}
			continue
		}
		kept = append(kept, t)
		levels = append(levels, t.level)
		if t.freq > 0 && solve.Finite(t.freq) {
			freqs = append(freqs, t.freq)
		}
	}
	if len(levels) == 0 {
		return Cell{}, false
	}
	x := Cell{
		Pickup: k.pickup, Session: k.session, String: k.string, Set: k.set, Core: k.core, Gauge: k.gauge, Wrap: k.wrap,
		PoleHeight: k.poleHeight, StringHeight: k.stringHeight, Mode: k.mode, Excite: k.excite,
		Batch: batchOf(kept), Takes: len(levels), First: firstOf(kept), Rows: c.rows, Weight: 1,
	}
	plain := slices.Clone(levels) // RobustMean sorts
	x.Mean, x.SD = solve.RobustMean(levels)
	x.TakeStats = takeStatsOf(kept, plain, x.Mean, x.SD)
	if other := g.others[k.anyExcitation()]; other != nil {
		x.TakeStats.Others = other.rows
	}
	if len(freqs) > 0 {
		slices.Sort(freqs)
		x.Freq = solve.Median(freqs)
	}
	return x, true
}
