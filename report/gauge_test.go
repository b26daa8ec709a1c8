package report

import (
	"bytes"
	"io"
	"slices"
	"strings"
	"testing"

	"evenpole/fit/level"
	"evenpole/fit/plan"
	"evenpole/profiles"
)

func gaugePicture() PolePicture {
	return PolePicture{
		Title: "Planned poles of order Ä-7", Spacing: 10.4,
		Poles: []Pole{{1, "E4", 0.4, 3, 0.25}, {2, "B3", -0.2, 3.4, 0.33}, {3, "G3", 1.9, 3.2, 0.43}},
	}
}

// Sizes are in mm on paper: the page says how large it is, and its user units
// are the same both ways.
func TestFullSizeIsFullSize(t *testing.T) {
	picture := gaugePicture()
	all := elements(t, draw(t, func(w io.Writer) error { return FullSize(w, picture, "svg") }))
	if !strings.HasSuffix(all[0].attr["width"], "mm") || !strings.HasSuffix(all[0].attr["height"], "mm") {
		t.Fatalf("got a page of %q by %q, want mm", all[0].attr["width"], all[0].attr["height"])
	}
	var box [4]float64
	for i, f := range strings.Fields(all[0].attr["viewBox"]) {
		e := element{attr: map[string]string{"x": f}}
		box[i] = e.num(t, "x")
	}
	page := element{attr: map[string]string{"w": strings.TrimSuffix(all[0].attr["width"], "mm")}}
	mm := box[2] / page.num(t, "w") // user units
	near(t, "user units in a mm", mm, 96/25.4, 0.001)

	plane, poles := byClass(all, "bobbin")[0].num(t, "y"), byClass(all, "pole")
	near(t, "pole 1", (plane-poles[0].num(t, "y"))/mm, 0.4, 0.005)
	near(t, "pole 3", (plane-poles[2].num(t, "y"))/mm, 1.9, 0.005)
	near(t, "spacing", (poles[2].num(t, "x")-poles[0].num(t, "x"))/mm, 20.8, 0.01)
	axes := byClass(all, "axis")
	bar := axes[len(axes)-3]
	near(t, "bar", (bar.num(t, "x2")-bar.num(t, "x1"))/mm, 50, 0.01)
}

// Of a 12-string's courses every string keeps its note, and the numbers on the card stand apart.
func TestCoursesKeepTheirNotes(t *testing.T) {
	picture := PolePicture{Title: "courses", Spacing: 4.7}
	for i := range 12 {
		picture.Poles = append(picture.Poles, Pole{i + 1, "E2", 0.3, 3, 0.3})
		picture.Across = append(picture.Across, float64(i/2)*10+2.1*float64(i%2))
	}
	text := draw(t, func(w io.Writer) error { return FullSize(w, picture, "svg") })
	if strings.Contains(text, "…") || !strings.Contains(text, ">12 E2<") {
		t.Error("notes are cut short")
	}
	const digit = 7.0 // user units, about
	lines := map[string][]element{}
	for _, e := range byClass(elements(t, text), "strong") {
		lines[e.attr["y"]] = append(lines[e.attr["y"]], e)
	}
	for y, list := range lines {
		for i := 1; i < len(list); i++ {
			if apart := list[i].num(t, "x") - list[i-1].num(t, "x"); apart < 2*digit {
				t.Errorf("two words at %s lie %.1f apart", y, apart)
			}
		}
	}
}

// Under twelve poles close to each other no two figures on a line overlap.
func TestFiguresDoNotOverlap(t *testing.T) {
	picture := PolePicture{Title: "twelve", Spacing: 5}
	for i := range 12 {
		picture.Poles = append(picture.Poles, Pole{i + 1, "E2", -0.3, 3, 0.3})
	}
	text := draw(t, func(w io.Writer) error { return FullSize(w, picture, "svg") })
	if !strings.Contains(text, ">12 E2<") {
		t.Error("the note of string 12 is cut short")
	}
	all := elements(t, text)
	lines := map[string][]float64{}
	for _, e := range byClass(all, "mid") {
		lines[e.attr["y"]] = append(lines[e.attr["y"]], e.num(t, "x"))
	}
	figures := 0
	for _, xs := range lines {
		slices.Sort(xs)
		for i := 1; i < len(xs); i++ {
			if figures++; xs[i]-xs[i-1] < figureWidth {
				t.Errorf("figures at %g and %g overlap", xs[i-1], xs[i])
			}
		}
	}
	if figures < 20 {
		t.Errorf("saw only %d pairs of figures", figures)
	}
}

// What the dashes are and what is drawn narrow is one text, so that neither is written over
// the other where the drawing is narrow.
func TestWordsUnderTwoCoilsAreOneText(t *testing.T) {
	picture := gaugePicture()
	picture.Outline, picture.Beside = []float64{0, 0, 0}, "flat tops at 0.00 mm"
	picture.Second, picture.SecondIs = []float64{0, 0, 0}, "narrow: coil 1, slug"
	contains(t, "to scale", draw(t, func(w io.Writer) error { return Poles(w, picture) }), ">flat tops at 0.00 mm; narrow: coil 1, slug<")
	contains(t, "full size", draw(t, func(w io.Writer) error { return FullSize(w, picture, "svg") }), ">flat tops at 0.00 mm; narrow: coil 1, slug<")

	picture.Outline = nil
	contains(t, "without flat tops", draw(t, func(w io.Writer) error { return Poles(w, picture) }), ">narrow: coil 1, slug<")
}

// A gauge stands on the bobbin beside a blade, and not on the blade.
func TestCardHasFeetBesideABlade(t *testing.T) {
	e := newElevation(samplePicture(t, "blade"), nowhere{})
	e.scale = perMM
	e.right = poleLeft + e.across()*perMM
	points := e.card(0)
	n := len(points)
	if left, right := points[2][0]-points[1][0], points[n-3][0]-points[n-4][0]; left < perMM || right < perMM {
		t.Errorf("feet of %.2f and %.2f mm, want 1 mm at least", left/perMM, right/perMM)
	}
}

// The sheet to cut out warns of what can happen to the poles that it is for.
func TestFullSizeHasTheCautionsOfItsPoles(t *testing.T) {
	for kind, want := range map[string]string{"bass": "never press, pull or hammer a pole", "twelve-string": "turn screws in small steps"} {
		text := draw(t, func(w io.Writer) error { return FullSize(w, samplePicture(t, kind), "svg") })
		contains(t, kind, text, want, "pacemakers")
		if kind == "twelve-string" && strings.Contains(text, "rod magnet") {
			t.Error("screws are warned of as if they were rods")
		}
	}
}

// samplePicture is that of a sample order's poles, all at one height.
func samplePicture(t *testing.T, kind string) PolePicture {
	t.Helper()
	for _, s := range profiles.OrderFormat.Samples() {
		if s.Name != kind {
			continue
		}
		o, err := profiles.ParseOrder(s.Name, []byte(s.Text), profiles.Builtin())
		if err != nil {
			t.Fatal(err)
		}
		p := &plan.Plan{}
		for range o.Strings {
			p.Heights, p.Gaps = append(p.Heights, 0.5), append(p.Gaps, 2.5)
		}
		return PlanPoles(o, p)
	}
	t.Fatalf("no sample %q", kind)
	return PolePicture{}
}

func contains(t *testing.T, name, text string, wants ...string) {
	t.Helper()
	for _, want := range wants {
		if !strings.Contains(text, want) {
			t.Errorf("%s lacks %q", name, want)
		}
	}
}

// The card goes up into a notch over each pole that stands out, and down into
// the hole of one that is sunk.
func TestCardFitsThePoles(t *testing.T) {
	e := newElevation(gaugePicture(), nowhere{})
	e.scale = perMM
	const plane = 100 * perMM
	points := e.card(plane)
	for i, want := range []float64{0.4, -0.2, 1.9} {
		left, right := points[2+4*i+1], points[2+4*i+2]
		near(t, "notch", (plane-left[1])/perMM, want, 1e-9)
		wide := (right[0] - left[0]) / perMM
		if want > 0 && wide <= e.Diameter || want < 0 && wide >= e.Diameter {
			t.Errorf("a notch of %g mm does not fit a pole of %g mm", wide, e.Diameter)
		}
	}
}

func TestFullSizePDF(t *testing.T) {
	var first, second bytes.Buffer
	for _, b := range []*bytes.Buffer{&first, &second} {
		if err := FullSize(b, gaugePicture(), "pdf"); err != nil {
			t.Fatal(err)
		}
	}
	if !bytes.HasPrefix(first.Bytes(), []byte("%PDF-")) || !bytes.Contains(first.Bytes(), []byte("/FontFile2")) {
		t.Error("not a PDF with an embedded font")
	}
	if !bytes.Equal(first.Bytes(), second.Bytes()) {
		t.Error("other bytes the second time")
	}
}

func TestFullSizeRefusals(t *testing.T) {
	for want, err := range map[string]error{
		`expected the format svg or pdf, got "png"`: FullSize(io.Discard, gaugePicture(), "png"),
		"expected at least one pole":                FullSize(io.Discard, PolePicture{}, "pdf"),
		"no room":                                   FullSize(full{}, gaugePicture(), "svg"),
	} {
		if err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("got %v, want %q", err, want)
		}
	}
	if err := FullSize(full{}, gaugePicture(), "pdf"); err == nil {
		t.Error("a PDF that could not be written is no error")
	}
}

// A row for each string of each stagger under each set; what is the plan's own
// stands in its own rows.
func TestPlanCSV(t *testing.T) {
	o := &profiles.Order{
		ID: "A-7", Set: "own", Strings: []profiles.String{{Note: "E4", Gauge: 0.254, Core: 0.254, Wrap: "plain"}},
		Alternatives: []profiles.StringSet{{Name: "other", Strings: []profiles.String{{Gauge: 0.3, Core: 0.3, Wrap: "plain"}}}},
	}
	one := func(x float64) plan.Forecast {
		v := []float64{x}
		return plan.Forecast{Heights: v, Gaps: v, Level: []level.Figure{level.Figure(x)}, Balance: v, Deviation: v, Slope: v}
	}
	p := &plan.Plan{Order: "A-7", Forecast: one(0.25), Radius: one(2), Poles: []plan.Pole{{Length: 11.2, Lower: 0.3, Higher: 0.2, Magnet: "M/3"}}}
	p.Sets = []plan.Set{{Name: "other", Forecast: one(1)}}
	p.Flat = &plan.Flat{Forecast: one(3)}
	p.Compare = []plan.Comparison{{Name: `=hostile("name", 7)`, Forecast: one(4)}, {Name: "plan", Forecast: one(5)}}
	lines := strings.Split(strings.TrimSpace(draw(t, func(w io.Writer) error { return WritePlanCSV(w, o, p) })), "\n")
	want := []string{
		"order,stagger,string_set,string,note,gauge_mm,core_mm,wrap,pole_height_mm,gap_mm,level_mv,balance_db,deviation_db,db_per_01mm," +
			"worst_db,spread_db,spread_db_2_5,spread_db_97_5,meets,length_mm,may_be_lower_mm,may_be_higher_mm,magnet,poles,coil_1_height_mm,coil_2_height_mm",
		"A-7,plan,own,1,E4,0.254,0.254,plain,0.25,0.25,0.25,0.25,0.25,0.25,0,0,0,0,0,11.2,0.3,0.2,M/3,,,",
		"A-7,plan,other,1,,0.3,0.3,plain,1,1,1,1,1,1,0,0,0,0,0,,,,,,,",
		"A-7,flat tops,own,1,E4,0.254,0.254,plain,3,3,3,3,3,3,0,0,0,0,0,,,,,,,",
		"A-7,strings' arc,own,1,E4,0.254,0.254,plain,2,2,2,2,2,2,0,0,0,0,0,,,,,,,",
		`A-7,"'=hostile(""name"", 7)",own,1,E4,0.254,0.254,plain,4,4,4,4,4,4,0,0,0,0,0,,,,,,,`,
		"A-7,plan,own,1,E4,0.254,0.254,plain,5,5,5,5,5,5,0,0,0,0,0,,,,,,,", // called so by the order
	}
	if len(lines) != len(want) {
		t.Fatalf("got %d lines, want %d:\n%s", len(lines), len(want), strings.Join(lines, "\n"))
	}
	for i := range want {
		if lines[i] != want[i] {
			t.Errorf("got  %s\nwant %s", lines[i], want[i])
		}
	}
}
