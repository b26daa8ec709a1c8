package next

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"evenpole/fit"
	"evenpole/fit/cell"
	"evenpole/fit/curve"
	"evenpole/fit/level"
	"evenpole/fit/solve"
	"evenpole/profiles"

	"gonum.org/v1/gonum/mat"
)

// Want is a pickup to come, whose balance is to be predicted.
type Want struct {
	Setup   *fit.Setup
	Heights []float64 // mm, of its poles
}

// Proposal is a capture that would narrow predictions, and by how much.
type Proposal struct {
	Pickup        string            `json:"pickup"`    // one of the record; "" = a test pickup to be wound
	WoundFor      int               `json:"wound_for"` // number of the capture that a test pickup is wound for, this one or one before; 0 for one of the record
	Set           string            `json:"set"`
	Strings       []profiles.String `json:"-"`
	PoleHeights   []float64         `json:"pole_heights_mm"`
	StringHeights []float64         `json:"string_heights_mm"` // undersides
	Higher        float64           `json:"higher_mm"`         // by which the strings lie over where they usually do
	Before        float64           `json:"before_db"`         // see Next
	After         float64           `json:"after_db"`
}

// The captures that are thought of: strings where they usually lie, and higher
// by so much; takes of each string.
const (
	liftForNext  = 0.8 // mm
	takesForNext = 6
	takeScatter  = 0.03 // ln v
)

// Next proposes up to n captures, each in the light of those before it, that
// would most narrow what the model does not know of the balance of pickups to
// come: the root mean square, over their strings, of the standard deviation in dB
// that the model's parameters leave. What differs from one built pickup to the
// next no capture can narrow, and it is not counted.
//
// This is Bayesian A-optimal design for linear functions of the parameters (K.
// Chaloner, I. Verdinelli, Bayesian Experimental Design: A Review, Stat. Sci. 10,
// 1995): a capture is worth by how much it lowers the trace of L C L', C the
// parameters' covariance and L the balances' derivatives, the model made linear
// about its estimates; captures are chosen one after the other. What the record
// knows already of a pickup's poles and of the strings on the bench makes their
// scatter count less. Of captures worth nearly the same, the one that needs
// nothing wound or bought comes first.
//
// Captures are made of the pickups of d and of test pickups to be wound, under
// the sets given. A model that is no falloff model is an error.
func Next(p fit.Predictor, d *cell.Data, wants []Want, sets []profiles.StringSet, n int) ([]Proposal, error) {
	f, err := fit.AsFalloff(p)
	if err != nil {
		return nil, err
	}
	if len(wants) == 0 {
		return nil, fmt.Errorf("expected a pickup to come, got none")
	}
	t, err := newDesign(f, d, wants, sets)
	if err != nil {
		return nil, err
	}
	var out []Proposal
	for len(out) < n {
		best, ok := t.best()
		if !ok {
			break
		}
		out = append(out, t.learn(best, len(out)+1))
	}
	return out, nil
}

// design is a search for captures. Its unknowns are the curve's parameters, what
// each string of each set adds, what each slot of the jig adds, and what a pickup
// to be wound has of its own: all that several captures share.
type design struct {
	f          *fit.Falloff    // with every wrap that matters
	at         map[string]int  // where an effect stands, by its key
	sds        []float64       // of these effects before there are data; 0 for parameters
	cov        *mat.SymDense   // of the unknowns
	known      *fit.Posterior  // nil without a record
	wound      map[string]int  // for which capture a test pickup is wound, by its key
	have       map[string]bool // sets whose strings are there: in the record, or bought for a capture before
	want       *mat.Dense      // derivatives of the balances, ln v: one row a string
	candidates []candidate
}

// candidate is a capture with what it would tell.
type candidate struct {
	Proposal
	key   string        // of a test pickup to be wound
	grad  *mat.Dense    // by the unknowns, one row a string
	noise *mat.SymDense // of its cells
}

func newDesign(f *fit.Falloff, d *cell.Data, wants []Want, sets []profiles.StringSet) (*design, error) {
	t := &design{f: withWraps(f, wants, sets), wound: map[string]int{}, have: map[string]bool{}}
	if len(d.Cells) > 0 {
		m, err := f.EffectsOf(d.Cells, nil)
		if err != nil {
			return nil, fmt.Errorf("the record: %w", err)
		}
		if t.known, err = m.Posterior(); err != nil {
			return nil, fmt.Errorf("the record: %w", err)
		}
		for i := range t.known.Cells {
			t.have[t.known.Cells[i].Set] = true
		}
	}
	benches := benchesOf(d, wants)
	t.unknowns(sets, benches)
	t.cov = t.covariance()
	n := 0
	for _, w := range wants {
		n += len(w.Heights)
	}
	t.want = mat.NewDense(n, len(t.sds), nil)
	for at, i := 0, 0; i < len(wants); i++ {
		end := at + len(wants[i].Heights)
		t.balanceRows(t.want.Slice(at, end, 0, t.f.Size()).(*mat.Dense), wants[i])
		at = end
	}
	for _, b := range benches {
		for _, set := range sets {
			if len(set.Strings) == len(b.poles) {
				t.add(b, set, 0)
				t.add(b, set, liftForNext)
			}
		}
	}
	return t, nil
}

// stringKey and slotKey name effects as the model does.
func stringKey(set string, i int, s profiles.String) string {
	return curve.Effects[curve.StringEffect].Key(&cell.Cell{Set: set, String: i + 1, Core: s.Core, Gauge: s.Gauge})
}

func slotKey(i int) string { return curve.Effects[curve.ChannelEffect].Key(&cell.Cell{String: i + 1}) }

// unknowns gives each unknown its place.
func (t *design) unknowns(sets []profiles.StringSet, benches []benchPickup) {
	t.at = map[string]int{}
	t.sds = make([]float64, t.f.Size())
	see := func(k int, key string) {
		if _, ok := t.at[key]; !ok {
			t.at[key] = len(t.sds)
			t.sds = append(t.sds, math.Abs(t.f.SDs[1+k]))
		}
	}
	if t.known != nil {
		for i := range t.known.Cells {
			for _, k := range []int{curve.StringEffect, curve.ChannelEffect} {
				see(k, curve.Effects[k].Key(&t.known.Cells[i]))
			}
		}
	}
	for _, set := range sets {
		for i, s := range set.Strings {
			see(curve.StringEffect, stringKey(set.Name, i, s))
			see(curve.ChannelEffect, slotKey(i))
		}
	}
	for _, b := range benches {
		if t.ownPlaces(b) != nil {
			continue
		}
		for i := range b.poles {
			see(curve.PickupEffect, b.ownKey(curve.PickupEffect, i))
			see(curve.PoleEffect, b.ownKey(curve.PoleEffect, i))
		}
	}
}

// covariance is that of the unknowns, as far as the record tells.
func (t *design) covariance() *mat.SymDense {
	n := len(t.sds)
	cov := mat.NewSymDense(n, nil)
	for i, row := range t.f.Cov {
		for j := range row[:i+1] {
			cov.SetSym(i, j, row[j])
		}
	}
	for i := t.f.Size(); i < n; i++ {
		cov.SetSym(i, i, square(t.sds[i]))
	}
	if t.known == nil {
		return cov
	}
	place, scale := t.inRecord()
	for i := range n {
		for j := range i + 1 {
			if place[i] >= 0 && place[j] >= 0 {
				cov.SetSym(i, j, scale[i]*scale[j]*t.known.Shared().At(place[i], place[j]))
			}
		}
	}
	return cov
}

// inRecord says where the unknowns stand among those that the record's cells
// share, -1 for nowhere, and the scale in which they stand there.
func (t *design) inRecord() (place []int, scale []float64) {
	place, scale = make([]int, len(t.sds)), make([]float64, len(t.sds))
	for i := range place {
		place[i], scale[i] = -1, 1
		if i < t.known.Model.Size() {
			place[i] = i
		}
	}
	for c := range t.known.Cells {
		for _, k := range []int{curve.StringEffect, curve.ChannelEffect} {
			i := t.at[curve.Effects[k].Key(&t.known.Cells[c])]
			place[i], scale[i] = t.known.SharedPlace(k, t.known.LevelOf(k, c))
		}
	}
	return place, scale
}

// withWraps is the model with a parameter for every wrap of pickups to come and
// of the sets at hand.
func withWraps(f *fit.Falloff, wants []Want, sets []profiles.StringSet) *fit.Falloff {
	g := *f
	g.Wraps = slices.Clone(f.Wraps)
	g.Theta = slices.Clone(f.Theta)
	see := func(strings []profiles.String) {
		for _, s := range strings {
			if s.Wrap != profiles.Plain && !slices.Contains(g.Wraps, s.Wrap) {
				g.Wraps = append(g.Wraps, s.Wrap)
				g.Theta = append(g.Theta, curve.WrapPrior(s.Wrap).Mean)
			}
		}
	}
	for _, w := range wants {
		see(w.Setup.Strings)
	}
	for _, s := range sets {
		see(s.Strings)
	}
	g.Cov = make([][]float64, g.Size())
	for i := range g.Cov {
		g.Cov[i] = make([]float64, g.Size())
		if i < f.Size() {
			copy(g.Cov[i], f.Cov[i])
		} else {
			g.Cov[i][i] = square(curve.WrapPrior(g.Wraps[i-curve.FixedParameters]).SD)
		}
	}
	return &g
}

// balanceRows writes the derivatives of a pickup's balance, ln v.
func (t *design) balanceRows(dst *mat.Dense, w Want) {
	n := len(w.Heights)
	for i := range w.Heights {
		t.f.Gradient(dst.RawRowView(i), t.f.Theta, t.f.Site(w.Setup, i, w.Heights), 0)
	}
	for j := range t.f.Size() {
		mean := mat.Sum(dst.ColView(j)) / float64(n)
		for i := range n {
			dst.Set(i, j, dst.At(i, j)-mean)
		}
	}
}

// unknown is the root mean square of what is not known of the balances, dB,
// were the unknowns' covariance this.
func (t *design) unknown(cov mat.Symmetric) float64 {
	var half mat.Dense
	half.Mul(t.want, cov)
	rows, _ := t.want.Dims()
	var sum float64
	for i := range rows {
		sum += mat.Dot(half.RowView(i), t.want.RowView(i))
	}
	return level.PerLn * math.Sqrt(max(0, sum/float64(rows)))
}

// benchPickup is a pickup that could be on the jig.
type benchPickup struct {
	name    string    // "" = one to be wound
	key     string    // tells those to be wound apart
	poles   []float64 // mm
	strings []float64 // mm, where the strings usually lie over it
}

// benchesOf lists the record's pickups whose strings all have poles, then
// pickups to be wound: to the first plan, and with tall and short poles in turn.
func benchesOf(d *cell.Data, wants []Want) []benchPickup {
	var out []benchPickup
	for _, name := range d.Pickups() {
		_, own := d.Split(name)
		if b, ok := benchOf(name, own); ok {
			out = append(out, b)
		}
	}
	first := wants[0]
	heights := first.Setup.StringHeights
	if len(out) > 0 && len(out[0].strings) == len(heights) {
		heights = out[0].strings
	}
	const short, tall, room = 0.3, 2.1, 1.2 // mm
	one, other := make([]float64, len(heights)), make([]float64, len(heights))
	for i, h := range heights {
		long := math.Round(20*min(tall, h-room)) / 20
		one[i], other[i] = short, long
		if i%2 == 1 {
			one[i], other[i] = long, short
		}
	}
	for k, poles := range [][]float64{first.Heights, one, other} {
		if !slices.ContainsFunc(poles, func(h float64) bool { return h < 0 }) {
			out = append(out, benchPickup{key: fmt.Sprintf("to be wound %d", k+1), poles: poles, strings: heights})
		}
	}
	return out
}

// ownKey names an effect that a pickup has of its own: its level, or that of one
// of its poles.
func (b *benchPickup) ownKey(k, i int) string {
	return curve.Effects[k].Key(&cell.Cell{Pickup: b.name + b.key, String: i + 1})
}

// benchOf is a pickup of the record, by the lowest strings that it was
// measured under.
func benchOf(name string, cells []cell.Cell) (benchPickup, bool) {
	b := benchPickup{name: name}
	for _, c := range cells {
		for len(b.poles) < c.String {
			b.poles, b.strings = append(b.poles, math.NaN()), append(b.strings, math.Inf(1))
		}
		b.poles[c.String-1] = c.PoleHeight
		b.strings[c.String-1] = min(b.strings[c.String-1], c.StringHeight)
	}
	return b, !slices.ContainsFunc(b.poles, math.IsNaN)
}

// Costs of a capture beside the time at the jig.
const (
	costsNothing = iota
	costsStrings
	costsWinding
)

// add adds the capture of a pickup under a set, its strings higher by lift.
func (t *design) add(b benchPickup, set profiles.StringSet, lift float64) {
	c := candidate{key: b.key, Proposal: Proposal{Pickup: b.name, Set: set.Name, Strings: set.Strings, PoleHeights: b.poles, Higher: lift}}
	for _, h := range b.strings {
		c.StringHeights = append(c.StringHeights, math.Round(100*(h+lift))/100)
	}
	t.measure(&c, b)
	t.candidates = append(t.candidates, c)
}

// cost is what a capture takes beside the time at the jig, after those before it.
func (t *design) cost(c *candidate) int {
	switch {
	case c.Pickup == "" && t.wound[c.key] == 0:
		return costsWinding
	case !t.have[c.Set]:
		return costsStrings
	}
	return costsNothing
}

// measure works out what a capture would tell, and how noisily. What a pickup
// of the record has of its own, its level and its poles, is known as far as its
// cells tell it: it depends on the unknowns, and what is left is noise. What
// another has of its own is unknown.
func (t *design) measure(c *candidate, b benchPickup) {
	f, n := t.f, len(b.poles)
	s := &fit.Setup{Strings: c.Strings, StringHeights: c.StringHeights, Excite: cmp.Or(f.Excite, profiles.Travel)}
	c.grad, c.noise = mat.NewDense(n, len(t.sds), nil), mat.NewSymDense(n, nil)
	lift := make([]float64, n)
	for i := range n {
		row := c.grad.RawRowView(i)
		lift[i] = f.Gradient(row[:f.Size()], f.Theta, f.Site(s, i, b.poles), 0)
		row[t.at[stringKey(c.Set, i, c.Strings[i])]] = 1
		row[t.at[slotKey(i)]] = 1
	}
	own := t.ownPart(c.grad, b)
	for i := range n {
		for k := i; k < n; k++ {
			v := own.At(i, k) + square(f.SDs[1+curve.SetupEffect])*lift[i]*lift[k]
			if i == k {
				v += square(f.SDs[0]) + square(takeScatter)/takesForNext
			}
			c.noise.SetSym(i, k, v)
		}
	}
}

// ownPart is the covariance of what a pickup's own level and poles add to its
// strings, given the unknowns; by how much the unknowns shift it is taken into
// the rows of grad.
func (t *design) ownPart(grad *mat.Dense, b benchPickup) *mat.SymDense {
	n := len(b.poles)
	cov := mat.NewSymDense(n, nil)
	at := t.ownPlaces(b)
	if at == nil {
		for i := range n {
			grad.Set(i, t.at[b.ownKey(curve.PickupEffect, i)], 1)
			grad.Set(i, t.at[b.ownKey(curve.PoleEffect, i)], 1)
		}
		return cov
	}
	sums := make([][]solve.Place, n)
	for i := range sums {
		sums[i] = []solve.Place{at[0], at[i+1]}
	}
	own, shift, err := t.known.Given(sums)
	if err != nil {
		return cov // the block was factorised before: it is sound
	}
	place, scale := t.inRecord()
	for i := range n {
		for j, p := range place {
			if p >= 0 {
				grad.Set(i, j, grad.At(i, j)-shift.At(i, p)/scale[j])
			}
		}
	}
	return own
}

// ownPlaces finds a pickup's level and then its poles; nil when the record does
// not know it.
func (t *design) ownPlaces(b benchPickup) []solve.Place {
	if t.known == nil || b.name == "" {
		return nil
	}
	out := make([]solve.Place, 1+len(b.poles))
	known := make([]bool, len(out))
	found := 0
	for i := range t.known.Cells {
		c := &t.known.Cells[i]
		if c.Pickup != b.name || known[c.String] {
			continue
		}
		known[c.String] = true
		found++
		out[0] = t.known.LocalPlace(curve.PickupEffect, t.known.LevelOf(curve.PickupEffect, i))
		out[c.String] = t.known.LocalPlace(curve.PoleEffect, t.known.LevelOf(curve.PoleEffect, i))
	}
	if found < len(b.poles) {
		return nil
	}
	return out
}

// after is the unknowns' covariance with a capture added:
// C - C G' (G C G' + V)^-1 G C.
func (t *design) after(c *candidate) (*mat.SymDense, bool) {
	var gc, gcg, gain, loss mat.Dense
	gc.Mul(c.grad, t.cov)
	gcg.Mul(&gc, c.grad.T())
	n := c.noise.SymmetricDim()
	v := mat.NewSymDense(n, nil)
	for i := range n {
		for k := i; k < n; k++ {
			v.SetSym(i, k, gcg.At(i, k)+c.noise.At(i, k))
		}
	}
	var chol mat.Cholesky
	if !chol.Factorize(v) {
		return nil, false
	}
	if err := chol.SolveTo(&gain, &gc); err != nil {
		return nil, false
	}
	loss.Mul(gc.T(), &gain)
	p := t.cov.SymmetricDim()
	out := mat.NewSymDense(p, nil)
	for i := range p {
		for k := i; k < p; k++ {
			out.SetSym(i, k, t.cov.At(i, k)-(loss.At(i, k)+loss.At(k, i))/2)
		}
	}
	return out, true
}

// nearlyAsMuch is the share of the best narrowing from which a capture that
// costs less is as good, and worthwhile the narrowing below which none is worth
// a morning, as a share of what is not known.
const (
	nearlyAsMuch = 0.9
	worthwhile   = 0.02
)

// best is the capture that narrows most, the cheapest of those nearly as good.
func (t *design) best() (candidate, bool) {
	before := t.unknown(t.cov)
	var most float64
	for i := range t.candidates {
		c := &t.candidates[i]
		c.Before, c.After = before, before
		if cov, ok := t.after(c); ok {
			c.After = t.unknown(cov)
		}
		most = max(most, before-c.After)
	}
	if !(most > worthwhile*before) {
		return candidate{}, false
	}
	good := slices.DeleteFunc(slices.Clone(t.candidates), func(c candidate) bool { return before-c.After < nearlyAsMuch*most })
	slices.SortStableFunc(good, func(a, b candidate) int { return cmp.Or(t.cost(&a)-t.cost(&b), cmp.Compare(a.After, b.After)) })
	return good[0], true
}

// learn goes on as if a capture had been made, the one of this number.
func (t *design) learn(c candidate, number int) Proposal {
	if cov, ok := t.after(&c); ok {
		t.cov = cov
	}
	t.have[c.Set] = true
	if c.Pickup == "" {
		if t.wound[c.key] == 0 {
			t.wound[c.key] = number
		}
		c.WoundFor = t.wound[c.key]
	}
	return c.Proposal
}

func square(v float64) float64 { return v * v }
