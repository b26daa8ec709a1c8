package verdict

import (
	"errors"
	"iter"
	"math"
	"slices"
	"strings"
	"testing"

	"evenpole/capture/record"
	"evenpole/fit"
	"evenpole/fit/cell"
	"evenpole/fit/level"
	"evenpole/profiles"

	"gonum.org/v1/gonum/mat"
)

// lawful is a model by a law of our own: ln v = 2 ln core - fall x gap, each string
// off by sd.
type lawful struct {
	fit.Model // the rest is not asked for
	fall, sd  float64
}

func (l lawful) level(s profiles.String, gap float64) float64 {
	return 3 + 2*math.Log(s.Core) - l.fall*gap
}

func (l lawful) Level(dst []float64, s *fit.Setup, heights []float64) []float64 {
	if dst == nil {
		dst = make([]float64, len(heights))
	}
	for i, h := range heights {
		dst[i] = l.level(s.Strings[i], s.StringHeights[i]-h)
	}
	return dst
}

func (l lawful) Expect(cells []cell.Cell) []float64 {
	var out []float64
	for _, c := range cells {
		out = append(out, l.level(profiles.String{Core: c.Core}, c.Gap())+0.5*c.Field)
	}
	return out
}

func (l lawful) Uncertainty(*fit.Setup, []float64) *mat.SymDense {
	d := mat.NewDiagDense(6, nil)
	for i := range 6 {
		d.SetDiag(i, l.sd*l.sd)
	}
	out := mat.NewSymDense(6, nil)
	out.CopySym(d)
	return out
}

func (lawful) ResidualSD() level.DB { return 0.15 }
func (lawful) Source() string       { return "shop data" }

func (lawful) FieldExponent() (b, se float64, ok bool) { return 0, 0, false }
func (lawful) PoleSD() (sd level.Ln, ok bool)          { return 0, false }

var law = lawful{fall: 0.5, sd: 0.03}

// The pickup of these tests: six plain strings over poles that differ.
var (
	cores   = []float64{0.25, 0.33, 0.43, 0.55, 0.7, 0.9}
	tops    = []float64{0.4, 0.9, 1.6, 1.2, 0.8, 0.3}
	stringH = 3.2
)

// built is that pickup as it was captured when the jig had it so: levels by the
// law at what is there, rows with what was written, and what a level is off by.
func built(change func(cores, tops, above []float64), off map[int]float64) []record.Reading {
	c, h, above := slices.Clone(cores), slices.Clone(tops), slices.Repeat([]float64{stringH}, 6)
	if change != nil {
		change(c, h, above)
	}
	var levels [][]float64
	for i := range c {
		levels = append(levels, around(level.PerLn*law.level(profiles.String{Core: c[i]}, above[i]-h[i])+off[i+1]))
	}
	rows := taken(levels...)
	for k := range rows {
		i := rows[k].String - 1
		rows[k].Core, rows[k].Gauge, rows[k].PoleHeight, rows[k].StringHeight = cores[i], cores[i], tops[i], stringH
	}
	return rows
}

// rodOrder is an order for it.
func rodOrder() *profiles.Order {
	o := order(6)
	o.Poles, o.Tolerance, o.StringHeightFirst, o.StringHeightLast = profiles.Rod, 2, stringH, stringH
	for i := range o.Strings {
		o.Strings[i].Gauge, o.Strings[i].Core = cores[i], cores[i]
	}
	return o
}

// fieldOver is a session of the field probe: mT over each pole.
func fieldOver(session string, mT ...float64) []record.FieldReading {
	var rows []record.FieldReading
	for i, f := range mT {
		rows = append(rows, record.FieldReading{Session: session, Jig: "J", Boot: session, Seq: uint32(i + 1), HasSeq: true, Batch: "M-1",
			Pickup: "P1", String: i + 1, Field: f, ProbeGap: 0.5, Status: record.OK})
	}
	return rows
}

func fieldRows(rows []record.FieldReading) iter.Seq2[record.FieldReading, error] {
	return func(yield func(record.FieldReading, error) bool) {
		for _, r := range rows {
			if !yield(r, nil) {
				return
			}
		}
	}
}

func diagnosed(t *testing.T, rows []record.Reading, fields []record.FieldReading) *Verdict {
	t.Helper()
	b := &Bench{Model: law, Sets: []profiles.StringSet{{Name: "heavy", Strings: heavy()}}}
	if fields != nil {
		b.Fields = fieldRows(fields)
	}
	v := check1(t, rows, rodOrder(), Options{Bench: b})
	if v.Diagnosis == nil {
		t.Fatalf("no diagnosis: %q", v.Notes)
	}
	return v
}

// heavy are strings with cores an eighth thicker.
func heavy() []profiles.String {
	var out []profiles.String
	for _, c := range cores {
		out = append(out, profiles.String{Gauge: c * 1.125, Core: c * 1.125, Wrap: "plain"})
	}
	return out
}

func TestCauses(t *testing.T) {
	even := []float64{-250, -251, -249, -250, -252, -250}
	tests := []struct {
		name    string
		rows    []record.Reading
		fields  []record.FieldReading
		kinds   []string // that are named, the likeliest first
		strings []int    // of the likeliest
		text    string
	}{
		{"sound", built(nil, nil), nil, nil, nil, ""},
		{"sound, probed", built(nil, nil), fieldOver("f", even...), nil, nil, ""},
		{"low pole", built(func(_, h, _ []float64) { h[2] -= 0.5 }, nil), nil, []string{WeakMagnet, WideGap}, []int{3}, "string 3"},
		{"low pole, probed", built(func(_, h, _ []float64) { h[2] -= 0.5 }, nil), fieldOver("f", even...), []string{WideGap}, []int{3}, "0.5 mm lower than written"},
		{"weak magnet, probed", built(nil, map[int]float64{5: -2.2}), fieldOver("f", -250, -251, -249, -250, -150, -250), []string{WeakMagnet}, []int{5}, "40 % weaker"},
		{"another string", built(func(c, _, _ []float64) { c[3] *= 1.125 }, nil), nil, []string{WrongString, NarrowGap}, []int{4}, `"heavy"`},
		{"poles swapped", built(func(_, h, _ []float64) { h[0], h[2] = h[2], h[0] }, nil), nil, []string{SwappedPoles}, []int{1, 3}, "strings 1 and 3"},
		{"strings swapped", built(func(c, _, _ []float64) { c[3], c[4] = c[4], c[3] }, nil), nil, []string{SwappedStrings}, []int{4, 5}, "strings 4 and 5"},
		{"tilted", built(func(_, _, a []float64) { lift(a, -0.4, 0.4) }, nil), nil, []string{Tilted}, nil, "0.8 mm more gap at string 6 than at string 1"},
		{"reversed", built(nil, nil), fieldOver("f", 250, 251, 249, -250, 252, 250), []string{Reversed}, []int{4}, "-250 mT"},
		{"demagnetised", built(nil, nil), fieldOver("f", 121, 122, 120, -1, 121, 120), []string{Demagnetised}, []int{4}, "1 mT over its pole, 121 mT over the others"},
		{"made half and half", built(nil, nil), fieldOver("f", 250, 251, 249, -250, -252, -250), nil, nil, ""},
		{"far too quiet", built(nil, map[int]float64{2: -24}), nil, []string{Dead}, []int{2}, "more than 20 dB below"},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			d := diagnosed(t, tt.rows, tt.fields).Diagnosis
			var kinds []string
			for _, c := range d.Causes {
				kinds = append(kinds, c.Kind)
			}
			slices.Sort(kinds)
			want := slices.Sorted(slices.Values(tt.kinds))
			for _, k := range want {
				if !slices.Contains(kinds, k) {
					t.Errorf("got %q, want %q among them", d.Say(), k)
				}
			}
			switch {
			case want == nil:
				if kinds != nil || d.Tell != "" || d.Say()[0] != "nothing stands out" {
					t.Errorf("got %q, want nothing", d.Say())
				}
			case d.Causes != nil && (!slices.Equal(d.Causes[0].Strings, append([]int{}, tt.strings...)) || !strings.Contains(strings.Join(d.Say(), " "), tt.text) || d.Tell == "" && d.Causes[0].Kind != WeakMagnet):
				t.Errorf("got %q, told by %q", d.Say(), d.Tell)
			}
		})
	}
}

// A reversed magnet leaves the balance as it is, and fails the pickup all the same, once
// every pole was measured, with a model to compare with or without. Several may be meant
// to stand so, and are warned of.
func TestReversedMagnetFails(t *testing.T) {
	even := built(nil, nil)
	for _, tt := range []struct {
		name     string
		rows     []record.Reading
		tol      float64
		fields   []float64
		want     Answer
		warnings int
	}{
		{"none", even, 20, []float64{250, 251, 249, 250, 252, 250}, Conforms, 0},
		{"one", even, 20, []float64{250, 251, 249, -250, 252, 250}, OutOfTolerance, 1},
		{"none, and balances do not tell", even, 13.5, []float64{121, 122, 120, 122, 121, 120}, CannotTell, 0},
		{"one that balances do not tell of", even, 13.5, []float64{121, 122, 120, -122, 121, 120}, OutOfTolerance, 1},
		{"one of those measured", even, 20, []float64{250, 251, 249, -250}, CannotTell, 1},
		{"one demagnetised", even, 20, []float64{121, 122, 120, -1, 121, 120}, Conforms, 0},
		{"two", even, 20, []float64{250, 251, 249, 250, -252, -250}, Conforms, 2},
		{"half", even, 20, []float64{250, 251, 249, -250, -252, -250}, Conforms, 0},
	} {
		for _, model := range []fit.Model{law, nil} {
			o := rodOrder()
			o.Tolerance = tt.tol
			v := check1(t, tt.rows, o, Options{Bench: &Bench{Model: model, Fields: fieldRows(fieldOver("f", tt.fields...))}})
			said := 0
			for _, w := range v.Warnings {
				if strings.Contains(w, "the other side up than most") {
					said++
				}
			}
			if v.Verdict != tt.want || said != tt.warnings {
				t.Errorf("%s: got %s with %q", tt.name, v.Verdict, v.Warnings)
			}
			if failed := tt.want == OutOfTolerance; failed != strings.Contains(v.Remedy, "magnet of string 4 is the wrong way round") || failed && len(v.MoreTakes) > 0 {
				t.Errorf("%s: remedy %q, more takes %v", tt.name, v.Remedy, v.MoreTakes)
			}
		}
	}
}

// What the field probe has told is not asked of it again.
func TestProbeIsNotAskedAgain(t *testing.T) {
	weak := built(nil, map[int]float64{5: -2.2})
	if d := diagnosed(t, weak, nil).Diagnosis; !strings.Contains(d.Tell, "field probe") {
		t.Errorf("not probed: told by %q", d.Tell)
	}
	d := diagnosed(t, weak, fieldOver("f", 121, 122, 120, 121, 83, 121)).Diagnosis
	said := strings.Join(d.Say(), "\n")
	if strings.Contains(said, "field probe") || !strings.Contains(said, "(83 mT over its pole, 121 mT over the others)") {
		t.Errorf("probed: got %q", said)
	}
}

// A cause says how far off its string is, and what it leaves: a pole 0.5 mm low
// makes 0.5 x 0.5 in ln v, 2.17 dB.
func TestCauseFigures(t *testing.T) {
	v := diagnosed(t, built(func(_, h, _ []float64) { h[2] -= 0.5 }, nil), fieldOver("f", 250, 251, 249, 250, 252, 250))
	c := v.Diagnosis.Causes[0]
	near(t, "off", float64(c.Off), -0.25*level.PerLn, 1e-9)
	near(t, "left", float64(c.Left), 0, 0.1)
	near(t, "size", float64(c.Size), 0.5, 0.05)
	s := v.Diagnosis.Strings[2]
	near(t, "off the mean", float64(s.Off), -0.25*level.PerLn*5/6, 1e-9)
	near(t, "field", float64(s.Field), 249, 1e-9)
	near(t, "balance is expected plus off", float64(s.Balance+s.Off), float64(v.Strings[2].Balance), 1e-9)
}

// What is expected is of ordinary magnets: that fields were measured does not
// change it, only what is made of a difference.
func TestFieldsDoNotChangeWhatIsExpected(t *testing.T) {
	with := diagnosed(t, built(nil, nil), fieldOver("f", 250, 240, 262, 255, 243, 251)).Diagnosis
	without := diagnosed(t, built(nil, nil), nil).Diagnosis
	for i := range with.Strings {
		near(t, "off", float64(with.Strings[i].Off), float64(without.Strings[i].Off), 1e-9)
	}
}

// The likelihood by the textbook's formula, with an inverse and a determinant.
func TestLikelihoodSlowly(t *testing.T) {
	x := &expectation{heights: make([]float64, 2), deadStrings: make([]bool, 2), residuals: []float64{0.3, -0.1, 0.2, 0.1},
		probe: &probe{cells: []cell.Cell{{FieldKnown: true}, {FieldKnown: true}}}}
	x.cov = mat.NewSymDense(4, []float64{0.5, 0.1, 0.02, 0, 0.1, 0.4, 0, 0.03, 0.02, 0, 0.3, 0.1, 0, 0.03, 0.1, 0.2})
	shift, along, sd := []float64{0.1, 0, -0.1, 0}, []float64{1, 0, 0.5, 0}, 0.7
	var cov, inverse mat.Dense
	cov.CloneFrom(x.cov)
	left := mat.NewVecDense(4, nil)
	for i := range 4 {
		left.SetVec(i, x.residuals[i]-shift[i])
		for j := range 4 {
			cov.Set(i, j, cov.At(i, j)+sd*sd*along[i]*along[j])
		}
	}
	if err := inverse.Inverse(&cov); err != nil {
		t.Fatal(err)
	}
	want := -math.Log(mat.Det(&cov))/2 - (8.0+4)/2*math.Log(1+mat.Inner(left, &inverse, left)/8)
	near(t, "likelihood", x.likelihood(shift, along, sd), want, 1e-9)
}

// A string that is not heard at all is named though no balance can be worked out,
// and keeps the others out of nothing.
func TestUnheardIsDead(t *testing.T) {
	rows := built(nil, nil)
	for k := range rows {
		if rows[k].String == 3 {
			rows[k].RMS = rows[k].Quiet
		}
	}
	v := diagnosed(t, rows, nil)
	if d := v.Diagnosis; len(d.Causes) != 1 || d.Causes[0].Kind != Dead || d.Causes[0].Strings[0] != 3 || d.Strings[2].Off.Known() || v.Verdict != CannotTell {
		t.Errorf("got %+v, %q", d, v.Verdict)
	}
	near(t, "off", float64(v.Diagnosis.Strings[0].Off), 0, 1e-6)
}

// The latest field session counts, without what was flagged or taken back.
func TestFieldRowsThatCount(t *testing.T) {
	rows := append(fieldOver("old", 250, 250, 250, -250, 250, 250), fieldOver("new", 250, 250, 250, 250, 250, 250)...)
	bad := fieldOver("new", -250)
	bad[0].Seq, bad[0].Status = 7, record.Faulty
	back := fieldOver("new", -900)
	back[0].Seq = 8
	again := slices.Clone(back)
	again[0].Status = record.Retracted
	rows = slices.Concat(rows, bad, back, again)
	if d := diagnosed(t, built(nil, nil), rows).Diagnosis; len(d.Causes) != 0 || d.Strings[0].Field != 250 {
		t.Errorf("got %q, %v mT", d.Say(), d.Strings[0].Field)
	}
	broken := errors.New("fields.csv:3: no number")
	b := &Bench{Model: law, Fields: func(yield func(record.FieldReading, error) bool) { yield(record.FieldReading{}, broken) }}
	if _, err := Check(sequence(built(nil, nil)), rodOrder(), "P1", Options{Bench: b}); !errors.Is(err, broken) {
		t.Errorf("got %v", err)
	}
}

// Loose magnets tell how far magnets of a batch differ: eleven that scatter by
// 12 % outweigh the usual 5 %, and a pole a fifth weaker is no wonder then.
func TestSpreadOfFields(t *testing.T) {
	loose := map[string]float64{}
	for i := range 11 {
		loose[string(rune('a'+i))] = 0.04 * float64(i-5)
	}
	near(t, "spread", spreadOf(loose), math.Sqrt((10*0.0025+11*math.Pow(0.12/0.6745, 2))/21), 1e-12)
	near(t, "none", spreadOf(nil), 0.05, 0)
}

// What cannot be compared says why, and the verdict stands.
func TestNotCompared(t *testing.T) {
	rows := built(nil, nil)
	for k := range rows {
		rows[k].PoleHeight = math.NaN()
	}
	v := check1(t, rows, rodOrder(), Options{Bench: &Bench{Model: law}})
	if v.Diagnosis != nil {
		t.Errorf("got %+v", v.Diagnosis)
	}
	contains(t, v.Notes, "the record does not say its heights")
	one := check1(t, taken(around(20)), order(1), Options{Bench: &Bench{Model: law}})
	contains(t, one.Notes, "one string has no balance")
}

// The handbook is unsure, and so does not blame a string for 2 dB.
func TestHandbookIsCareful(t *testing.T) {
	rows := built(nil, map[int]float64{3: -2})
	v := check1(t, rows, rodOrder(), Options{Bench: &Bench{Model: fit.Handbook(profiles.Travel)}})
	if v.Diagnosis == nil || v.Diagnosis.Source != "handbook prior" {
		t.Fatalf("got %+v", v.Diagnosis)
	}
	for _, s := range v.Diagnosis.Strings {
		if !(s.Expanded > 1.5) {
			t.Errorf("string %d: U %.2f dB is too sure for a handbook", s.String, float64(s.Expanded))
		}
	}
}

func TestNothingLeftHasNoMinus(t *testing.T) {
	d := &Diagnosis{Causes: []Cause{{Text: "a cause", Off: -2.36, Left: -0.04}}}
	if got, want := d.Say()[0], "likeliest: a cause (-2.4 dB off; allowing for it leaves +0.0 dB)"; got != want {
		t.Errorf("got %q, want %q", got, want)
	}
}
