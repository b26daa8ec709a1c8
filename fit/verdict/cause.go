package verdict

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"

	"evenpole/profiles"

	"gonum.org/v1/gonum/stat/distuv"
)

// The kinds of cause.
const (
	Dead           = "dead string"
	Reversed       = "magnet reversed"
	WeakMagnet     = "weak magnet"
	WideGap        = "pole low or string high"
	NarrowGap      = "pole high or string low"
	SwappedPoles   = "two poles swapped"
	SwappedStrings = "two strings swapped"
	WrongString    = "wrong string"
	Tilted         = "mounting tilted"
)

// Cause is what may be wrong with a pickup.
type Cause struct {
	Kind     string `json:"kind"`     // one of the kinds above
	Strings  []int  `json:"strings"`  // concerned; empty: all
	Off      Figure `json:"off_db"`   // the furthest of them from what is expected, beside the others
	Left     Figure `json:"left_db"`  // of that, when the cause is allowed for
	Size     Figure `json:"size"`     // mm of a gap or, end to end, of a tilt; the share that a magnet is weaker by; unknown of others
	Evidence Figure `json:"evidence"` // see below; infinite, null in JSON, for what is seen and not weighed
	Text     string `json:"text"`     // one sentence
}

// Evidence is ln of how much likelier the levels and fields are with the cause
// than without, less ln of how many causes of its kind there could be. What a
// cause must have was found on simulated pickups: see bench/faults.
const (
	enough = -0.4
	alike  = 3 // causes with less evidence than the best by no more than this are named beside it
	most   = 4 // causes that are named
)

// distributed is how far off levels are taken to be: Student's t, since the
// scatter is not quite known (8 degrees of freedom, our assumption).
var distributed = distuv.StudentsT{Sigma: 1, Nu: 8}

// What mistakes are like: our assumptions.
const (
	gapOff     = 0.5  // mm, a pole that stands lower or higher than written
	gapSD      = 0.2  // mm
	weakness   = 0.4  // of ln B, a weak magnet: a third off
	weakSD     = 0.25 // of ln B
	tiltSD     = 1    // mm, end to end
	leastSwap  = 0.2  // mm between poles that are swapped: less does not matter
	leastSteel = 0.04 // ln v by which another string has to differ: a third of a dB
)

// hypothesis is a cause that is tried: what it would shift levels and fields by,
// and a direction along which its size is not known.
type hypothesis struct {
	kind    string
	strings []int // from 0
	shift   []float64
	along   []float64
	sd      float64
	rivals  int // causes of the kind
	size    func(beyond float64) float64
	words   func(size float64) string
}

// causes names what may be wrong; nil when nothing stands out.
func (x *expectation) causes() []Cause {
	var out []Cause
	for i, dead := range x.dead {
		switch {
		case dead && !known(x.level[i]):
			out = append(out, x.certain(Dead, i, fmt.Sprintf("string %d is dead: no take is above its quiet level", i+1)))
		case dead:
			out = append(out, x.certain(Dead, i, fmt.Sprintf("string %d is dead: more than %d dB below what is expected", i+1, muted)))
		}
	}
	for _, n := range x.probe.reversed() {
		out = append(out, x.certain(Reversed, n-1, fmt.Sprintf("the magnet of string %d is reversed: %+.0f mT over its pole, the others have the other side up", n, x.probe.field(n-1))))
	}
	if out != nil {
		return out // what the levels say beside it is not to be trusted
	}
	for _, h := range x.hypotheses() {
		x.mask(h.shift)
		x.mask(h.along)
		out = append(out, x.judge(&h))
	}
	return likeliest(out)
}

// certain is a cause that is seen, not weighed.
func (x *expectation) certain(kind string, i int, text string) Cause {
	unknown := Figure(math.NaN())
	return Cause{Kind: kind, Strings: []int{i + 1}, Off: x.off(i), Left: unknown, Size: unknown, Evidence: Figure(math.Inf(1)), Text: text}
}

// likeliest keeps the best cause, if it has enough for it, and those that are
// about as likely.
func likeliest(all []Cause) []Cause {
	slices.SortStableFunc(all, func(a, b Cause) int { return cmp.Compare(b.Evidence, a.Evidence) })
	if len(all) == 0 || all[0].Evidence < enough {
		return nil
	}
	kept := slices.DeleteFunc(all, func(c Cause) bool { return c.Evidence < all[0].Evidence-alike })
	return kept[:min(len(kept), most)]
}

// judge weighs a hypothesis.
func (x *expectation) judge(h *hypothesis) Cause {
	c := Cause{Kind: h.kind, Strings: []int{}, Size: Figure(math.NaN())}
	c.Evidence = Figure(x.likelihood(h.shift, h.along, h.sd) - x.base - math.Log(float64(h.rivals)))
	beyond := x.size(h.shift, h.along, h.sd)
	size := 0.0
	if h.size != nil {
		size = h.size(beyond)
		c.Size = Figure(size)
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
		left := x.off(i) - Figure(perLn*h.explains(i, beyond))
		if c.Off == 0 || math.Abs(float64(x.off(i))) > math.Abs(float64(c.Off)) {
			c.Off, c.Left = x.off(i), left
		}
	}
	c.Text = h.words(size)
	return c
}

func (h *hypothesis) explains(i int, beyond float64) float64 {
	v := h.shift[i]
	if h.along != nil {
		v += beyond * h.along[i]
	}
	return v
}

// off is how far string i is from what is expected, dB, beside the median of all
// that are heard.
func (x *expectation) off(i int) Figure {
	var heard []float64
	n := len(x.heights)
	for j := range n {
		if !x.dead[j] {
			heard = append(heard, x.miss[j])
		}
	}
	slices.Sort(heard)
	return Figure(perLn * (x.level[i] - x.mean[i] - middle(heard)))
}

// hypotheses lists all causes that the levels, and fields, may tell.
func (x *expectation) hypotheses() []hypothesis {
	var out []hypothesis
	n := len(x.heights)
	for i := range n {
		out = append(out, x.gap(i, WideGap, -gapOff), x.gap(i, NarrowGap, gapOff))
		if x.setup.Poles == profiles.Rod {
			out = append(out, x.weak(i))
		}
		out = append(out, x.others(i)...)
		for j := i + 1; j < n; j++ {
			out = append(out, x.swaps(i, j)...)
		}
	}
	return append(out, x.tilt())
}

// mask clears what stands where nothing is known.
func (x *expectation) mask(v []float64) {
	for k := range v {
		if x.unknown(k) {
			v[k] = 0
		}
	}
}

// tried is the shift of levels for other heights, string heights or strings.
func (x *expectation) tried(heights []float64, change func(strings []profiles.String, above []float64)) []float64 {
	s := *x.setup
	s.Strings, s.StringHeights = slices.Clone(s.Strings), slices.Clone(s.StringHeights)
	if change != nil {
		change(s.Strings, s.StringHeights)
	}
	out := make([]float64, 2*len(heights))
	x.model.Level(out[:len(heights)], &s, heights)
	for i, m := range x.plain {
		out[i] -= m
	}
	return out
}

// step of a numerical slope, mm.
const step = 0.05

// gap is a pole that stands by some mm off what is written; a string that lies as
// much off the other way does the same.
func (x *expectation) gap(i int, kind string, off float64) hypothesis {
	at := func(mm float64) []float64 {
		h := slices.Clone(x.heights)
		h[i] = min(h[i]+mm, x.setup.StringHeights[i]-0.1)
		return x.tried(h, nil)
	}
	h := hypothesis{kind: kind, strings: []int{i}, shift: at(off), sd: gapSD, rivals: 2 * len(x.heights)}
	h.along = slope(at(off+step), h.shift, step)
	h.size = func(beyond float64) float64 { return math.Abs(off + beyond) }
	h.words = func(size float64) string {
		if off < 0 {
			return fmt.Sprintf("the pole of string %d stands some %.1f mm lower than written, or the string higher", i+1, size)
		}
		return fmt.Sprintf("the pole of string %d stands some %.1f mm higher than written, or the string lower", i+1, size)
	}
	return h
}

// slope is that from one shift to another.
func slope(to, from []float64, by float64) []float64 {
	out := make([]float64, len(to))
	for k := range to {
		out[k] = (to[k] - from[k]) / by
	}
	return out
}

// weak is a magnet that is weaker than its batch.
func (x *expectation) weak(i int) hypothesis {
	n := len(x.heights)
	h := hypothesis{kind: WeakMagnet, strings: []int{i}, shift: make([]float64, 2*n), along: make([]float64, 2*n), sd: weakSD, rivals: n}
	power, _ := x.fieldExponent()
	h.shift[i], h.shift[n+i] = -weakness*power, -weakness
	h.along[i], h.along[n+i] = power, 1
	h.size = func(beyond float64) float64 { return 1 - math.Exp(min(0, beyond-weakness)) }
	h.words = func(size float64) string {
		return fmt.Sprintf("the magnet of string %d is some %.0f %% weaker than its batch", i+1, 100*size)
	}
	return h
}

// swaps are two poles, or two strings, in each other's place.
func (x *expectation) swaps(i, j int) []hypothesis {
	var out []hypothesis
	pairs := len(x.heights) * (len(x.heights) - 1) / 2
	if math.Abs(x.heights[i]-x.heights[j]) >= leastSwap {
		h := slices.Clone(x.heights)
		h[i], h[j] = h[j], h[i]
		if h[i] < x.setup.StringHeights[i] && h[j] < x.setup.StringHeights[j] {
			out = append(out, hypothesis{kind: SwappedPoles, strings: []int{i, j}, shift: x.tried(h, nil), rivals: pairs,
				words: func(float64) string { return fmt.Sprintf("the poles of strings %d and %d are swapped", i+1, j+1) }})
		}
	}
	shift := x.tried(x.heights, func(s []profiles.String, _ []float64) {
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

// others are the strings of known sets that may be there instead. Strings that
// sound alike are one: the first that is known of them.
func (x *expectation) others(i int) []hypothesis {
	var out []hypothesis
	var levels []float64
	for _, set := range x.sets {
		if i >= len(set.Strings) || len(set.Strings) != len(x.heights) {
			continue
		}
		other := set.Strings[i]
		other.Note = x.setup.Strings[i].Note
		shift := x.tried(x.heights, func(s []profiles.String, _ []float64) { s[i] = other })
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
		return fmt.Sprintf("%.3f mm", s.Gauge)
	}
	return fmt.Sprintf("%.3f mm over a core of %.3f mm", s.Gauge, s.Core)
}

// tilt is strings that lie higher at one end and lower at the other.
func (x *expectation) tilt() hypothesis {
	n := len(x.heights)
	at := x.tried(x.heights, func(_ []profiles.String, above []float64) { lift(above, -step/2, step/2) })
	h := hypothesis{kind: Tilted, shift: make([]float64, 2*n), along: slope(at, make([]float64, 2*n), step), sd: tiltSD, rivals: 1}
	h.size = func(beyond float64) float64 { return beyond }
	h.words = func(size float64) string {
		wide, narrow := n, 1
		if size < 0 {
			wide, narrow = 1, n
		}
		return fmt.Sprintf("the mounting is tilted: some %.1f mm more gap at string %d than at string %d beside what is written", math.Abs(size), wide, narrow)
	}
	return h
}

// lift raises heights by so many mm at the first and the last of them, evenly
// between.
func lift(heights []float64, first, last float64) {
	n := float64(max(len(heights)-1, 1))
	for i := range heights {
		heights[i] += first + (last-first)*float64(i)/n
	}
}

// tell says which reading tells causes apart, or bears out the one.
func tell(causes []Cause) string {
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
	}
	var readings []string
	for _, c := range causes {
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
			text += fmt.Sprintf(" (%+.1f dB off; allowing for it leaves %+.1f dB)", float64(c.Off), float64(c.Left))
		}
		out = append(out, text)
	}
	if len(out) > 1 {
		return append(out, "the readings do not tell these apart; what would: "+d.Tell)
	}
	return append(out, "what would bear it out: "+d.Tell)
}
