// Command nist prints how many digits of the certified results the nonlinear
// solver reaches on the NIST Statistical Reference Datasets (NIST/ITL, 1999 to
// 2003), from both published starts, with the same settings for every set, and
// beside them what R's nls and SciPy's least_squares reached.
//
// Run it at the top of the repository:
//
//	go run ./bench/nist [-data FOLDER]
//
// FOLDER holds certified.json and nls_NAME.csv files; models are read as
// formulas from certified.json, so that further sets can be tried by adding
// them there.
package main

import (
	"encoding/csv"
	"encoding/json"
	"errors"
	"flag"
	"fmt"
	"io"
	"io/fs"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"

	"evenpole/fit/solve"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/num/dual"
)

func main() {
	data := flag.String("data", filepath.Join("testdata", "published", "nist"), "folder with certified.json and nls_NAME.csv")
	peers := flag.String("peers", filepath.Join("bench", "nist", "testdata", "lre_r_scipy.csv"), "digits that R and SciPy reached")
	flag.Parse()
	if err := run(os.Stdout, *data, *peers); err != nil {
		fmt.Fprintln(os.Stderr, "nist:", err)
		os.Exit(1)
	}
}

// set is one nonlinear data set.
type set struct {
	name     string
	Model    string
	DataFile string `json:"data_file"`
	Params   []struct{ Name, Start1, Start2, Estimate, SD string }
}

func run(w io.Writer, dir, peerFile string) error {
	sets, err := readSets(dir)
	if err != nil {
		return err
	}
	peers, err := readPeers(peerFile)
	if err != nil {
		return err
	}
	fmt.Fprintf(w, "%-10s %5s  %8s %8s  %6s   %s\n", "set", "start", "estimate", "sd", "steps", "digits of R nls (tight) and SciPy lm (tight)")
	var six, eight, total int
	for _, s := range sets {
		for start := 1; start <= 2; start++ {
			r, err := s.try(dir, start)
			if err != nil {
				return fmt.Errorf("%s: %w", s.name, err)
			}
			total++
			if r.estimate >= 6 {
				six++
			}
			if r.estimate >= 8 {
				eight++
			}
			fmt.Fprintf(w, "%-10s %5d  %8.1f %8.1f  %6d   %s\n", s.name, start, r.estimate, r.sd, r.steps, peers[fmt.Sprint(s.name, start)])
		}
	}
	fmt.Fprintf(w, "\nat least 6 digits: %d of %d; at least 8 digits: %d of %d\n", six, total, eight, total)
	return nil
}

func readSets(dir string) ([]set, error) {
	text, err := os.ReadFile(filepath.Join(dir, "certified.json"))
	if err != nil {
		return nil, err
	}
	var doc struct {
		Nonlinear map[string]struct {
			Model      string
			DataFile   string `json:"data_file"`
			Parameters []struct{ Name, Start1, Start2, Estimate, SD string }
		}
	}
	if err := json.Unmarshal(text, &doc); err != nil {
		return nil, fmt.Errorf("certified.json: %w", err)
	}
	var sets []set
	for name, v := range doc.Nonlinear {
		if v.DataFile == "" {
			v.DataFile = "nls_" + name + ".csv"
		}
		sets = append(sets, set{name, v.Model, v.DataFile, v.Parameters})
	}
	slices.SortFunc(sets, func(a, b set) int { return strings.Compare(a.name, b.name) })
	return sets, nil
}

// readPeers returns a column of text for each set and start.
func readPeers(file string) (map[string]string, error) {
	f, err := os.Open(file)
	if errors.Is(err, fs.ErrNotExist) {
		return nil, nil
	}
	if err != nil {
		return nil, err
	}
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	if err != nil {
		return nil, err
	}
	out := map[string]string{}
	for _, r := range rows[1:] {
		if r[2] == "R nls default deriv tight" || r[2] == "scipy lm tight 3-point" {
			out[r[0]+r[3]] += fmt.Sprintf("%6s ", r[4])
		}
	}
	return out, nil
}

// result is how well one start went: log relative errors of the worst estimate
// and the worst standard deviation.
type result struct {
	estimate, sd float64
	steps        int
}

func (s set) try(dir string, start int) (result, error) {
	p, at, err := s.problem(dir, start)
	if err != nil {
		return result{}, err
	}
	f, err := p.Solve(at)
	if err != nil {
		return result{}, err
	}
	r := result{estimate: 16, sd: 16, steps: f.Iterations}
	variance := f.SS / float64(p.M-p.N)
	for i, par := range s.Params {
		r.estimate = math.Min(r.estimate, lre(f.X[i], par.Estimate))
		sd := math.NaN()
		if f.Cov != nil {
			sd = math.Sqrt(variance * f.Cov.At(i, i))
		}
		r.sd = math.Min(r.sd, lre(sd, par.SD))
	}
	return r, nil
}

// lre is the number of certified digits reached (at most the 11 printed), 0
// when none.
func lre(got float64, certified string) float64 {
	want, err := strconv.ParseFloat(certified, 64)
	if err != nil || math.IsNaN(got) {
		return 0
	}
	return max(0, min(11, -math.Log10(math.Abs(got-want)/math.Abs(want))))
}

// problem turns a set into residuals model - y with exact derivatives.
func (s set) problem(dir string, start int) (*solve.Nonlinear, []float64, error) {
	left, right, _ := strings.Cut(s.Model, "=")
	lhs, err := parseFormula(left)
	if err != nil {
		return nil, nil, err
	}
	rhs, err := parseFormula(right)
	if err != nil {
		return nil, nil, err
	}
	rows, err := s.rows(dir)
	if err != nil {
		return nil, nil, err
	}
	vars := func(i int, x []float64) map[string]dual.Number {
		for k, par := range s.Params {
			rows[i][par.Name] = dual.Number{Real: x[k]}
		}
		return rows[i]
	}
	p := &solve.Nonlinear{
		M: len(rows), N: len(s.Params),
		Residual: func(dst, x []float64) {
			for i := range dst {
				v := vars(i, x)
				dst[i] = rhs(v).Real - lhs(v).Real
			}
		},
		Jacobian: func(dst *mat.Dense, x []float64) {
			for i := range rows {
				for k, par := range s.Params {
					v := vars(i, x)
					v[par.Name] = dual.Number{Real: x[k], Emag: 1}
					dst.Set(i, k, rhs(v).Emag)
				}
			}
		},
	}
	at := make([]float64, len(s.Params))
	for k, par := range s.Params {
		text := par.Start1
		if start == 2 {
			text = par.Start2
		}
		if at[k], err = strconv.ParseFloat(text, 64); err != nil {
			return nil, nil, err
		}
	}
	return p, at, nil
}

func (s set) rows(dir string) ([]map[string]dual.Number, error) {
	f, err := os.Open(filepath.Join(dir, s.DataFile))
	if err != nil {
		return nil, err
	}
	defer f.Close()
	text, err := csv.NewReader(f).ReadAll()
	if err != nil {
		return nil, err
	}
	var rows []map[string]dual.Number
	for _, r := range text[1:] {
		row := map[string]dual.Number{}
		for j, name := range text[0] {
			v, err := strconv.ParseFloat(strings.TrimSpace(r[j]), 64)
			if err != nil {
				return nil, fmt.Errorf("%s: %w", s.DataFile, err)
			}
			row[name] = dual.Number{Real: v}
		}
		rows = append(rows, row)
	}
	return rows, nil
}
