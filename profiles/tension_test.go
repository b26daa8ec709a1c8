package profiles

import (
	"encoding/csv"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
)

// rows returns the rows of a CSV file under testdata/strings by column name.
func rows(t *testing.T, name string) []map[string]string {
	t.Helper()
	f, err := os.Open(filepath.Join("testdata", "strings", name))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	all, err := csv.NewReader(f).ReadAll()
	if err != nil || len(all) < 2 {
		t.Fatalf("%s: %d rows, %v", name, len(all), err)
	}
	var list []map[string]string
	for _, r := range all[1:] {
		row := map[string]string{}
		for i, column := range all[0] {
			row[column] = r[i]
		}
		list = append(list, row)
	}
	return list
}

func num(t *testing.T, s string) float64 {
	t.Helper()
	x, err := strconv.ParseFloat(s, 64)
	if err != nil {
		t.Fatal(err)
	}
	return x
}

// agree compares with a printed value, to the digits that were printed.
func agree(t *testing.T, what string, got, want, relative float64) {
	t.Helper()
	if math.Abs(got/want-1) > relative {
		t.Errorf("%s: got %.9g, want %.9g", what, got, want)
	}
}

func plain(mm float64) String { return String{Gauge: mm, Core: mm, Wrap: "plain"} }

// testdata/strings/plain_steel_unit_weight.csv: see testdata/README.md.
func TestPlainUnitMass(t *testing.T) {
	for _, r := range rows(t, "plain_steel_unit_weight.csv") {
		agree(t, r["diameter_in"]+" in", UnitMass(plain(num(t, r["diameter_mm"]))), num(t, r["mu_kg_per_m_at_7850_kg_m3"]), 1e-6)
	}
}

// testdata/strings/tension_examples.csv: see testdata/README.md.
func TestTensionExamples(t *testing.T) {
	for _, r := range rows(t, "tension_examples.csv") {
		what := r["note"] + " " + r["diameter_in"] + " in"
		hz, err := Pitch(r["note"])
		if err != nil {
			t.Fatal(err)
		}
		agree(t, what+" pitch", hz, num(t, r["frequency_hz"]), 1e-8)
		mu := UnitMass(plain(num(t, r["diameter_in"]) * mmPerInch))
		agree(t, what+" mass", mu, num(t, r["mu_kg_per_m"]), 1e-6)
		agree(t, what+" tension", tension(1000*num(t, r["length_m"]), hz, mu), num(t, r["tension_N"]), 2e-6)
	}
}

// OpenStax, University Physics vol. 1, section 16.3: two strings at one wave
// speed. A string of 1 m at half as many hertz as its speed in m/s.
func TestTextbookWaveSpeed(t *testing.T) {
	value := map[string]float64{}
	for _, r := range rows(t, "textbook_wave_speed.csv") {
		value[r["quantity"]] = num(t, r["value"])
	}
	hz := value["wave_speed_high_E"] / 2
	agree(t, "high string", tension(1000, hz, value["mu_high_E"]), value["tension_high_E"], 1e-4)
	agree(t, "low string", tension(1000, hz, value["mu_low_E"]), value["tension_low_E_for_same_speed"], 1e-4)
}

// The slow way for a wrap: add up rings over the cross-section of the wire.
func TestWrapMass(t *testing.T) {
	s := String{Gauge: 1.1684, Core: 0.4191, Wrap: "nickel"}
	wire := (s.Gauge - s.Core) / 2
	const steps = 1000
	perTurn, cell := 0.0, wire/steps
	for i := range steps {
		for j := range steps {
			x, y := (float64(i)+0.5)*cell-wire/2, (float64(j)+0.5)*cell-wire/2
			if x*x+y*y <= wire*wire/4 {
				perTurn += 2 * math.Pi * (s.Core/2 + wire/2 + x) * cell * cell
			}
		}
	}
	want := 7850*math.Pi/4*s.Core*s.Core*1e-6 + 8908*perTurn/wire*1e-6
	agree(t, "1.1684 over 0.4191 in nickel", UnitMass(s), want, 1e-4)

	bronze, phosphor := String{Gauge: 1, Core: 0.4, Wrap: Bronze}, String{Gauge: 1, Core: 0.4, Wrap: PhosphorBronze}
	if UnitMass(bronze) != UnitMass(phosphor) {
		t.Errorf("a string in phosphor bronze weighs %g kg/m, in bronze %g", UnitMass(phosphor), UnitMass(bronze))
	}

	asSteel := String{Gauge: 1, Core: 0.4, Wrap: "nickel_plated_steel"}
	other := asSteel
	other.Wrap = "brass ribbon"
	if UnitMass(other) != UnitMass(asSteel) {
		t.Error("a wrap of the user's own should count as steel")
	}
}

// The slow way: walk up the keyboard from C0, a twelfth of an octave at a time.
func TestPitch(t *testing.T) {
	hz := 440 / math.Pow(2, 4+9.0/12) // C0
	for octave := range 10 {
		for _, names := range []string{"C", "C# Db", "D", "D# Eb", "E", "F", "F# Gb", "G", "G# Ab", "A", "A# Bb", "B"} {
			for _, name := range strings.Fields(names) {
				note := fmt.Sprint(name, octave)
				got, err := Pitch(note)
				if err != nil {
					t.Error(err)
				}
				agree(t, note, got, hz, 1e-12)
			}
			hz *= math.Pow(2, 1.0/12)
		}
	}
	// ISO 16:1975 for A4; middle C as any table of equal temperament prints it.
	for note, want := range map[string]float64{"A4": 440, "C4": 261.6256, "B#3": 261.6256, "Fb4": 329.6276} {
		got, err := Pitch(note)
		if err != nil {
			t.Error(err)
		}
		agree(t, note, got, want, 2e-7)
	}
}

func TestPitchSlips(t *testing.T) {
	for _, note := range []string{"", "E", "4", "e4", "H4", "E4 ", "E##4", "E-1", "E10", "#4"} {
		_, err := Pitch(note)
		want := fmt.Sprintf(`expected a note such as "E4" or "F#3", got %q`, note)
		if err == nil || err.Error() != want {
			t.Errorf("%q: got %v, want %s", note, err, want)
		}
	}
}

// The estimate stays within its limits, grows with the gauge, and comes within
// 15 % of every wound core that the sample shop gives (4.7 % root mean square
// over its 23 pairs of gauge and core).
func TestEstimateCore(t *testing.T) {
	last := 0.0
	for gauge := 0.3; gauge < 3.7; gauge += 0.01 {
		core, lo, hi := EstimateCore(gauge)
		if core < lo || core > hi || core <= last {
			t.Errorf("gauge %.2f: %.4f from %.4f to %.4f, after %.4f", gauge, core, lo, hi, last)
		}
		agree(t, "lower limit", lo, 0.35*gauge, 1e-12)
		agree(t, "upper limit", hi, 0.55*gauge, 1e-12)
		last = core
	}
	pairs := map[[2]float64]bool{}
	for _, file := range files(t, "../../testdata/sample-shop/orders/*.toml") {
		o, err := ReadOrder(file, Builtin())
		if err != nil {
			t.Fatal(err)
		}
		for _, s := range o.Strings {
			if !s.Plain() && !s.CoreEstimated {
				pairs[[2]float64{s.Gauge, s.Core}] = true
			}
		}
	}
	for p := range pairs {
		core, _, _ := EstimateCore(p[0])
		agree(t, fmt.Sprintf("core of %.4f mm", p[0]), core, p[1], 0.15)
	}
	if len(pairs) < 10 {
		t.Errorf("only %d cores to compare with", len(pairs))
	}
}

// tension is that of a string in N which sounds at hz over scaleMM mm: T = 4 L^2 f^2
// mu, the ideal string (M. Mersenne, Harmonie universelle, 1636, in today's letters).
func tension(scaleMM, hz, kgPerM float64) float64 {
	speed := 2 * scaleMM / 1000 * hz
	return speed * speed * kgPerM
}
