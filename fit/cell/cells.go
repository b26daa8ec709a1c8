package cell

import (
	"cmp"
	"crypto/sha256"
	"fmt"
	"io"
	"iter"
	"maps"
	"math"
	"slices"
	"strconv"
	"strings"
	"time"

	"evenpole/capture/record"
	"evenpole/fit/level"
	"evenpole/fit/solve"
	"evenpole/profiles"

	"gonum.org/v1/gonum/stat"
)

// Cell is what all good takes of one string over one pole in one session say
// together: the unit that models are fitted to. Lengths in mm.
type Cell struct {
	Pickup       string
	Session      string // a second mounting of the same pickup is another cell
	String       int    // 1 is the highest-pitched string
	Set          string // string set, "" when not named
	Core         float64
	Gauge        float64       // 0 when a wound string's is not known
	Wrap         profiles.Wrap // Unnamed when a wound string's is not told
	PoleHeight   float64
	StringHeight float64
	Mode         record.Mode         // Pluck or Drive
	Excite       profiles.Excitation // "" when not told

	Batch string
	Takes int       // good takes that Mean stands for
	Mean  float64   // robust mean of ln v, v in mV: Huber's, see robustMean
	SD    float64   // of one take, ln v; 0 for a single take
	Freq  float64   // median, Hz; see tune where it was not measured; 0 when it is not known
	First time.Time // UTC, of the first good take; zero when the rows have no time
	Rows  []Span    // where the takes stand, flagged ones among them

	Weight float64 // how far to trust it: 1, or less for a suspect cell; see Screen

	Field      float64 // ln of the flux density over its pole against others of its batch: see AddFields
	FieldKnown bool    // it was measured

	UsualPitch bool // Freq is what such strings usually sound at: none was measured

	Within *within // what its takes say beside their mean; nil when not gathered
}

// Plain is the arithmetic mean of the takes, ln v, and the standard deviation of
// one of them, 0 for a single take: what a verdict is made by, in which every take
// counts alike.
func (c *Cell) Plain() (mean, sd float64) {
	if c.Within == nil {
		return c.Mean, c.SD
	}
	return c.Within.mean, c.Within.sd
}

// Trust is the cell's weight; cells that were not gathered have all of it.
func (c *Cell) Trust() float64 {
	if c.Weight == 0 {
		return 1
	}
	return c.Weight
}

// Suspected reports whether a mistake is thought to touch the cell.
func (c *Cell) Suspected() bool { return c.Trust() < 1 }

// Trusted are the cells that no mistake is thought to touch; all of them where
// none is left.
func Trusted(cells []Cell) []Cell {
	var out []Cell
	for _, c := range cells {
		if !c.Suspected() {
			out = append(out, c)
		}
	}
	if out == nil {
		return cells
	}
	return out
}

// Gap is the distance from the top of the pole to the underside of the string
// at rest, mm.
func (c *Cell) Gap() float64 { return c.StringHeight - c.PoleHeight }

// Radius of the string, mm.
func (c *Cell) Radius() float64 { return max(c.Gauge, c.Core) / 2 }

// Lines names the cell's lines, such as "4-12, 30"; those of a file but the
// first are marked with its number.
func (c *Cell) Lines() string {
	var out []string
	for _, s := range c.Rows {
		text := strconv.Itoa(s.First)
		if s.Last > s.First {
			text += "-" + strconv.Itoa(s.Last)
		}
		if s.File > 0 {
			text += fmt.Sprintf(" of file %d", s.File+1)
		}
		out = append(out, text)
	}
	return strings.Join(out, ", ")
}

// Span is a run of lines of one file.
type Span struct {
	File  int `json:"file"`  // which of Gather's files, from 0
	First int `json:"first"` // lines; the header is line 1
	Last  int `json:"last"`
}

// Data is a record as models see it.
type Data struct {
	Cells    []Cell    // by pickup, session and string
	Readings int       // rows read
	Used     int       // takes in cells
	LeftOut  []LeftOut // by reason

	Suspects []Suspect // mistakes that the record seems to hold: see Screen

	Magnets map[string]float64 // ln of the flux density of single magnets against their batch: see AddFields
	FieldSD float64            // its standard deviation within a batch; 0 when not measured
	Batches map[string]float64 // ln of the flux density of loose magnets, mT at one probe gap, of each batch: see AddFields

	Impossible []Cell // what the rows left out as isImpossible would be, for Screen
}

// LeftOut counts the rows that are in no cell for one reason.
type LeftOut struct {
	Reason string `json:"reason"`
	Count  int    `json:"count"`
	File   int    `json:"file"` // of the first such row: which of Gather's files, from 0
	Line   int    `json:"line"` // of the first such row
}

// The reasons to leave a row out, besides those of [record.Standing].
const (
	isQuiet      = "quiet level"
	lacksCell    = "lacks string, core or height"
	isImpossible = "diameters or heights that cannot be: a slip, or another unit"
	lacksLevel   = "no level"
	isUnheard    = "not above the quiet level"
	isUnneeded   = "more takes than a cell needs"
)

// Unnamed is the wrap of a wound string whose wrap the record does not name.
const Unnamed profiles.Wrap = "wound"

// mostTakes is how many takes of a cell are kept: with so many, the error of
// their mean is far below that of setting a height.
const mostTakes = 1000

// Gather collapses the rows of readings files into cells in one pass. Memory
// grows with the number of cells; at most 1000 takes of a cell are kept.
//
// A take is good when its status is ok and its RMS is above its quiet level:
// v^2 = rms^2 - quiet^2 (no quiet level counts as 0). A reading with the
// identity (jig, boot, seq) of an earlier one, in the same file or another,
// counts once; a retracted row takes back the reading with its identity, in
// whichever file and order they stand. Rows without boot have no identity. Rows
// without a pickup's name are one pickup for each file. The order of rows
// matters to nothing but line numbers and cells of more than 1000 takes.
//
// The first error of a file ends the reading and is returned as it is. No row
// at all is no error here: models say what they lack.
func Gather(files ...iter.Seq2[record.Reading, error]) (*Data, error) {
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
			g.add(&r)
		}
	}
	return g.data(), nil
}

// Fingerprint is the SHA-256 of all that a model can learn from the cells, in
// hex. Neither the order of rows nor what was left out changes it, nor does what
// the program calls a field of a cell: what is hashed is written out here.
func (d *Data) Fingerprint() string {
	h := sha256.New()
	fmt.Fprintln(h, "evenpole cells 1")
	for i := range d.Cells {
		d.Cells[i].writeTo(h)
	}
	writeNamed(h, "magnet", d.Magnets)
	writeNamed(h, "batch", d.Batches)
	fmt.Fprintf(h, "field_sd=%v\n", d.FieldSD)
	return fmt.Sprintf("%x", h.Sum(nil))
}

// writeTo writes what a fingerprint covers of a cell, one line. Numbers have as
// many digits as tell them from their neighbours.
func (c *Cell) writeTo(w io.Writer) {
	first := ""
	if !c.First.IsZero() {
		first = c.First.UTC().Format(time.RFC3339Nano)
	}
	fmt.Fprintf(w, "pickup=%q session=%q string=%d set=%q core=%v gauge=%v wrap=%q pole_height=%v string_height=%v mode=%q excite=%q",
		c.Pickup, c.Session, c.String, c.Set, c.Core, c.Gauge, c.Wrap, c.PoleHeight, c.StringHeight, c.Mode, c.Excite)
	fmt.Fprintf(w, " batch=%q takes=%d mean=%v sd=%v freq=%v first=%q weight=%v field=%v field_known=%t usual_pitch=%t\n",
		c.Batch, c.Takes, c.Mean, c.SD, c.Freq, first, c.Weight, c.Field, c.FieldKnown, c.UsualPitch)
}

// writeNamed writes figures by name, in order.
func writeNamed(w io.Writer, what string, figures map[string]float64) {
	for _, name := range slices.Sorted(maps.Keys(figures)) {
		fmt.Fprintf(w, "%s %q=%v\n", what, name, figures[name])
	}
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

// filed is where rows stand that are of a cell and no takes of it.
func (k key) filed() key {
	k.mode, k.excite = "", ""
	return k
}

// gathered is a cell in the making.
type gathered struct {
	batch string
	takes []take
	rows  []Span
}

type take struct {
	level, freq float64 // ln v; Hz
	rms, peak   float64 // mV
	when        float64 // see timeOf
	time        time.Time
	ref         record.Ref
	file, line  int32
}

type gatherer struct {
	file     int
	unnamed  string // the name of a pickup without one
	readings int
	standing record.Standing
	cells    map[key]*gathered
	others   map[key]*gathered // rows that are no takes, by key.filed
	left     map[string]*LeftOut
}

// leave counts a row that is in no cell.
func (g *gatherer) leave(reason string, file, line int) {
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

func (g *gatherer) add(r *record.Reading) {
	g.readings++
	ref, why := g.standing.Meet(r)
	switch {
	case why == record.TakesBack || why == record.Repeated:
		g.leaveOther(r, string(why))
	case r.Mode == record.Quiet:
		g.leaveOther(r, isQuiet)
	default:
		g.addTake(r, ref, why)
	}
}

// leaveOther counts a row that is no take, and notes with which cell it stands.
func (g *gatherer) leaveOther(r *record.Reading, reason string) {
	g.leave(reason, g.file, r.Line)
	if k := g.key(r); k.fault() != lacksCell {
		gatheredAt(g.others, k.filed()).touch(g.file, r.Line)
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
		g.leave(fault, g.file, r.Line)
	}
	if fault == lacksCell {
		return
	}
	c := gatheredAt(g.cells, k)
	c.touch(g.file, r.Line)
	if c.batch == "" {
		c.batch = r.Batch
	}
	y, reason := levelOf(r, why)
	if reason == "" && len(c.takes) == mostTakes {
		reason = isUnneeded
	}
	if reason != "" {
		if fault == "" {
			g.leave(reason, g.file, r.Line)
		}
		return
	}
	c.takes = append(c.takes, take{y, r.Freq, r.RMS, r.Peak, timeOf(r), r.Time.UTC(), ref, int32(g.file), int32(r.Line)})
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

// gaugeAndWrap fills in what a row may leave out: a string of unnamed wrap
// is plain when its gauge is absent or equal to its core.
func gaugeAndWrap(r *record.Reading) (gauge float64, wrap profiles.Wrap) {
	known := r.Gauge > 0
	switch {
	case r.Wrap == "" && (!known || r.Gauge == r.Core):
		return r.Core, profiles.Plain
	case r.Wrap == "":
		return r.Gauge, Unnamed
	case known:
		return r.Gauge, r.Wrap
	case r.Wrap == profiles.Plain:
		return r.Core, profiles.Plain
	}
	return 0, r.Wrap
}

// Lengths beyond these, mm, are slips or in another unit: no string has such a
// core, and none is heard at such a gap (common practice).
const (
	leastCore, mostCore = 0.1, 4
	mostGap             = 20
)

// fault says why there can be no such cell; "" when there can.
func (k *key) fault() string {
	switch {
	case k.string < 1 || !solve.Finite(k.core+k.poleHeight+k.stringHeight+k.gauge) || k.core == 0:
		return lacksCell
	case k.core < leastCore || k.core > mostCore || k.gauge != 0 && k.gauge < k.core:
		return isImpossible
	case k.poleHeight >= k.stringHeight || k.stringHeight-k.poleHeight > mostGap:
		return isImpossible
	}
	return ""
}

// Fault says what about a cell's lengths cannot be, and in which columns of a
// readings file; "" when there can be such a cell.
func (c *Cell) Fault() (columns []string, cause string) {
	mm := func(v float64) string { return fmt.Sprintf("%.4g", v) }
	k := key{string: c.String, core: c.Core, gauge: c.Gauge, poleHeight: c.PoleHeight, stringHeight: c.StringHeight}
	switch {
	case k.fault() == "":
		return nil, ""
	case c.Core < leastCore || c.Core > mostCore:
		return []string{"core_mm"}, fmt.Sprintf("core %s mm of string %d: no string has such a core (%g to %g mm)", mm(c.Core), c.String, leastCore, float64(mostCore))
	case c.Gauge != 0 && c.Gauge < c.Core:
		return []string{"core_mm", "gauge_mm"}, fmt.Sprintf("gauge %s mm of string %d is below its core, %s mm", mm(c.Gauge), c.String, mm(c.Core))
	case c.PoleHeight >= c.StringHeight:
		return []string{"pole_height_mm", "string_height_mm"}, fmt.Sprintf("pole height %s mm of string %d stands in the string, at %s mm", mm(c.PoleHeight), c.String, mm(c.StringHeight))
	}
	return []string{"pole_height_mm", "string_height_mm"}, fmt.Sprintf("string %d at %s mm over a pole of %s mm: none is heard beyond a gap of %d mm", c.String, mm(c.StringHeight), mm(c.PoleHeight), mostGap)
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

// touch notes a line of the cell.
func (c *gathered) touch(file, line int) {
	if n := len(c.rows); n > 0 {
		if last := &c.rows[n-1]; last.File == file && (last.Last+1 == line || last.Last == line || n == mostTakes) {
			last.Last = line
			return
		}
	}
	c.rows = append(c.rows, Span{file, line, line})
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
		if g.standing.TakenBack(t.ref) {
			if k.fault() == "" {
				g.leave(string(record.TakenBack), int(t.file), int(t.line))
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
	cell := Cell{
		Pickup: k.pickup, Session: k.session, String: k.string, Set: k.set, Core: k.core, Gauge: k.gauge, Wrap: k.wrap,
		PoleHeight: k.poleHeight, StringHeight: k.stringHeight, Mode: k.mode, Excite: k.excite,
		Batch: c.batch, Takes: len(levels), First: firstOf(kept), Rows: c.rows, Weight: 1,
	}
	cell.Within = &within{mean: stat.Mean(levels, nil), sd: solve.StdDev(levels), Top: ceilingOf(kept)}
	cell.Mean, cell.SD = solve.RobustMean(levels)
	cell.Within.Trend = trendOf(kept, cell.Mean, cell.SD)
	if other := g.others[k.filed()]; other != nil {
		cell.Within.Others = other.rows
	}
	if len(freqs) > 0 {
		slices.Sort(freqs)
		cell.Freq = solve.Median(freqs)
	}
	return cell, true
}

// firstOf is the earliest time of takes; zero when none has one.
func firstOf(takes []take) time.Time {
	var first time.Time
	for _, t := range takes {
		if !t.time.IsZero() && (first.IsZero() || t.time.Before(first)) {
			first = t.time
		}
	}
	return first
}

func compareCells(a, b Cell) int {
	return cmp.Or(
		strings.Compare(a.Pickup, b.Pickup), strings.Compare(a.Session, b.Session), cmp.Compare(a.String, b.String),
		strings.Compare(a.Set, b.Set), cmp.Compare(a.Core, b.Core), cmp.Compare(a.Gauge, b.Gauge), cmp.Compare(a.Wrap, b.Wrap),
		cmp.Compare(a.PoleHeight, b.PoleHeight), cmp.Compare(a.StringHeight, b.StringHeight),
		cmp.Compare(a.Mode, b.Mode), cmp.Compare(a.Excite, b.Excite),
	)
}
