package verdict

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"

	"evenpole/fit/level"
	"evenpole/profiles"
)

// The kinds of cause.
const (
	Dead           = "dead string"
	Reversed       = "magnet reversed"
	Demagnetised   = "magnet demagnetised"
	WeakMagnet     = "weak magnet"
	WideGap        = "pole low or string high"
	NarrowGap      = "pole high or string low"
	SwappedPoles   = "two poles swapped"
	SwappedStrings = "two strings swapped"
	WrongString    = "wrong string"
	Tilted         = "mounting tilted"
)

// The evidence for a cause is the logarithm of the likelihood ratio of the levels and
// fields with the cause and without it, less ln of how many causes of its kind there
// could be. These limits were found on simulated pickups: see bench/faults.
const (
	minEvidence   = -0.4 // of the likeliest cause, for any to be named
	aboutAsLikely = 3    // causes with so much less evidence than the likeliest are named beside it
	mostCauses    = 4    // that are named
)

// How large mistakes are: our assumptions.
const (
	gapOff     = 0.5  // mm by which a pole stands lower or higher than the record has it
	gapSD      = 0.2  // mm
	weakness   = 0.4  // of ln B by which a magnet is weak: by a third
	weakSD     = 0.25 // of ln B
	tiltSD     = 1    // mm, end to end
	leastSwap  = 0.2  // mm by which poles that are swapped differ: less does not matter
	leastSteel = 0.04 // ln v by which another string differs: a third of a dB
)

// hypothesis is a cause that is weighed: by how much it would shift levels and fields,
// and a direction along which its size is open. A new cause is a kind, a method of
// expectation that makes its hypothesis, a line in hypotheses and one in whatWouldTell.
type hypothesis struct {
	kind      string
	strings   []int     // counted from 0
	shift     []float64 // ln v of each string, then ln B over each pole
	direction []float64
	sd        float64
	rivals    int // causes of the kind
	size      func(extra float64) float64
	words     func(size float64) string
}

// causes lists what may be wrong, the likeliest first; nil when nothing stands out.
func (x *expectation) causes() []Cause {
	var out []Cause
	for i, dead := range x.deadStrings {
		switch {
		case dead && !known(x.levels[i]):
			out = append(out, x.seen(Dead, i, fmt.Sprintf("string %d is dead: no take is above its quiet level", i+1)))
		case dead:
			out = append(out, x.seen(Dead, i, fmt.Sprintf("string %d is dead: more than %d dB below what is expected", i+1, deadBelow)))
		}
	}
	reversed, faint := x.probe.sides()
	for _, n := range reversed {
		out = append(out, x.seen(Reversed, n-1, profiles.Sprintf("the magnet of string %d is reversed: %+.0f mT over its pole, the others have the other side up", n, x.probe.field(n-1))))
	}
	for _, n := range faint {
		own, others := x.probe.beside(n - 1)
		out = append(out, x.seen(Demagnetised, n-1, profiles.Sprintf("the magnet of string %d is demagnetised, or there is none: %.0f mT over its pole, %.0f mT over the others", n, own, others)))
	}
	if out != nil {
		return out // with such a fault the levels do not show another cause
	}
	for _, h := range x.hypotheses() {
		x.clearExcluded(h.shift)
		x.clearExcluded(h.direction)
		out = append(out, x.weigh(&h))
	}
	return likeliest(out)
}

// seen is a cause that needs no weighing: a reading shows it.
func (x *expectation) seen(kind string, i int, text string) Cause {
	unknown := level.Figure(math.NaN())
	return Cause{Kind: kind, Strings: []int{i + 1}, Off: x.off(i), Left: unknown, Size: unknown, Evidence: level.Figure(math.Inf(1)), Text: text}
}

// likeliest keeps the causes with the most evidence, if the first has enough.
func likeliest(all []Cause) []Cause {
	slices.SortStableFunc(all, func(a, b Cause) int { return cmp.Compare(b.Evidence, a.Evidence) })
	if len(all) == 0 || all[0].Evidence < minEvidence {
		return nil
	}
	kept := slices.DeleteFunc(all, func(c Cause) bool { return c.Evidence < all[0].Evidence-aboutAsLikely })
	return kept[:min(len(kept), mostCauses)]
}

// weigh works out the evidence for a hypothesis and the size of its cause.
func (x *expectation) weigh(h *hypothesis) Cause {
	c := Cause{Kind: h.kind, Strings: []int{}, Size: level.Figure(math.NaN())}
	c.Evidence = level.Figure(x.likelihood(h.shift, h.direction, h.sd) - x.nullLikelihood - math.Log(float64(h.rivals)))
	extra := x.size(h.shift, h.direction, h.sd)
	size := 0.0
	if h.size != nil {
		size = h.size(extra)
		c.Size = level.Figure(size)
	}
	at := h.strings
	if h.kind == Tilted {
		at = []int{0, len(x.heights) - 1}
	} else {
		for _, i := range at {
			c.Strings = append(c.Strings, i+1)
		}
	}
	for _, i := range at {
		left := x.off(i) - level.Figure(level.PerLn*h.explains(i, extra))
		if c.Off == 0 || math.Abs(float64(x.off(i))) > math.Abs(float64(c.Off)) {
			c.Off, c.Left = x.off(i), left
		}
	}
	c.Text = h.words(size)
	return c
}

func (h *hypothesis) explains(i int, extra float64) float64 {
	v := h.shift[i]
	if h.direction != nil {
		v += extra * h.direction[i]
	}
	return v
}

// off is by how much string i differs from what is expected, dB, beside the median of
// the strings that are not dead.
func (x *expectation) off(i int) level.Figure {
	var heard []float64
	n := len(x.heights)
	for j := range n {
		if !x.deadStrings[j] {
			heard = append(heard, x.residuals[j])
		}
	}
	slices.Sort(heard)
	return level.Figure(level.PerLn * (x.levels[i] - x.expected[i] - middle(heard)))
}

// hypotheses lists all causes that are weighed by levels and fields.
func (x *expectation) hypotheses() []hypothesis {
	var out []hypothesis
	n := len(x.heights)
	for i := range n {
		out = append(out, x.gap(i, WideGap, -gapOff), x.gap(i, NarrowGap, gapOff))
		if x.setup.Poles == profiles.Rod {
			out = append(out, x.weak(i))
		}
		out = append(out, x.otherStrings(i)...)
		for j := i + 1; j < n; j++ {
			out = append(out, x.swaps(i, j)...)
		}
	}
	return append(out, x.tilt())
}

// clearExcluded sets to 0 what a vector says of excluded levels and fields.
func (x *expectation) clearExcluded(v []float64) {
	for k := range v {
		if x.excluded(k) {
			v[k] = 0
		}
	}
}

// gap is a pole that stands some mm higher or lower than the record has it. A string
// that lies as much lower or higher has the same effect.
func (x *expectation) gap(i int, kind string, off float64) hypothesis {
	at := func(mm float64) []float64 {
		h := slices.Clone(x.heights)
		h[i] = min(h[i]+mm, x.setup.StringHeights[i]-0.1)
		return x.shiftFor(h, nil)
	}
	h := hypothesis{kind: kind, strings: []int{i}, shift: at(off), sd: gapSD, rivals: 2 * len(x.heights)}
	h.direction = slope(at(off+step), h.shift, step)
	h.size = func(extra float64) float64 { return math.Abs(off + extra) }
	h.words = func(size float64) string {
		if off < 0 {
			return profiles.Sprintf("the pole of string %d stands some %.1f mm lower than written, or the string higher", i+1, size)
		}
		return profiles.Sprintf("the pole of string %d stands some %.1f mm higher than written, or the string lower", i+1, size)
	}
	return h
}

// weak is a magnet that is weaker than its batch.
func (x *expectation) weak(i int) hypothesis {
	n := len(x.heights)
	h := hypothesis{kind: WeakMagnet, strings: []int{i}, shift: make([]float64, 2*n), direction: make([]float64, 2*n), sd: weakSD, rivals: n}
	exponent, _ := x.fieldExponent()
	h.shift[i], h.shift[n+i] = -weakness*exponent, -weakness
	h.direction[i], h.direction[n+i] = exponent, 1
	h.size = func(extra float64) float64 { return 1 - math.Exp(min(0, extra-weakness)) }
	h.words = func(size float64) string {
		text := fmt.Sprintf("the magnet of string %d is some %.0f %% weaker than its batch", i+1, 100*size)
		if field, others := x.probe.beside(i); known(field) && known(others) {
			text += profiles.Sprintf(" (%.0f mT over its pole, %.0f mT over the others)", field, others)
		}
		return text
	}
	return h
}

// swaps are two poles in each other's place, and two strings.
func (x *expectation) swaps(i, j int) []hypothesis {
	var out []hypothesis
	pairs := len(x.heights) * (len(x.heights) - 1) / 2
	if math.Abs(x.heights[i]-x.heights[j]) >= leastSwap {
		h := slices.Clone(x.heights)
		h[i], h[j] = h[j], h[i]
		if h[i] < x.setup.StringHeights[i] && h[j] < x.setup.StringHeights[j] {
			out = append(out, hypothesis{kind: SwappedPoles, strings: []int{i, j}, shift: x.shiftFor(h, nil), rivals: pairs,
				words: func(float64) string { return fmt.Sprintf("the poles of strings %d and %d are swapped", i+1, j+1) }})
		}
	}
	shift := x.shiftFor(x.heights, func(s []profiles.String, _ []float64) {
		a, b := s[i], s[j]
		a.Note, b.Note = b.Note, a.Note // each is tuned to its place
		s[i], s[j] = b, a
	})
	if math.Abs(shift[i])+math.Abs(shift[j]) > leastSteel {
		out = append(out, hypothesis{kind: SwappedStrings, strings: []int{i, j}, shift: shift, rivals: pairs,
			words: func(float64) string { return fmt.Sprintf("strings %d and %d are swapped", i+1, j+1) }})
	}
	return out
}

// otherStrings are strings of known sets that may be there instead. Of strings that
// give nearly the same level only the first is weighed.
func (x *expectation) otherStrings(i int) []hypothesis {
	var out []hypothesis
	var levels []float64
	for _, set := range x.sets {
		if i >= len(set.Strings) || len(set.Strings) != len(x.heights) {
			continue
		}
		other := set.Strings[i]
		other.Note = x.setup.Strings[i].Note
		shift := x.shiftFor(x.heights, func(s []profiles.String, _ []float64) { s[i] = other })
		if math.Abs(shift[i]) < leastSteel || slices.ContainsFunc(levels, func(l float64) bool { return math.Abs(l-shift[i]) < leastSteel }) {
			continue
		}
		levels = append(levels, shift[i])
		out = append(out, hypothesis{kind: WrongString, strings: []int{i}, shift: shift, words: func(float64) string {
			return fmt.Sprintf("string %d is another than written, such as %s of set %q", i+1, diameters(other), set.Name)
		}})
	}
	for k := range out {
		out[k].rivals = len(x.heights) * len(out)
	}
	return out
}

func diameters(s profiles.String) string {
	if s.Plain() {
		return profiles.Sprintf("%.3f mm", s.Gauge)
	}
	return profiles.Sprintf("%.3f mm over a core of %.3f mm", s.Gauge, s.Core)
}

// tilt is a mounting with its strings higher at one end and lower at the other.
func (x *expectation) tilt() hypothesis {
	n := len(x.heights)
	at := x.shiftFor(x.heights, func(_ []profiles.String, above []float64) { lift(above, -step/2, step/2) })
	h := hypothesis{kind: Tilted, shift: make([]float64, 2*n), direction: slope(at, make([]float64, 2*n), step), sd: tiltSD, rivals: 1}
	h.size = func(extra float64) float64 { return extra }
	h.words = func(size float64) string {
		wide, narrow := n, 1
		if size < 0 {
			wide, narrow = 1, n
		}
		return profiles.Sprintf("the mounting is tilted: some %.1f mm more gap at string %d than at string %d beside what is written", math.Abs(size), wide, narrow)
	}
	return h
}

// lift raises heights by so many mm at the first and the last string, and linearly in
// between.
func lift(heights []float64, first, last float64) {
	n := float64(max(len(heights)-1, 1))
	for i := range heights {
		heights[i] += first + (last-first)*float64(i)/n
	}
}

// whatWouldTell names the measurements that tell causes apart, or confirm the only one;
// "" when only the field probe would, and it has told.
func (x *expectation) whatWouldTell(causes []Cause) string {
	by := map[string]string{
		Dead:           "look whether it is plucked, lies over its pole, is of steel, and whether the pole is a magnet",
		WeakMagnet:     "the field probe over the poles (capture --field all)",
		WideGap:        "a caliper on pole and string height",
		NarrowGap:      "a caliper on pole and string height",
		SwappedPoles:   "a caliper on both poles",
		SwappedStrings: "a micrometer on both strings",
		WrongString:    "a micrometer on the string",
		Tilted:         "a caliper on the string heights at both ends",
		Reversed:       "a compass over the pole",
		Demagnetised:   "another magnet in its place, or a piece of iron held to the pole",
	}
	var readings []string
	for _, c := range causes {
		if c.Kind == WeakMagnet && known(x.probe.field(c.Strings[0]-1)) {
			continue
		}
		if r := by[c.Kind]; !slices.Contains(readings, r) {
			readings = append(readings, r)
		}
	}
	return strings.Join(readings, "; ")
}

// Say is the diagnosis in sentences.
func (d *Diagnosis) Say() []string {
	if len(d.Causes) == 0 {
		return []string{"nothing stands out"}
	}
	var out []string
	for i, c := range d.Causes {
		how := "likeliest"
		if i > 0 {
			how = "or"
		}
		text := fmt.Sprintf("%s: %s", how, c.Text)
		if c.Off.Known() && c.Left.Known() {
			text += profiles.Sprintf(" (%+.1f dB off; allowing for it leaves %+.1f dB)", float64(c.Off), float64(c.Left))
		}
		out = append(out, text)
	}
	switch {
	case d.Tell == "":
		return out
	case len(out) > 1:
		return append(out, "the readings do not tell these apart; what would: "+d.Tell)
	}
	return append(out, "what would bear it out: "+d.Tell)
}
