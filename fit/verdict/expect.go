package verdict

import (
	"iter"
	"math"
	"slices"

	"evenpole/capture/record"
	"evenpole/fit"
	"evenpole/fit/cell"
	"evenpole/profiles"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/stat"
)

// Bench is what a pickup is compared with: what the shop's model expects of a
// pickup with these heights under these strings, and what else is known of it.
type Bench struct {
	Model  fit.Model
	Sets   []profiles.StringSet                  // of which a wrong string may be
	Fields iter.Seq2[record.FieldReading, error] // the shop's; nil when there are none
}

// Diagnosis is how a pickup compares with what the model expects of it.
type Diagnosis struct {
	Source  string     `json:"source"` // of the model: "shop data" or "handbook prior"
	Strings []Expected `json:"strings"`
	Causes  []Cause    `json:"causes"` // the likeliest first, with those that the readings do not tell from it; none when nothing stands out
	Tell    string     `json:"tell"`   // what tells the causes apart, or bears out the one; "" without any
}

// Expected is what the model expects of a string.
type Expected struct {
	String   int    `json:"string"`
	Balance  Figure `json:"expected_db"`
	Expanded Figure `json:"expected_U_db"` // of the difference to the measured balance
	Off      Figure `json:"off_db"`        // measured less expected
	Field    Figure `json:"field_mt"`      // over its pole, as the latest session with the field probe has it
}

// How far the jig's slots may be off, standard deviation of ln v: what is left
// where the model knows them, and where it does not (our assumptions; the second
// is the falloff model's before there are data).
const (
	knownSlotSD = 0.015
	slotSD      = 0.03
)

// expect compares the levels with what the model expects, and looks for causes.
func (c *check) expect() error {
	if c.opt.Bench == nil {
		return nil
	}
	x, lacks := c.newExpectation()
	if lacks != "" {
		c.note("not compared with what the model expects: %s", lacks)
		return nil
	}
	if c.opt.Bench.Fields != nil {
		probe, err := probed(c.opt.Bench.Fields, c.v.Pickup, x.cells)
		if err != nil {
			return err
		}
		x.probe = probe
	}
	x.prepare()
	c.x = x
	d := &Diagnosis{Source: c.opt.Bench.Model.Source(), Strings: x.strings(c.shift), Causes: []Cause{}}
	d.Causes = append(d.Causes, x.causes()...)
	d.Tell = tell(d.Causes)
	c.v.Diagnosis = d
	c.polarity()
	if c.order.Poles == profiles.Rod && !x.probe.complete() {
		c.note("without a reading of the field over every pole a reversed magnet goes unseen: capture with --field all")
	}
	return nil
}

// expectation is a pickup's levels beside the model's.
type expectation struct {
	model   fit.Model
	setup   *fit.Setup
	sets    []profiles.StringSet
	heights []float64 // mm, of the poles as written
	level   []float64 // ln v, up to what all strings share; NaN when the string was not heard
	noise   []float64 // variance of level: takes, mounting, slot and what cells leave
	cells   []cell.Cell
	probe   *probe

	mean  []float64 // ln v as the model expects it on this jig
	plain []float64 // as it predicts it anywhere: what changes are counted from
	dead  []bool
	miss  []float64     // levels less mean, then field deviations; what is not known is 0 with no certainty
	cov   *mat.SymDense // of miss
	base  float64       // likelihood of miss when nothing is wrong
}

// newExpectation takes what was on the jig as it was written; or says what is
// lacking.
func (c *check) newExpectation() (x *expectation, lacks string) {
	n := len(c.v.Strings)
	x = &expectation{
		model: c.opt.Bench.Model, sets: c.opt.Bench.Sets, heights: make([]float64, n), noise: make([]float64, n), probe: &probe{},
		setup: &fit.Setup{
			StringHeights: make([]float64, n), Poles: c.order.Poles, Batch: c.v.Batch, Excite: c.session.excite(),
			ScaleLength: c.order.ScaleLength, PickupFromBridge: c.order.PickupFromBridge, Spacing: c.order.StringSpread / max(1, float64(n-1)),
		},
	}
	if n < 2 {
		return nil, "a pickup of one string has no balance"
	}
	bench := perDB(square(float64(x.model.ResidualSD())) + c.channel()*c.channel())
	for i := range n {
		t := c.session.takes(i)
		x.heights[i], x.setup.StringHeights[i] = t.row.PoleHeight, t.row.StringHeight
		x.setup.Strings = append(x.setup.Strings, mounted(&t.row, c.order.Strings[i]))
		if gap := t.row.StringHeight - t.row.PoleHeight; !(gap > 0) || !known(gap) || !(t.row.Core > 0) {
			return nil, c.name(i) + ": the record does not say its heights and its core"
		}
		x.cells = append(x.cells, c.cell(i, x.setup))
		x.level = append(x.level, math.NaN())
		if len(t.levels) > 0 {
			x.level[i] = stat.Mean(t.levels, nil) / perLn
			x.noise[i] = bench + perDB(c.scatter())/float64(len(t.levels))
		}
	}
	return x, ""
}

// perDB turns a variance in dB² into one of ln v.
func perDB(variance float64) float64 { return variance / (perLn * perLn) }

// scatter is the variance of a single take in dB², pooled over the strings; the
// usual one of a pluck (our assumption) when no string has two.
func (c *check) scatter() float64 {
	const usual = 0.3 // dB
	var squares, dof float64
	for i := range c.v.Strings {
		if l := c.session.takes(i).levels; len(l) > 1 {
			squares += stat.Variance(l, nil) * float64(len(l)-1)
			dof += float64(len(l) - 1)
		}
	}
	if dof == 0 {
		return usual * usual
	}
	return squares / dof
}

// mounted is the string that a row says was on the jig, with the note of the one
// ordered.
func mounted(r *record.Reading, ordered profiles.String) profiles.String {
	s := profiles.String{Note: ordered.Note, Gauge: r.Gauge, Core: r.Core, Wrap: r.Wrap}
	if !known(s.Gauge) {
		s.Gauge = r.Core
		if s.Wrap != "" && !s.Plain() {
			s.Gauge = max(ordered.Gauge, r.Core)
		}
	}
	if s.Wrap == "" {
		s.Wrap = ordered.Wrap
		if s.Gauge == s.Core {
			s.Wrap = profiles.Plain
		}
	}
	return s
}

// cell is what the session has of string i.
func (c *check) cell(i int, s *fit.Setup) cell.Cell {
	t, str := c.session.takes(i), s.Strings[i]
	out := cell.Cell{Pickup: c.v.Pickup, String: i + 1, Set: t.row.StringSet, Core: str.Core, Gauge: str.Gauge, Wrap: str.Wrap,
		PoleHeight: t.row.PoleHeight, StringHeight: t.row.StringHeight, Mode: t.row.Mode, Excite: s.Excite, Batch: c.v.Batch, Takes: len(t.levels)}
	if len(t.freqs) > 0 {
		out.Freq = middle(slices.Sorted(slices.Values(t.freqs)))
	} else if hz, err := profiles.Pitch(str.Note); err == nil {
		out.Freq = hz
	}
	return out
}

// expected is ln v of each string of a new pickup, with what the model knows of
// the jig's slots and of the strings at the bench; without, where the jig plucks
// otherwise than the model's did.
func (x *expectation) expected() []float64 {
	mean, slot := x.model.Expect(x.cells), knownSlotSD
	if slices.ContainsFunc(mean, math.IsNaN) {
		mean, slot = x.model.Level(nil, x.setup, x.heights), slotSD
	}
	for i := range x.noise {
		x.noise[i] += slot * slot
	}
	return mean
}

// anywhere is the standard deviation of ln v of what all strings share, which is
// not compared: only the balance is.
const anywhere = 2

// prepare works out what is off by how much, and how surely.
func (x *expectation) prepare() {
	n := len(x.heights)
	x.mean = x.expected()
	x.plain = x.model.Level(nil, x.setup, x.heights)
	x.dead = x.findDead()
	x.miss = make([]float64, 2*n)
	x.cov = mat.NewSymDense(2*n, nil)
	known := x.model.Uncertainty(x.setup, x.heights)
	power, powerSE := x.fieldPower()
	pole, _ := x.parameter("sd_pole", 0.05, 0)
	sd := x.probe.spread
	// A field tells at most half of what differs from pole to pole (our assumption):
	// where the model knows of less, the rest stays.
	rest := max(0, square(power*sd)-square(pole)/2)
	for i := range n {
		for j := i; j < n; j++ {
			x.cov.SetSym(i, j, known.At(i, j)+anywhere*anywhere)
			x.cov.SetSym(n+i, n+j, sd*sd) // of what all fields share: the batch's mean
		}
		x.cov.SetSym(i, i, x.cov.At(i, i)+x.noise[i])
		x.cov.SetSym(n+i, n+i, 2*sd*sd)
		x.cov.SetSym(i, n+i, power*sd*sd)
		x.miss[i] = x.level[i] - x.mean[i]
		if z, ok := x.probe.deviation(i); ok {
			x.miss[n+i] = z
			x.cov.SetSym(i, i, x.cov.At(i, i)+rest+square(powerSE*z)) // the power is not quite known
		} else {
			x.forget(n + i)
		}
		if x.dead[i] {
			x.forget(i)
		}
	}
	x.base = x.likelihood(nil, nil, 0)
}

func square(v float64) float64 { return v * v }

// forget takes a level or a field out of the comparison: nothing goes with it.
func (x *expectation) forget(k int) {
	for j := range x.miss {
		x.cov.SetSym(k, j, 0)
	}
	x.cov.SetSym(k, k, 1)
	x.miss[k] = 0
}

// parameter is one of the model's with its standard error; what is usual where the
// model has none of the name.
func (x *expectation) parameter(name string, usual, usualSE float64) (value, se float64) {
	for _, p := range x.model.Parameters() {
		if p.Name == name {
			return p.Value, p.SE
		}
	}
	return usual, usualSE
}

// fieldPower is by how much ln v goes with the logarithm of a pole's field: between
// that of steel that saturates and of steel that magnetises in proportion.
func (x *expectation) fieldPower() (power, se float64) {
	return x.parameter("field_exponent", 0.5, 0.3)
}

// muted is how far below what is expected a string is dead, dB.
const muted = 20

// findDead finds the strings that were plucked and not heard, or hardly.
func (x *expectation) findDead() []bool {
	var off []float64
	for i, l := range x.level {
		if known(l) {
			off = append(off, l-x.mean[i])
		}
	}
	slices.Sort(off)
	dead := make([]bool, len(x.level))
	for i, l := range x.level {
		dead[i] = !known(l) || l-x.mean[i] < middle(off)-muted/perLn
	}
	return dead
}

// middle is the median of sorted values, the lower one of two.
func middle(sorted []float64) float64 {
	if len(sorted) == 0 {
		return math.NaN()
	}
	return sorted[(len(sorted)-1)/2]
}

// strings is what is expected of each, beside the mean of all that are heard, with
// what turns the jig's excitation into the order's (dB, nil for nothing).
func (x *expectation) strings(shift []float64) []Expected {
	n := len(x.heights)
	out := make([]Expected, n)
	for i := range out {
		off, expected, variance := math.NaN(), 0.0, math.NaN()
		share := x.centred(i)
		for j, w := range share {
			expected += w * perLn * x.mean[j]
			if shift != nil {
				expected += w * shift[j]
			}
		}
		if !x.dead[i] {
			w := mat.NewVecDense(2*n, append(share, make([]float64, n)...))
			off, variance = perLn*mat.Dot(w, mat.NewVecDense(2*n, x.miss)), mat.Inner(w, x.cov, w)
		}
		u := distributed.Quantile(0.975) * math.Sqrt(variance) * perLn
		out[i] = Expected{String: i + 1, Balance: Figure(expected), Expanded: Figure(u), Off: Figure(off), Field: Figure(x.probe.field(i))}
	}
	return out
}

// centred is what each string's level counts in string i's balance: 1 of its own,
// less the mean of those that are heard.
func (x *expectation) centred(i int) []float64 {
	share := make([]float64, len(x.heights))
	heard := 0.0
	for j := range share {
		if !x.dead[j] {
			heard++
		}
	}
	for j := range share {
		if !x.dead[j] {
			share[j] = -1 / heard
		}
	}
	share[i]++
	return share
}

// likelihood is the logarithm of Student's density of what was missed less a
// shift, with the covariance grown by a variance sd² along a direction, up to what
// all have in common.
func (x *expectation) likelihood(shift, along []float64, sd float64) float64 {
	chol, left, ok := x.solved(shift, along, sd)
	if !ok {
		return math.Inf(-1)
	}
	var w mat.VecDense
	if chol.SolveVecTo(&w, left) != nil {
		return math.Inf(-1)
	}
	nu, n := distributed.Nu, x.told()
	return -chol.LogDet()/2 - (nu+n)/2*math.Log1p(mat.Dot(left, &w)/nu)
}

// told is how many levels and fields are known.
func (x *expectation) told() float64 {
	n := 0
	for k := range x.miss {
		if !x.unknown(k) {
			n++
		}
	}
	return float64(n)
}

// size is the estimate of how far along a direction what was missed lies beyond a
// shift, when that is sd from 0 as a rule.
func (x *expectation) size(shift, along []float64, sd float64) float64 {
	chol, left, ok := x.solved(shift, along, sd)
	var w mat.VecDense
	if !ok || along == nil || chol.SolveVecTo(&w, left) != nil {
		return 0
	}
	return sd * sd * mat.Dot(mat.NewVecDense(len(along), along), &w)
}

func (x *expectation) solved(shift, along []float64, sd float64) (*mat.Cholesky, *mat.VecDense, bool) {
	left := mat.NewVecDense(len(x.miss), slices.Clone(x.miss))
	for k, s := range shift {
		left.SetVec(k, left.AtVec(k)-s)
	}
	cov := x.cov
	if along != nil {
		cov = mat.NewSymDense(len(along), nil)
		cov.SymRankOne(x.cov, sd*sd, mat.NewVecDense(len(along), along))
	}
	var chol mat.Cholesky
	return &chol, left, chol.Factorize(cov)
}

// unknown reports whether a level or a field was forgotten.
func (x *expectation) unknown(k int) bool {
	n := len(x.heights)
	if k < n {
		return x.dead[k]
	}
	_, ok := x.probe.deviation(k - n)
	return !ok
}
