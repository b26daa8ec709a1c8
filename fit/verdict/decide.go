package verdict

import (
	"fmt"
	"math"
	"slices"

	"evenpole/fit/level"
	"evenpole/profiles"

	"gonum.org/v1/gonum/stat"
)

// measure works out every string's balance and its uncertainty. When a string has no
// good take there is no mean over the strings, and so no balance.
func (c *check) measure() {
	n := len(c.v.Strings)
	levels := make([]float64, n)
	for i := range levels {
		t := c.session.takes(i)
		if len(t.levels) == 0 {
			c.withhold("%s: %s", c.name(i), c.silent(t))
			continue
		}
		levels[i] = stat.Mean(t.levels, nil)
		if !c.session.relative() {
			c.v.Strings[i].Level = level.Figure(level.DB(levels[i]).MV())
		}
		if c.shift != nil {
			levels[i] += c.shift[i]
		}
	}
	if slices.ContainsFunc(c.v.Strings, func(s String) bool { return s.Takes == 0 }) {
		return
	}
	mean := stat.Mean(levels, nil)
	c.budget = c.newBudget()
	balances := make([]float64, n)
	for i := range c.v.Strings {
		s := &c.v.Strings[i]
		balances[i] = levels[i] - mean
		s.Balance = level.Figure(balances[i])
		s.Deviation = s.Balance - level.Figure(s.Target)
		p := c.budget.balance(i)
		u, k, expanded := p.Expand(c.opt.Coverage)
		s.Std, s.K, s.Expanded, s.DOF = level.Figure(u), level.Figure(k), level.Figure(expanded), level.Figure(p.DOF)
	}
	c.v.Spread = level.Figure(slices.Max(balances) - slices.Min(balances))
}

// silent says why a string has no good take.
func (c *check) silent(t *takes) string {
	switch {
	case t.flagged == 0:
		return "no take in the session: finish the capture"
	case t.unheard == t.flagged:
		return fmt.Sprintf("none of %s is above its quiet level: look whether the string is plucked, lies over its pole, and is of steel", profiles.Count(t.flagged, "take"))
	}
	return fmt.Sprintf("all are flagged (%s): notes say why; put it right and capture again", profiles.Count(t.flagged, "take"))
}

// newBudget puts the uncertainty budget together and adds notes of what is in it.
func (c *check) newBudget() *budget {
	levels := make([][]float64, len(c.v.Strings))
	for i := range levels {
		levels[i] = c.session.takes(i).levels
	}
	allowance := c.opt.Mounting*c.opt.Mounting + c.channel()*c.channel()
	if c.shift != nil {
		allowance += c.opt.Conversion * c.opt.Conversion
	}
	b := newBudget(levels, allowance)
	c.describe(b)
	return b
}

// channel is the standard uncertainty, dB, that correcting the jig's channels leaves.
func (c *check) channel() float64 {
	if c.opt.Channel == nil {
		return 0
	}
	return c.opt.Channel(c.v.Jig, c.v.Time)
}

// describe adds notes, and warnings, of what is in the uncertainty.
func (c *check) describe(b *budget) {
	pooled := slices.Index(b.own, false)
	switch {
	case len(b.takes) == 1:
		c.note("a pickup of one string has no balance to judge")
		return
	case pooled < 0:
		c.note("each string's uncertainty is from the scatter of its own takes")
	case math.IsNaN(b.variance[pooled]):
		c.warn("one take a string shows no scatter, so nothing can be told")
	default:
		c.note("scatter of one take: %.2f dB, pooled over the strings, %g degrees of freedom", math.Sqrt(b.variance[pooled]), b.pooledDOF())
	}
	for i, own := range b.own {
		if own && pooled >= 0 {
			c.warn("%s scatters by %.2f dB from take to take, more than the others: look for a rattle, a worn plectrum or a loose clamp", c.name(i), math.Sqrt(b.variance[i]))
		}
	}
	if stat.Mean(b.variance, nil) == 0 {
		c.warn("all takes of a string are equal: they look copied, and show no scatter")
	}
	from := "as the shop gives it"
	if c.mountingAssumed {
		from = "our assumption"
	}
	c.note("standard uncertainty of %.2g dB a string for setting its height and mounting the pickup, taken as known (%s)", c.opt.Mounting, from)
	if u := c.channel(); u > 0 {
		c.note("the jig's channels are corrected as it was calibrated, with a standard uncertainty of %.2g dB a string", u)
	}
	c.note("U is the expanded uncertainty at %g %% coverage (Student's t at the effective degrees of freedom)", 100*c.opt.Coverage)
}

// decide applies the rule to each string and to the pickup: one string out of
// tolerance fails the pickup, and it passes when all strings conform.
func (c *check) decide() {
	passed := 0
	c.v.Verdict = CannotTell
	for i := range c.v.Strings {
		s := &c.v.Strings[i]
		s.Verdict = conformity(float64(s.Deviation), float64(s.Guard), c.order.Tolerance)
		switch s.Verdict {
		case OutOfTolerance:
			c.v.Verdict = OutOfTolerance
		case Conforms:
			passed++
		}
	}
	if passed == len(c.v.Strings) {
		c.v.Verdict = Conforms
	}
	if c.withheld {
		c.v.Verdict = CannotTell
	}
}

// conformity is the rule for one string, with its guard band. It is CannotTell when a
// figure is not known.
func conformity(deviation, guard, tolerance float64) Answer {
	switch a := math.Abs(deviation); {
	case a+guard <= tolerance:
		return Conforms
	case a-guard > tolerance:
		return OutOfTolerance
	}
	return CannotTell
}
