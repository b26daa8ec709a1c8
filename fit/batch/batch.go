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
// Fields are in mT at one gap between probe and pole face. Readings at different gaps
// are converted to one gap or refused: see [Options].
//
// The way through the package, in the order in which data flow:
//
//   - record.go: field readings of loose magnets, by batch ([Record]).
//   - options.go: [Options], [Limits] and [Risks].
//   - document.go: what is known of a batch ([Report]), with its parts.
//   - values.go: strengths of a batch at one gap.
//   - tolerance.go: factors of normal tolerance intervals; anova.go, outliers.go:
//     the analysis of variance and the tests that are used; trend.go: the test for a
//     trend, by the slopes of slopes.go.
//   - components.go: what strengths vary by ([Scatter]); bothlimits.go: shares beyond
//     limits, and factors for two limits; sampling.go: plans for a single look; wald.go:
//     limits that hold at every look; decide.go: whether the batch is as ordered
//     ([Decision]); compare.go: the batch beside others ([Comparison], [Loudness]).
//   - batch.go: [Record.Characterise], which runs all of these in order.
//   - sets.go: which magnets go together ([Match]).
package batch

import (
	"fmt"
	"math"
	"slices"

	"evenpole/fit/field"
	"evenpole/fit/level"

	"gonum.org/v1/gonum/stat"
	"gonum.org/v1/gonum/stat/distuv"
)

// Characterise says what is known of a batch. An error is a *Refusal.
func (r *Record) Characterise(name string, o Options) (*Report, error) {
	o = o.withDefaults()
	if err := o.validate(); err != nil {
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
		Batch: name, Reference: o.Reference, Measured: l.last, Gap: level.Figure(o.Gap), Count: len(l.magnets), Confidence: o.Confidence,
		Outliers: []Outlier{}, Reversed: []string{}, Others: []Comparison{}, Within: 100 * o.Within, Magnets: l.list(),
		LeftOut: append([]LeftOut{}, r.LeftOut...), Warnings: []string{}, Notes: []string{},
	}, l, o}
	c.polarity()
	c.scatter()
	c.testMagnets()
	if err := c.decide(); err != nil {
		return nil, err
	}
	c.compare(r)
	c.warnOfMeasurement()
	c.explain()
	return c.Report, nil
}

// validate refuses options that the arithmetic cannot take.
func (o *Options) validate() error {
	for _, f := range []struct {
		name  string
		value float64
	}{{"share", o.Share}, {"confidence", o.Confidence}, {"half-width of the mean's interval", o.Within}} {
		if !(f.value >= leastShare && f.value <= mostShare) {
			return refused("%s: expected between 0 and 100 %%, got %g %%; nearer than %g %% to either cannot be worked out", f.name, 100*f.value, 100*leastShare)
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
	if err := o.Limits.validate(); err != nil {
		return err
	}
	return o.Risks.validate()
}

// polarity marks the magnets whose other pole is up than that of most, and warns of those
// whose field is too faint to tell.
func (c *characterisation) polarity() {
	fields := make([]float64, len(c.Magnets))
	for i := range c.Magnets {
		fields[i] = c.Magnets[i].Field
	}
	turned, faint, even := field.Sides(fields)
	mixed := c.lot.mixedPolarity()
	for _, name := range mixed {
		c.warn("magnet %s: its takes do not agree on the pole that is up; measure it again", name)
	}
	for _, i := range faint {
		if name := c.Magnets[i].Name; !slices.Contains(mixed, name) {
			c.warn("magnet %s reads %+.1f mT, less than %.0f %% of what is usual in the batch: demagnetised, or not under the probe; which pole is up cannot be told", name, fields[i], 100*field.ClearShare)
		}
	}
	if even {
		c.warn("as many magnets have one pole up as the other: the field's sign does not tell which are the wrong way round")
	}
	for _, i := range turned {
		c.Magnets[i].Reversed = true
		c.Reversed = append(c.Reversed, c.Magnets[i].Name)
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

// testMagnets tests for outliers and for a trend in the order of measurement.
func (c *characterisation) testMagnets() {
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

// warnOfMeasurement warns of differences that may come from the measurement rather
// than from the magnets.
func (c *characterisation) warnOfMeasurement() {
	if s := c.Scatter; s != nil {
		switch {
		case s.Observed == 0:
			c.warn("all %d magnets read the same: the readings look copied, or the probe is too coarse; nothing can be told of the batch", c.Count)
		case !s.Measurement.Known():
			c.warn("one take a magnet: the probe's own scatter is in the magnets' and cannot be taken off; take two or more")
		case !s.Placing.Known():
			c.note("no magnet was measured in two placings: what putting it under the probe again changes is not known")
		}
		if m := float64(s.Measurement); m > s.Observed/3 {
			c.warn("the measurement makes %.0f %% of the variance that is seen between magnets; with more takes a magnet, tolerance interval and decision are less strict than they need be now", 100*m*m/(s.Observed*s.Observed))
		}
	}
	c.positions()
	for _, s := range c.lot.shifts() {
		c.warn("%s", s)
	}
}

// positions warns of probe positions that read differently from each other.
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

// explain notes how the figures were made.
func (c *characterisation) explain() {
	c.note("intervals are at %g %% confidence and take the magnets measured for a random draw from a large batch", 100*c.opt.Confidence)
	c.note("outliers are named and stay in every figure; leave one out by taking its reading back, if it is a slip")
	if len(c.Others) > 0 {
		c.note("a comparison between sessions rests on the probe's zero and gap being the same in both: keep a magnet aside and measure it in each")
	}
	if d := c.Decision; d != nil {
		c.note("the decision is sampling by variables with the standard deviation unknown, the k method of ISO 3951-1, its k worked out for the risks and not from its tables, so that with two limits they hold however what is beyond is split between them; it takes strengths for normally distributed")
		c.note("every number of magnets counts as a look, since the record does not say who looked when: the risks hold for all looks together, by Wald's sequential limits at any number and by the first %d magnets where those do not tell; a single look would take %d", d.Plan, d.PlanOnce)
		if len(c.Outliers) > 0 {
			c.warn("with outliers strengths are hardly normally distributed: look at the outliers before acting on the decision")
		}
	}
	if !c.Gap.Known() {
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
