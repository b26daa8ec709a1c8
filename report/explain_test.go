package report

import (
	"bytes"
	"encoding/xml"
	"errors"
	"io"
	"math"
	"strings"
	"testing"

	"evenpole/fit/curve"
	"evenpole/fit/explain"
	"evenpole/profiles"
)

// sample is an explanation of three strings; one cause has no part.
func sample() *explain.Explanation {
	return &explain.Explanation{
		Causes: []curve.Cause{{Name: "core", Words: "steel in the core"}, {Name: "wrap", Words: "steel in the wrap"}, {Name: "left", Words: "not explained"}},
		Strings: []explain.ExplainedString{
			{String: 1, Note: "E4", Gauge: 0.254, PoleHeight: 0.4, Balance: -1.5, Parts: map[string]float64{"core": -1.6, "wrap": 0, "left": 0.1}},
			{String: 2, Note: "<B&3>", Gauge: 0.330, PoleHeight: 0.8, Balance: 0.5, Parts: map[string]float64{"core": 0.6, "wrap": 0.001, "left": -0.1}},
			{String: 3, Gauge: 0.5, PoleHeight: 1.2, Balance: 1, Parts: map[string]float64{"core": 1, "wrap": -0.001, "left": 0}},
		},
	}
}

func TestExplainPicture(t *testing.T) {
	p := Explained("Order X: why", sample(), profiles.Millimetres)
	if len(p.Rows) != 3 || p.Rows[2].Mark != Undecided || p.Rows[1].Mark != Outside {
		t.Fatalf("rows %+v", p.Rows)
	}
	if last := p.Notes[len(p.Notes)-1]; !strings.Contains(last, "steel in the wrap") {
		t.Errorf("a cause without part is not named: %q", last)
	}
	var one, two bytes.Buffer
	if err := errors.Join(Explain(&one, p), Explain(&two, p)); err != nil {
		t.Fatal(err)
	}
	if one.String() != two.String() {
		t.Error("not the same bytes for the same input")
	}
	texts, bars := contents(t, one.String(), 680)
	for _, want := range []string{"Order X: why", "1 E4", "2 <B&3>", "steel in the core", "−1.60", "+0.60", "0.254", "the sum", "1 dB"} {
		if !strings.Contains(texts, want) {
			t.Errorf("the picture does not say %q", want)
		}
	}
	if want := 3*3 + 3; bars < want {
		t.Errorf("%d bars, want %d at least", bars, want)
	}
}

// contents returns the text of an SVG and counts its rectangles; it fails on
// bad XML, on links out of it and on what sticks out of its width.
func contents(t *testing.T, svg string, width float64) (text string, rects int) {
	t.Helper()
	if n := strings.Count(svg, "http"); n != 1 {
		t.Errorf("%d links, want the name space alone", n)
	}
	dec := xml.NewDecoder(strings.NewReader(svg))
	var all strings.Builder
	for {
		tok, err := dec.Token()
		if errors.Is(err, io.EOF) {
			return all.String(), rects
		}
		if err != nil {
			t.Fatal(err)
		}
		switch e := tok.(type) {
		case xml.CharData:
			all.Write(e)
			all.WriteString("\n")
		case xml.StartElement:
			if e.Name.Local != "rect" {
				continue
			}
			rects++
			var x, w float64
			for _, a := range e.Attr {
				switch a.Name.Local {
				case "x":
					x = parse(t, a.Value)
				case "width":
					w = parse(t, a.Value)
				case "height":
					if h := parse(t, a.Value); h < 0 {
						t.Errorf("a bar %g high", h)
					}
				}
			}
			if x < 0 || x+w > width {
				t.Errorf("a bar from %g to %g of %g", x, x+w, width)
			}
		}
	}
}

func parse(t *testing.T, s string) float64 {
	t.Helper()
	var v float64
	if err := xml.Unmarshal([]byte("<v>"+s+"</v>"), &v); err != nil {
		t.Fatal(err)
	}
	return v
}

// TestExplainScale: bars are as long as their parts, in every row alike.
func TestExplainScale(t *testing.T) {
	for _, most := range []float64{0.01, 1, 40} {
		p := ExplainPicture{Columns: make([]ExplainColumn, 2), Rows: []ExplainRow{
			{Words: "a", Parts: []float64{most, -most}}, {Words: "b", Parts: []float64{-most / 2, most / 2}},
		}}
		b := newBarTable(p)
		var high float64
		for i := range p.Rows {
			before := b.at
			b.row(&p.Rows[i])
			up, down := p.Rows[i].reaches()
			if room := b.at - before; room < (up+down)*b.scale {
				t.Errorf("row %d is %g high for bars of %g", i, room, (up+down)*b.scale)
			}
			high += (up + down) * b.scale
		}
		if high > allBars+1e-9 {
			t.Errorf("bars of %g dB take %g", most, high)
		}
	}
}

func TestExplainRefuses(t *testing.T) {
	for name, p := range map[string]ExplainPicture{
		"at least one string": {},
		"at most 24 strings":  {Columns: make([]ExplainColumn, 25)},
		"2 parts":             {Columns: make([]ExplainColumn, 2), Rows: []ExplainRow{{Words: "a", Parts: []float64{1}}}},
		"2 figures":           {Columns: make([]ExplainColumn, 2), Heads: []ExplainHead{{Words: "a"}}},
	} {
		var out bytes.Buffer
		if err := Explain(&out, p); err == nil || !strings.Contains(err.Error(), name) || out.Len() > 0 {
			t.Errorf("%s: got %v and %d bytes", name, err, out.Len())
		}
	}
}

func TestFolded(t *testing.T) {
	for _, c := range []struct {
		text string
		most int
		want string
	}{
		{"", 5, ""},
		{"one two three", 7, "one two|three"},
		{"averylongword b", 4, "averylongword|b"},
	} {
		if got := strings.Join(folded(c.text, c.most), "|"); got != c.want {
			t.Errorf("%q to %d: %q, want %q", c.text, c.most, got, c.want)
		}
	}
}

// diagnosis is one of three pickups, all measured twice.
func diagnosis(n int) *explain.Diagnosis {
	d := &explain.Diagnosis{Kind: "falloff"}
	for p := range n {
		for s := range 2 {
			for i := range 3 {
				d.Cells = append(d.Cells, explain.Diagnosed{
					Pickup: string(rune('A' + p)), Session: string(rune('1' + s)), String: i + 1,
					Measured: float64(i) - 1, Predicted: float64(i) - 1.1, Half: 0.3, Residual: 0.01 * float64(i*p),
				})
			}
		}
	}
	d.Cells[0].Predicted = 3 // far off
	curve := []explain.FallPoint{{Gap: 2, Level: 5, Half: 0.4}, {Gap: 4, Level: -2, Half: 0.2}}
	d.Fall = []explain.FallClass{{From: 0.25, To: 0.33, Curve: curve, Points: curve}}
	d.Effects = []explain.EffectGroup{
		{Name: "pole", Unit: "dB", SD: 0.3, Levels: make([]explain.EffectLevel, 60)},
		{Name: "one of its own", Unit: "dB", SD: 0.1, Levels: []explain.EffectLevel{{Name: strings.Repeat("long", 20), Value: 1, Half: 1}}},
		{Name: "none", Unit: "dB"},
	}
	for i := range d.Effects[0].Levels {
		d.Effects[0].Levels[i] = explain.EffectLevel{Name: string(rune('a'+i%26)) + string(rune('0'+i/26)), Value: float64(i-30) / 60, Half: 0.2}
	}
	return d
}

func written(t *testing.T, p *Plot) string {
	t.Helper()
	var one, two bytes.Buffer
	if err := errors.Join(p.Write(&one), p.Write(&two)); err != nil {
		t.Fatal(err)
	}
	if one.String() != two.String() {
		t.Errorf("%s: not the same bytes for the same input", p.Name)
	}
	for _, bad := range []string{"NaN", "Inf"} {
		if strings.Contains(one.String(), bad) {
			t.Errorf("%s has a coordinate %s", p.Name, bad)
		}
	}
	text, _ := contents(t, one.String(), math.Inf(1))
	return text
}

// Every effect of the falloff model is called by words on its picture.
func TestEffectsHaveWords(t *testing.T) {
	for _, e := range curve.Effects {
		if _, ok := effectWords[e.Name]; !ok {
			t.Errorf("effect %q has none", e.Name)
		}
	}
}

func TestPlots(t *testing.T) {
	want := map[string][]string{
		"predicted.svg":              {"predicted balance, dB", "measured balance, dB", "A/1", "left out", "95 %"},
		"falloff.svg":                {"mm", "level, dB", "0.25 to 0.33 mm", "95 %"},
		"residuals-by-string.svg":    {"string", "dB", "A", "B", "C"},
		"residuals-in-time.svg":      {"1 A", "2 C", "dB"},
		"effects-pole.svg":           {"effect, dB", "48 farthest from 0 of 60", "Dashed"},
		"effects-one-of-its-own.svg": {"…", "effect, dB"},
	}
	plots := Plots(diagnosis(3), "")
	if len(plots) != len(want) {
		t.Errorf("%d plots, want %d", len(plots), len(want))
	}
	for _, p := range plots {
		text := written(t, p)
		if len(want[p.Name]) == 0 {
			t.Errorf("unexpected plot %q", p.Name)
		}
		for _, w := range want[p.Name] {
			if !strings.Contains(text, w) {
				t.Errorf("%s does not say %q", p.Name, w)
			}
		}
	}
}

// TestPlotsOfLittle: what a model or a record does not have is not drawn.
func TestPlotsOfLittle(t *testing.T) {
	if got := Plots(&explain.Diagnosis{}, ""); len(got) != 0 {
		t.Errorf("%d plots of nothing", len(got))
	}
	d := &explain.Diagnosis{Kind: "loglinear-gap", Cells: []explain.Diagnosed{{String: 1, Predicted: math.NaN()}}}
	for _, p := range Plots(d, "") {
		if p.Name != "residuals-by-string.svg" {
			t.Errorf("a single cell makes %s", p.Name)
		}
		written(t, p)
	}
	many := Plots(diagnosis(12), "") // more pickups than shapes
	text := written(t, many[0])
	if strings.Contains(text, "\nB\n") || !strings.Contains(text, "A/1") {
		t.Error("with many pickups only far points are named")
	}
}

func TestEvenTicks(t *testing.T) {
	for _, c := range []struct {
		low, high float64
		want      string
	}{
		{0, 1, "0.0 0.2 0.4 0.6 0.8 1.0"},
		{-12.3, 12.5, "−10 −5 0 5 10"},
		{2.01, 2.02, "2.010 2.012 2.014 2.016 2.018 2.020"},
		{0, 800, "0 200 400 600 800"},
	} {
		var labels []string
		for _, tick := range (evenTicks{}).Ticks(c.low, c.high) {
			labels = append(labels, tick.Label)
		}
		if got := strings.Join(labels, " "); got != c.want {
			t.Errorf("%g to %g: %s, want %s", c.low, c.high, got, c.want)
		}
	}
}
