package profiles

import (
	"cmp"
	"fmt"
	"math"
	"regexp"
	"strconv"
	"strings"
	"sync"
)

// Units are those in which lengths are told to people.
type Units string

// The units of length. They end the keys of lengths in files.
const (
	Millimetres Units = "mm"
	Inches      Units = "in"
)

// mmPerInch is exact (international yard and pound agreement, 1959).
const mmPerInch = 25.4

// AllUnits lists the units of length.
func AllUnits() []Units { return []Units{Millimetres, Inches} }

// InMM is a length in these units in mm.
func (u Units) InMM(x float64) float64 {
	if u == Inches {
		return x * mmPerInch
	}
	return x
}

// Name is what stands behind a figure: "mm" where nothing was chosen.
func (u Units) Name() string {
	if u == Inches {
		return "in"
	}
	return "mm"
}

// AndBeside is the units of a table's columns: for inches, the millimetres beside.
func (u Units) AndBeside() []Units {
	if u == Inches {
		return []Units{Inches, Millimetres}
	}
	return []Units{Millimetres}
}

// Figure writes a length in mm as a table has it: to hundredths of a millimetre, or to
// thousandths of an inch.
func (u Units) Figure(mm float64) string { return u.Write("%.2f", mm) }

// Figures writes lengths in mm as Figure does, with commas between them.
func (u Units) Figures(mm []float64) string {
	var out []string
	for _, x := range mm {
		out = append(out, u.Figure(x))
	}
	return strings.Join(out, ", ")
}

// Write writes a length in mm by a format for mm; in inches with a decimal more, and at
// least three, so that no digit is lost that the trade uses.
func (u Units) Write(format string, mm float64) string {
	if u != Inches {
		return Sprintf(format, mm)
	}
	decimals := 3
	if at := strings.IndexByte(format, '.'); at >= 0 && format[at+1] >= '3' {
		decimals = int(format[at+1]-'0') + 1
	}
	return Sprintf("%"+strings.TrimLeft(format[:strings.IndexByte(format, '.')], "%")+"."+strconv.Itoa(decimals)+"f", mm/mmPerInch)
}

// Say writes a length in mm in a sentence, and for inches the millimetres beside.
func (u Units) Say(mm float64) string { return u.Text(Sprintf("%.2f mm", mm)) }

// Radius writes a fretboard's radius in mm in a sentence, with as many figures as it is
// named by: "7.25 in (184.15 mm)".
func (u Units) Radius(mm float64) string { return u.Text(fmt.Sprintf("%.5g mm", mm)) }

const (
	oneNumber = `[+\-−]?[0-9]+(?:\.[0-9]+)?`
	decimal   = `[+\-−]?[0-9]+\.[0-9]+`
)

// inMillimetres finds lengths in a sentence: one, a span, a list, or a list in brackets.
var inMillimetres = regexp.MustCompile(`\[` + oneNumber + `(?: ` + oneNumber + `)*\] mm\b|(?:` + decimal + `(?:, | and | or ))*(?:` + oneNumber + ` to )?` + oneNumber + ` mm\b`)

var (
	number   = regexp.MustCompile(oneNumber)
	inMilliT = regexp.MustCompile(`(?:` + decimal + `(?: to | and ))?` + oneNumber + ` mT\b`)
)

// gaussInMT is exact.
const gaussInMT = 10.0

// Text is a sentence in which lengths are in mm, as these units have it: for inches every
// length comes in inches with the millimetres behind it, and every field with gauss.
func (u Units) Text(sentence string) string {
	if u != Inches {
		return sentence
	}
	sentence = translated(sentence, inMillimetres, func(list string) string {
		return number.ReplaceAllStringFunc(strings.TrimSuffix(list, " mm"), thousandths) + " in (" + list + ")"
	})
	return translated(sentence, inMilliT, func(list string) string {
		return list + " (" + number.ReplaceAllStringFunc(strings.TrimSuffix(list, " mT"), gauss) + " G)"
	})
}

// Texts are sentences, each as Text has it.
func (u Units) Texts(sentences []string) []string {
	var out []string
	for _, s := range sentences {
		out = append(out, u.Text(s))
	}
	return out
}

// translated replaces what a pattern finds, but for what stands behind "in (" already.
func translated(text string, pattern *regexp.Regexp, by func(string) string) string {
	var b strings.Builder
	end := 0
	for _, at := range pattern.FindAllStringIndex(text, -1) {
		b.WriteString(text[end:at[0]])
		end = at[1]
		if found := text[at[0]:at[1]]; strings.HasSuffix(text[:at[0]], "in (") {
			b.WriteString(found)
		} else {
			b.WriteString(by(found))
		}
	}
	return b.String() + text[end:]
}

// thousandths writes a number of mm in inches; long lengths as short as they can be said.
func thousandths(mm string) string {
	sign, x := signAnd(mm)
	inches := math.Round(x/mmPerInch*1000) / 1000
	if inches < 2 {
		return withSign(sign, fmt.Sprintf("%.3f", inches))
	}
	return sign + strconv.FormatFloat(inches, 'f', -1, 64)
}

// Keys is a sentence with the keys of an order as they are called in units: min_gap_in in
// place of min_gap_mm. Keys that are columns of the record as well stay.
func (u Units) Keys(sentence string) string {
	if u != Inches {
		return sentence
	}
	return aKeyInMM.ReplaceAllStringFunc(sentence, func(key string) string { return cmp.Or(inchKeys()[key], key) })
}

var aKeyInMM = regexp.MustCompile(`\b[a-z_]+_mm\b`)

// inchKeys are the keys of an order that end in _in, by those that end in _mm.
var inchKeys = sync.OnceValue(func() map[string]string {
	keys := map[string]string{}
	for _, k := range OrderFormat.Keys() {
		if _, ofRecord := mountLimits[strings.TrimSuffix(k.Name, "_mm")]; k.Inches != "" && !ofRecord {
			keys[k.Name] = k.Inches
		}
	}
	return keys
})

// Read reads a length that a person gives: "0.4", in units, or with a unit of its own,
// "0.4mm" or "0.016 in". It returns mm.
func (u Units) Read(text string) (mm float64, err error) {
	text = strings.TrimSpace(text)
	for _, own := range AllUnits() {
		if figure, ok := strings.CutSuffix(text, string(own)); ok {
			u, text = own, strings.TrimSpace(figure)
		}
	}
	mm, err = strconv.ParseFloat(text, 64)
	if err != nil || math.IsNaN(mm) || math.IsInf(mm, 0) {
		return 0, fmt.Errorf("expected a length in %s, got %q", u.Name(), text)
	}
	return u.InMM(mm), nil
}

// InGauss tells whether fields are told in gauss beside millitesla: where lengths are in
// inches.
func (u Units) InGauss() bool { return u == Inches }

// Gauss writes a field in mT, in gauss.
func Gauss(mT float64) string { return Sprintf("%.0f", mT*gaussInMT) }

// Of is how a figure with a unit is told: in inches what is in mm, or by the mm. It returns
// the factor to multiply the figure with, and the unit's name.
func (u Units) Of(unit string) (factor float64, name string) {
	if u != Inches {
		return 1, unit
	}
	switch {
	case unit == "mm":
		return 1 / mmPerInch, "in"
	case strings.HasSuffix(unit, "/mm"):
		return mmPerInch, strings.TrimSuffix(unit, "mm") + "in"
	}
	return 1, unit
}

// SlopeStep is the change of a pole's height that slopes are told for, in steps of 0.1 mm, and
// its name.
func (u Units) SlopeStep() (tenths float64, name string) {
	if u == Inches {
		return 1.27, "0.005 in"
	}
	return 1, "0.1 mm"
}

func gauss(mT string) string {
	sign, x := signAnd(mT)
	return withSign(sign, fmt.Sprintf("%.0f", x*gaussInMT))
}

// withSign puts a sign before digits; no minus before what is zero.
func withSign(sign, digits string) string {
	if sign != "+" && strings.Trim(digits, "0.") == "" {
		return digits
	}
	return sign + digits
}

// signAnd splits a number into its sign, as it stands, and its size.
func signAnd(text string) (sign string, x float64) {
	digits := strings.TrimLeft(text, "+-−")
	x, _ = strconv.ParseFloat(digits, 64) // the pattern lets nothing else through
	return strings.TrimSuffix(text, digits), x
}
