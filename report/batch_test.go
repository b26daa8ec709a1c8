package report

import (
	"encoding/xml"
	"errors"
	"fmt"
	"io"
	"math"
	"regexp"
	"strings"
	"testing"
	"time"

	"evenpole/fit/batch"
	"evenpole/profiles"
	"evenpole/report/pdf"
)

// batchPage is the page on a batch of magnets of these strengths, mT, of which
// 240 to 280 is wanted.
func batchPage(strengths ...float64) BatchPage {
	low, high, more := 240.0, 280.0, 7
	r := &batch.Report{
		Batch: "squall", Reference: "gale", Measured: time.Date(2026, 3, 2, 9, 30, 0, 0, time.UTC), Gap: 0.5,
		Takes: 2 * len(strengths), Count: len(strengths), Confidence: 0.95, Mean: 260, MeanWithin: &batch.Interval{Low: 257, High: 263},
		Scatter:   &batch.Scatter{Magnets: 6, Interval: &batch.Interval{Low: 4, High: 9}, Percent: 2.3, Observed: 6.2, Take: 2.1, Placing: nan, Measurement: nan},
		Tolerance: &batch.Tolerance{Share: 0.95, Confidence: 0.95, K: 2.8, Interval: batch.Interval{Low: 243, High: 277}},
		Test:      "Grubbs' test for one outlier", Trend: &batch.Trend{Slope: 0.1, Across: 1, P: 0.4}, ForMean: &more, Within: 1,
		Decision: &batch.Decision{
			Answer: batch.Accept, Limits: batch.Limits{Min: &low, Max: &high}, Risks: batch.Risks{Acceptable: 0.01, Limiting: 0.1, Producer: 0.05, Consumer: 0.1},
			Outside: 0.012, AcceptAt: 0.03, RejectAt: 0.04, Plan: 21, PlanK: 1.75,
		},
		Others: []batch.Comparison{{Batch: "gale", Reference: true, Count: 18, Mean: 240, Percent: 8.3, Within: &batch.Interval{Low: 6, High: 10}, DB: 0.7}},
		Notes:  []string{"intervals are at 95 % confidence"},
	}
	for i, x := range strengths {
		r.Magnets = append(r.Magnets, batch.Magnet{Name: fmt.Sprintf("squall/%02d", i+1), Field: x, Takes: 2, Placings: 1})
	}
	return BatchPage{Report: r, Version: "1.0"}
}

// batchCases are pages that must be borne.
func batchCases() map[string]BatchPage {
	odd := batchPage(262, 255, 258, -261, 232, 266, 259, 264)
	odd.Magnets[3].Reversed, odd.Magnets[4].Outlier, odd.Magnets[4].Breach = true, true, "below"
	odd.Outliers = []batch.Outlier{{Magnet: "squall/05", Field: 232, Statistic: 2.4, Critical: 2.1}}
	odd.Reversed, odd.Decision.Breaching = []string{"squall/04"}, []string{"squall/05"}
	odd.Decision.Answer, odd.Decision.AtMost, odd.Decision.Likely = batch.MeasureMore, 13, 4
	odd.Sets = &batch.Sets{Size: 3, SD: 2.1, Free: 4.4, TrueSD: 2.4, Sets: []batch.Set{{Number: 1, Magnets: []string{"squall/02", "squall/03", "squall/07"}, Mean: 257.3, Spread: 4}}, Left: []string{"squall/06"}, Unfit: []string{"squall/04"}}
	odd.Loudness = &batch.Loudness{Pickups: 1, Reference: 2, DB: 0.6, Within: &batch.Interval{Low: -1, High: 2.2}}
	odd.Warnings = []string{"one take a magnet"}

	bare := batchPage(260)
	bare.Gap, bare.MeanWithin, bare.Scatter, bare.Tolerance, bare.Trend, bare.Decision, bare.ForMean, bare.Others = nan, nil, nil, nil, nil, nil, nil, nil
	bare.Measured, bare.Test = time.Time{}, ""

	rude := batchPage(250, 260)
	rude.Batch, rude.Reference, rude.Version, rude.Warnings = hostile, hostile, hostile, []string{hostile}
	rude.Magnets[0].Name, rude.Magnets[0].Outlier = hostile, true
	rude.Reversed = []string{hostile}

	reject := batchPage(250, 260, 270)
	reject.Decision.Answer, reject.Decision.Limits.Max = batch.Reject, nil

	var many []float64
	for i := range 600 {
		many = append(many, 260+8*math.Sin(float64(i*i)))
	}
	return map[string]BatchPage{"odd": odd, "bare": bare, "rude": rude, "reject": reject, "many": batchPage(many...), "equal": batchPage(260, 260)}
}

func renderBatch(t *testing.T, p BatchPage) string {
	t.Helper()
	return draw(t, func(w io.Writer) error { return WriteBatch(w, p) })
}

// Well-formed, self-contained, with its cautions, and the same bytes each time.
func TestBatchPage(t *testing.T) {
	for name, p := range batchCases() {
		text := renderBatch(t, p)
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
		for _, want := range []string{`<html lang="en-GB">`, "pacemakers", "fingers", "<svg"} {
			if !strings.Contains(text, want) {
				t.Errorf("%s: lacks %q", name, want)
			}
		}
		if renderBatch(t, p) != text {
			t.Errorf("%s: other bytes the second time", name)
		}
	}
	golden(t, "batch.html", renderBatch(t, batchCases()["odd"]))
}

func TestBatchPageSays(t *testing.T) {
	for name, wants := range map[string][]string{
		"odd":    {"<strong>measure more</strong>", "Measure 13 more magnets at most; 4 more would do", "squall/05 (232.0 mT)", "Left over: squall/06", "within sets scatter by about 2.4 mT", "&#43;0.60 dB"},
		"bare":   {"no limits given", "not recorded"},
		"rude":   {"&lt;script&gt;"},
		"reject": {`class="verdict fail"`, "240.0 mT or more is wanted"},
		"many":   {`class="verdict pass"`, "240.0 to 280.0 mT is wanted", "21 magnets always decide (k = 1.750)"},
	} {
		text := renderBatch(t, batchCases()[name])
		for _, want := range wants {
			if !strings.Contains(text, pdf.Held(want)) {
				t.Errorf("%s: lacks %q", name, want)
			}
		}
	}
}

// No line of the page begins with a unit.
func TestBatchPageHoldsUnits(t *testing.T) {
	text := renderBatch(t, batchCases()["many"])
	if broken := regexp.MustCompile(`[0-9] (%|mT|mm|dB|=)`).FindAllString(text, -1); broken != nil {
		t.Errorf("a line may end within %q", broken)
	}
}

// Every magnet has its mark on the plot, at its height, and the odd ones are open
// and named.
func TestStrip(t *testing.T) {
	for name, p := range batchCases() {
		all := elements(t, draw(t, func(w io.Writer) error { return Strip(w, BatchStrip(p.Report, profiles.Millimetres)) }))
		solid, open := byClass(all, "solid"), byClass(all, "open")
		odd := 0
		for _, m := range p.Magnets {
			if m.Outlier || m.Reversed || m.Breach != "" {
				odd++
			}
		}
		legend := min(odd, 1)
		if len(solid) != len(p.Magnets)-odd || len(open) != odd+legend {
			t.Errorf("%s: %d solid and %d open marks for %d magnets, %d of them odd", name, len(solid), len(open), len(p.Magnets), odd)
		}
		for _, mark := range append(solid, open...) {
			if x, y := mark.num(t, "cx"), mark.num(t, "cy"); x < stripLeft || x > stripRight || y < stripTop || y > stripHeight {
				t.Errorf("%s: a mark at %g, %g is off the plot", name, x, y)
			}
		}
	}
	all := elements(t, draw(t, func(w io.Writer) error { return Strip(w, BatchStrip(batchCases()["odd"].Report, profiles.Millimetres)) }))
	first, second := byClass(all, "solid")[0], byClass(all, "solid")[1]
	lines := byClass(all, "dashed")
	if len(lines) != 3 {
		t.Fatalf("%d dashed lines, want two limits and the legend's", len(lines))
	}
	perMT := (lines[0].num(t, "y1") - lines[1].num(t, "y1")) / 40
	near(t, "7 mT apart", second.num(t, "cy")-first.num(t, "cy"), 7*perMT, 0.03)
	if err := Strip(io.Discard, StripPlot{}); err == nil {
		t.Error("a plot of nothing was drawn")
	}
	if err := WriteBatch(io.Discard, BatchPage{}); err == nil {
		t.Error("a page on nothing was written")
	}
	if err := WriteBatch(full{}, batchCases()["odd"]); err == nil {
		t.Error("a page without room was written")
	}
}

// With inches the plot has gauss on its right, and what it says of itself has them, too.
func TestStripInGauss(t *testing.T) {
	r := batchCases()["odd"].Report
	text := draw(t, func(w io.Writer) error { return Strip(w, BatchStrip(r, profiles.Inches)) })
	contains(t, "the plot", text, ">G<", fmt.Sprintf("mean %.1f mT (%.0f G)", r.Mean, 10*r.Mean))
	all := elements(t, text)
	for _, mark := range append(byClass(all, "solid"), byClass(all, "open")...) {
		if x := mark.num(t, "cx"); x > chartWidth-60 {
			t.Errorf("a mark at %g is where the gauss stand", x)
		}
	}
	if text := draw(t, func(w io.Writer) error { return Strip(w, BatchStrip(r, profiles.Millimetres)) }); strings.Contains(text, ">G<") {
		t.Error("gauss beside millimetres")
	}
}
