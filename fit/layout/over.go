package layout

import (
	"math"
	"slices"

	"evenpole/fit"
	"evenpole/fit/cell"
	"evenpole/fit/solve"
	"evenpole/profiles"

	"gonum.org/v1/gonum/mat"
)

// What a pickup unlike those that were measured may be off by, in ln v, string by string
// and with what is added for each mm by which its gap counts otherwise: our assumptions.
const (
	unseenSD      = 0.05
	unseenPerMM   = 0.15
	unseenCoilsSD = 0.25 // of the logarithm of how loud the second coil is beside the first
)

// Over is a model for an order's pickup. It is the model itself where there is one coil,
// with one pole under each string; the handbook is moved to the order's poles. Heights are those of the row of poles that is set: the
// first where both are, and then the second has the same.
func Over(m fit.Predictor, o *profiles.Order) fit.Predictor {
	p := pickupOf(o)
	handbook := fit.IsHandbook(m)
	if handbook && o.Poles != profiles.Blade {
		m = fit.OverPoles(m, o.Layout.PoleDiameter, o.Spacing())
	}
	if p == nil && !(handbook && overBar(o.Poles)) {
		return m
	}
	if p == nil {
		p = &pickup{}
	}
	if handbook {
		p.steel[0] = overBar(o.Poles)
		p.steel[1] = o.Layout.Coil != nil && overBar(o.Layout.Coil.Poles)
	}
	p.Predictor = m
	p.bent = p.under != "" || p.reach != nil
	p.seen = seenBy(m, p.under)
	if p.seen { // the curve is that of such pickups
		p.reach = nil
	}
	return p
}

// pickup is a model for one pickup.
type pickup struct {
	fit.Predictor
	under profiles.Under
	reach []reach // by string; nil where the model's curve holds as it is
	coils *coils  // nil where there is one coil
	first []float64
	other []float64 // heights of the second row where it is not set; first likewise
	seen  bool      // pickups of this kind are what the model was fitted to
	bent  bool      // there is more to it than what its poles are made of
	steel [2]bool   // of each row of poles: it is steel over a bar magnet, of which the model knows nothing
}

// seenBy reports whether a model was fitted to pickups of a kind.
func seenBy(m fit.Predictor, under profiles.Under) bool {
	f, ok := m.(fit.Model)
	return ok && slices.Contains(f.Measured().Under, under)
}

// pickupOf is an order's pickup without a model; nil where there is nothing to it.
func pickupOf(o *profiles.Order) *pickup {
	p := &pickup{under: o.Under()}
	sources := sourcesOf(o)
	if p.under == "" && sources == nil {
		return nil
	}
	p.reach = reachesOf(o, sources)
	c := o.Layout.Coil
	if c == nil {
		return p
	}
	p.coils = &coils{motionOf(o.ScaleLength, o.PickupFromBridge, c.FromBridge), c.Adds()}
	p.other = c.Fixed
	if c.Fixed == nil {
		p.first = o.FixedHeights
	}
	return p
}

// sourcesOf is what stands under each string; nil where it is one pole right under each.
func sourcesOf(o *profiles.Order) []source {
	n, d := len(o.Strings), diameterOf(o)
	at := o.Layout.Across(n, o.StringSpread)
	var out []source
	if o.Poles == profiles.Blade {
		const over = 5 // mm by which a blade is longer than the strings are wide (common practice)
		for _, x := range at {
			out = append(out, bladeAt(thicknessOf(o), at[0]-over, at[n-1]+over, x))
		}
		return out
	}
	poles, aside := o.Layout.PolesAcross(n, o.StringSpread), false
	for i, x := range at {
		var all []source
		for _, k := range o.Layout.PolesOf(i + 1) {
			all = append(all, poleAt(d, poles[k-1]-x))
			aside = aside || math.Abs(poles[k-1]-x) > 0.01
		}
		out = append(out, together(all...))
	}
	if !aside && o.Layout.PolesPerString < 2 {
		return nil
	}
	return out
}

// diameterOf is that of the order's poles; thicknessOf that of its blade.
func diameterOf(o *profiles.Order) float64 {
	if o.Poles == profiles.Blade || o.Layout.PoleDiameter == 0 {
		return usualDiameter
	}
	return o.Layout.PoleDiameter
}

func thicknessOf(o *profiles.Order) float64 {
	if o.Layout.PoleDiameter == 0 {
		return usualBlade
	}
	return o.Layout.PoleDiameter
}

// reachesOf compares sources with the usual pole. What the sources have more of it on the
// mean is no part of the strings' balance.
func reachesOf(o *profiles.Order, sources []source) []reach {
	if sources == nil {
		return nil
	}
	u, scale := usualOf(diameterOf(o)), 0.0
	if o.Poles == profiles.Blade || o.Layout.PolesPerString == 2 {
		for _, s := range sources {
			scale += u.relative(s) / float64(len(sources))
		}
	}
	var out []reach
	for _, s := range sources {
		out = append(out, u.reach(s, scale))
	}
	return out
}

// over is the setup as the model's curve sees it, for one row of poles.
func (p *pickup) over(s *fit.Setup, heights []float64) *fit.Setup {
	if p.reach == nil {
		return s
	}
	out := *s
	out.StringHeights = slices.Clone(s.StringHeights)
	for i, r := range p.reach {
		out.StringHeights[i] += r.more(s.StringHeights[i] + s.Strings[i].Gauge/2 - heights[i])
	}
	return &out
}

// rows are the heights of both rows, where there are two.
func (p *pickup) rows(heights []float64) (first, second []float64) {
	first, second = heights, heights
	switch {
	case p.coils == nil:
		return heights, nil
	case p.first != nil:
		first = p.first
	case p.other != nil:
		second = p.other
	}
	return first, second
}

// Level predicts the strings over both rows.
func (p *pickup) Level(dst []float64, s *fit.Setup, heights []float64) []float64 {
	first, second := p.rows(heights)
	dst = p.row(dst, s, 0, first)
	if second == nil {
		return dst
	}
	for i, g := range p.row(nil, s, 1, second) {
		dst[i] = p.coils.level(dst[i], g)
	}
	return dst
}

// row predicts the strings over one row of poles.
func (p *pickup) row(dst []float64, s *fit.Setup, row int, heights []float64) []float64 {
	dst = p.Predictor.Level(dst, p.over(s, heights), heights)
	if p.steel[row] {
		for i, h := range heights {
			shift, _ := bar(s, i, h)
			dst[i] += shift
		}
	}
	return dst
}

// equivalent is, by string, the height at which both rows together would be as loud.
func (p *pickup) equivalent(s *fit.Setup, heights []float64) []float64 {
	first, second := p.rows(heights)
	if second == nil {
		return heights
	}
	out := make([]float64, len(first))
	for i := range out {
		out[i] = cell.Equivalent(first[i], second[i], p.signedGain())
	}
	return out
}

// signedGain is how far strings move over the second coil, negative where it is subtracted.
func (p *pickup) signedGain() float64 {
	if !p.coils.adds {
		return -p.coils.gain
	}
	return p.coils.gain
}

// Uncertainty is the model's, over poles of equivalent heights, and what is not known of
// pickups unlike those that were measured.
func (p *pickup) Uncertainty(s *fit.Setup, heights []float64) *mat.SymDense {
	at := p.equivalent(s, heights)
	over := p.over(s, at)
	cov := p.Predictor.Uncertainty(over, at)
	p.addSteel(cov, s, at)
	if p.seen || !p.bent {
		return cov
	}
	shares := p.shares(s, heights)
	for i := range at {
		own := solve.Square(unseenSD) + solve.Square(unseenPerMM*(over.StringHeights[i]-s.StringHeights[i]))
		for k := i; k < len(at); k++ {
			v := cov.At(i, k) + shares[i]*shares[k]*solve.Square(unseenCoilsSD)
			if i == k {
				v += own
			}
			cov.SetSym(i, k, v)
		}
	}
	return cov
}

// addSteel adds what is not known of steel over a bar magnet.
func (p *pickup) addSteel(cov *mat.SymDense, s *fit.Setup, heights []float64) {
	if !p.steel[0] && !p.steel[1] {
		return
	}
	by := make([][3]float64, len(heights))
	for i, h := range heights {
		_, by[i] = bar(s, i, h)
	}
	for i := range by {
		for k := i; k < len(by); k++ {
			v := cov.At(i, k)
			for n := range by[i] {
				v += by[i][n] * by[k][n]
			}
			cov.SetSym(i, k, v)
		}
	}
}

// shares is how much each string's level rises with that of the second row.
func (p *pickup) shares(s *fit.Setup, heights []float64) []float64 {
	out := make([]float64, len(heights))
	first, second := p.rows(heights)
	if second == nil {
		return out
	}
	f, g := p.row(nil, s, 0, first), p.row(nil, s, 1, second)
	for i := range out {
		out[i] = p.coils.share(f[i], g[i])
	}
	return out
}

// Warnings are the model's, and what it does not know of such a pickup.
func (p *pickup) Warnings(s *fit.Setup, heights []float64) []string {
	at := p.equivalent(s, heights)
	out := p.Predictor.Warnings(s, at)
	if p.steel[0] || p.steel[1] {
		out = append(out, "the handbook is about rod magnets: of steel over a bar magnet it is taken that strings fall faster with the gap, by what computed fields say, and this is less sure")
	}
	if what := p.unseen(); what != "" {
		out = append(out, what+": what is said of this one follows from the fields of poles as they stand, is less sure for it, and is said with wider intervals; capture one, and fit")
	}
	if p.coils != nil && !p.coils.adds {
		out = append(out, profiles.Sprintf("the coils' signals are subtracted: what is left of a string is a difference, about %+.0f dB beside the first coil alone, and levels stand and fall with what makes the coils differ", p.left()))
	}
	return out
}

// Unseen says that no pickup like an order's is among those that a model was fitted to; ""
// where there is one, or where the order's has one pole under each string, as any has.
func Unseen(m fit.Predictor, o *profiles.Order) string {
	if p, ok := Over(m, o).(*pickup); ok {
		return p.unseen()
	}
	return ""
}

func (p *pickup) unseen() string {
	switch {
	case p.seen || !p.bent:
		return ""
	case p.under == "":
		return "no pickup whose poles stand beside their strings was measured"
	}
	return "no pickup with " + p.under.Words() + " was measured"
}

// left is what two equal rows of poles leave, dB beside the first alone.
func (p *pickup) left() float64 { return 10 * math.Log10(p.coils.power(0)) }
