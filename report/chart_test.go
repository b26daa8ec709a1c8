package report

import (
	"cmp"
	"fmt"
	"io"
	"maps"
	"math"
	"math/rand/v2"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"evenpole/fit/drift"
)

// watch is a chart of a value a day that goes round in small circles, and from a
// point on lies higher.
func watch(t *testing.T, days, from int, by float64) *drift.Chart {
	t.Helper()
	s := &drift.Series{Subject: "reference pickup R<1>", Of: drift.Level, ByDay: true}
	for i := range days {
		v := 22 + 0.1*math.Sin(2.1*float64(i))
		if i >= from {
			v += by
		}
		s.Values = append(s.Values, drift.Value{Label: fmt.Sprintf("s%03d", i+1), Time: time.Date(2026, 3, 1+i, 8, 0, 0, 0, time.UTC), X: v})
	}
	c, err := drift.Draw(s, drift.Options{})
	if err != nil {
		t.Fatal(err)
	}
	return c
}

func TestControl(t *testing.T) {
	c := watch(t, 40, 30, 0.6)
	picture := draw(t, func(w io.Writer) error { return Control(w, c) })
	text, rects := contents(t, picture, controlWidth)
	if rects != len(c.Panels) {
		t.Errorf("%d baselines, want one in each of %d panels", rects, len(c.Panels))
	}
	for _, want := range []string{"individuals, dB", "moving range, dB", "EWMA, dB", "CUSUM, sigma", "out of control",
		"one beyond 3 sigma, high, on 31 Mar 2026 (s031)", "reference pickup R<1>"} {
		if !strings.Contains(text, want) {
			t.Errorf("no %q in the picture", want)
		}
	}
	rings := byClass(elements(t, picture), "open")
	if len(rings) != min(len(c.Signals), mostSignals) || len(rings) < 3 {
		t.Fatalf("%d rings for %d signals", len(rings), len(c.Signals))
	}
	p := controlPlot{Chart: c}
	for i, r := range rings[:1] { // of the first panel: what fired first
		s := scaleOf(&c.Panels[0], controlTop)
		near(t, "ring", r.num(t, "cx"), p.x(float64(c.Signals[i].First)), 0.01)
		near(t, "ring", r.num(t, "cy"), s.y(c.Points[c.Signals[i].First].Value), 0.01)
	}
}

// Numbers that mark points stand clear of one another and of the rings, also where rules fired
// at points side by side.
func TestControlMarksDoNotTouch(t *testing.T) {
	for _, c := range []*drift.Chart{watch(t, 40, 30, 0.6), watch(t, 60, 30, 0.15), watch(t, 100, 50, 0.5), watch(t, 110, 60, 0.25)} {
		picture := draw(t, func(w io.Writer) error { return Control(w, c) })
		var marks []box
		for _, e := range byClass(elements(t, picture), "open") {
			x, y := e.num(t, "cx"), e.num(t, "cy")
			marks = append(marks, box{x - 4.5, x + 4.5, y - 4.5, y + 4.5})
		}
		rings := len(marks)
		for _, m := range regexp.MustCompile(`<text x="([^"]+)" y="([^"]+)" class="strong">([0-9]+)<`).FindAllStringSubmatch(picture, -1) {
			x, errX := strconv.ParseFloat(m[1], 64)
			y, errY := strconv.ParseFloat(m[2], 64)
			if errX != nil || errY != nil {
				t.Fatalf("%q: %v, %v", m[0], errX, errY)
			}
			half := 3.5 * float64(len(m[3]))
			b := box{x - half, x + half, y - 9, y}
			if i := slices.IndexFunc(marks, b.meets); i >= 0 {
				t.Errorf("number %s at %g, %g touches mark %d of %d", m[3], x, y, i, rings)
			}
			marks = append(marks, b)
		}
		if len(marks) != 2*rings {
			t.Errorf("%d numbers for %d rings", len(marks)-rings, rings)
		}
	}
}

func TestControlDatesASlowShift(t *testing.T) {
	c := watch(t, 60, 30, 0.15)
	text, _ := contents(t, draw(t, func(w io.Writer) error { return Control(w, c) }), controlWidth)
	if !strings.Contains(text, "CUSUM: beyond the limit, high, on") || !strings.Contains(text, "; began about") || !strings.Contains(text, "a reason to look") {
		t.Errorf("text %q", text)
	}
}

func TestControlOfLittleAndMuch(t *testing.T) {
	quiet := watch(t, 25, 25, 0)
	text, _ := contents(t, draw(t, func(w io.Writer) error { return Control(w, quiet) }), controlWidth)
	if len(quiet.Signals) == 0 != strings.Contains(text, "no rule fired") {
		t.Errorf("%d signals, %q", len(quiet.Signals), text)
	}
	many := watch(t, 200, 100, 0.5)
	picture := draw(t, func(w io.Writer) error { return Control(w, many) })
	if dots := byClass(elements(t, picture), "solid"); len(dots) != 0 {
		t.Errorf("%d dots for 200 points", len(dots))
	}
	if err := Control(io.Discard, watch(t, 1, 1, 0)); err == nil {
		t.Error("one point has no chart")
	}
	if err := Control(full{}, many); err == nil {
		t.Error("a full disk goes unnoticed")
	}
}

// A line of very many points is drawn by as many as can be told apart, and reaches as far
// up and down in every column of pixels.
func TestControlOfVeryMany(t *testing.T) {
	size := func(points int) int {
		c := watch(t, points, points/2, 0.5)
		return len(draw(t, func(w io.Writer) error { return Control(w, c) }))
	}
	if some, many := size(5000), size(20000); many > some+some/2 || many > 400<<10 {
		t.Errorf("%d bytes for 20000 points, %d for 5000", many, some)
	}
	r := rand.New(rand.NewPCG(3, 4))
	reach := func(points [][2]float64) map[int][4]float64 { // by column: first, least, most, last
		out := map[int][4]float64{}
		for _, p := range points {
			column := int(math.Floor(p[0]))
			c, known := out[column]
			if !known {
				c = [4]float64{p[1], p[1], p[1], 0}
			}
			out[column] = [4]float64{c[0], min(c[1], p[1]), max(c[2], p[1]), p[1]}
		}
		return out
	}
	for _, n := range []int{mostInLine, mostInLine + 1, 50_000} {
		points := make([][2]float64, n)
		for i := range points {
			points[i] = [2]float64{controlLeft + 600*float64(i)/float64(n), r.NormFloat64()}
		}
		got := thinned(points)
		if !maps.Equal(reach(got), reach(points)) || len(got) > max(mostInLine, 4*600) || n <= mostInLine && len(got) != n {
			t.Errorf("%d points of %d show another line", len(got), n)
		}
		if !slices.IsSortedFunc(got, func(a, b [2]float64) int { return cmp.Compare(a[0], b[0]) }) {
			t.Errorf("%d points of %d do not stand from left to right", len(got), n)
		}
	}
}
