package fit

import (
	"encoding/json"
	"fmt"
	"math"
	"os"
	"strconv"
	"testing"

	"evenpole/capture/record/recordtest"
	"evenpole/fit/cell"
)

// Lines within one pickup reach the certified digits of NIST's linear sets with a constant
// term (NIST/ITL, Statistical Reference Datasets, 1999 to 2003; see testdata/README.md). The
// floors are the digits reached, rounded down: a change that loses one is to be noticed.
func TestLogLinearReachesCertifiedDigits(t *testing.T) {
	text, err := os.ReadFile(recordtest.Path(t, "published", "nist", "certified.json"))
	if err != nil {
		t.Fatal(err)
	}
	var file struct {
		Linear map[string]struct {
			Intercept  bool
			DataFile   string `json:"data_file"`
			ResidualSD string `json:"residual_sd"`
			Parameters []struct{ Estimate, SD string }
		}
	}
	if err := json.Unmarshal(text, &file); err != nil {
		t.Fatal(err)
	}
	for name, floor := range map[string]float64{"Norris": 13, "Pontius": 13, "Longley": 12, "Wampler1": 9, "Wampler2": 13, "Wampler3": 10} {
		set, ok := file.Linear[name]
		if !ok || !set.Intercept {
			t.Fatalf("%s is not among the certified sets with a constant term", name)
		}
		columns := nistColumns(t, set.DataFile)
		var terms []term
		var taken []int
		for j := 1; j < len(set.Parameters); j++ {
			x := func(c *cell.Cell) float64 { return math.Pow(columns["x"][c.String], float64(j)) }
			if columns["x1"] != nil {
				x = func(c *cell.Cell) float64 { return columns[fmt.Sprint("x", j)][c.String] }
			}
			terms, taken = append(terms, term{name: fmt.Sprint("x", j), value: x}), append(taken, j-1)
		}
		var cells []cell.Cell
		for i, y := range columns["y"] {
			cells = append(cells, cell.Cell{Mounting: &cell.Mounting{Pickup: "P"}, String: i, Mean: y})
		}
		m := &logLinear{}
		if _, ok := m.fitTerms(newLogLeaver(terms, cells), taken); !ok {
			t.Errorf("%s: its columns are said to make each other up", name)
			continue
		}
		least := digits(t, m.SD, set.ResidualSD)
		for j, p := range set.Parameters[1:] {
			least = min(least, digits(t, m.B[j], p.Estimate), digits(t, math.Sqrt(m.Cov[j][j]), p.SD))
		}
		t.Logf("%-8s %.1f digits", name, least)
		if least < floor {
			t.Errorf("%s: %.1f digits, want at least %g", name, least, floor)
		}
	}
}

// digits is how many agree: the log relative error, or the log absolute error where the
// certified value is 0; 15 at most.
func digits(t *testing.T, got float64, certified string) float64 {
	t.Helper()
	want, err := strconv.ParseFloat(certified, 64)
	if err != nil {
		t.Fatal(err)
	}
	scale := math.Abs(want)
	if want == 0 {
		scale = 1
	}
	return min(15, -math.Log10(math.Abs(got-want)/scale))
}

// nistColumns are the columns of a set's data.
func nistColumns(t *testing.T, file string) map[string][]float64 {
	t.Helper()
	out := map[string][]float64{}
	for name, column := range recordtest.ReadTable(t, recordtest.Path(t, "published", "nist", file)) {
		for _, text := range column {
			v, err := strconv.ParseFloat(text, 64)
			if err != nil {
				t.Fatal(err)
			}
			out[name] = append(out[name], v)
		}
	}
	return out
}
