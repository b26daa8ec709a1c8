package cell

import (
	"errors"
	"fmt"
	"iter"
	"math"
	"slices"
	"strings"

	"evenpole/capture/record"
	"evenpole/fit/level"
	"evenpole/fit/solve"
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
// Cells of a long record are summed up when no row of theirs has come for a while. Where
// one comes later, or takes back what was summed up, the files are read a second time for
// those cells: up to the rows that were read before, as a record may grow meanwhile.
//
// The first error of a file ends the reading and is returned as it is. No row
// at all is no error here: models say what they lack.
func Gather(files ...iter.Seq2[record.Reading, error]) (*Data, error) {
	return GatherOnly(everything, files...)
}

// GatherOnly makes cells of the rows that are wanted. It reads the other rows, too, as
// one of them may take a wanted row back.
func GatherOnly(wanted func(*record.Reading) bool, files ...iter.Seq2[record.Reading, error]) (*Data, error) {
	return newGatherer(mostOpen).gather(wanted, files)
}

func everything(*record.Reading) bool { return true }

// gatherer makes cells of rows.
type gatherer struct {
	store
	readings int
	rows     []int // of each file
	standing record.Standing
	left     map[string]*LeftOut
}

func newGatherer(mostOpen int) *gatherer {
	return &gatherer{store: newStore(mostOpen), left: map[string]*LeftOut{}}
}

func (g *gatherer) gather(wanted func(*record.Reading) bool, files []iter.Seq2[record.Reading, error]) (*Data, error) {
	if err := g.read(wanted, files); err != nil {
		return nil, err
	}
	return g.data(), nil
}

// read reads the files.
func (g *gatherer) read(wanted func(*record.Reading) bool, files []iter.Seq2[record.Reading, error]) error {
	for i, rows := range files {
		g.begin(i, len(files))
		n, err := g.meet(wanted, rows)
		if err != nil {
			return err
		}
		g.rows = append(g.rows, n)
	}
	if g.miss(&g.standing) {
		return g.gatherAgain(wanted, files)
	}
	return nil
}

// meet takes the rows of a file, and counts them.
func (g *gatherer) meet(wanted func(*record.Reading) bool, rows iter.Seq2[record.Reading, error]) (n int, err error) {
	r := new(record.Reading)
	for row, err := range rows {
		if err != nil {
			return n, err
		}
		n++
		*r = row
		if ref, why := g.standing.Meet(r); wanted(r) {
			g.add(r, ref, why)
		}
	}
	return n, nil
}

// begin begins a file.
func (g *gatherer) begin(file, files int) {
	unnamed := ""
	if files > 1 {
		unnamed = fmt.Sprintf("file %d", file+1)
	}
	g.store.begin(file, unnamed)
}

// errChanged says that a second reading was not of the same rows.
var errChanged = errors.New("the readings changed while they were read: read them again")

// gatherAgain reads the files a second time, for the takes of cells that were summed up
// too early.
func (g *gatherer) gatherAgain(wanted func(*record.Reading) bool, files []iter.Seq2[record.Reading, error]) error {
	var standing record.Standing
	r := new(record.Reading)
	for i, rows := range files {
		g.begin(i, len(files))
		n := 0
		for row, err := range rows {
			if n == g.rows[i] {
				break
			}
			if err != nil {
				return err
			}
			n++
			*r = row
			ref, why := standing.Meet(r)
			if y, reason := levelOf(r, why); reason == "" && isTake(r, why) && wanted(r) {
				g.keepMissed(r, y, ref)
			}
		}
		if n != g.rows[i] {
			return errChanged
		}
	}
	return nil
}

// isTake reports whether a row is a take, good or not.
func isTake(r *record.Reading, why record.Reason) bool {
	return why != record.TakesBack && why != record.Repeated && r.Mode != record.Quiet
}

func (g *gatherer) add(r *record.Reading, ref record.Ref, why record.Reason) {
	g.readings++
	switch {
	case isTake(r, why):
		g.addTake(r, ref, why)
	case r.Mode == record.Quiet && why != record.TakesBack && why != record.Repeated:
		g.passOver(r, isQuiet)
	default:
		g.passOver(r, string(why))
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
	if file < l.File || file == l.File && line < l.Line { // takes that were taken back come by cells
		l.File, l.Line = file, line
	}
}

// passOver counts a row that is no take, and notes with which cell it stands.
func (g *gatherer) passOver(r *record.Reading, reason string) {
	g.leaveOut(reason, g.file, r.Line)
	if at, _ := g.find(r); at >= 0 {
		p := &g.spots[at]
		p.others = addLine(p.others, int32(g.file), int32(r.Line))
	}
}

func (g *gatherer) addTake(r *record.Reading, ref record.Ref, why record.Reason) {
	at, fault := g.find(r)
	if fault != "" {
		g.leaveOut(fault, g.file, r.Line)
	}
	if at < 0 {
		return
	}
	c := g.cellOf(r, at)
	c.rows = addLine(c.rows, int32(g.file), int32(r.Line))
	y, reason := levelOf(r, why)
	if reason == "" && c.good == mostTakes {
		reason = isUnneeded
	}
	if reason != "" {
		if fault == "" {
			g.leaveOut(reason, g.file, r.Line)
		}
		return
	}
	g.keep(c, r, y, ref)
	if g.kept > g.mostOpen {
		g.sumUpIdle(&g.standing, int32(g.mostOpen/4))
		if g.kept > g.mostOpen/2 { // few were idle
			g.mostOpen *= 2
		}
	}
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

// data ends the gathering.
func (g *gatherer) data() *Data {
	d := &Data{Readings: g.readings}
	d.Cells, d.Impossible = g.finish(&g.standing, func(t lostTake) { g.leaveOut(string(record.TakenBack), int(t.file), int(t.line)) })
	for i := range d.Cells {
		d.Used += d.Cells[i].Takes
	}
	d.tune()
	for _, l := range g.left {
		d.LeftOut = append(d.LeftOut, *l)
	}
	slices.SortFunc(d.LeftOut, func(a, b LeftOut) int { return strings.Compare(a.Reason, b.Reason) })
	return d
}
