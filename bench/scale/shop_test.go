package main

import (
	"bufio"
	"bytes"
	"math"
	"math/rand/v2"
	"testing"

	"evenpole/capture/record"
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
		newWorkshop(7, 20, out).work()
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
