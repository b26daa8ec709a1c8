package profiles

import (
	"fmt"
	"math"
	"strconv"
	"strings"
)

// MaxStrings is the most strings that an order, a mount or a set can have: what
// the jig's protocol has room for.
const MaxStrings = 12

// span is the range of values that make sense for a key, in mm or in the key's
// own unit. A span is wide: it is there to catch a slip of the finger and a
// length in the wrong unit, not to restrict a design.
type span struct {
	lo, hi float64
	orZero bool // 0 is allowed as well, and means something of its own
}

// UsualTravel is how far, in mm, either end of a pickup can be moved up or down when
// an order does not say (common practice).
const UsualTravel = 1.5

// closestAcross is how near to each other strings, or poles, may be, mm centre to centre:
// less than the strings of a course are.
const closestAcross = 1.0

// The spans, common practice all. Where it can be done, what is sensible in
// inches lies outside the span in mm, and the other way round.
var (
	// Strings run from 0.007 in (0.18 mm) to bass strings of 0.145 in (3.7 mm).
	gauges = span{lo: 0.15, hi: 4}
	// Poles stand from well below the bobbin plane to a screw far out.
	poleHeights = span{lo: -10, hi: 8}
	// Below 0.5 mm a string rattles on the bobbin; beyond 30 mm nothing is heard.
	stringHeights = span{lo: 0.5, hi: 30}
	// 0 sets no limit; a string that is plucked swings further than 0.2 mm.
	gaps = span{lo: 0.2, hi: 10, orZero: true}
	// From the set screw's finest turn to stock lengths.
	steps = span{lo: 0.005, hi: 2}
	// A pickup on its screws moves by a few millimetres.
	travels = span{lo: 0.05, hi: 8, orZero: true}
	// From the flattest coil to a tall one.
	formerDepths = span{lo: 2, hi: 40}
	// From the finest thread to a wood screw's.
	pitches = span{lo: 0.2, hi: 2}
	// From a coil of few turns to one of the finest wire.
	resistances = span{lo: 1, hi: 200e3}
	// From winders that count turns to those that count minutes.
	coilTolerances = span{lo: 0.1, hi: 50}
	// From a set screw on a dial gauge to a hand with a hammer.
	settingErrors = span{lo: 0.001, hi: 1}
	// A hard pluck swings a slack bass string by some millimetres.
	swings = span{lo: 0.05, hi: 8, orZero: true}
	// 0 is flat; beyond 3 m an arc over 60 mm rises by 0.15 mm: flat.
	radii = span{lo: 25, hi: 3000, orZero: true}
	// From one string to a wide bass; the distance between strings is checked
	// against spacings as well.
	spreads = span{lo: 0, hi: 300}
	// From paired strings to a bass with few of them, centre to centre.
	spacings = span{lo: 1.5, hi: 40}
	// From the smallest fretted instrument to an upright bass.
	scales = span{lo: 150, hi: 2000}
	// Half a coil's width is as near as a pole comes to the saddle.
	fromBridge = span{lo: 8, hi: 1000}
	// From a bare sensor element on the pole to the far field.
	probeGaps = span{lo: 0.05, hi: 20}
	// A wish for the balance; 20 dB is a tenth of the level.
	offsets = span{lo: -20, hi: 20}
	// Below 0.01 dB nothing can be measured.
	tolerances = span{lo: 0.01, hi: 20}
	// From a weak magnet's far field to beyond any material's remanence.
	fields = span{lo: 1, hi: 2000}
	// Anywhere across a pickup, from any mark on it.
	acrosses = span{lo: -200, hi: 300}
	// From a thin screw to a bass's rod.
	poleDiameters = span{lo: 1, hi: 15}
	oneOrTwo      = span{lo: 1, hi: 2}
	// From a tone that is hardly louder to one coil against a hundred.
	differences = span{lo: -40, hi: 40}
	// From a thin rod to a bar's worth of one.
	rodDiameters = span{lo: 1, hi: 20}
	rodLengths   = span{lo: 2, hi: 100}
	// Shares and risks; half is a coin's toss.
	shares = span{lo: 0.01, hi: 49.9}
)

func (s span) has(x float64) bool { return s.lo <= x && x <= s.hi || s.orZero && x == 0 }

// in writes the span in a unit.
func (s span) in(u unit) string {
	text := strings.TrimSpace(fmt.Sprintf("%s to %s %s", bound(s.lo/u.base), bound(s.hi/u.base), u.name))
	if s.orZero {
		return "0 or " + text
	}
	return text
}

// bound writes an end of a span, to four figures and without an exponent.
func bound(x float64) string {
	if math.Abs(x) >= 1e4 {
		return fmt.Sprintf("%.0f", x)
	}
	four, _ := strconv.ParseFloat(strconv.FormatFloat(x, 'g', 4, 64), 64)
	return strconv.FormatFloat(four, 'f', -1, 64)
}

// unit is what a key's last part says: its name, and its size in what the
// program works with (mm for lengths).
type unit struct {
	name string
	base float64
}

// unitOf reads the unit off a key.
func unitOf(key string) unit {
	switch {
	case strings.HasSuffix(key, "_in"):
		return unit{"in", mmPerInch}
	case strings.HasSuffix(key, "_db"):
		return unit{"dB", 1}
	case strings.HasSuffix(key, "_mt"):
		return unit{"mT", 1}
	case strings.HasSuffix(key, "_percent"):
		return unit{"%", 1}
	case strings.HasSuffix(key, "_ohm"):
		return unit{"ohm", 1}
	case strings.HasSuffix(key, "_per_string"), strings.HasSuffix(key, "_per_pole"):
		return unit{"", 1}
	}
	return unit{"mm", 1}
}

// toBase converts to mm. Rounding to a millionth of a micrometre makes 0.013 in
// the same number as 0.3302 mm, so that both spellings name one string.
func (u unit) toBase(x float64) float64 {
	if u.base == 1 {
		return x
	}
	return math.Round(x*u.base*1e9) / 1e9
}

// stemOf is a key without its unit of length.
func stemOf(key string) string {
	return strings.TrimSuffix(strings.TrimSuffix(key, "_mm"), "_in")
}

// otherUnit is a hint for a length, or a field, that would make sense in the other unit.
func otherUnit(key string, x float64, s span) string {
	stem := stemOf(key)
	switch {
	case unitOf(key).name == "mT" && s.has(1000*x):
		return fmt.Sprintf("; if that is tesla, write %g", 1000*x)
	case stem == key:
		return ""
	case key == stem+"_mm" && s.has(x*mmPerInch):
		return fmt.Sprintf("; if that is inches, write %s_in", stem)
	case key == stem+"_in" && s.has(x):
		return fmt.Sprintf("; if that is millimetres, write %s_mm", stem)
	}
	return ""
}
