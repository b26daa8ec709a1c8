package fit

import (
	"context"
	"encoding/json"
	"math"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"

	"evenpole/fit/cell"
	"evenpole/fit/cell/celltest"
	"evenpole/fit/solve"

	"gonum.org/v1/gonum/mat"
)

// modelTexts are the states, or the files, of models of the sample shop, one a kind.
func modelTexts(f *testing.F, of func(k modelKind, m Model) ([]byte, error)) map[string]damageable {
	all := map[string]damageable{}
	for _, k := range kinds {
		m, err := k.fit(context.Background(), celltest.Sample(f))
		if err != nil {
			f.Fatal(err)
		}
		text, err := of(k, m)
		if err != nil {
			f.Fatal(err)
		}
		all[k.name] = newDamageable(text)
	}
	return all
}

// damageable is a text of JSON, and where its numbers stand.
type damageable struct {
	text    []byte
	numbers [][]int // from and to
}

var number = regexp.MustCompile(`-?[0-9]+(\.[0-9]+)?(e[-+]?[0-9]+)?`)

func newDamageable(text []byte) damageable { return damageable{text, number.FindAllIndex(text, -1)} }

// damaged returns the text with one of its numbers another one, and then a piece of it
// replaced. From and length 0 and the text whole are any text at all; but what the fuzzer
// has to shorten are the few bytes that are put in, and most texts are still models.
func (d damageable) damaged(place uint, value float64, from, length uint, put []byte) []byte {
	at := d.numbers[place%uint(len(d.numbers))]
	text := slices.Concat(d.text[:at[0]], strconv.AppendFloat(nil, value, 'g', -1, 64), d.text[at[1]:])
	from = min(from, uint(len(text)))
	length = min(length, uint(len(text))-from)
	return slices.Replace(text, int(from), int(from+length), put...)
}

func addDamages(f *testing.F) {
	for _, kind := range Kinds() {
		for place, value := range []float64{0, -1, 1e18, 1e-300, math.Inf(1)} {
			f.Add(kind, uint(7*place), value, uint(0), uint(0), []byte(nil))
		}
		f.Add(kind, uint(0), 1.0, uint(20), uint(3), []byte("[]"))
		f.Add(kind, uint(0), 1.0, uint(0), uint(1e6), []byte("null"))
		f.Add(kind, uint(0), 1.0, uint(500), uint(1e6), []byte(""))
	}
	f.Add("none", uint(0), 1.0, uint(0), uint(0), []byte(nil))
}

// Whatever state stands in a model file, it is refused, or it is a model that answers
// every question, and in numbers.
func FuzzModelState(f *testing.F) {
	states := modelTexts(f, func(_ modelKind, m Model) ([]byte, error) { return json.Marshal(m) })
	addDamages(f)
	f.Fuzz(func(t *testing.T, kind string, place uint, value float64, from, length uint, put []byte) {
		k, err := kindOf(kind)
		if err != nil {
			if slices.Contains(Kinds(), kind) {
				t.Error(err)
			}
			return
		}
		m, err := k.decode(states[kind].damaged(place, value, from, length, put))
		if err != nil {
			return
		}
		predictNumbers(t, m)
	})
}

// Any byte of a model file cut off or changed is an error or a model, never a panic.
func FuzzReadModel(f *testing.F) {
	texts := modelTexts(f, func(k modelKind, m Model) ([]byte, error) {
		return (&Result{Report: Report{Kind: k.name}, Model: m}).encode()
	})
	stored, err := os.ReadFile(filepath.Join("testdata", "model.json"))
	if err != nil {
		f.Fatal(err)
	}
	if _, err := parseModel("model.json", stored); err != nil {
		f.Fatal(err)
	}
	texts["stored"] = newDamageable(stored)
	f.Add("stored", uint(3), 1.0, uint(0), uint(0), []byte(nil))
	addDamages(f)
	f.Fuzz(func(t *testing.T, kind string, place uint, value float64, from, length uint, put []byte) {
		file, known := texts[kind]
		if !known {
			return
		}
		r, err := parseModel("model.json", file.damaged(place, value, from, length, put))
		if err == nil {
			predictNumbers(t, r.Model)
		} else if !strings.HasPrefix(err.Error(), "model.json:") {
			t.Errorf("an error without its file: %v", err)
		}
	})
}

// predictNumbers fails unless a model predicts numbers that can be written as JSON.
func predictNumbers(t *testing.T, m Model) {
	t.Helper()
	s, heights := setup()
	for _, y := range m.Level(nil, s, heights) {
		if !solve.Finite(y) {
			t.Errorf("level %g", y)
		}
	}
	cov := m.Uncertainty(s, heights)
	for i := range heights {
		if v := cov.At(i, i); !(v >= 0) || !solve.Finite(v) {
			t.Errorf("variance %g", v)
		}
	}
	if !solve.Finite(mat.Sum(cov)) {
		t.Errorf("uncertainty %v", mat.Formatted(cov))
	}
	m.Warnings(s, heights)
	m.Expect([]cell.Cell{*s.cell(0, heights)})
	if _, err := json.Marshal(m.Parameters()); err != nil {
		t.Error(err)
	}
}
