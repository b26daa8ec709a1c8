package field

import (
	"encoding/csv"
	"math"
	"os"
	"strconv"
	"testing"

	"gonum.org/v1/gonum/integrate/quad"
)

// rod is a common pole of 3/16 in by 0.65 in; its remanence makes fields ratios.
var rod = Rod{Radius: 2.38125, Length: 16.51, Remanence: 1}

// off is the relative difference, or the absolute one near zero.
func off(got, want float64) float64 {
	return math.Abs(got-want) / math.Max(math.Abs(want), 1e-3)
}

// table reads a CSV of numbers by column name; texts are NaN.
func table(t *testing.T, file string) []map[string]float64 {
	t.Helper()
	f, err := os.Open(file)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	if len(rows) < 10 {
		t.Fatalf("%s: only %d rows", file, len(rows))
	}
	var all []map[string]float64
	for _, row := range rows[1:] {
		m := map[string]float64{}
		for i, name := range rows[0] {
			v, err := strconv.ParseFloat(row[i], 64)
			if err != nil {
				v = math.NaN()
			}
			m[name] = v
		}
		all = append(all, m)
	}
	return all
}

// The expected values are of testdata/README.md: 30-digit arithmetic, printed to 15.
func TestReferenceOffAxis(t *testing.T) {
	worst := 0.0
	for _, m := range table(t, "testdata/cylinder_field_offaxis.csv") {
		r := Rod{m["radius_a"], 2 * m["half_length_b"], 1}
		brho, bz := r.At(m["rho"], m["z_from_centre"]-m["half_length_b"])
		worst = max(worst, off(brho, m["B_rho_over_Br"]), off(bz, m["B_z_over_Br"]))
	}
	t.Logf("agreement to %.1f digits", -math.Log10(worst))
	if !(worst < 1e-13) {
		t.Errorf("largest difference %.1e", worst)
	}
}

// As above; printed to 12 digits.
func TestReferenceOnAxis(t *testing.T) {
	worst := 0.0
	for _, m := range table(t, "testdata/cylinder_field_onaxis_gap.csv") {
		z, want := m["gap_mm_from_pole_face"], m["B_over_Br"]
		brho, bz := rod.At(0, z)
		worst = max(worst, off(bz, want), off(rod.OnAxis(z), want), math.Abs(brho))
	}
	t.Logf("agreement to %.1f digits", -math.Log10(worst))
	if !(worst < 1e-10) {
		t.Errorf("largest difference %.1e", worst)
	}
}

// biotSavart integrates the sheet current on the rod's side, without any
// elliptic integral: dB = μ0/4π K × s / s³, with μ0 K = Br.
func biotSavart(r Rod, rho, z float64) (brho, bz float64) {
	const turns = 720
	ring := func(depth float64, out bool) float64 {
		sum := 0.0
		for i := range turns {
			sin, cos := math.Sincos(2 * math.Pi * (float64(i) + 0.5) / turns)
			dx, dy, dz := rho-r.Radius*cos, -r.Radius*sin, z+depth
			s := math.Sqrt(dx*dx + dy*dy + dz*dz)
			if out {
				sum += cos * dz / (s * s * s)
			} else {
				sum += -(cos*dx + sin*dy) / (s * s * s)
			}
		}
		return sum * r.Radius * 2 * math.Pi / turns * r.Remanence / (4 * math.Pi)
	}
	over := func(out bool) float64 {
		return quad.Fixed(func(d float64) float64 { return ring(d, out) }, 0, r.Length, 200, nil, 0)
	}
	return over(true), over(false)
}

func TestAgainstBiotSavart(t *testing.T) {
	for _, at := range [][2]float64{
		{0, 1}, {1, 1}, {2.3, 0.5}, {2.38125, 1}, {2.4, 0.7}, {3, -2}, {5, -8.255}, {10.4, 2}, {1.5, -8}, {4, -18}, {20, 15},
	} {
		brho, bz := rod.At(at[0], at[1])
		wantRho, wantZ := biotSavart(rod, at[0], at[1])
		if math.Abs(brho-wantRho) > 1e-10 || math.Abs(bz-wantZ) > 1e-10 {
			t.Errorf("rho %g, z %g: got %.12f, %.12f, want %.12f, %.12f", at[0], at[1], brho, bz, wantRho, wantZ)
		}
	}
}

// A dipole of moment Br V / μ0 at the rod's centre is what is seen from afar;
// the next term of the expansion is smaller by the distance squared.
func TestDipoleFarAway(t *testing.T) {
	moment := rod.Remanence * math.Pi * rod.Radius * rod.Radius * rod.Length / (4 * math.Pi)
	wrong := func(distance float64) float64 {
		rho, z := distance*0.6, distance*0.8
		brho, bz := rod.At(rho, z-rod.Length/2)
		d3 := distance * distance * distance
		wantRho, wantZ := moment*3*0.6*0.8/d3, moment*(3*0.8*0.8-1)/d3
		return math.Hypot(brho-wantRho, bz-wantZ) / math.Hypot(wantRho, wantZ)
	}
	for _, d := range []float64{200, 400, 800} {
		if ratio := wrong(d) / wrong(2*d); math.Abs(ratio-4) > 0.05 {
			t.Errorf("error at %g mm is %.3f times that at twice the distance, want 4", d, ratio)
		}
	}
}

// Outside, div B = 0 and curl B = 0 (Maxwell), by central differences.
func TestDivergenceAndCurl(t *testing.T) {
	const h = 1e-4
	for _, at := range [][2]float64{{0.7, 0.8}, {2.38125, 1.3}, {3.1, -4}, {6, 2}, {3, -17}} {
		rho, z := at[0], at[1]
		outHigh, upHigh := rod.At(rho+h, z)
		outLow, upLow := rod.At(rho-h, z)
		outOver, upOver := rod.At(rho, z+h)
		outUnder, upUnder := rod.At(rho, z-h)
		div := ((rho+h)*outHigh-(rho-h)*outLow)/(2*h*rho) + (upOver-upUnder)/(2*h)
		curl := (outOver-outUnder)/(2*h) - (upHigh-upLow)/(2*h)
		if math.Abs(div) > 1e-7 || math.Abs(curl) > 1e-7 {
			t.Errorf("rho %g, z %g: div %.1e, curl %.1e T/mm", rho, z, div, curl)
		}
	}
}

func TestAcrossTheSide(t *testing.T) {
	a := rod.Radius
	for _, z := range []float64{3, 0.5, 1e-3, -1, -8.255, -20} {
		_, on := rod.At(a, z)
		_, in := rod.At(a*(1-1e-13), z)
		_, out := rod.At(a*(1+1e-13), z)
		jump := 0.0
		if z < 0 && z > -rod.Length {
			jump = rod.Remanence
		}
		if math.Abs(in-out-jump) > 1e-9 || math.Abs(in+out-2*on) > 1e-9 {
			t.Errorf("z %g: inside %.12f, on the side %.12f, outside %.12f; want a jump of %g", z, in, on, out, jump)
		}
	}
}

// What the faces add is the rod's field, inside and outside.
func TestFaces(t *testing.T) {
	for _, at := range [][2]float64{{0, 1}, {1, 0.4}, {1.2, -3}, {4, -9}, {9, 2}, {0.5, -20}, {2.38125, 1}} {
		out, up := rod.Face(at[0], at[1])
		outLow, upLow := rod.Face(at[0], at[1]+rod.Length)
		wantRho, wantZ := rod.At(at[0], at[1])
		if math.Abs(out-outLow-wantRho) > 1e-14 || math.Abs(up-upLow-wantZ) > 1e-14 {
			t.Errorf("rho %g, z %g: got %.15f, %.15f, want %.15f, %.15f", at[0], at[1], out-outLow, up-upLow, wantRho, wantZ)
		}
	}
}

// The charge on a piece of the side, piece by piece by Coulomb's law.
func TestSideByCoulomb(t *testing.T) {
	const turns, length = 720, 4.0
	for _, at := range [][2]float64{{0, 1}, {1e-5, 1}, {1, 0.4}, {1.5, -2.5}, {3.4, -1}, {5, -7}, {9, 2}} {
		rho, z := at[0], at[1]
		part := func(out bool) float64 {
			return quad.Fixed(func(depth float64) float64 {
				sum := 0.0
				for i := range turns {
					sin, cos := math.Sincos(2 * math.Pi * (float64(i) + 0.5) / turns)
					dx, dy, dz := rho-rod.Radius*cos, -rod.Radius*sin, z+depth
					s := math.Sqrt(dx*dx + dy*dy + dz*dz)
					if out {
						dz = dx
					}
					sum += dz / (s * s * s)
				}
				return sum * rod.Radius * 2 * math.Pi / turns / (4 * math.Pi)
			}, 0, length, 100, nil, 0)
		}
		out, up := rod.Side(rho, z)
		outLow, upLow := rod.Side(rho, z+length)
		if wantRho, wantZ := part(true), part(false); math.Abs(out-outLow-wantRho) > 1e-9 || math.Abs(up-upLow-wantZ) > 1e-9 {
			t.Errorf("rho %g, z %g: got %.12f, %.12f, want %.12f, %.12f", rho, z, out-outLow, up-upLow, wantRho, wantZ)
		}
	}
}

func TestOnTheRim(t *testing.T) {
	for _, rim := range []struct {
		z    float64
		sign int
	}{{0, 1}, {-rod.Length, -1}} {
		brho, bz := rod.At(rod.Radius, rim.z)
		_, in := rod.At(rod.Radius*(1-1e-9), rim.z)
		_, out := rod.At(rod.Radius*(1+1e-9), rim.z)
		if !math.IsInf(brho, rim.sign) || math.Abs(bz-(in+out)/2) > 1e-6 {
			t.Errorf("z %g: got %g, %g, want infinity of sign %d, %g", rim.z, brho, bz, rim.sign, (in+out)/2)
		}
	}
	if _, bz := rod.Side(rod.Radius, 0); !math.IsInf(bz, 1) {
		t.Errorf("the side's charge gives %g at its end, want infinity", bz)
	}
}

func TestNoRod(t *testing.T) {
	for _, r := range []Rod{{}, {1, 0, 1}, {0, 1, 1}, {1, 1, 0}} {
		brho, bz := r.At(r.Radius, 0)
		if brho != 0 || bz != 0 || r.OnAxis(0) != 0 {
			t.Errorf("%+v: got %g, %g, %g, want no field", r, brho, bz, r.OnAxis(0))
		}
	}
}

func TestRowAddsUp(t *testing.T) {
	row := Row{{rod, -10, 0.5}, {rod, 0, 1.5}}
	bx, by, bz := row.At(0, 3, 4)
	near, nearUp := rod.At(3, 2.5)
	far, farUp := rod.At(math.Hypot(10, 3), 3.5)
	wantX, wantY, wantZ := far*10/math.Hypot(10, 3), near+far*3/math.Hypot(10, 3), nearUp+farUp
	if off(bx, wantX) > 1e-14 || off(by, wantY) > 1e-14 || off(bz, wantZ) > 1e-14 {
		t.Errorf("got %g, %g, %g, want %g, %g, %g", bx, by, bz, wantX, wantY, wantZ)
	}
	if bx, by, _ := row[1:].At(0, 0, 4); bx != 0 || by != 0 {
		t.Errorf("on the axis: got %g, %g across, want 0", bx, by)
	}
}

func TestNoAllocations(t *testing.T) {
	row := Row{{rod, -10, 0.5}, {rod, 0, 1.5}}
	if n := testing.AllocsPerRun(100, func() { row.At(1, 2, 3) }); n != 0 {
		t.Errorf("%g allocations", n)
	}
}

func BenchmarkRodAt(b *testing.B) {
	b.ReportAllocs()
	for b.Loop() {
		rod.At(1, 2)
	}
}
