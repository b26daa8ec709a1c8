package repeat

import (
	"encoding/csv"
	"math"
	"math/rand/v2"
	"os"
	"strconv"
	"strings"
	"testing"
	"time"

	"evenpole/capture/record"
	"evenpole/fit/solve"

	"gonum.org/v1/gonum/stat"
)

// table is a small CSV by column.
type table map[string][]string

// mixed is where the published data of mixed models stand.
const mixed = "../../testdata/published/mixed/"

func readTable(t testing.TB, name string) table {
	t.Helper()
	f, err := os.Open(name)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	out := table{}
	for _, row := range rows[1:] {
		for j, name := range rows[0] {
			out[name] = append(out[name], row[j])
		}
	}
	return out
}

func (tb table) float(t testing.TB, column string, i int) float64 {
	t.Helper()
	v, err := strconv.ParseFloat(strings.TrimSpace(tb[column][i]), 64)
	if err != nil {
		t.Fatal(err)
	}
	return v
}

// nested makes a sample of takes that collapse into their finest level's means,
// as runs do: coarse levels, then fine ones.
func nested(t testing.TB, tb table, y, fine string, coarse ...string) *sample {
	t.Helper()
	takes := map[string][]float64{}
	var cells []int // rows that begin a cell
	for i := range tb[y] {
		c := tb[fine][i]
		if takes[c] == nil {
			cells = append(cells, i)
		}
		takes[c] = append(takes[c], tb.float(t, y, i))
	}
	s := &sample{}
	var squares float64
	for _, i := range cells {
		v := takes[tb[fine][i]]
		s.y = append(s.y, stat.Mean(v, nil))
		s.weight = append(s.weight, float64(len(v)))
		s.within.DF += float64(len(v) - 1)
		if len(v) > 1 {
			squares += stat.Variance(v, nil) * float64(len(v)-1)
		}
	}
	s.within.SD = math.Sqrt(squares / s.within.DF)
	s.fixed = make([]int, len(cells))
	for _, column := range append(coarse, fine) {
		n := numbering{}
		c := source{name: column}
		for _, i := range cells {
			c.level = append(c.level, n.of(tb[column][i]))
		}
		s.sources = append(s.sources, c)
	}
	return s
}

func near(t *testing.T, what string, got, want, tolerance float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tolerance) {
		t.Errorf("%s: got %.8g, want %.8g within %g", what, got, want, tolerance)
	}
}

// TestPublishedComponents checks the variances of takes that collapsed into
// means against those of all takes by lmer of R's lme4 (testdata/README.md).
func TestPublishedComponents(t *testing.T) {
	want := map[string]float64{}
	ref := readTable(t, mixed+"estimates_lmer.csv")
	for i := range ref["dataset"] {
		if ref["method"][i] == "REML" {
			want[ref["dataset"][i]+ref["model"][i]+ref["quantity"][i]] = ref.float(t, "value", i)
		}
	}
	for _, c := range []struct {
		data, y, model, fine string
		coarse               []string
	}{
		{"Dyestuff", "Yield", "Yield ~ 1 + (1 | Batch)", "Batch", nil},
		{"Dyestuff2", "Yield", "Yield ~ 1 + (1 | Batch)", "Batch", nil},
		{"Pastes", "strength", "strength ~ 1 + (1 | batch) + (1 | sample)", "sample", []string{"batch"}},
	} {
		s := nested(t, readTable(t, mixed+c.data+".csv"), c.y, c.fine, c.coarse...)
		e, err := s.estimate()
		if err != nil {
			t.Fatal(err)
		}
		residual := e.sd[len(e.sd)-1]
		for k, src := range s.sources {
			v, ok := want[c.data+c.model+"sd:"+src.name+":(Intercept)"]
			if !ok {
				t.Fatalf("%s: no reference for %q", c.data, src.name)
			}
			near(t, c.data+" "+src.name, e.sd[k], v, 1e-4*(v+residual))
		}
		v := want[c.data+c.model+"sd:Residual"]
		near(t, c.data+" residual", residual, v, 1e-5*v)
	}
}

// TestDegreesOfFreedom checks them in a balanced case, where each variance is a
// combination of mean squares: the residual's are the number of takes less that
// of batches, and those of a mean square's expectation are its own.
func TestDegreesOfFreedom(t *testing.T) {
	e, err := nested(t, readTable(t, mixed+"Dyestuff.csv"), "Yield", "Batch").estimate() // 6 batches of 5
	if err != nil {
		t.Fatal(err)
	}
	_, dof := e.sum([]float64{0, 1})
	near(t, "within", dof, 24, 0.05)
	_, dof = e.sum([]float64{5, 1})
	near(t, "between", dof, 5, 0.05)
}

// TestIntervalsCover counts how often intervals hold the truth: few
// levels, drawn again and again. A nominal 95 % may miss by what 100 draws and
// the chi-squared limit of the profile make of it.
func TestIntervalsCover(t *testing.T) {
	if testing.Short() {
		t.Skip("simulation")
	}
	rng := rand.New(rand.NewPCG(1, 2))
	const draws, levels, takes = 100, 8, 4
	for _, truth := range []float64{0.15, 0} {
		covered := 0
		for range draws {
			s := &sample{within: solve.Spread{DF: levels * (takes - 1)}}
			c := source{name: "mounting"}
			var squares float64
			for l := range levels {
				mean := truth * rng.NormFloat64()
				v := make([]float64, takes)
				for i := range v {
					v[i] = mean + 0.3*rng.NormFloat64()
				}
				squares += stat.Variance(v, nil) * (takes - 1)
				s.y, s.weight = append(s.y, stat.Mean(v, nil)), append(s.weight, takes)
				s.fixed, c.level = append(s.fixed, 0), append(c.level, l)
			}
			s.within.SD = math.Sqrt(squares / s.within.DF)
			s.sources = []source{c}
			e, err := s.estimate()
			if err != nil {
				t.Fatal(err)
			}
			low, high := e.interval(0, 0.95)
			if low > e.sd[0]+1e-9 || high < e.sd[0] {
				t.Fatalf("interval %g to %g without its estimate %g", low, high, e.sd[0])
			}
			if low <= truth && truth <= high {
				covered++
			}
		}
		share := float64(covered) / draws
		t.Logf("truth %g: %.3f of intervals hold it", truth, share)
		if share < 0.9 {
			t.Errorf("truth %g: %.3f of 95 %% intervals hold it", truth, share)
		}
	}
}

// TestAppraisers checks a gauge study of 10 parts, 3 appraisers and 3 trials
// (AIAG, Measurement Systems Analysis, 4th edition), its interaction pooled as
// published.
func TestAppraisers(t *testing.T) {
	tb := readTable(t, "testdata/gauge_rr_crossed.csv")
	want := readTable(t, "testdata/gauge_rr_crossed_expected.csv")
	published := map[string]float64{}
	for i, q := range want["quantity"] {
		if want["method"][i] == "anova" {
			published[q] = want.float(t, "published", i)
		}
	}
	for i := range tb["part"] {
		tb["cell"] = append(tb["cell"], tb["part"][i]+"/"+tb["operator"][i])
	}
	s := nested(t, tb, "value", "cell", "operator")
	s.sources = s.sources[:1] // no interaction
	parts := numbering{}
	s.fixed = nil
	seen := map[string]bool{}
	for i, c := range tb["cell"] {
		if !seen[c] {
			seen[c] = true
			s.fixed = append(s.fixed, parts.of(tb["part"][i]))
		}
	}
	e, err := s.estimate()
	if err != nil {
		t.Fatal(err)
	}
	near(t, "repeatability", e.sd[1]*e.sd[1], published["var_repeatability"], 1e-5)
	near(t, "reproducibility", e.sd[0]*e.sd[0], published["var_reproducibility"], 1e-5)
	_, dof := e.sum([]float64{0, 1})
	near(t, "degrees of freedom", dof, 78, 0.2)
}

// TestAppraisersAsARecord takes the same study through a record: parts are strings
// and an appraiser's trials a session. What all strings share is then (MSO -
// MSE)/30, and the take's scatter of a balance is pooled with the interaction.
func TestAppraisersAsARecord(t *testing.T) {
	tb := readTable(t, "testdata/gauge_rr_crossed.csv")
	begin := time.Date(2026, 3, 2, 9, 0, 0, 0, time.UTC)
	s, err := Analyse(func(yield func(record.Reading, error) bool) {
		for i := range tb["value"] {
			part := int(tb.float(t, "part", i))
			who := tb["operator"][i]
			if !yield(record.Reading{
				Time: begin.AddDate(0, 0, int(who[0])), Session: who, Purpose: record.ForRepeat, Pickup: "R", String: part, Core: 0.3, Gauge: 0.3,
				PoleHeight: 1, StringHeight: 3, Mode: "P", RMS: math.Pow(10, tb.float(t, "value", i)/20), Quiet: math.NaN(),
			}, nil) {
				return
			}
		}
	}, Options{})
	if err != nil {
		t.Fatal(err)
	}
	const msOperator, msError, msPooled = 1.583631111, 0.04598222222, 0.03997327635 // gauge_rr_crossed_expected.csv
	near(t, "operators, of the level", square(s.Level[0].SD), (msOperator-msError)/30, 1e-5)
	near(t, "takes, of the level", square(s.Level[1].SD), msError, 1e-5)
	near(t, "operators, of the balance", s.Balance[0].SD, 0, 1e-3)
	near(t, "takes, of the balance", square(s.Balance[1].SD), msPooled, 1e-5)
}

func square(x float64) float64 { return x * x }

// TestProbes checks the nested gauge study of the NIST/SEMATECH e-Handbook of
// Statistical Methods, 2.6.1: five probes, five wafers, two runs of six days. Its
// level-2 deviation is that of a day's average, its level-3 one that of a run's
// average, which holds the days' scatter too. Published are those of probe 2362.
func TestProbes(t *testing.T) {
	tb := readTable(t, "testdata/gauge_resistivity.csv")
	ref := readTable(t, "testdata/gauge_resistivity_expected.csv")
	want := map[string]float64{}
	for i := range ref["probe"] {
		want[ref["probe"][i]+ref["quantity"][i]] = ref.float(t, "recomputed", i)
	}
	near(t, "published level 2", want["2362s2_day_to_day_pooled"], 0.0362, 5e-5)
	near(t, "published level 3", want["2362s3_run_to_run_pooled"], 0.0197, 1e-4)
	for _, probe := range []string{"1", "281", "283", "2062", "2362"} {
		wafers, runs := numbering{}, numbering{}
		s, run := &sample{}, source{name: "run"}
		for i := range tb["probe"] {
			if tb["probe"][i] != probe {
				continue
			}
			s.y, s.weight = append(s.y, tb.float(t, "average_ohm_cm", i)), append(s.weight, 1)
			s.fixed = append(s.fixed, wafers.of(tb["wafer"][i]))
			run.level = append(run.level, runs.of(tb["wafer"][i]+"/"+tb["run"][i]))
		}
		s.sources = []source{run}
		e, err := s.estimate()
		if err != nil {
			t.Fatal(err)
		}
		days, level3 := want[probe+"s2_day_to_day_pooled"], want[probe+"s3_run_to_run_pooled"]
		if level3*level3 > days*days/6 { // else a variance is at its boundary
			near(t, probe+" day to day", e.sd[1], days, 1e-5)
			near(t, probe+" run to run", math.Hypot(e.sd[0], e.sd[1]/math.Sqrt(6)), level3, 1e-5)
		} else {
			near(t, probe+" run to run", e.sd[0], 0, 1e-3)
		}
	}
}
