package plan

import (
	"bytes"
	"context"
	"encoding/json"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"evenpole/fit"
	"evenpole/fit/cell/celltest"
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

// plan plans with the model once one of its numbers is another. It is not ok when the file
// was refused.
func (d damagedModel) plan(t *testing.T, path string, place int, number string) (ok bool) {
	t.Helper()
	at := d.numbers[place]
	if err := os.WriteFile(path, []byte(d.text[:at[0]]+number+d.text[at[1]:]), 0o644); err != nil {
		t.Fatal(err)
	}
	r, err := fit.ReadModel(path)
	if err != nil {
		return false
	}
	p, err := Make(t.Context(), sixStrings(), r.Model, Options{Draws: 64})
	if err != nil {
		t.Errorf("number %d, %s, as %s: %v", place, d.text[at[0]:at[1]], number, err)
		return true
	}
	if _, err := json.Marshal(p); err != nil {
		t.Errorf("number %d, %s, as %s: %v", place, d.text[at[0]:at[1]], number, err)
	}
	return true
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

func FuzzPlanWithDamagedModel(f *testing.F) {
	models := map[string]damagedModel{}
	for _, kind := range fit.Kinds() {
		models[kind] = modelText(f, kind)
		f.Add(kind, uint(0), 1e18)
		f.Add(kind, uint(20), -0.5)
	}
	f.Fuzz(func(t *testing.T, kind string, place uint, value float64) {
		number, err := json.Marshal(value)
		if d, known := models[kind]; known && err == nil {
			d.plan(t, filepath.Join(t.TempDir(), "model.json"), int(place%uint(len(d.numbers))), string(number))
		}
	})
}
