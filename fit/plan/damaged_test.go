package plan

import (
	"bytes"
	"context"
	"encoding/json"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"

	"evenpole/fit"
	"evenpole/fit/cell/celltest"
	"evenpole/fit/solve"
	"evenpole/profiles"

	"gonum.org/v1/gonum/mat"
)

// An uncertainty so large that differences of a score are rounding: the search ends.
func TestSearchEndsWhereRoundingDecides(t *testing.T) {
	m := line([]float64{0, 1, 2, 1}, []float64{1, 2, 3, 1})
	m.cov = mat.NewSymDense(4, nil)
	for i := range 4 {
		m.cov.SetSym(i, i, 1e24+float64(i)*1e23)
	}
	if _, err := Make(t.Context(), order(4, 2, 0.01), m, Options{}); err != nil {
		t.Error(err)
	}
}

// damagedModel is the text of a model file, cut at the numbers of its state.
type damagedModel struct {
	text    string
	numbers [][]int // from and to
}

func modelText(t testing.TB, kind string) damagedModel {
	t.Helper()
	m, err := fit.OfKind(context.Background(), celltest.Sample(t), kind)
	if err != nil {
		t.Fatal(err)
	}
	var b bytes.Buffer
	if err := (&fit.Result{Report: fit.Report{Kind: kind}, Model: m}).Write(&b); err != nil {
		t.Fatal(err)
	}
	text := b.String()
	from := strings.Index(text, `"state"`)
	at := regexp.MustCompile(`-?[0-9]+(\.[0-9]+)?(e[-+]?[0-9]+)?`).FindAllStringIndex(text[from:], -1)
	for i := range at {
		at[i][0] += from
		at[i][1] += from
	}
	return damagedModel{text, at}
}

// damaged writes the model file with some of its numbers others, and reads it. It is nil
// when the file was refused.
func (d damagedModel) damaged(t *testing.T, path string, others map[int]string) fit.Model {
	t.Helper()
	var text strings.Builder
	end := 0
	for place, at := range d.numbers {
		if number, ok := others[place]; ok {
			text.WriteString(d.text[end:at[0]])
			text.WriteString(number)
			end = at[1]
		}
	}
	text.WriteString(d.text[end:])
	if err := os.WriteFile(path, []byte(text.String()), 0o644); err != nil {
		t.Fatal(err)
	}
	r, err := fit.ReadModel(path)
	if err != nil {
		return nil
	}
	return r.Model
}

// plan plans with the model once one of its numbers is another. It is not ok when the file
// was refused.
func (d damagedModel) plan(t *testing.T, path string, place int, number string) (ok bool) {
	t.Helper()
	m := d.damaged(t, path, map[int]string{place: number})
	if m == nil {
		return false
	}
	if soundPlan(t, sixStrings(), m); t.Failed() {
		at := d.numbers[place]
		t.Fatalf("number %d, %s, as %s", place, d.text[at[0]:at[1]], number)
	}
	return true
}

// soundPlan fails unless a plan is made that can be written as JSON, with heights that
// the order allows and chances that are some.
func soundPlan(t *testing.T, o *profiles.Order, m fit.Model) {
	t.Helper()
	p, err := Make(context.Background(), o, m, Options{Draws: 64})
	if err != nil {
		t.Error(err)
		return
	}
	if _, err := json.Marshal(p); err != nil {
		t.Error(err)
	}
	for i, h := range p.Heights {
		if h < o.PoleHeightMin-1e-9 || h > o.PoleHeightMax+1e-9 || p.Gaps[i] < o.MinGap-1e-9 {
			t.Errorf("string %d: height %g, gap %g; the order allows %g to %g, gaps from %g", i+1, h, p.Gaps[i], o.PoleHeightMin, o.PoleHeightMax, o.MinGap)
		}
	}
	if !(p.Meets >= 0 && p.Meets <= 1) || !(p.Worst >= 0) || !(p.Spread95[0] <= p.Spread95[1]) {
		t.Errorf("meets %g, worst %g, spread %v", p.Meets, p.Worst, p.Spread95)
	}
}

func sixStrings() *profiles.Order {
	o := order(6, 3, 0.05)
	for i, note := range []string{"E4", "B3", "G3", "D3", "A2", "E2"} {
		core := 0.25 + 0.04*float64(i)
		o.Strings[i] = profiles.String{Note: note, Core: core, Gauge: core, Wrap: profiles.Plain}
		if i >= 3 {
			o.Strings[i].Gauge, o.Strings[i].Wrap = 2.2*core, profiles.NickelPlatedSteel
		}
	}
	return o
}

// A model file with one number changed is refused, or plans are made with it that can be
// written as JSON.
func TestPlansWithDamagedModels(t *testing.T) {
	for _, kind := range fit.Kinds() {
		d, path := modelText(t, kind), filepath.Join(t.TempDir(), "model.json")
		refused, planned := 0, 0
		for place := 0; place < len(d.numbers); place += 1 + len(d.numbers)/40 {
			for _, number := range []string{"0", "-1", "5", "-30", "1e5", "1e18", "-1e24", "1e300"} {
				if d.plan(t, path, place, number) {
					planned++
				} else {
					refused++
				}
			}
		}
		if refused == 0 || planned == 0 {
			t.Errorf("%s: %d refused, %d planned", kind, refused, planned)
		}
	}
}

// FuzzPlanWithDamagedModel: a model file with two numbers changed is refused, or what it
// predicts are numbers, and any order can be planned with it.
func FuzzPlanWithDamagedModel(f *testing.F) {
	models := map[string]damagedModel{}
	for _, kind := range fit.Kinds() {
		models[kind] = modelText(f, kind)
		f.Add(kind, uint(0), 1e18, uint(1), 1.0, uint8(6), 3.0, 1.0)
		f.Add(kind, uint(20), -0.5, uint(21), 0.5, uint8(12), 0.0, 2.5)
		f.Add(kind, uint(40), 1e-9, uint(8), 2.0, uint8(1), 0.5, 1e-3)
	}
	path := filepath.Join(f.TempDir(), "model.json")
	f.Fuzz(func(t *testing.T, kind string, place uint, value float64, other uint, also float64, n uint8, top, tolerance float64) {
		number, err := json.Marshal(value)
		second, err2 := json.Marshal(also)
		d, known := models[kind]
		if !known || err != nil || err2 != nil {
			return
		}
		all := uint(len(d.numbers))
		m := d.damaged(t, path, map[int]string{int(place % all): string(number), int(other % all): string(second)})
		if m == nil {
			return
		}
		o := sixStrings()
		o.Strings = slices.Repeat(o.Strings, 2)[:1+n%12]
		o.Offset = make([]float64, len(o.Strings))
		o.StringSpread = 10.4 * float64(len(o.Strings)-1)
		if top >= 0 && top <= 2 {
			o.PoleHeightMax = top
		}
		if tolerance >= 0.01 && tolerance <= 20 {
			o.Tolerance = tolerance
		}
		s := Setup(o)
		for _, y := range m.Level(nil, s, make([]float64, len(o.Strings))) {
			if !solve.Finite(y) {
				t.Errorf("level %g", y)
			}
		}
		soundPlan(t, o, m)
	})
}
