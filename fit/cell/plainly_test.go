package cell

import (
	"cmp"
	"fmt"
	"iter"
	"math"
	"math/rand/v2"
	"reflect"
	"slices"
	"strings"
	"testing"
	"time"

	"evenpole/capture/record"
	"evenpole/capture/record/recordtest"
	"evenpole/fit/solve"
	"evenpole/profiles"

	"gonum.org/v1/gonum/stat"
)

// plainly makes cells as Gather does, in the plainest way: it keeps all rows, and looks
// at them again for each cell.
func plainly(wanted func(*record.Reading) bool, files ...[]record.Reading) *Data {
	type met struct {
		*record.Reading
		file int
		ref  record.Ref
		why  record.Reason
	}
	var standing record.Standing
	var rows []met
	for f, file := range files {
		for i := range file {
			r := &file[i]
			if ref, why := standing.Meet(r); wanted(r) {
				rows = append(rows, met{r, f, ref, why})
			}
		}
	}
	d := &Data{Readings: len(rows)}
	left := map[string]*LeftOut{}
	leave := func(reason string, m met) {
		l := left[reason]
		if l == nil {
			l = &LeftOut{reason, 0, m.file, m.Line}
			left[reason] = l
		}
		l.Count++
		if m.file < l.File || m.file == l.File && m.Line < l.Line {
			l.File, l.Line = m.file, m.Line
		}
	}
	cellOf := func(m met) Cell {
		c := Cell{
			Mounting: &Mounting{Pickup: m.Pickup, Session: m.Session, Set: m.StringSet, Jig: m.Jig, Mode: cmp.Or(m.Mode, record.Pluck), Excite: m.Excite},
			String:   m.String, Core: m.Core, PoleHeight: m.PoleHeight, StringHeight: m.StringHeight,
		}
		if c.Pickup == "" && len(files) > 1 {
			c.Mounting.Pickup = fmt.Sprintf("file %d", m.file+1)
		}
		if c.Mode == record.Drive {
			c.Mounting.Excite = profiles.Drive
		}
		c.Gauge, c.Wrap = GaugeAndWrap(m.Reading)
		return c
	}
	name := func(c Cell, take bool) string {
		if !take {
			c.Remount(func(m *Mounting) { m.Mode, m.Excite = "", "" })
		}
		return fmt.Sprint(c.Pickup, "|", c.Session, "|", c.String, "|", c.Set, "|", c.Jig, "|", c.Core+0, c.Gauge+0, c.Wrap, c.PoleHeight+0, c.StringHeight+0, c.Mode, c.Excite)
	}
	takes, others, lists := map[string][]met{}, map[string][]Span{}, map[string]Cell{}
	lines := map[string][]Span{}
	for _, m := range rows {
		c := cellOf(m)
		lacks := fault(c.String, c.Core, c.Gauge, c.PoleHeight, c.StringHeight)
		switch {
		case m.why == record.TakesBack || m.why == record.Repeated || m.Mode == record.Quiet:
			reason := string(m.why)
			if m.why != record.TakesBack && m.why != record.Repeated {
				reason = isQuiet
			}
			leave(reason, m)
			if lacks != lacksCell {
				others[name(c, false)] = addLine(others[name(c, false)], int32(m.file), int32(m.Line))
			}
			continue
		case lacks != "":
			leave(lacks, m)
		}
		if lacks == lacksCell {
			continue
		}
		k := name(c, true)
		lines[k] = addLine(lines[k], int32(m.file), int32(m.Line))
		_, reason := levelOf(m.Reading, m.why)
		if reason == "" && len(takes[k]) == mostTakes {
			reason = isUnneeded
		}
		switch {
		case reason == "":
			takes[k], lists[k] = append(takes[k], m), c
		case lacks == "":
			leave(reason, m)
		}
	}
	for k, c := range lists {
		possible := fault(c.String, c.Core, c.Gauge, c.PoleHeight, c.StringHeight) == ""
		var levels, freqs, peaks []float64
		var kept []take
		for _, m := range takes[k] {
			if standing.IsTakenBack(m.ref) {
				if possible {
					leave(string(record.TakenBack), m)
				}
				continue
			}
			y, _ := levelOf(m.Reading, m.why)
			levels = append(levels, y)
			kept = append(kept, takeOf(m.Reading, y, 0, m.ref, m.file))
			if m.Freq > 0 && solve.Finite(m.Freq) {
				freqs = append(freqs, m.Freq)
			}
			c.Mounting.Batch = cmp.Or(c.Batch, m.Batch)
			if t := InstantOf(m.Time); !t.IsZero() && (c.First.IsZero() || t.Before(c.First)) {
				c.First = t
			}
		}
		if len(levels) == 0 {
			continue
		}
		c.Takes, c.Rows, c.Weight = len(levels), lines[k], 1
		c.Mean, c.SD = solve.RobustMean(slices.Clone(levels))
		if slices.Sort(freqs); len(freqs) > 0 {
			c.Freq = solve.Median(freqs)
		}
		var w sums
		c.TakeStats = &TakeStats{Mean: stat.Mean(levels, nil), SD: solve.StdDev(levels), Trend: trendOf(kept, c.Mean, c.SD), Top: w.ceilingOf(kept), Others: others[name(c, false)]}
		for i := range kept {
			peaks = append(peaks, kept[i].loudest(c.TakeStats.Top.OfPeaks))
		}
		slices.Sort(peaks)
		c.TakeStats.Top.Scatter = 0
		if len(peaks) > 1 {
			c.TakeStats.Top.Scatter = stat.StdDev(peaks, nil) / stat.Mean(peaks, nil)
		}
		if possible {
			d.Cells, d.Used = append(d.Cells, c), d.Used+c.Takes
		} else {
			d.Impossible = append(d.Impossible, c)
		}
	}
	for _, list := range [][]Cell{d.Cells, d.Impossible} {
		slices.SortFunc(list, func(a, b Cell) int {
			return cmp.Or(strings.Compare(a.Pickup, b.Pickup), strings.Compare(a.Session, b.Session), a.String-b.String, strings.Compare(a.Set, b.Set), strings.Compare(a.Jig, b.Jig),
				cmp.Compare(a.Core, b.Core), cmp.Compare(a.Gauge, b.Gauge), cmp.Compare(a.Wrap, b.Wrap), cmp.Compare(a.PoleHeight, b.PoleHeight),
				cmp.Compare(a.StringHeight, b.StringHeight), cmp.Compare(a.Mode, b.Mode), cmp.Compare(a.Excite, b.Excite))
		})
	}
	d.tune()
	for _, l := range left {
		d.LeftOut = append(d.LeftOut, *l)
	}
	slices.SortFunc(d.LeftOut, func(a, b LeftOut) int { return strings.Compare(a.Reason, b.Reason) })
	return d
}

// randomRows are rows of a small bench on which everything happens; order says how far
// rows of a cell stand apart.
func randomRows(r *rand.Rand, n int) []record.Reading {
	pick := func(texts ...string) string { return texts[r.IntN(len(texts))] }
	var rows []record.Reading
	x := good()
	mix := r.IntN(20)
	for i := range n {
		x.Seq, x.HasSeq, x.Line, x.Status, x.Mode = uint32(i%200), true, 2+i+i/7, record.OK, record.Pluck
		x.RMS, x.Quiet, x.Freq = float64(1+r.IntN(9000))/1000, 0.3, float64(r.IntN(3)*r.IntN(1000))
		x.Peak = float64(r.IntN(20)) * x.RMS / 5
		x.Time = time.Time{}
		if r.IntN(9) > 0 {
			x.Time = time.Unix(1e9+int64(r.IntN(1e6)), int64(r.IntN(1e9))).UTC()
		}
		if r.IntN(mix+1) == 0 {
			x.Pickup, x.Session, x.StringSet, x.Batch = pick("", "P1", "P2"), pick("s1", "s2"), pick("", "ten"), pick("", "M1", "M2")
			x.Boot, x.Jig = pick("", "A", "B"), pick("j", "k")
			x.String, x.Wrap, x.Excite = r.IntN(7), profiles.Wrap(pick("", "plain", "nickel", "Nickel")), profiles.Excitation(pick("travel", "force"))
			x.Gauge, x.PoleHeight, x.StringHeight = []float64{math.NaN(), x.Core, 0.5, 0.1}[r.IntN(4)], float64(r.IntN(3)), []float64{1.5, 3, 3.5, math.NaN()}[r.IntN(4)]
		}
		switch r.IntN(12) {
		case 0:
			x.Mode = record.Mode(pick("Q", "D", ""))
		case 1:
			x.Status = record.Status(pick("clipped", "", "retracted", "retracted"))
			x.Seq = uint32(r.IntN(200))
		case 2:
			x.RMS = []float64{math.NaN(), 0.2, 0, math.Inf(1)}[r.IntN(4)]
		case 3:
			x.HasSeq = false
		}
		rows = append(rows, x)
	}
	return rows
}

// However early cells are summed up, they are those that all rows together make.
func TestGatherAsPlainly(t *testing.T) {
	again := 0
	for seed := range uint64(300) {
		r := rand.New(rand.NewPCG(seed, 5))
		files := [][]record.Reading{randomRows(r, r.IntN(400)), randomRows(r, r.IntN(400))}[:1+r.IntN(2)]
		wanted := func(x *record.Reading) bool { return seed%5 > 0 || x.Session == "s1" }
		want := plainly(wanted, files...)
		for _, most := range []int{1, 8, 50, mostOpen} {
			g := newGatherer(most)
			reads := 0
			var seqs []iter.Seq2[record.Reading, error]
			for _, f := range files {
				seqs = append(seqs, func(yield func(record.Reading, error) bool) {
					reads++
					recordtest.Rows(f)(yield)
				})
			}
			got, err := g.gather(wanted, seqs)
			if err != nil {
				t.Fatal(err)
			}
			if reads > len(files) {
				again++
			}
			if !reflect.DeepEqual(got, want) {
				t.Fatalf("seed %d, %d takes kept: %s", seed, most, difference(got, want))
			}
		}
	}
	if again == 0 {
		t.Error("no file was read again: the test does not see what it is for")
	}
}

// difference tells the first cell that differs, or what else does.
func difference(got, want *Data) string {
	for i := range min(len(got.Cells), len(want.Cells)) {
		if a, b := got.Cells[i], want.Cells[i]; !reflect.DeepEqual(a, b) {
			return fmt.Sprintf("cell %d: got\n%+v %+v\nwant\n%+v %+v", i, a, *a.TakeStats, b, *b.TakeStats)
		}
	}
	return fmt.Sprintf("got %d cells, %d impossible, %d used, %v, want %d, %d, %d, %v", len(got.Cells), len(got.Impossible), got.Used, got.LeftOut,
		len(want.Cells), len(want.Impossible), want.Used, want.LeftOut)
}

// A record that grows while it is read a second time is taken as it was the first time,
// and one that is another is refused.
func TestGatherAgainTakesTheSameRows(t *testing.T) {
	r := rand.New(rand.NewPCG(7, 7))
	rows := randomRows(r, 300)
	all := func(*record.Reading) bool { return true }
	read := func(later []record.Reading) (*Data, error) {
		reads := 0
		return newGatherer(1).gather(all, []iter.Seq2[record.Reading, error]{func(yield func(record.Reading, error) bool) {
			if reads++; reads > 1 {
				recordtest.Rows(later)(yield)
				return
			}
			recordtest.Rows(rows)(yield)
		}})
	}
	got, err := read(append(slices.Clone(rows), randomRows(r, 50)...))
	if err != nil {
		t.Fatal(err)
	}
	if !reflect.DeepEqual(got, plainly(all, rows)) {
		t.Error("rows that came meanwhile are in the cells")
	}
	if _, err := read(rows[:100]); err != errChanged {
		t.Errorf("got %v for a record that lost rows", err)
	}
}
