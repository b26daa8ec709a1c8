package solve

import (
	"encoding/csv"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"gonum.org/v1/gonum/mat"
)

// published is where published data stand.
const published = "../../testdata/published"

// table is a small CSV by column.
type table map[string][]string

func readTable(t testing.TB, path ...string) table {
	t.Helper()
	f, err := os.Open(filepath.Join(path...))
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

func (tb table) floats(t testing.TB, name string) []float64 {
	t.Helper()
	var out []float64
	for _, s := range tb[name] {
		v, err := strconv.ParseFloat(s, 64)
		if err != nil {
			t.Fatal(err)
		}
		out = append(out, v)
	}
	return out
}

// levels numbers the distinct texts of a column in order of appearance.
func (tb table) levels(name string) (index []int, names []string) {
	seen := map[string]int{}
	for _, s := range tb[name] {
		l, ok := seen[s]
		if !ok {
			l = len(seen)
			seen[s] = l
			names = append(names, s)
		}
		index = append(index, l)
	}
	return index, names
}

func (tb table) where(name, prefix string) table {
	out := table{}
	for i, v := range tb[name] {
		if strings.HasPrefix(v, prefix) {
			for c, col := range tb {
				out[c] = append(out[c], col[i])
			}
		}
	}
	return out
}

// mixedCase is one published fit.
type mixedCase struct {
	dataset, formula string
	file             string
	y                string
	slope            string // covariate of the fixed slope, "" for none
	shift            float64
	terms            []caseTerm
	group            string // column whose levels may be eliminated group by group
}

type caseTerm struct {
	by     string   // grouping column
	coef   []string // names of the coefficients in the reference: "(Intercept)" and the slope's
	prefix string   // name of the term in the reference
}

var mixedCases = []mixedCase{
	{"sleepstudy", "Reaction ~ Days + (Days | Subject)", "sleepstudy", "Reaction", "Days", 0,
		[]caseTerm{{"Subject", []string{"(Intercept)", "Days"}, "Subject"}}, "Subject"},
	{"sleepstudy", "Reaction ~ Days + (1 | Subject)", "sleepstudy", "Reaction", "Days", 0,
		[]caseTerm{{"Subject", []string{"(Intercept)"}, "Subject"}}, "Subject"},
	{"sleepstudy", "Reaction ~ Days + (Days || Subject)", "sleepstudy", "Reaction", "Days", 0,
		[]caseTerm{{"Subject", []string{"(Intercept)"}, "Subject"}, {"Subject", []string{"Days"}, "Subject.1"}}, "Subject"},
	{"Dyestuff", "Yield ~ 1 + (1 | Batch)", "Dyestuff", "Yield", "", 0,
		[]caseTerm{{"Batch", []string{"(Intercept)"}, "Batch"}}, "Batch"},
	{"Dyestuff2", "Yield ~ 1 + (1 | Batch)", "Dyestuff2", "Yield", "", 0,
		[]caseTerm{{"Batch", []string{"(Intercept)"}, "Batch"}}, "Batch"},
	{"Rail", "travel ~ 1 + (1 | Rail)", "Rail", "travel", "", 0,
		[]caseTerm{{"Rail", []string{"(Intercept)"}, "Rail"}}, "Rail"},
	{"Orthodont", "distance ~ age + (1 | Subject)", "Orthodont", "distance", "age", 0,
		[]caseTerm{{"Subject", []string{"(Intercept)"}, "Subject"}}, "Subject"},
	{"Orthodont", "distance ~ age + (age | Subject)", "Orthodont", "distance", "age", 0,
		[]caseTerm{{"Subject", []string{"(Intercept)", "age"}, "Subject"}}, "Subject"},
	{"Orthodont", "distance ~ I(age - 11) + (I(age - 11) | Subject)", "Orthodont", "distance", "age", 11,
		[]caseTerm{{"Subject", []string{"(Intercept)", "I(age - 11)"}, "Subject"}}, "Subject"},
	{"OrthodontFemale", "distance ~ age + (1 | Subject)", "Orthodont", "distance", "age", 0,
		[]caseTerm{{"Subject", []string{"(Intercept)"}, "Subject"}}, "Subject"},
	{"Pastes", "strength ~ 1 + (1 | batch) + (1 | sample)", "Pastes", "strength", "", 0,
		[]caseTerm{{"sample", []string{"(Intercept)"}, "sample"}, {"batch", []string{"(Intercept)"}, "batch"}}, "batch"},
	{"Pastes", "strength ~ 1 + (1 | sample)", "Pastes", "strength", "", 0,
		[]caseTerm{{"sample", []string{"(Intercept)"}, "sample"}}, "batch"},
}

// build makes the model of a case; local says whether to eliminate by group.
func (c mixedCase) build(t *testing.T, local bool) (*Mixed, [][]string) {
	tb := readTable(t, published, "mixed", c.file+".csv")
	if c.dataset == "OrthodontFemale" {
		tb = tb.where("Sex", "Female")
	}
	m := &Mixed{Y: tb.floats(t, c.y)}
	n := len(m.Y)
	p := 1
	var x []float64
	if c.slope != "" {
		p = 2
		x = tb.floats(t, c.slope)
		for i := range x {
			x[i] -= c.shift
		}
	}
	m.X = mat.NewDense(n, p, nil)
	for i := range n {
		m.X.Set(i, 0, 1)
		if p == 2 {
			m.X.Set(i, 1, x[i])
		}
	}
	if local {
		groups, _ := tb.levels(c.group)
		m.Group = LevelsOf(groups)
	}
	var names [][]string
	for _, ct := range c.terms {
		term := Term{Name: ct.prefix, Local: local}
		numbers, lv := tb.levels(ct.by)
		term.Level = LevelsOf(numbers)
		names = append(names, lv)
		for i := range n {
			var z []float64
			for _, coef := range ct.coef {
				if coef == "(Intercept)" {
					z = append(z, 1)
				} else {
					z = append(z, x[i])
				}
			}
			term.Z = append(term.Z, z)
		}
		m.Terms = append(m.Terms, term)
	}
	return m, names
}

// TestMixedAgainstPublishedFits compares every REML estimate of the open data
// sets with the reference, which prints ten digits but whose derivative-free
// optimiser reaches some six (TestMixedOptimumIsSharper). The floor of five
// covers every digit that the published tables print. Source:
// testdata/README.md.
func TestMixedAgainstPublishedFits(t *testing.T) {
	ref := readTable(t, published, "mixed", "estimates_lmer.csv")
	for _, c := range mixedCases {
		for _, local := range []bool{false, true} {
			t.Run(fmt.Sprintf("%s/%s/local=%v", c.dataset, c.formula, local), func(t *testing.T) {
				m, names := c.build(t, local)
				f, err := m.Fit()
				if err != nil {
					t.Fatal(err)
				}
				got := c.estimates(f, names)
				compared, worst := 0, 99.0
				for i := range ref["dataset"] {
					if ref["dataset"][i] != c.dataset || ref["model"][i] != c.formula {
						continue
					}
					q := ref["quantity"][i]
					want, err := strconv.ParseFloat(ref["value"][i], 64)
					if err != nil {
						continue // a correlation that does not exist
					}
					v, ok := got[q]
					if !ok {
						t.Errorf("no estimate of %s", q)
						continue
					}
					compared++
					d := digits(v, want, scaleOf(q, got))
					worst = math.Min(worst, d)
					if d < 5 {
						t.Errorf("%s = %.10g, want %.10g (%.1f digits)", q, v, want, d)
					}
				}
				if compared < 5 {
					t.Errorf("compared only %d quantities", compared)
				}
				t.Logf("%d quantities, worst agreement %.1f digits", compared, worst)
			})
		}
	}
}

// The same data in another unit give the same digits: the published fits, measured in
// units up to 1e8 times as large and as small. The logarithm of the likelihood moves by
// that of the unit.
func TestMixedInAnyUnit(t *testing.T) {
	for _, c := range mixedCases {
		m, names := c.build(t, true)
		f, err := m.Fit()
		if err != nil {
			t.Fatal(err)
		}
		want := c.estimates(f, names)
		y := m.Y
		_, flat := m.X.Dims()
		for _, unit := range []float64{1e-8, 1e-5, 1e-4, 1e5, 1e8} {
			m.Y = append([]float64(nil), y...)
			for i := range m.Y {
				m.Y[i] *= unit
			}
			f, err := m.Fit()
			if err != nil {
				t.Errorf("%s, %s, times %g: %v", c.dataset, c.formula, unit, err)
				continue
			}
			got := c.estimates(f, names)
			for q, v := range got {
				switch {
				case strings.HasPrefix(q, "var:"), strings.HasPrefix(q, "cov:"):
					v /= unit * unit
				case q == "REMLcrit":
					v -= 2 * float64(len(y)-flat) * math.Log(unit)
				case q == "logLik":
					v += float64(len(y)-flat) * math.Log(unit)
				case strings.HasPrefix(q, "cor:"):
				default:
					v /= unit
				}
				if d := digits(v, want[q], scaleOf(q, want)); d < 6 && !math.IsNaN(want[q]) {
					t.Errorf("%s, %s, times %g: %s is %.10g instead of %.10g, %.1f digits", c.dataset, c.formula, unit, q, v, want[q], d)
				}
			}
		}
	}
}

// TestMixedOptimumIsSharper fits one model in two coordinates, ages as given
// and ages less 11: the optimum is the same model, so what both say of the
// intercept at age 11 and of the slopes must agree to more digits than the
// reference has.
func TestMixedOptimumIsSharper(t *testing.T) {
	var fits []*MixedFit
	for _, c := range mixedCases {
		if c.dataset == "Orthodont" && len(c.terms[0].coef) == 2 {
			m, _ := c.build(t, true)
			f, err := m.Fit()
			if err != nil {
				t.Fatal(err)
			}
			fits = append(fits, f)
		}
	}
	raw, centred := fits[0], fits[1]
	var half, s mat.Dense
	shift := mat.NewDense(2, 2, []float64{1, 11, 0, 1})
	half.Mul(shift, raw.Factor[0])
	s.Mul(&half, half.T())
	for _, c := range []struct {
		what      string
		got, want float64
	}{
		{"variance of the intercept at 11", s.At(0, 0), centred.SD(0, 0) * centred.SD(0, 0)},
		{"variance of the slope", s.At(1, 1), centred.SD(0, 1) * centred.SD(0, 1)},
		{"covariance", s.At(0, 1), centred.Corr(0, 0, 1) * centred.SD(0, 0) * centred.SD(0, 1)},
		{"residual", raw.Sigma, centred.Sigma},
		{"criterion", raw.REML, centred.REML},
	} {
		d := digits(c.got, c.want, 0)
		t.Logf("%s: %.10g and %.10g, %.1f digits", c.what, c.got, c.want, d)
		if d < 7 {
			t.Errorf("%s: %.10g and %.10g agree to %.1f digits only", c.what, c.got, c.want, d)
		}
	}
}

// scaleOf is the size that a near-zero estimate is compared with: a mode of
// exactly zero has no digits of its own.
func scaleOf(q string, got map[string]float64) float64 {
	if strings.HasPrefix(q, "blup:") || strings.HasPrefix(q, "cov:") || strings.HasPrefix(q, "cor:") {
		return got["sd:Residual"] / 10
	}
	if strings.HasPrefix(q, "var:") {
		return got["var:Residual"] / 100
	}
	if strings.HasPrefix(q, "sd:") {
		return got["sd:Residual"] / 10
	}
	return 0
}

// digits is the number of agreeing significant digits (log relative error).
func digits(got, want, scale float64) float64 {
	if got == want {
		return 16
	}
	return -math.Log10(math.Abs(got-want) / math.Max(math.Abs(want), scale))
}

func (c mixedCase) estimates(f *MixedFit, names [][]string) map[string]float64 {
	out := map[string]float64{
		"sd:Residual": f.Sigma, "var:Residual": f.Sigma * f.Sigma,
		"REMLcrit": f.REML, "logLik": -f.REML / 2,
	}
	fixed := []string{"(Intercept)"}
	if c.slope != "" {
		slope := c.slope
		if c.shift != 0 {
			slope = fmt.Sprintf("I(%s - %g)", c.slope, c.shift)
		}
		fixed = append(fixed, slope)
	}
	for i, name := range fixed {
		out["fixef:"+name] = f.Beta[i]
		out["se:"+name] = math.Sqrt(f.Cov.At(i, i))
	}
	for k, ct := range c.terms {
		for i, coef := range ct.coef {
			sd := f.SD(k, i)
			out["sd:"+ct.prefix+":"+coef], out["var:"+ct.prefix+":"+coef] = sd, sd*sd
			for l, level := range names[k] {
				out["blup:"+ct.by+":"+level+":"+coef] = f.U[k][l][i]
			}
		}
		if len(ct.coef) == 2 {
			r := f.Corr(k, 0, 1)
			out["cor:"+ct.prefix+":"+ct.coef[0]+":"+ct.coef[1]] = r
			out["cov:"+ct.prefix+":"+ct.coef[0]+":"+ct.coef[1]] = r * f.SD(k, 0) * f.SD(k, 1)
		}
	}
	return out
}

// TestMixedMatchesDenseFormula checks the criterion and the effects against
// the textbook formulas with the full covariance matrix V, on a small crossed
// and nested layout with priors, known variances and weights.
func TestMixedMatchesDenseFormula(t *testing.T) {
	const n = 24
	m := &Mixed{
		X:     mat.NewDense(n, 2, nil),
		Prior: []Normal{{}, {Mean: 0.4, SD: 0.3}},
		Terms: []Term{{Name: "group", Local: true}, {Name: "pole", Local: true}, {Name: "string"}},
	}
	for i := range n {
		g, p, s := i/8, i/4, i%3
		m.X.Set(i, 0, 1)
		m.X.Set(i, 1, math.Sin(float64(i)))
		m.Y = append(m.Y, 2+0.5*math.Sin(float64(i))+0.3*float64(g)+0.2*math.Cos(float64(7*i)))
		m.Group = append(m.Group, int32(g))
		m.Terms[0].Level = append(m.Terms[0].Level, int32(g))
		m.Terms[1].Level = append(m.Terms[1].Level, int32(p))
		m.Terms[2].Level = append(m.Terms[2].Level, int32(s))
		m.Known = append(m.Known, 0.001*float64(1+i%4))
		m.Weight = append(m.Weight, 1/(1+0.1*float64(i%5)))
	}
	sigma, sds := 0.1, []float64{0.3, 0.05, 0.2}
	f, err := m.At(sigma, sds)
	if err != nil {
		t.Fatal(err)
	}
	reml, beta, cov := denseREML(m, sigma, sds)
	if math.Abs(f.REML-reml) > 1e-9 {
		t.Errorf("-2 log restricted likelihood %.12g, dense formula %.12g", f.REML, reml)
	}
	for i := range beta {
		if math.Abs(f.Beta[i]-beta[i]) > 1e-10 || math.Abs(f.Cov.At(i, i)-cov.At(i, i)) > 1e-10 {
			t.Errorf("fixed effect %d: %.12g (var %.6g), dense %.12g (var %.6g)", i, f.Beta[i], f.Cov.At(i, i), beta[i], cov.At(i, i))
		}
	}
}

// denseREML is the slow way: V = Z S Z' + R, generalised least squares.
func denseREML(m *Mixed, sigma float64, sds []float64) (float64, []float64, *mat.SymDense) {
	n := len(m.Y)
	_, p := m.X.Dims()
	v := mat.NewSymDense(n, nil)
	for i := range n {
		for j := i; j < n; j++ {
			var s float64
			for k, t := range m.Terms {
				if t.Level[i] == t.Level[j] {
					s += sds[k] * sds[k]
				}
			}
			if i == j {
				s += (sigma*sigma + m.Known[i]) / m.Weight[i]
			}
			v.SetSym(i, j, s)
		}
	}
	var chol, ichol mat.Cholesky
	chol.Factorize(v)
	var vx mat.Dense
	if err := chol.SolveTo(&vx, m.X); err != nil {
		panic(err)
	}
	info := mat.NewSymDense(p, nil)
	rhs := mat.NewVecDense(p, nil)
	var xvx mat.Dense
	xvx.Mul(m.X.T(), &vx)
	y := mat.NewVecDense(n, m.Y)
	rhs.MulVec(vx.T(), y)
	logPrior, quadPrior, flat := 0.0, 0.0, 0
	for i := range p {
		for j := i; j < p; j++ {
			info.SetSym(i, j, xvx.At(i, j))
		}
		if sd := m.Prior[i].SD; sd > 0 {
			info.SetSym(i, i, info.At(i, i)+1/(sd*sd))
			rhs.SetVec(i, rhs.AtVec(i)+m.Prior[i].Mean/(sd*sd))
			logPrior += 2 * math.Log(sd)
			quadPrior += m.Prior[i].Mean * m.Prior[i].Mean / (sd * sd)
		} else {
			flat++
		}
	}
	ichol.Factorize(info)
	var beta, vy mat.VecDense
	if err := ichol.SolveVecTo(&beta, rhs); err != nil {
		panic(err)
	}
	if err := chol.SolveVecTo(&vy, y); err != nil {
		panic(err)
	}
	quad := mat.Dot(y, &vy) + quadPrior - mat.Dot(rhs, &beta)
	var cov mat.SymDense
	if err := ichol.InverseTo(&cov); err != nil {
		panic(err)
	}
	reml := chol.LogDet() + ichol.LogDet() + logPrior + quad + float64(n-flat)*math.Log(2*math.Pi)
	return reml, beta.RawVector().Data, &cov
}

// Corr is the correlation of two coefficients of a term; NaN where one
// does not vary.
func (f *MixedFit) Corr(term, i, j int) float64 {
	var s float64
	for k := 0; k <= min(i, j); k++ {
		s += f.Factor[term].At(i, k) * f.Factor[term].At(j, k)
	}
	return s / (f.SD(term, i) * f.SD(term, j))
}
