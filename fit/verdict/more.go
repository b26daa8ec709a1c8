package verdict

import (
	"math"
	"slices"
	"strings"

	"evenpole/profiles"
)

// maxMoreTakes is how many more takes of a string are worth asking for; rather than
// more, mount the pickup again (our rule).
const maxMoreTakes = 100

// leastTakes is how many takes of a string are enough to show a scatter that is not
// known yet (our rule).
const leastTakes = 5

// ask says how many more takes of which strings would likely give a decision at the next
// look, if the deviations stay what they are, and for which strings no number of takes can.
func (c *check) ask() {
	if c.v.Verdict != CannotTell || c.withheld || c.budget == nil {
		return
	}
	if slices.ContainsFunc(c.budget.variance, math.IsNaN) {
		c.request(slices.Repeat([]int{leastTakes - 1}, len(c.v.Strings)))
		return
	}
	coverage := guardCoverage(c.opt.Coverage, c.v.Looks+1)
	margins := make([]float64, len(c.v.Strings))
	var never []string
	for i, s := range c.v.Strings {
		margins[i] = math.Inf(1)
		if s.Verdict != CannotTell {
			continue
		}
		margin := math.Abs(math.Abs(float64(s.Deviation)) - c.order.Tolerance)
		if c.budget.leastExpanded(i, coverage) < margin {
			margins[i] = margin
		} else {
			never = append(never, c.name(i))
		}
	}
	if never != nil {
		c.advise("set the string heights with more care, or judge the pickup as it is: no number of takes can tell for %s, as the limit is nearer than what setting the heights leaves unsure", strings.Join(never, ", "))
	}
	more, ok := c.budget.more(margins, coverage)
	if !ok {
		c.advise("mount the pickup again and take a new session: it would take more than %d more takes of a string to tell", maxMoreTakes)
		return
	}
	c.request(more)
}

// advise says what would bring a decision; of several things each.
func (c *check) advise(format string, args ...any) {
	if c.v.Remedy != "" {
		c.v.Remedy += "; "
	}
	c.v.Remedy += profiles.Sprintf(format, args...)
}

// request adds the takes to the verdict, and says how many a new capture needs.
func (c *check) request(more []int) {
	count := 0
	for i, n := range more {
		if n > 0 {
			c.v.MoreTakes = append(c.v.MoreTakes, More{i + 1, n})
			count = max(count, c.v.Strings[i].Takes+n)
		}
	}
	if count > 0 {
		c.advise("capture it again with %s a string: that would likely tell, should the deviations stay what they are", profiles.Count(count, "take"))
	}
}

// more returns how many more takes of each string bring every string's U down to its
// margin (dB). For one string after another it adds takes one by one, each of the
// string whose take lowers that U most. It gives up at maxMoreTakes of a string.
func (b *budget) more(margins []float64, coverage float64) (extra []int, ok bool) {
	grown := *b
	grown.takes = slices.Clone(b.takes)
	extra = make([]int, len(b.takes))
	for i, margin := range margins {
		for {
			if _, _, expanded := grown.balance(i).Expand(coverage); expanded <= margin {
				break
			}
			j := grown.mostHelpful(i)
			if extra[j] == maxMoreTakes {
				return nil, false
			}
			extra[j]++
			grown.takes[j]++
		}
	}
	return extra, true
}

// mostHelpful is the string one more take of which lowers the variance of
// string i's balance most.
func (b *budget) mostHelpful(i int) int {
	best, gain := i, 0.0
	for j, n := range b.takes {
		if g := b.share(i, j) * b.variance[j] / float64(n*(n+1)); g > gain {
			best, gain = j, g
		}
	}
	return best
}
