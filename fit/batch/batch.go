// Package batch characterises a batch of magnets from field readings of loose
// magnets: how strong they are and how much they vary, which are not like the
// others, whether the batch is what was ordered, how it compares with other
// batches, and which magnets go together in a set.
//
// A magnet's strength is the size of the mean of its takes, whichever pole is up;
// where it was measured in several placings it is the mean of their means.
// Figures treat the magnets measured as a random draw from a large batch whose
// strengths are normally distributed: take them from all over the box.
//
// Fields in mT at one gap between probe and pole face. Readings at different
// gaps are never mixed as they are: see [Options].
package batch

import (
	"fmt"
	"math"
	"time"

	"evenpole/fit/field"

	"gonum.org/v1/gonum/stat"
	"gonum.org/v1/gonum/stat/distuv"
)

// Options are what the shop may set; zero means what is said.
type Options struct {
	Reference  string               // batch that others are compared with; the first of the record
	Gap        float64              // mm, probe to pole face, that figures and limits are for; the one at which most takes were made
	Rods       map[string]field.Rod // radius and length, mm, by batch: readings at other gaps are converted with them, on the axis; else refused
	Limits     Limits               // of every magnet; none
	Risks      Risks                // of the decision; see Risks
	Share      float64              // of the batch that the tolerance interval holds; 0.95
	Confidence float64              // confidence of intervals and of the tolerance interval; 0.95
	Within     float64              // wanted half-width of the mean's interval, relative; 0.01
}

func (o Options) withDefaults() Options {
	o.Risks = o.Risks.withDefaults()
	for _, f := range []struct {
		value *float64
		usual float64
	}{{&o.Share, 0.95}, {&o.Confidence, 0.95}, {&o.Within, 0.01}} {
		if *f.value == 0 {
			*f.value = f.usual
		}
	}
	return o
}

// Significance of the named tests: of outliers and trends, and of what is
// only warned of, which is looked for in many places.
const (
	significance = 0.05
	suspicion    = 0.01
)

// Refusal says why the readings cannot be characterised as asked, and what
// would help.
type Refusal struct{ Msg string }

func (r *Refusal) Error() string { return r.Msg }

func refused(format string, args ...any) error { return &Refusal{fmt.Sprintf(format, args...)} }

// Interval is from Low to High.
type Interval struct {
	Low  float64 `json:"low"`
	High float64 `json:"high"`
}

// Magnet is one magnet of the batch.
type Magnet struct {
	Name     string  `json:"magnet"`
	Position int     `json:"position"` // of the probe, at its first take; 0 when not known
	Field    float64 `json:"field_mt"` // signed
	Takes    int     `json:"takes"`
	Placings int     `json:"placings"` // times that it was put under the probe
	Reversed bool    `json:"reversed"` // the other pole is up than of most
	Outlier  bool    `json:"outlier"`
	Beyond   string  `json:"beyond"` // "below", "above" its limits, or ""
}

// Strength is the size of the field, mT.
func (m *Magnet) Strength() float64 { return math.Abs(m.Field) }

// Scatter is what strengths vary by: standard deviations, mT. A pointer is nil
// where the readings cannot tell.
type Scatter struct {
	Magnets     float64   `json:"magnets_mt"` // from magnet to magnet, the measurement's own taken off
	Interval    *Interval `json:"magnets_mt_interval"`
	Percent     float64   `json:"magnets_percent"` // of the mean
	Observed    float64   `json:"observed_mt"`     // of the magnets' measured strengths
	Take        *float64  `json:"take_mt"`         // from take to take of one placing
	Placing     *float64  `json:"placing_mt"`      // from placing to placing, the takes' own taken off where it is known
	Measurement *float64  `json:"measurement_mt"`  // of a magnet's strength as it was measured
}

// Tolerance is a normal tolerance interval: it holds a share of the batch with
// a confidence.
type Tolerance struct {
	Share      float64 `json:"share"`
	Confidence float64 `json:"confidence"`
	K          float64 `json:"k"`
	Approx     float64 `json:"k_approximate"` // Howe's
	Interval
	AtLeast float64 `json:"at_least"` // the share is stronger than this; one-sided
	AtMost  float64 `json:"at_most"`  // the share is weaker than this; one-sided
}

// Report is what is known of one batch. It marshals to JSON; what the readings
// cannot tell is null.
type Report struct {
	Batch      string       `json:"batch"`
	Reference  string       `json:"reference"`
	Measured   time.Time    `json:"measured"` // the last take
	Gap        *float64     `json:"probe_gap_mm"`
	Takes      int          `json:"n_takes"`
	Count      int          `json:"n_magnets"`
	Confidence float64      `json:"confidence"` // of intervals
	Mean       float64      `json:"mean_mt"`
	MeanWithin *Interval    `json:"mean_mt_interval"`
	Scatter    *Scatter     `json:"scatter"`
	Tolerance  *Tolerance   `json:"tolerance"`
	Test       string       `json:"outlier_test"`
	Outliers   []Outlier    `json:"outliers"`
	Reversed   []string     `json:"reversed"` // magnets with the other pole up
	Trend      *Trend       `json:"trend"`
	Decision   *Decision    `json:"decision"` // nil without limits
	Others     []Comparison `json:"others"`
	Loudness   *Loudness    `json:"loudness"`       // the caller's to set, see Compare
	ForMean    *int         `json:"more_for_mean"`  // magnets to measure beside these until the mean is known within Within
	Within     float64      `json:"within_percent"` // of the mean
	Magnets    []Magnet     `json:"magnets"`        // in the order in which they were first measured
	LeftOut    []LeftOut    `json:"left_out"`       // of all rows read
	Warnings   []string     `json:"warnings"`
	Notes      []string     `json:"notes"` // how the figures were made
}

func (r *Report) warn(format string, args ...any) {
	r.Warnings = append(r.Warnings, fmt.Sprintf(format, args...))
}

func (r *Report) note(format string, args ...any) {
	r.Notes = append(r.Notes, fmt.Sprintf(format, args...))
}

// strengths of the magnets in order, mT.
func strengths(magnets []Magnet) []float64 {
	out := make([]float64, len(magnets))
	for i := range magnets {
		out[i] = magnets[i].Strength()
	}
	return out
}

// Characterise says what is known of a batch. An error is a *Refusal.
func (r *Record) Characterise(name string, o Options) (*Report, error) {
	o = o.withDefaults()
	if err := o.judge(); err != nil {
		return nil, err
	}
	if len(r.names) == 0 {
		return nil, refused("no field reading of a loose magnet; capture some with a mount of batch, magnets and probe_gap_mm")
	}
	l := r.batches[name]
	if l == nil {
		return nil, refused("no field reading of a loose magnet of batch %q; there are of %s", name, quoted(r.names))
	}
	if o.Reference == "" {
		o.Reference = r.names[0]
	} else if r.batches[o.Reference] == nil {
		return nil, refused("no field reading of a loose magnet of the reference batch %q; there are of %s", o.Reference, quoted(r.names))
	}
	if o.Gap == 0 {
		o.Gap = l.usualGap()
	}
	l, err := l.at(o.Gap, o.Rods[name])
	if err != nil {
		return nil, refused("batch %q: %v", name, err)
	}
	c := characterisation{&Report{
		Batch: name, Reference: o.Reference, Measured: l.last, Gap: known(o.Gap), Count: len(l.magnets), Confidence: o.Confidence,
		Outliers: []Outlier{}, Reversed: []string{}, Others: []Comparison{}, Within: 100 * o.Within, Magnets: l.list(),
		LeftOut: append([]LeftOut{}, r.LeftOut...), Warnings: []string{}, Notes: []string{},
	}, l, o}
	c.polarity()
	c.scatter()
	c.tests()
	if err := c.decide(); err != nil {
		return nil, err
	}
	c.compare(r)
	c.suspect()
	c.explain()
	return c.Report, nil
}

// judge refuses options that the arithmetic cannot bear.
func (o *Options) judge() error {
	for _, f := range []struct {
		name  string
		value float64
	}{{"share", o.Share}, {"confidence", o.Confidence}, {"half-width of the mean's interval", o.Within}} {
		if !(f.value > 0 && f.value < 1) {
			return refused("%s: expected between 0 and 100 %%, got %g %%", f.name, 100*f.value)
		}
	}
	if !(o.Gap >= 0) || math.IsInf(o.Gap, 0) {
		return refused("probe gap: expected 0 mm or more, got %g", o.Gap)
	}
	for name, r := range o.Rods {
		if !(r.Radius >= 0 && r.Length >= 0) || math.IsInf(r.Radius, 0) || math.IsInf(r.Length, 0) {
			return refused("rod of batch %q: expected a diameter and a length in mm, got %g and %g", name, 2*r.Radius, r.Length)
		}
	}
	if err := o.Limits.judge(); err != nil {
		return err
	}
	return o.Risks.judge()
}

// characterisation is a report in the making.
type characterisation struct {
	*Report
	lot *lot
	opt Options
}

// polarity marks the magnets that have the other pole up than most.
func (c *characterisation) polarity() {
	for _, name := range c.lot.mixed() {
		c.warn("magnet %s: its takes do not agree on the pole that is up; measure it again", name)
	}
	up := 0
	for i := range c.Magnets {
		up += sign(c.Magnets[i].Field)
	}
	if up == 0 {
		c.warn("as many magnets have one pole up as the other: the field's sign does not tell which are the wrong way round")
		return
	}
	for i := range c.Magnets {
		m := &c.Magnets[i]
		if sign(m.Field) == -sign(float64(up)) {
			m.Reversed = true
			c.Reversed = append(c.Reversed, m.Name)
		}
	}
}

// scatter works out the mean and what strengths vary by.
func (c *characterisation) scatter() {
	values := strengths(c.Magnets)
	n := len(values)
	for i := range c.Magnets {
		c.Takes += c.Magnets[i].Takes
	}
	mean, sd := stat.MeanStdDev(values, nil)
	c.Mean = mean
	if n < 2 {
		c.warn("one magnet shows no scatter: measure more")
		return
	}
	half := meanHalfWidth(n, sd, c.opt.Confidence)
	c.MeanWithin = &Interval{mean - half, mean + half}
	c.Scatter = c.lot.components(c.opt.Confidence, sd)
	c.Scatter.Percent = 100 * c.Scatter.Magnets / mean
	k := TwoSided(n, c.opt.Share, c.opt.Confidence)
	one := OneSided(n, c.opt.Share, c.opt.Confidence) * sd
	c.Tolerance = &Tolerance{
		Share: c.opt.Share, Confidence: c.opt.Confidence, K: k, Approx: TwoSidedApprox(n, c.opt.Share, c.opt.Confidence),
		Interval: Interval{mean - k*sd, mean + k*sd}, AtLeast: mean - one, AtMost: mean + one,
	}
	if more, ok := moreForMean(n, sd, c.opt.Within*mean, c.opt.Confidence); ok {
		c.ForMean = &more
	}
}

// meanHalfWidth is half the length of the t interval of the mean of n values.
func meanHalfWidth(n int, sd, confidence float64) float64 {
	t := distuv.StudentsT{Sigma: 1, Nu: float64(n - 1)}.Quantile((1 + confidence) / 2)
	return t * sd / math.Sqrt(float64(n))
}

// moreForMean is how many more magnets bring the mean's interval to a half-width,
// should the scatter stay what it is.
func moreForMean(n int, sd, half, confidence float64) (more int, ok bool) {
	const most = 1_000_000
	return firstFrom(n, most, func(m int) bool { return meanHalfWidth(m, sd, confidence) <= half })
}

// firstFrom is by how much n has to grow for a condition to hold that holds ever
// after; not ok when it does not by most.
func firstFrom(n, most int, holds func(int) bool) (more int, ok bool) {
	low, high := n-1, most
	if !holds(high) {
		return 0, false
	}
	for high-low > 1 {
		if m := (low + high) / 2; holds(m) {
			high = m
		} else {
			low = m
		}
	}
	return high - n, true
}

// tests looks for outliers and for a drift along the box.
func (c *characterisation) tests() {
	values := strengths(c.Magnets)
	n := len(values)
	if n < 3 {
		return
	}
	most := mostOutliers(n)
	c.Test = "Grubbs' test for one outlier"
	if most > 1 {
		c.Test = fmt.Sprintf("generalised ESD test for at most %d outliers", most)
	}
	steps, found := esd(values, most, significance)
	for _, s := range steps[:found] {
		m := &c.Magnets[s.index]
		m.Outlier = true
		c.Outliers = append(c.Outliers, Outlier{m.Name, m.Strength(), s.statistic, s.critical})
	}
	if n >= leastForTrend {
		t := trendOf(values, significance)
		c.Trend = &t
		if t.Drifts {
			c.warn("strength drifts along the order of measurement: the box, or the probe; measure the first magnets again to tell")
		}
	}
}

// suspect warns of what may be the measurement's doing rather than the magnets'.
func (c *characterisation) suspect() {
	if s := c.Scatter; s != nil {
		switch {
		case s.Observed == 0:
			c.warn("all %d magnets read the same: the readings look copied, or the probe is too coarse; nothing can be told of the batch", c.Count)
		case s.Measurement == nil:
			c.warn("one take a magnet: the probe's own scatter is in the magnets' and cannot be taken off; take two or more")
		case s.Placing == nil:
			c.note("no magnet was measured in two placings: what putting it under the probe again changes is not known")
		}
		if m := s.Measurement; m != nil && *m > s.Observed/3 {
			c.warn("the measurement makes %.0f %% of the variance that is seen between magnets; with more takes a magnet, tolerance interval and decision are less strict than they need be now", 100**m**m/(s.Observed*s.Observed))
		}
	}
	c.positions()
	for _, s := range c.lot.shifts() {
		c.warn("%s", s)
	}
}

// positions looks for a probe position that reads otherwise than the others.
func (c *characterisation) positions() {
	at := map[int][]float64{}
	for i := range c.Magnets {
		if p := c.Magnets[i].Position; p > 0 {
			at[p] = append(at[p], c.Magnets[i].Strength())
		}
	}
	var groups [][]float64
	for _, p := range sortedKeys(at) {
		if len(at[p]) > 1 {
			groups = append(groups, at[p])
		}
	}
	if len(groups) < 2 {
		return
	}
	if a := oneWay(groups); a.p() < suspicion {
		c.warn("strength goes with the probe's position (F test, p = %.2g): swap magnets between positions and measure again, the gap may not be the same everywhere", a.p())
	}
}

func (c *characterisation) explain() {
	c.note("intervals are at %g %% confidence and take the magnets measured for a random draw from a large batch", 100*c.opt.Confidence)
	c.note("outliers are named and stay in every figure; leave one out by taking its reading back, if it is a slip")
	if len(c.Others) > 0 {
		c.note("a comparison between sessions rests on the probe's zero and gap being the same in both: keep a magnet aside and measure it in each")
	}
	if d := c.Decision; d != nil {
		c.note("the decision is sampling by variables with the standard deviation unknown, the k method of ISO 3951-1, its k worked out for the risks and not from its tables; it takes strengths for normally distributed, and its risks hold for one look: looking again after every few magnets adds them up")
		if len(c.Outliers) > 0 {
			c.warn("with outliers strengths are hardly normally distributed: look at the outliers before acting on the decision")
		}
	}
	if c.Gap == nil {
		c.note("the readings do not say the gap between probe and pole face: they are taken to be at one gap")
	}
}

// Cautions are what must stand beside loose magnets. All are common practice.
func Cautions() []string {
	return []string{
		"strong magnets: they pinch fingers and fly at each other and at steel tools; they are brittle and splinter: wear eye protection",
		"keep them away from pacemakers and other implants",
		"a magnet that has touched another or been knocked may have lost strength: measure it again",
	}
}
