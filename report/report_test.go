package report

import (
	"bytes"
	"encoding/xml"
	"errors"
	"flag"
	"fmt"
	"html"
	"io"
	"math"
	"os"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"
	"time"

	"evenpole/fit/level"
	"evenpole/fit/plan"
	"evenpole/fit/verdict"
	"evenpole/profiles"
	"evenpole/report/pdf"
)

var update = flag.Bool("update", false, "write the golden files anew")

var nan = level.Figure(math.NaN())

// hostile holds what must never reach a document as it stands.
const hostile = "<script>alert('\"&x')</script>\x00]]>{{.}}"

// certificate is that of a pickup with these balances, all within +-1 dB of 0
// conforming.
func certificate(balances ...float64) Papers {
	notes := []string{"E4", "B3", "G3", "D3", "A2", "E2", "B1", "F#1", "C#1", "G#0", "D#0", "A#0"}
	gauges := []float64{0.254, 0.33, 0.432, 0.66, 0.914, 1.168, 1.3, 1.5, 1.6, 1.7, 1.9, 2.1}
	o := &profiles.Order{ID: "A-017", StringSpread: 51, Poles: profiles.Rod, Tolerance: 1, FretboardRadius: 240, StringHeightFirst: 3.1, StringHeightLast: 3.5}
	v := &verdict.Verdict{
		Pickup: "T-004", Order: "A-017", Session: "s012", Time: time.Date(2026, 3, 2, 9, 30, 0, 0, time.UTC),
		Jig: "jig-7", Batch: "M-03", Excite: "force", Verdict: verdict.Conforms, Spread: 1.3, Tolerance: 1, Coverage: 0.95,
		Notes: []string{
			"levels are the jig's; balances are worked out for another excitation from the order's notes and strings, with an allowance for it",
			"scatter of one take: 0.24 dB, pooled over the strings, 48 degrees of freedom",
			"standard uncertainty of 0.15 dB a string for setting its height and mounting the pickup, taken as known (our assumption)",
			"U is the expanded uncertainty; a string is passed or failed only when its deviation is clear of the tolerance by U",
		},
	}
	for i, b := range balances {
		o.Strings = append(o.Strings, profiles.String{Note: notes[i], Gauge: gauges[i], Core: gauges[i], Wrap: "plain"})
		s := verdict.String{
			Number: i + 1, Note: notes[i], Gauge: level.Figure(gauges[i]), Core: level.Figure(gauges[i]), Wrap: "plain",
			PoleHeight: level.Figure(0.4 + 0.3*float64(i%4)), Level: 12.345, Balance: level.Figure(b), Deviation: level.Figure(b),
			Std: 0.16, Expanded: 0.31, K: 1.96, DOF: 900, Takes: 9, Verdict: verdict.Conforms,
		}
		if math.Abs(b) > 1 {
			s.Verdict, v.Verdict = verdict.OutOfTolerance, verdict.OutOfTolerance
			s.Remedy = fmt.Sprintf("%.1f dB off: try a string with another core; or rewind with another pole height", math.Abs(b))
		}
		v.Strings = append(v.Strings, s)
	}
	for i, h := range o.StringHeights() {
		v.Strings[i].StringHeight = level.Figure(h)
	}
	return Papers{Verdict: v, Order: o, Version: "1.0"}
}

// cases are certificates that a page must bear.
func cases() map[string]Papers {
	six := certificate(0.42, -0.31, 0.12, -0.65, 0.22, 0.2)
	six.Shop, six.Predicted = "The Bench by the Weir", []float64{0.3, -0.2, 0.2, -0.5, 0.1, 0.1}

	far := certificate(0.4, -9.3, 0.2, 3.1, 14.2, -0.4)
	far.Order.Poles = profiles.Screw
	far.Verdict.Remedy = "turn the screws in small steps, then capture again"

	doubt := certificate(0.9, -0.31, -0.1, -0.4)
	doubt.Verdict.Verdict, doubt.Verdict.Strings[0].Verdict = verdict.CannotTell, verdict.CannotTell
	doubt.Verdict.MoreTakes = []verdict.More{{String: 1, Takes: 7}}

	silent := certificate(0, 0, 0)
	silent.Verdict.Verdict, silent.Verdict.Spread, silent.Verdict.Time = verdict.CannotTell, nan, time.Time{}
	silent.Verdict.Warnings = []string{"string 2 (B3): none of 8 takes is above its quiet level"}
	for i := range silent.Verdict.Strings {
		s := &silent.Verdict.Strings[i]
		s.Balance, s.Deviation, s.Expanded, s.Verdict = nan, nan, nan, verdict.CannotTell
	}
	silent.Verdict.Strings[1].PoleHeight, silent.Verdict.Strings[1].StringHeight, silent.Verdict.Strings[1].Level = nan, nan, nan

	twelve := certificate(0.4, 0.1, -0.2, 0.3, -0.5, 0.2, -1.8, 0.3, 0.6, 0.1, 0.3, 0.2)
	twelve.Verdict.Strings[2].PoleHeight = -0.8

	rude := certificate(0.1, -0.1)
	rude.Shop, rude.Version = hostile, hostile
	rude.Verdict.Pickup, rude.Verdict.Order, rude.Verdict.Session, rude.Verdict.Jig, rude.Verdict.Batch = hostile, hostile, hostile, hostile, hostile
	rude.Verdict.Strings[0].Note, rude.Verdict.Strings[0].Wrap, rude.Verdict.Strings[1].Remedy = hostile, hostile, hostile
	rude.Verdict.Warnings, rude.Verdict.Notes, rude.Verdict.Remedy = []string{hostile}, []string{hostile}, hostile

	long := certificate(0.1, -0.1, 0.2, 0.1, -0.2, -0.1)
	long.Shop = strings.Repeat("Long Name Windings ", 6)
	long.Verdict.Pickup, long.Verdict.Order = strings.Repeat("T004", 16), strings.Repeat("order-", 12)
	long.Verdict.Strings[4].Wrap = "nickel_plated_steel"

	humbucker := certificate(0.42, -0.31, 0.12, -0.65, 0.22, 0.2)
	for i := range humbucker.Verdict.Strings {
		second := level.Figure(1.11 + 0.1*float64(i))
		humbucker.Verdict.Strings[i].PoleHeight2 = &second
	}

	return map[string]Papers{
		"six": six, "two coils": humbucker, "far": far, "doubt": doubt, "silent": silent, "twelve": twelve, "rude": rude, "long": long, "one": certificate(0),
	}
}

func render(t *testing.T, c Papers) string {
	t.Helper()
	var b bytes.Buffer
	if err := WriteSheet(&b, c); err != nil {
		t.Fatal(err)
	}
	return b.String()
}

func draw(t *testing.T, picture func(io.Writer) error) string {
	t.Helper()
	var b bytes.Buffer
	if err := picture(&b); err != nil {
		t.Fatal(err)
	}
	return b.String()
}

func golden(t *testing.T, name, got string) {
	t.Helper()
	path := filepath.Join("testdata", name)
	if *update {
		if err := os.WriteFile(path, []byte(got), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	want, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	if got != string(want) {
		t.Errorf("%s: the bytes have changed; look at the picture, then run the test with -update", name)
	}
}

func TestGolden(t *testing.T) {
	c := cases()["doubt"]
	golden(t, "sheet.html", render(t, c))
	golden(t, "certificate.html", draw(t, func(w io.Writer) error { return WriteCertificate(w, ordered()) }))
	picture := c.poles()
	picture.Outline, picture.Beside = []float64{0.8, 0.8, 0.8, 0.8}, "flat tops at 0.80 mm"
	golden(t, "poles.svg", draw(t, func(w io.Writer) error { return Poles(w, picture) }))
	far := cases()["far"]
	golden(t, "balance.svg", draw(t, func(w io.Writer) error { return Balance(w, far.balance()) }))
}

// element is one start tag of a picture.
type element struct {
	name string
	attr map[string]string
}

func (e element) num(t *testing.T, name string) float64 {
	t.Helper()
	x, err := strconv.ParseFloat(e.attr[name], 64)
	if err != nil {
		t.Fatalf("%s %v: %s: %v", e.name, e.attr, name, err)
	}
	return x
}

// elements parses a picture as XML.
func elements(t *testing.T, picture string) []element {
	t.Helper()
	var out []element
	for d := xml.NewDecoder(strings.NewReader(picture)); ; {
		token, err := d.Token()
		if errors.Is(err, io.EOF) {
			return out
		}
		if err != nil {
			t.Fatal(err)
		}
		if start, ok := token.(xml.StartElement); ok {
			e := element{start.Name.Local, map[string]string{}}
			for _, a := range start.Attr {
				e.attr[a.Name.Local] = a.Value
			}
			out = append(out, e)
		}
	}
}

func byClass(all []element, class string) []element {
	var out []element
	for _, e := range all {
		if e.attr["class"] == class {
			out = append(out, e)
		}
	}
	return out
}

var link = regexp.MustCompile(`https?:[^"' ]*`)

// selfContained refuses anything that a document would fetch or run, and text
// that was not meant to be seen.
func selfContained(t *testing.T, name, text string) {
	t.Helper()
	for _, l := range link.FindAllString(text, -1) {
		if l != "http://www.w3.org/2000/svg" {
			t.Errorf("%s: link %q", name, l)
		}
	}
	for _, bad := range []string{"<script", "<link", "<img", "<iframe", "@import", "onload", "NaN", "Inf", "\x00", "ZgotmplZ", "<no value>"} {
		if strings.Contains(text, bad) {
			t.Errorf("%s: holds %q", name, bad)
		}
	}
}

func TestPicturesAreSound(t *testing.T) {
	for name, c := range cases() {
		for _, picture := range []string{
			draw(t, func(w io.Writer) error { return Balance(w, c.balance()) }),
			draw(t, func(w io.Writer) error { return Poles(w, c.poles()) }),
		} {
			selfContained(t, name, picture)
			all := elements(t, picture)
			if len(all) < 3 || all[0].name != "svg" || all[1].name != "title" || all[2].name != "desc" {
				t.Fatalf("%s: the picture does not begin with svg, title, desc", name)
			}
			width, height := all[0].num(t, "width"), all[0].num(t, "height")
			for _, e := range all[3:] {
				if e.attr["x"] == "" || e.name == "pattern" {
					continue
				}
				x, y, w, h := e.num(t, "x"), e.num(t, "y"), 0.0, 0.0
				if e.name == "rect" {
					w, h = e.num(t, "width"), e.num(t, "height")
				}
				if x < 0 || y < 0 || w < 0 || h < 0 || x+w > width || y+h > height {
					t.Errorf("%s: %s %v is not inside %g by %g", name, e.name, e.attr, width, height)
				}
			}
		}
	}
}

// The elevation is to scale by its own 10 mm bar: poles and strings up, poles
// across.
func TestPolesToScale(t *testing.T) {
	c := cases()["six"]
	picture := c.poles()
	all := elements(t, draw(t, func(w io.Writer) error { return Poles(w, picture) }))
	axes := byClass(all, "axis")
	bar := axes[len(axes)-3]
	scale := (bar.num(t, "x2") - bar.num(t, "x1")) / 10
	plane := byClass(all, "bobbin")[0].num(t, "y")
	poles, dots := byClass(all, "pole"), byClass(all, "solid")
	if len(poles) != 6 || len(dots) != 6 {
		t.Fatalf("got %d poles and %d strings, want 6 of each", len(poles), len(dots))
	}
	for i, q := range picture.Poles {
		near(t, "pole's height", (plane-poles[i].num(t, "y"))/scale, q.Height, 0.002)
		near(t, "pole's width", poles[i].num(t, "width")/scale, 4.8, 0.002)
		near(t, "string's underside", (plane-dots[i].num(t, "cy")-dots[i].num(t, "r"))/scale, q.StringHeight, 0.003)
		if i > 0 {
			near(t, "spacing", (dots[i].num(t, "cx")-dots[i-1].num(t, "cx"))/scale, picture.Spacing, 0.002)
		}
	}
}

func near(t *testing.T, what string, got, want, tolerance float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tolerance) {
		t.Errorf("%s: got %g, want %g", what, got, want)
	}
}

// Bars and tolerance bands share one scale: a band is two tolerances high.
func TestBalanceToScale(t *testing.T) {
	c := cases()["six"]
	all := elements(t, draw(t, func(w io.Writer) error { return Balance(w, c.balance()) }))
	bars, bands := byClass(all, "inside"), byClass(all, "band")
	if len(bars) != 7 || len(bands) != 7 { // one each in the legend
		t.Fatalf("got %d bars and %d bands, want 7 of each", len(bars), len(bands))
	}
	for i, s := range c.Verdict.Strings {
		near(t, "bar", bars[i].num(t, "height")/bands[i].num(t, "height"), math.Abs(float64(s.Balance))/2, 0.0005)
		up := bars[i].num(t, "y") < bands[i].num(t, "y")+bands[i].num(t, "height")/2-0.01
		if up != (s.Balance > 0) {
			t.Errorf("bar %d of %+.2f dB points the wrong way", i+1, float64(s.Balance))
		}
	}
}

func TestNiceAbove(t *testing.T) {
	for x, want := range map[float64]float64{0.5: 0.5, 1.15: 1.5, 1.5: 1.5, 2.3: 3, 8.1: 10, 0.11: 0.15, 61: 80} {
		near(t, fmt.Sprint(x), niceAbove(x), want, 1e-12)
	}
}

// The certificate nests as it should, says what it must, and is the same
// bytes each time.
func TestCertificate(t *testing.T) {
	for name, c := range cases() {
		text := render(t, c)
		selfContained(t, name, text)
		d := xml.NewDecoder(strings.NewReader(text))
		d.Strict, d.AutoClose, d.Entity = false, xml.HTMLAutoClose, xml.HTMLEntity
		for {
			if _, err := d.Token(); errors.Is(err, io.EOF) {
				break
			} else if err != nil {
				t.Fatalf("%s: %v", name, err)
			}
		}
		for _, want := range []string{
			`<html lang="en-GB">`, "<caption>", `scope="col"`, `scope="row"`, string(c.Verdict.Verdict) + "</strong>", "pacemakers",
		} {
			if !strings.Contains(text, want) {
				t.Errorf("%s: lacks %q", name, want)
			}
		}
		if strings.Contains(text, "never press") != (c.Order.Poles == profiles.Rod) {
			t.Errorf("%s: the caution does not suit %s poles", name, c.Order.Poles)
		}
		if again := render(t, c); again != text {
			t.Errorf("%s: other bytes the second time", name)
		}
	}
}

func TestCertificateSays(t *testing.T) {
	for name, want := range map[string]string{
		"six":    "Every string is within ±1 dB of its target",
		"far":    "string 2 (B3), string 4 (D3), string 5 (A2).",
		"doubt":  "does not tell whether every string is within ±1 dB of its target (at 95 % coverage): string 1 (E4).",
		"silent": "not recorded",
		"rude":   "&lt;script&gt;",
		"twelve": `class="dense"`,
	} {
		if text := render(t, cases()[name]); !strings.Contains(text, pdf.Held(want)) {
			t.Errorf("%s: lacks %q", name, want)
		}
	}
	wordy := cases()["six"]
	for range 7 {
		wordy.Verdict.Warnings = append(wordy.Verdict.Warnings, "look again")
	}
	if text := render(t, wordy); !strings.Contains(text, `<body class="wordy">`) {
		t.Error("a page with many remarks is not drawn closer")
	}
	held := cases()["six"]
	held.Verdict.Verdict = verdict.CannotTell
	if text := render(t, held); !strings.Contains(text, "balances alone do not tell for this order") {
		t.Error("a verdict that is held back does not say so")
	}
}

// full is a writer without room.
type full struct{}

func (full) Write([]byte) (int, error) { return 0, errors.New("no room") }

func TestRefusals(t *testing.T) {
	short := cases()["six"]
	short.Order.Strings = short.Order.Strings[:5]
	odd := cases()["six"]
	odd.Predicted = []float64{1}
	far := cases()["six"]
	two := []Pole{{String: 1}, {String: 2}}
	for want, err := range map[string]error{
		"expected a verdict and its order":            WriteSheet(io.Discard, Papers{}),
		"expected the order's 5 strings, got 6":       WriteSheet(io.Discard, short),
		"expected 6 predictions, one a string, got 1": WriteSheet(io.Discard, odd),
		"no room": WriteSheet(full{}, far),
		"balance chart: expected at least one string":            Balance(io.Discard, BalanceChart{}),
		"pole picture: expected at least one pole":               Poles(io.Discard, PolePicture{}),
		"spacing: expected more than 0 mm, got NaN":              Poles(io.Discard, PolePicture{Poles: two, Spacing: math.NaN()}),
		"pole 2: expected lengths of at most 1000 mm, got 1e+09": Poles(io.Discard, PolePicture{Poles: []Pole{{String: 1}, {String: 2, Height: 1e9}}, Spacing: 10}),
		"spacing: expected at most 1000 mm, got 1e+09":           FullSize(io.Discard, PolePicture{Poles: two, Spacing: 1e9}, "pdf"),
		"outline: expected 2 heights, one a pole, got 1":         Poles(io.Discard, PolePicture{Poles: two, Spacing: 10, Outline: []float64{1}}),
	} {
		if err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("got %v, want %q", err, want)
		}
	}
}

func TestPlanPoles(t *testing.T) {
	o := certificate(0, 0, 0).Order
	p := &plan.Plan{Tolerance: 1}
	p.Heights, p.Gaps = []float64{0.4, 0.9, 0.5}, []float64{2.6, 2.35, 3}
	p.Balance, p.Deviation = []float64{0.2, 0.3, -0.5}, []float64{0.2, -1.2, 1}
	p.Flat = &plan.Flat{Height: 0.6, Forecast: plan.Forecast{Heights: []float64{0.6, 0.6, 0.6}}}

	poles := PlanPoles(o, p)
	if len(poles.Poles) != 3 || poles.Poles[1].Height != 0.9 || poles.Spacing != 25.5 || poles.Beside != "flat tops at 0.60 mm" {
		t.Errorf("poles: got %+v", poles)
	}
	near(t, "string height", poles.Poles[2].StringHeight, 3.5, 1e-12)
	if dashed := byClass(elements(t, draw(t, func(w io.Writer) error { return Poles(w, poles) })), "dashed"); len(dashed) != 4 {
		t.Errorf("dashed lines: got %d, want 3 and the legend's", len(dashed))
	}
}

// The sheet's picture has the poles that are there, where they stand: two under each
// string, one under two, a blade in pieces of one height.
func TestSheetDrawsThePolesThatAreThere(t *testing.T) {
	for name, test := range map[string]struct {
		poles  profiles.PoleKind
		layout profiles.Layout
		want   int
		says   string
	}{
		"one":   {profiles.Rod, profiles.Layout{}, 4, ""},
		"two":   {profiles.Rod, profiles.Layout{PolesPerString: 2, StringPositions: []float64{0, 17, 34, 51}, PolePositions: []float64{-4, 4, 13, 21, 30, 38, 47, 55}}, 8, "a string's two poles at their mean height"},
		"half":  {profiles.Screw, profiles.Layout{StringsPerPole: 2}, 2, ""},
		"blade": {profiles.Blade, profiles.Layout{}, 1, ""},
	} {
		c := certificate(0.1, -0.1, 0.2, -0.2)
		c.Order.Poles, c.Order.Layout = test.poles, test.layout
		for i := range c.Verdict.Strings {
			c.Verdict.Strings[i].PoleHeight = 0.5
		}
		picture := c.poles()
		if got := byClass(elements(t, draw(t, func(w io.Writer) error { return Poles(w, picture) })), "pole"); len(got) != test.want {
			t.Errorf("%s: got %d poles, want %d", name, len(got), test.want)
		}
		if page := render(t, c); !strings.Contains(html.UnescapeString(page), test.says) {
			t.Errorf("%s: the page does not say %q", name, test.says)
		}
		has(t, renderPDF(t, c, A4), test.says)
	}
}

// Other pole tops are dashed over each pole that is there, not between two of them.
func TestOutlineStandsOverThePoles(t *testing.T) {
	c := certificate(0.1, -0.1)
	c.Order.Layout = profiles.Layout{PolesPerString: 2, StringPositions: []float64{0, 40}, PolePositions: []float64{-5, 5, 35, 45}}
	picture := c.poles()
	picture.Outline, picture.Beside = []float64{0.8, 0.9}, "flat tops"
	all := elements(t, draw(t, func(w io.Writer) error { return Poles(w, picture) }))
	poles, dashed := byClass(all, "pole"), byClass(all, "dashed")
	if len(poles) != 4 || len(dashed) != 5 {
		t.Fatalf("got %d poles and %d dashed lines, want 4, and 5 with the legend's", len(poles), len(dashed))
	}
	for i, pole := range poles {
		near(t, "middle", (dashed[i].num(t, "x1")+dashed[i].num(t, "x2"))/2, pole.num(t, "x")+pole.num(t, "width")/2, 0.02)
	}
}

// A balance whose U is not known has a bar and no whisker.
func TestNoWhiskerWithoutU(t *testing.T) {
	chart := BalanceChart{Title: "balance", Tolerance: 1, Bars: []Bar{
		{String: 1, Balance: 0.2, Expanded: 0.3}, {String: 2, Balance: -0.2, Expanded: math.NaN()},
	}}
	if whiskers := byClass(elements(t, draw(t, func(w io.Writer) error { return Balance(w, chart) })), "whisker"); len(whiskers) == 0 {
		t.Error("no whisker of a U that is known")
	}
	chart.Bars = chart.Bars[1:]
	if whiskers := byClass(elements(t, draw(t, func(w io.Writer) error { return Balance(w, chart) })), "whisker"); len(whiskers) != 0 {
		t.Errorf("whiskers: got %d, want none", len(whiskers))
	}
}

func TestAttributesAreEscaped(t *testing.T) {
	var s svg
	s.empty("a", attr{"b", hostile})
	if got := elements(t, s.body.String())[0].attr["b"]; got != strings.ReplaceAll(hostile, "\x00", "\ufffd") {
		t.Errorf("got %q, want %q", got, hostile)
	}
}

// The legend of a chart that has every mark ends within the picture.
func TestTheLegendFits(t *testing.T) {
	c := BalanceChart{Title: "all", Tolerance: 1, Predicted: []float64{0, 0, 0}, Bars: []Bar{
		{String: 1, Balance: 0.1, Expanded: 0.2, Mark: Inside}, {String: 2, Balance: 0.9, Expanded: 0.2, Mark: Undecided}, {String: 3, Balance: -2, Expanded: 0.2, Mark: Outside},
	}}
	var b bytes.Buffer
	if err := Balance(&b, c); err != nil {
		t.Fatal(err)
	}
	m := regexp.MustCompile(`<text x="([0-9.]+)" y="[0-9.]+" class="start">predicted<`).FindStringSubmatch(b.String())
	if m == nil {
		t.Fatalf("no legend of the prediction: %s", &b)
	}
	if x, err := strconv.ParseFloat(m[1], 64); err != nil || x+6*float64(len("predicted")) > chartWidth {
		t.Errorf("the last word begins at %s of %g", m[1], float64(chartWidth))
	}
}
