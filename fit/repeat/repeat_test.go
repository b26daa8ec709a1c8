package repeat

import (
	"errors"
	"fmt"
	"iter"
	"math"
	"math/rand/v2"
	"strings"
	"testing"
	"time"

	"evenpole/capture/record"

	"gonum.org/v1/gonum/stat"
)

// drawRuns draws a study: six strings, each with scatter of its own, and
// together much more.
func drawRuns(rng *rand.Rand, d *Design) []run {
	const strings = 6
	own := func(sd float64) []float64 {
		v, all := make([]float64, strings), 3*sd*rng.NormFloat64()
		for i := range v {
			v[i] = all + sd*rng.NormFloat64()
		}
		return v
	}
	operators := make([][]float64, d.Operators)
	for i := range operators {
		operators[i] = own(d.Guess.Operator)
	}
	var runs []run
	for sitting := range d.Sittings * d.Operators {
		who := sitting % d.Operators
		today := own(d.Guess.Sitting)
		for range d.Mountings {
			r := run{session: fmt.Sprintf("s%03d", len(runs)+1), pickup: "R", operator: fmt.Sprint(who), sitting: fmt.Sprint(sitting), mounting: fmt.Sprint(len(runs))}
			here := own(d.Guess.Mounting)
			for i := range strings {
				takes := make([]float64, d.Takes)
				for k := range takes {
					takes[k] = float64(i) + operators[who][i] + today[i] + here[i] + d.Guess.Take*rng.NormFloat64()
				}
				r.levels, r.takes = append(r.levels, stat.Mean(takes, nil)), append(r.takes, d.Takes)
				r.dof += float64(d.Takes - 1)
				r.squares += stat.Variance(takes, nil) * float64(d.Takes-1)
			}
			runs = append(runs, r)
		}
	}
	return runs
}

// TestAgreesWithAnalysisOfVariance computes the components of a balanced study
// from mean squares, string by string with the runs' means taken off, the slow
// way.
func TestAgreesWithAnalysisOfVariance(t *testing.T) {
	d := &Design{Operators: 3, Sittings: 3, Mountings: 4, Takes: 5, Guess: Guess{Take: 0.2, Mounting: 0.3, Sitting: 0.4, Operator: 0.6}}
	runs := drawRuns(rand.New(rand.NewPCG(5, 6)), d)
	sources, warnings := sourcesOf(runs)
	if len(sources) != 3 || len(warnings) != 0 {
		t.Fatalf("sources %v, %q", sources, warnings)
	}
	e, err := balanceOf(runs, sources).estimate()
	if err != nil {
		t.Fatal(err)
	}
	balance := func(keep func(run) bool) []float64 { // mean balance over some runs
		sum, n := make([]float64, 6), 0.0
		for _, r := range runs {
			if keep(r) {
				n++
				for i, l := range r.levels {
					sum[i] += l - r.level()
				}
			}
		}
		for i := range sum {
			sum[i] /= n
		}
		return sum
	}
	square := func(a, b []float64) (s float64) {
		for i := range a {
			s += (a[i] - b[i]) * (a[i] - b[i])
		}
		return s
	}
	grand := balance(func(run) bool { return true })
	var operators, sittings, mountings, squares float64
	for _, r := range runs {
		byOperator := balance(func(x run) bool { return x.operator == r.operator })
		bySitting := balance(func(x run) bool { return x.sitting == r.sitting })
		own := balance(func(x run) bool { return x.mounting == r.mounting })
		operators += 5 * square(byOperator, grand)
		sittings += 5 * square(bySitting, byOperator)
		mountings += 5 * square(own, bySitting)
		squares += r.squares
	}
	take := squares / (6 * 36 * 4)
	mo, ms, mm := operators/(5*2), sittings/(5*6), mountings/(5*27)
	near(t, "take", e.sd[3]*e.sd[3], take, 1e-6)
	near(t, "mounting", e.sd[2]*e.sd[2], (mm-take)/5, 1e-6)
	near(t, "sitting", e.sd[1]*e.sd[1], (ms-mm)/20, 1e-5)
	near(t, "operator", e.sd[0]*e.sd[0], (mo-ms)/60, 1e-5)
}

// TestUnbalanced finds the truth in a large study from which runs and takes are
// missing, and the pickup's common scatter is not in the balance.
func TestUnbalanced(t *testing.T) {
	d := &Design{Operators: 4, Sittings: 5, Mountings: 3, Takes: 6, Guess: Guess{Take: 0.3, Mounting: 0.2, Sitting: 0.15, Operator: 0.25}}
	rng := rand.New(rand.NewPCG(7, 8))
	var runs []run
	for i, r := range drawRuns(rng, d) {
		if i%7 == 3 {
			continue
		}
		r.takes = append([]int(nil), r.takes...)
		r.takes[i%6] -= 2 // as if two had been flagged: the mean scatters more
		r.levels[i%6] += 0.3 * math.Sqrt(1/4.0-1/6.0) * rng.NormFloat64()
		r.squares *= (r.dof - 2) / r.dof
		r.dof -= 2
		runs = append(runs, r)
	}
	sources, _ := sourcesOf(runs)
	e, err := balanceOf(runs, sources).estimate()
	if err != nil {
		t.Fatal(err)
	}
	near(t, "take", e.sd[3], d.Guess.Take, 0.02)
	for k, truth := range []float64{d.Guess.Operator, d.Guess.Sitting, d.Guess.Mounting} {
		low, high := e.interval(k, 0.99)
		if truth < low || truth > high {
			t.Errorf("component %d: %.3f to %.3f, truth %.3f", k, low, high, truth)
		}
	}
	l, err := levelOf(runs, sources).estimate()
	if err != nil {
		t.Fatal(err)
	}
	near(t, "take of the level", l.sd[3], 0.3, 0.02)
	if low, high := l.interval(2, 0.99); low > 0.6 || high < 0.6 {
		t.Errorf("level of a mounting: %.3f to %.3f, truth about 0.6", low, high)
	}
}

// readings turns runs into rows of a record, each string's takes about its
// level; sittings are a day apart.
func readings(rng *rand.Rand, runs []run) iter.Seq2[record.Reading, error] {
	return func(yield func(record.Reading, error) bool) {
		begin := time.Date(2026, 3, 2, 9, 0, 0, 0, time.UTC)
		for n, r := range runs {
			day, _ := time.ParseDuration(r.sitting + "h")
			at := begin.Add(24*day + time.Duration(n)*6*time.Minute)
			for i, l := range r.levels {
				for k := range r.takes[i] {
					x := record.Reading{
						Time: at, Session: r.session, Purpose: record.ForRepeat, Jig: "j", Boot: "00000001", Seq: uint32(n*1000 + i*100 + k), HasSeq: true,
						Pickup: r.pickup, String: i + 1, Core: 0.3, Gauge: math.NaN(), PoleHeight: 0, StringHeight: 3, Mode: "P", Take: k + 1,
						RMS: math.Pow(10, (l+0.3*rng.NormFloat64())/20), Quiet: math.NaN(),
					}
					if !yield(x, nil) {
						return
					}
				}
			}
		}
	}
}

func TestAnalyse(t *testing.T) {
	d := &Design{Operators: 2, Sittings: 3, Mountings: 3, Takes: 6, Guess: Guess{Take: 1e-9, Mounting: 0.2, Sitting: 0.05, Operator: 0.1}}
	rng := rand.New(rand.NewPCG(9, 10))
	runs := drawRuns(rng, d)
	who := Operators{}
	for _, r := range runs {
		who[r.session] = Note{Operator: r.operator}
	}
	var steps []string
	s, err := Analyse(readings(rng, runs), Options{Operators: who, Tolerance: 1, Step: func(step string) { steps = append(steps, step) }})
	if err != nil {
		t.Fatal(err)
	}
	if len(steps) != 10 || steps[0] != "variances of the balance in 18 sessions" || steps[9] != "level: interval 4 of 4" {
		t.Errorf("steps %q", steps)
	}
	if s.Runs != 18 || len(s.Balance) != 4 || s.Balance[1].Levels != 6 || len(s.Warnings) != 0 {
		t.Fatalf("%+v", s)
	}
	for _, c := range append(s.Balance, s.Level...) {
		if !(c.Low <= c.SD+1e-9 && c.SD <= c.High) {
			t.Errorf("%+v", c)
		}
	}
	near(t, "take", s.Balance[3].SD, 0.3, 0.04)
	want := 0.0
	for _, c := range s.Balance[:3] {
		want += c.SD * c.SD
	}
	near(t, "mounting", s.Mounting, math.Sqrt(want), 1e-9)
	take := s.Balance[3].SD
	near(t, "check", s.Check.SD, math.Sqrt((want+take*take/10)*5/6), 1e-9)
	near(t, "share", s.Tolerance.Share, 3*s.Check.SD, 1e-9)
	if n := s.Tolerance.Takes; n > 0 {
		t.Logf("takes: %d", n)
	}
	if s.Check.Expanded <= 1.95*s.Check.SD {
		t.Errorf("U %.3f of %.3f", s.Check.Expanded, s.Check.SD)
	}
}

// TestNeeds checks that as few takes, and mountings, as are asked for bring U to
// what is wanted, and one less does not.
func TestNeeds(t *testing.T) {
	d := &Design{Operators: 1, Sittings: 4, Mountings: 4, Takes: 8, Guess: Guess{Take: 0.4, Mounting: 0.05, Sitting: 0.01, Operator: 0.01}}
	runs := drawRuns(rand.New(rand.NewPCG(11, 12)), d)
	sources, _ := sourcesOf(runs)
	e, err := balanceOf(runs, sources).estimate()
	if err != nil {
		t.Fatal(err)
	}
	b := newCheckModel(e, 6, 4, 0.95)
	got := b.tolerance(Options{Tolerance: 1, Want: 0.3, Takes: 4})
	if got.Takes < 2 || got.Mountings < 2 {
		t.Fatalf("%+v", got)
	}
	for _, c := range []struct {
		mountings, takes int
		enough           bool
	}{{1, got.Takes, true}, {1, got.Takes - 1, false}, {got.Mountings, 4, true}, {got.Mountings - 1, 4, false}} {
		if _, u := b.check(c.mountings, c.takes); (u <= 0.3) != c.enough {
			t.Errorf("%d mountings of %d takes: U %.3f", c.mountings, c.takes, u)
		}
	}
	if none := b.tolerance(Options{Tolerance: 0.05, Want: 0.3, Takes: 4}); none.Takes != 0 || none.Rating != "too much" {
		t.Errorf("%+v", none)
	}
}

func TestUnnamedOperators(t *testing.T) {
	runs := drawRuns(rand.New(rand.NewPCG(17, 18)), &Design{Operators: 2, Sittings: 2, Mountings: 2, Takes: 3, Guess: Guess{}.withDefaults()})
	if _, warnings := sourcesOf(runs); len(warnings) != 0 {
		t.Errorf("warnings %q", warnings)
	}
	runs[0].operator, runs[1].operator = "", ""
	sources, warnings := sourcesOf(runs)
	if sources[0].levels != 3 || len(warnings) != 1 || !strings.HasPrefix(warnings[0], "counted as one more operator: 2 sessions without a name") {
		t.Errorf("%d operators, warnings %q", sources[0].levels, warnings)
	}
}

func TestConfoundedSources(t *testing.T) {
	d := &Design{Operators: 1, Sittings: 4, Mountings: 1, Takes: 1, Guess: Guess{}.withDefaults()}
	runs := drawRuns(rand.New(rand.NewPCG(13, 14)), d)
	for i := range runs {
		runs[i].squares = 0
	}
	sources, warnings := sourcesOf(runs)
	if len(sources) != 0 || len(warnings) != 3 {
		t.Errorf("sources %v, warnings %q", sources, warnings)
	}
	e, err := balanceOf(runs, sources).estimate()
	if err != nil {
		t.Fatal(err)
	}
	if low, high := e.interval(0, 0.95); !(0 < low && low < e.sd[0] && e.sd[0] < high) {
		t.Errorf("%g to %g about %g", low, high, e.sd[0])
	}
}

func TestRefusals(t *testing.T) {
	rng := rand.New(rand.NewPCG(15, 16))
	d := &Design{Operators: 1, Sittings: 2, Mountings: 2, Takes: 3, Guess: Guess{}.withDefaults()}
	runs := drawRuns(rng, d)
	broken := errors.New("broken")
	for name, rows := range map[string]iter.Seq2[record.Reading, error]{
		"none": func(func(record.Reading, error) bool) {},
		"one":  readings(rng, runs[:1]),
		"error": func(yield func(record.Reading, error) bool) {
			yield(record.Reading{}, broken)
		},
	} {
		_, err := Analyse(rows, Options{})
		few := (*TooFew)(nil)
		if errors.As(err, &few) == (name == "error") || errors.Is(err, broken) != (name == "error") {
			t.Errorf("%s: %v", name, err)
		}
	}
	runs[1].levels, runs[1].takes = runs[1].levels[:5], runs[1].takes[:5]
	s, err := Analyse(readings(rng, runs), Options{})
	if err != nil {
		t.Fatal(err)
	}
	if s.Runs != 3 || len(s.Warnings) == 0 || !strings.Contains(s.Warnings[0], `"s002"`) {
		t.Errorf("%d runs, %q", s.Runs, s.Warnings)
	}
}

func TestReadWho(t *testing.T) {
	who, err := ReadOperators(strings.NewReader("operator,session,mounting\nAda,s001,\nBo, s002 ,first\n"), "operators.csv")
	if err != nil || who["s002"] != (Note{Operator: "Bo", Mounting: "first"}) || who["s001"].Operator != "Ada" {
		t.Errorf("%v, %v", who, err)
	}
	for text, want := range map[string]string{
		"":                         "operators.csv:1: ",
		"name\nAda\n":              "operators.csv:1: session: ",
		"session\ns001\ns001\n":    "operators.csv:3: session: ",
		"session,operator\ns001\n": "operators.csv:2: ",
		"session\n\"s001\n":        "operators.csv:",
	} {
		_, err := ReadOperators(strings.NewReader(text), "operators.csv")
		if row := (*record.RowError)(nil); !errors.As(err, &row) || !strings.HasPrefix(err.Error(), want) {
			t.Errorf("%q: %v, want %s", text, err, want)
		}
	}
}

// TestSittings: a pause ends one, and a name in the file makes one of two.
func TestSittings(t *testing.T) {
	at := time.Date(2026, 1, 2, 9, 0, 0, 0, time.UTC)
	runs := []run{{session: "a", at: at}, {session: "b", at: at.Add(time.Hour)}, {session: "c", at: at.Add(5 * time.Hour)}, {session: "d", at: at.Add(30 * time.Hour)}}
	who := Operators{"c": {Sitting: "x", Mounting: "m"}, "d": {Sitting: "x", Mounting: "m"}}
	who.assign(runs)
	if runs[0].sitting != runs[1].sitting || runs[1].sitting == runs[2].sitting || runs[2].sitting != runs[3].sitting || runs[2].mounting != runs[3].mounting || runs[0].mounting == runs[1].mounting {
		t.Errorf("%+v", runs)
	}
}

// TestOptimum: no variances near the estimate, or with one held at 0, are likelier
// than the estimate, however small the study.
func TestOptimum(t *testing.T) {
	rng := rand.New(rand.NewPCG(19, 20))
	for range 5 {
		runs := drawRuns(rng, &Design{Operators: 2, Sittings: 2, Mountings: 2, Takes: 3, Guess: Guess{}.withDefaults()})
		sources, _ := sourcesOf(runs)
		for _, s := range []*sample{balanceOf(runs, sources), levelOf(runs, sources)} {
			e, err := s.estimate()
			if err != nil {
				t.Fatal(err)
			}
			for k, sd := range e.sd {
				for _, x := range []float64{0, sd, 0.9*sd + 0.01, 1.3*sd + 0.02} {
					if value, at := e.profile(k, x, e.sd); value < e.best-1e-4 {
						t.Errorf("%v is likelier than %v by %g", at, e.sd, e.best-value)
					}
				}
			}
		}
	}
}

// Operators are those that the captures named, where the list says nothing else.
func TestCapturedOperators(t *testing.T) {
	d := &Design{Operators: 2, Sittings: 3, Mountings: 3, Takes: 6, Guess: Guess{Take: 0.3, Mounting: 0.2, Sitting: 0.05, Operator: 0.1}}
	rng := rand.New(rand.NewPCG(9, 10))
	runs := drawRuns(rng, d)
	listed, captured := Operators{}, map[string]string{}
	for i, r := range runs {
		captured[r.session] = r.operator
		if i == 0 {
			captured[r.session] = "somebody else"
			listed[r.session] = Note{Operator: r.operator}
		}
	}
	s, err := Analyse(readings(rng, runs), Options{Operators: listed, Captured: captured})
	if err != nil {
		t.Fatal(err)
	}
	if s.Balance[0].Source != "operator" || s.Balance[0].Levels != 2 || len(s.Warnings) != 0 {
		t.Errorf("%+v, %q", s.Balance[0], s.Warnings)
	}
}
