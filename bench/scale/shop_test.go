package main

import (
	"bufio"
	"bytes"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"testing"

	"evenpole/capture/record"
	"evenpole/fit/cell"
	"evenpole/jig"
	"evenpole/jig/sim"
	"evenpole/profiles"
)

// Levels between the nodes are those of the simulated jig to within what a set of
// neighbours does beside its mean.
func TestLevelsAreTheJigs(t *testing.T) {
	set := heard()[0]
	r := rand.New(rand.NewPCG(1, 2))
	for range 3 {
		j := sim.New(sim.Config{Excite: jig.Travel, Scatter: &sim.Scatter{}})
		var m sim.Mounted
		p := pickup{}
		for i, s := range set.strings {
			hz, _ := profiles.Pitch(s.Note) // the sets of this program
			p.heights[i] = 0.1 + 2.3*r.Float64()
			m.Poles = append(m.Poles, sim.Pole{Height: p.heights[i], Radius: 2.38, Length: 16.5, Remanence: usualRemanence})
			m.Strings = append(m.Strings, sim.String{Gauge: s.Gauge, Core: s.Core, Wrap: string(s.Wrap), Freq: hz})
			m.StringHeights = append(m.StringHeights, 3.3+2.2*r.Float64())
		}
		j.Mount(m)
		for i, v := range j.TrueLevels() {
			got := set.levels.at(i, p.heights[i], m.StringHeights[i], p.higher(i))
			if d := math.Abs(got - math.Log(v)); d > 0.02 {
				t.Errorf("string %d: ln v %.3f, of the jig %.3f", i+1, got, math.Log(v))
			}
		}
	}
}

// A record has as many rows as were asked for, all of which can be read, and is the
// same every time.
func TestRecordIsWhole(t *testing.T) {
	write := func() []byte {
		var text bytes.Buffer
		out := &rows{to: bufio.NewWriter(&text), left: 3000}
		out.to.WriteString(header)
		newWorkshop(7, 20, 1, out).work()
		out.to.Flush()
		return text.Bytes()
	}
	text := write()
	n := 0
	for _, err := range record.Readings(bytes.NewReader(text), "readings.csv") {
		if err != nil {
			t.Fatal(err)
		}
		n++
	}
	if n != 3000 {
		t.Errorf("%d rows, want 3000", n)
	}
	if !bytes.Equal(text, write()) {
		t.Error("the same seed made another record")
	}
}

// The prototype makes of a log of this program as many cells as the program, with plain
// means of the same levels.
func TestPrototypeMakesTheSameCells(t *testing.T) {
	log := filepath.Join(t.TempDir(), "readings.csv")
	if err := makeLog(log, 3000, 1, 7); err != nil {
		t.Fatal(err)
	}
	bare, err := bareCells(log)
	if err != nil {
		t.Fatal(err)
	}
	f, err := os.Open(log)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	d, err := cell.Gather(record.Readings(f, log))
	if err != nil {
		t.Fatal(err)
	}
	if len(bare) != len(d.Cells) {
		t.Errorf("%d cells, the program %d", len(bare), len(d.Cells))
	}
	var sum, want float64
	for _, c := range bare {
		sum += c.sum / float64(c.n)
	}
	for i := range d.Cells {
		mean, _ := d.Cells[i].Plain()
		want += mean
	}
	if math.Abs(sum-want) > 0.001*want { // retracted and repeated takes differ
		t.Errorf("means add up to %g, the program's to %g", sum, want)
	}
	if f := fitBare(bare); !(f.slope > 0.2 && f.slope < 0.7 && f.se > 0 && f.se < 0.1) {
		t.Errorf("got %+v", f)
	}
}
