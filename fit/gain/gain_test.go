package gain

import (
	"encoding/csv"
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"evenpole/capture/record"
	"evenpole/fit/level"
)

func rows(t *testing.T, file string) [][]string {
	t.Helper()
	f, err := os.Open(filepath.Join("testdata", file))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	all, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	return all[1:]
}

func number(t *testing.T, text string) float64 {
	t.Helper()
	v, err := strconv.ParseFloat(strings.TrimSuffix(text, " (recalled)"), 64)
	if err != nil {
		t.Fatal(err)
	}
	return v
}

func near(t *testing.T, what string, got, want, tolerance float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tolerance) {
		t.Errorf("%s: got %.9g, want %.9g within %g", what, got, want, tolerance)
	}
}

// TestThermometer: JCGM 100:2008, annex H.3, the calibration line of a
// thermometer, to the digits printed there and recomputed from its table H.6.
func TestThermometer(t *testing.T) {
	var points []point
	for _, row := range rows(t, "h3_thermometer.csv") {
		points = append(points, point{0, number(t, row[0]), number(t, row[1]), 1, 0})
	}
	l, err := fitLine(points, 20)
	if err != nil {
		t.Fatal(err)
	}
	b, u := l.at(30)
	got := map[string]float64{
		"y1": l.a, "s_y1": math.Sqrt(l.va), "y2": l.b, "s_y2": math.Sqrt(l.vb), "r_y1_y2": l.cov / math.Sqrt(l.va*l.vb),
		"s_residual": l.sd, "df": l.dof, "b_at_30C": b, "u_b_at_30C": u, "reference_temperature_c": l.x0,
	}
	for _, row := range rows(t, "h3_expected.csv") {
		v, ok := got[row[0]]
		if !ok {
			t.Fatalf("no %q", row[0])
		}
		near(t, row[0]+", recomputed", v, number(t, row[2]), 1e-9)
		digits := len(row[1]) - strings.Index(row[1]+".", ".") - 1
		near(t, row[0]+", published", v, number(t, row[1]), 0.5001*math.Pow(10, -float64(digits)))
	}
}

var when = time.Date(2026, 3, 2, 9, 0, 0, 0, time.UTC)

// draw reads sources on six channels of a jig whose gain, channels and slope are
// known.
func draw(rng *rand.Rand, gainDB, slope float64, sources ...float64) (readings []Reading, offsets []float64) {
	offsets = []float64{0.3, -0.2, 0.1, 0, -0.1, -0.1}
	for _, v := range sources {
		for s, off := range offsets {
			for range 8 {
				db := gainDB + off + slope*20*math.Log10(v/10) + 0.02*rng.NormFloat64()
				readings = append(readings, Reading{String: s + 1, Source: v, SourceU: 0.01 * v, MV: v / math.Pow(10, db/20), N: 1})
			}
		}
	}
	return readings, offsets
}

func TestKnownJigIsFound(t *testing.T) {
	readings, offsets := draw(rand.New(rand.NewPCG(1, 2)), 0.5, 0, 10)
	c, err := Measure(readings, Options{Jig: "j", Time: when})
	if err != nil {
		t.Fatal(err)
	}
	near(t, "gain", c.GainDB, 0.5, 0.012)
	near(t, "factor", c.Gain, math.Pow(10, c.GainDB/20), 1e-12)
	near(t, "scatter", c.Scatter, 0.02, 0.005)
	source := 20 * math.Log10(math.E) * 0.005 // 1 % expanded, k = 2
	near(t, "u", c.Std, math.Sqrt(source*source+c.Scatter*c.Scatter/48), 1e-4)
	near(t, "k", c.K, 1.96, 0.01)
	if c.Slope != nil || len(c.Channels) != 6 || len(c.Warnings) != 0 {
		t.Fatalf("%+v", c)
	}
	var sum float64
	for i, ch := range c.Channels {
		near(t, fmt.Sprint("channel ", i+1), ch.Offset, offsets[i], 0.03)
		near(t, "its uncertainty", ch.Std, c.Scatter*math.Sqrt(5.0/6/8), 1e-9)
		sum += ch.Offset
	}
	near(t, "sum of offsets", sum, 0, 1e-12)
	if c.Due.String() != "2027-03-02" || !c.From.Equal(when) {
		t.Errorf("due %v, from %v", c.Due, c.From)
	}
}

func TestNonlinearJigIsSaid(t *testing.T) {
	for _, slope := range []float64{0, 0.01} {
		readings, _ := draw(rand.New(rand.NewPCG(3, 4)), -1, slope, 2, 6, 18)
		c, err := Measure(readings, Options{Jig: "j", Time: when})
		if err != nil {
			t.Fatal(err)
		}
		if c.Slope == nil || (len(c.Warnings) == 1) != (slope != 0) {
			t.Fatalf("slope %g: %+v, %q", slope, c.Slope, c.Warnings)
		}
		near(t, "slope", c.Slope.PerDB, slope, 4*c.Slope.Std)
		near(t, "over the range", c.Slope.AtHigh-c.Slope.AtLow, c.Slope.PerDB*20*math.Log10(9), 1e-9)
	}
}

// TestMeansStandForReadings: means with their scatter say the same as what they
// are the means of.
func TestMeansStandForReadings(t *testing.T) {
	readings, _ := draw(rand.New(rand.NewPCG(5, 6)), 0.2, 0.005, 3, 12)
	each, err := Measure(readings, Options{Jig: "j", Time: when})
	if err != nil {
		t.Fatal(err)
	}
	var means []Reading
	for group := range slices.Chunk(readings, 8) {
		var mean, squares float64
		for _, r := range group {
			mean += math.Log(r.MV) / 8
		}
		for _, r := range group {
			d := level.PerLn * (math.Log(r.MV) - mean)
			squares += d * d
		}
		m := group[0]
		m.MV, m.N, m.SD = math.Exp(mean), 8, math.Sqrt(squares/7)
		means = append(means, m)
	}
	all, err := Measure(means, Options{Jig: "j", Time: when})
	if err != nil {
		t.Fatal(err)
	}
	near(t, "gain", all.GainDB, each.GainDB, 1e-12)
	near(t, "u", all.Std, each.Std, 1e-6) // the least reading, of which the resolution counts, is not a mean
	near(t, "scatter", all.Scatter, each.Scatter, 1e-12)
	near(t, "slope's u", all.Slope.Std, each.Slope.Std, 1e-12)
}

// TestEqualReadings: a digital source may read the same again and again; the
// jig's resolution is then all the scatter there is.
func TestEqualReadings(t *testing.T) {
	c, err := Measure(Given([]float64{5, 5, 5}, 0, 5, 1e-9), Options{Jig: "j", Time: when})
	if err != nil {
		t.Fatal(err)
	}
	near(t, "u", c.Std, 20*math.Log10(math.E)*0.0005/math.Sqrt(3)/5, 1e-9)
	if _, err := json.Marshal(c); err != nil {
		t.Error(err)
	}
}

func TestMeasureRefuses(t *testing.T) {
	good := Given([]float64{9.9, 10.1}, 0, 10, 0.1)
	for name, c := range map[string]struct {
		readings []Reading
		o        Options
	}{
		"no jig":      {good, Options{}},
		"none":        {nil, Options{Jig: "j"}},
		"one":         {good[:1], Options{Jig: "j"}},
		"coverage":    {good, Options{Jig: "j", Coverage: 1}},
		"no source":   {Given([]float64{1, 1}, 0, 0, 1), Options{Jig: "j"}},
		"sure source": {Given([]float64{1, 1}, 0, 1, 0), Options{Jig: "j"}},
		"volts":       {Given([]float64{0.01, 0.01}, 0, 10, 0.1), Options{Jig: "j"}},
		"comma":       {Given([]float64{19, 82}, 0, 20, 0.1), Options{Jig: "j"}}, // 19,82
		"NaN":         {Given([]float64{math.NaN(), 1}, 0, 10, 0.1), Options{Jig: "j"}},
	} {
		if _, err := Measure(c.readings, c.o); !errors.As(err, new(*InputError)) {
			t.Errorf("%s: %v", name, err)
		}
	}
}

// write puts calibrations into a shop.
func write(t *testing.T, shop string, all ...*Calibration) {
	t.Helper()
	if err := os.MkdirAll(filepath.Join(shop, Dir), 0o777); err != nil {
		t.Fatal(err)
	}
	for i, c := range all {
		text, err := c.Encode()
		if err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(filepath.Join(shop, Dir, fmt.Sprintf("%d.toml", i)), text, 0o666); err != nil {
			t.Fatal(err)
		}
	}
}

func TestKeptAndApplied(t *testing.T) {
	readings, _ := draw(rand.New(rand.NewPCG(7, 8)), 1, 0.001, 3, 10)
	first, err := Measure(readings, Options{Jig: "j", Time: when})
	if err != nil {
		t.Fatal(err)
	}
	common, err := Measure(Given([]float64{8, 8.01}, 0, 10, 0.1), Options{Jig: "j", Time: when.AddDate(0, 6, 0), Months: 3})
	if err != nil {
		t.Fatal(err)
	}
	shop := t.TempDir()
	write(t, shop, common, first)
	book, err := Load(shop)
	if err != nil || len(book) != 2 {
		t.Fatalf("%v, %v", book, err)
	}
	if got := book[0]; got.Gain != first.Gain || got.Channels[2] != first.Channels[2] || *got.Slope != *first.Slope || got.Readings[9] != first.Readings[9] || got.Due != first.Due || !got.From.Equal(first.From) {
		t.Errorf("read back %+v", got)
	}
	row := func(jig string, at time.Time, str int) record.Reading {
		return record.Reading{Jig: jig, Time: at, String: str, RMS: 5, Peak: 9, Quiet: 0.2, Core: 0.3}
	}
	for _, c := range []struct {
		r    record.Reading
		gain float64
	}{
		{row("j", when.Add(-time.Second), 3), 1},
		{row("other", when, 3), 1},
		{row("j", when, 3), first.Channels[2].Gain},
		{row("j", when, 9), first.Gain},
		{row("j", when.AddDate(0, 7, 0), 3), common.Gain},
	} {
		for r := range book.Apply(func(yield func(record.Reading, error) bool) { yield(c.r, nil) }) {
			want := c.r
			want.RMS, want.Peak, want.Quiet = c.gain*5, c.gain*9, c.gain*0.2
			if r != want {
				t.Errorf("%v of %s: %+v", c.r.Time, c.r.Jig, r)
			}
		}
	}
	for at, due := range map[time.Time]bool{when: false, when.AddDate(0, 8, 0): false, when.AddDate(0, 9, 2): true, when.AddDate(-1, 0, 0): false} {
		if got := book.Overdue("j", at); (got != "") != due {
			t.Errorf("at %v: %q", at, got)
		}
	}
	if u := book.ChannelStd("j", when); u != first.Channels[0].Std {
		t.Errorf("channels %g", u)
	}
	if u := book.ChannelStd("j", when.AddDate(1, 0, 0)) + book.ChannelStd("other", when); u != 0 {
		t.Errorf("channels that were not read: %g", u)
	}
}

func TestLoadRefuses(t *testing.T) {
	if b, err := Load(t.TempDir()); err != nil || len(b) != 0 {
		t.Errorf("no folder: %v, %v", b, err)
	}
	const good = "jig = \"j\"\nfrom = 2026-03-02T09:00:00Z\ndue = 2027-03-02\n"
	for text, want := range map[string]string{
		"jig = ":                         "c.toml:1:",
		good + "gain = 1\nloud = true\n": "c.toml:5:1: loud: ",
		good + "gain = \"much\"\n":       "c.toml:4:",
		good:                             "c.toml: gain: ",
		good + "gain = -1\n":             "c.toml: gain: ",
		good + "gain = 1\n[[channel]]\nstring = 0\ngain = 1\n": "c.toml: channel: ",
		"gain = 1\n": "c.toml: jig: ",
		"jig = \"j\"\ngain = 1\ndue = 2027-03-02\n":            "c.toml: from: ",
		"jig = \"j\"\ngain = 1\nfrom = 2026-03-02T09:00:00Z\n": "c.toml: due: ",
	} {
		_, err := Parse("c.toml", []byte(text))
		if !errors.As(err, new(*InputError)) || !strings.HasPrefix(err.Error(), want) {
			t.Errorf("%q: %v, want %s", text, err, want)
		}
	}
	if _, err := Parse("c.toml", []byte(good+"gain = 1\n")); err != nil {
		t.Error(err)
	}
}

// FuzzCalibration: what can be read is written so that it reads the same.
func FuzzCalibration(f *testing.F) {
	const least = "jig = \"j\"\nfrom = 2026-03-02T09:00:00Z\ndue = 2027-03-02\ngain = 1.5\n"
	f.Add([]byte(least))
	f.Add([]byte(least + "dof = inf\n[slope]\ndb_per_db = 1e-9\n[[channel]]\nstring = 3\ngain = 0.9\n[[reading]]\nstring = 3\n"))
	f.Add([]byte("jig = 'a\u00e9'\nfrom = 2026-03-02T09:00:00.25+01:00\ndue = 2027-02-30\ngain = 1\n"))
	f.Fuzz(func(t *testing.T, text []byte) {
		c, err := Parse("c.toml", text)
		if err != nil {
			if !errors.As(err, new(*InputError)) || !strings.HasPrefix(err.Error(), "c.toml:") {
				t.Fatalf("error %v", err)
			}
			return
		}
		once, err := c.Encode()
		if err != nil {
			t.Fatal(err)
		}
		again, err := Parse("c.toml", once)
		if err != nil {
			t.Fatalf("%v in\n%s", err, once)
		}
		if twice, err := again.Encode(); err != nil || string(twice) != string(once) {
			t.Errorf("%v; written\n%s\nand then\n%s", err, once, twice)
		}
	})
}

func TestReadPoints(t *testing.T) {
	got, err := ReadPoints(strings.NewReader("reading_mv,source_mv,note,source_u_mv,string\n9.9,10,a,0.1,2\n9.8,10,,0.1,\n"), "p.csv")
	if err != nil || len(got) != 2 || got[0] != (Reading{2, 10, 0.1, 9.9, 1, 0}) || got[1].String != 0 {
		t.Errorf("%+v, %v", got, err)
	}
	for text, want := range map[string]string{
		"":                        "p.csv:1: ",
		"source_mv,source_u_mv\n": "p.csv:1: reading_mv: ",
		"source_mv,source_u_mv,reading_mv\n1,1,\n":             "p.csv:2: reading_mv: ",
		"source_mv,source_u_mv,reading_mv\n1,x,1\n":            "p.csv:2: source_u_mv: ",
		"source_mv,source_u_mv,reading_mv\n1,1\n":              "p.csv:2: ",
		"source_mv,source_u_mv,reading_mv,string\n1,1,1,1.5\n": "p.csv:2: string: ",
	} {
		_, err := ReadPoints(strings.NewReader(text), "p.csv")
		if !errors.As(err, new(*record.RowError)) || !strings.HasPrefix(err.Error(), want) {
			t.Errorf("%q: %v, want %s", text, err, want)
		}
	}
}

func TestOfSession(t *testing.T) {
	record := func(yield func(record.Reading, error) bool) {
		for i, mv := range []float64{9.9, 10.1, 10, 3} {
			r := record.Reading{Session: "s1", Jig: "j", String: 1, Core: 0.3, PoleHeight: 0, StringHeight: 3, RMS: mv, Quiet: 1}
			if i == 3 {
				r.Session = "s2"
			}
			if !yield(r, nil) {
				return
			}
		}
	}
	got, err := OfSession(record, "j", "s1", 10, 0.1)
	if err != nil || len(got) != 1 || got[0].N != 3 || got[0].String != 1 {
		t.Fatalf("%+v, %v", got, err)
	}
	near(t, "level without its quiet power", got[0].MV, math.Sqrt(99), 0.05)
	if _, err := OfSession(record, "k", "s1", 10, 0.1); !errors.As(err, new(*InputError)) {
		t.Errorf("another jig: %v", err)
	}
}

// What a recorder filed in thousandths of full scale has a scale of its own, until a
// calibration makes mV of it. What it filed in mV stays.
func TestScale(t *testing.T) {
	rows := func(yield func(record.Reading, error) bool) {
		for _, r := range []record.Reading{{Jig: "sim-1"}, {Jig: "recording-desk", Note: "double_strike; " + record.RelativeNote}, {Jig: "recording", Note: record.RelativeNote}, {Jig: "recording-desk", Note: "level in mV"}} {
			r.Boot, r.RMS, r.Time = "0A", 10, time.Date(2026, 3, 1, 0, 0, 0, 0, time.UTC)
			if !yield(r, nil) {
				return
			}
		}
	}
	scales := func(b Book) (out []string) {
		for r := range b.Apply(rows) {
			out = append(out, fmt.Sprintf("%s %g", r.Scale, r.RMS))
		}
		return out
	}
	if got := scales(nil); !slices.Equal(got, []string{" 10", "recording-desk 10", "recording/0A 10", " 10"}) {
		t.Errorf("without a calibration: got %q", got)
	}
	if got := scales(Book{{Jig: "recording-desk", Gain: 2}}); !slices.Equal(got, []string{" 10", " 20", "recording/0A 10", " 10"}) {
		t.Errorf("with one: got %q", got)
	}
}
