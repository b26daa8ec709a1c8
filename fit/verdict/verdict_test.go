package verdict

import (
	"encoding/json"
	"errors"
	"fmt"
	"iter"
	"math"
	"math/rand/v2"
	"reflect"
	"strings"
	"testing"
	"time"

	"evenpole/capture/record"
	"evenpole/fit/solve"
	"evenpole/profiles"

	"gonum.org/v1/gonum/stat/distuv"
)

var notes = []string{"E4", "B3", "G3", "D3", "A2", "E2", "B1", "F#1", "C#1", "G#0", "D#0", "A#0"}

// order is one of n plain strings, all alike but for their notes.
func order(n int) *profiles.Order {
	o := &profiles.Order{
		File: "order.toml", ID: "A-1", StringSpread: 51, Batch: "M-1", Poles: profiles.Screw,
		PoleHeightMin: 0, PoleHeightMax: 2, PoleHeightStep: 0.05, MinGap: 1.2,
		StringHeightFirst: 3, StringHeightLast: 3, Tolerance: 1,
	}
	for i := range n {
		o.Strings = append(o.Strings, profiles.String{Note: notes[i], Gauge: 0.5, Core: 0.5, Wrap: "plain"})
	}
	return o
}

// start is when the first take of a session was taken.
var start = time.Date(2026, 3, 2, 9, 0, 0, 0, time.UTC)

// session takes a pickup's readings: levels in dB re 1 mV, by string.
func taken(levels ...[]float64) []record.Reading {
	var rows []record.Reading
	for i, takes := range levels {
		for j, db := range takes {
			seq := uint32(len(rows) + 1)
			rows = append(rows, record.Reading{
				Time: start.Add(time.Duration(seq) * time.Second), Session: "s1", Purpose: record.ForCheck,
				Jig: "J", Boot: "0000000A", Seq: seq, HasSeq: true, Pickup: "P1", Batch: "M-1", String: i + 1,
				Core: 0.5, Gauge: 0.5, Wrap: "plain", PoleHeight: 1, StringHeight: 3, Mode: "P", Take: j + 1,
				RMS: math.Hypot(math.Pow(10, db/20), 0.5), Quiet: 0.5, Excite: "travel", Status: record.OK,
			})
		}
	}
	return rows
}

// around are takes that average db, with a standard deviation of 0.1 dB.
func around(db float64) []float64 { return []float64{db - 0.1, db, db, db, db + 0.1, db, db, db} }

func sequence(rows []record.Reading) iter.Seq2[record.Reading, error] {
	return func(yield func(record.Reading, error) bool) {
		for _, r := range rows {
			if !yield(r, nil) {
				return
			}
		}
	}
}

func check1(t *testing.T, rows []record.Reading, o *profiles.Order, opt Options) *Verdict {
	t.Helper()
	v, err := Check(sequence(rows), o, "P1", opt)
	if err != nil {
		t.Fatal(err)
	}
	return v
}

func contains(t *testing.T, list []string, part string) {
	t.Helper()
	if !strings.Contains(strings.Join(list, "\n"), part) {
		t.Errorf("expected %q in %q", part, list)
	}
}

// Levels 20, 21 and 19.4 dB average 20.1333 dB; spread 1.6 dB. U is below 0.4
// and above 0.2 dB here: the allowance alone gives 1.96·0.15·sqrt(2/3) = 0.24.
func TestCheckFigures(t *testing.T) {
	o := order(3)
	o.Offset = []float64{0, 0.5, -0.5}
	v := check1(t, taken(around(20), around(21), around(19.4)), o, Options{})
	for i, want := range []struct{ level, balance, deviation float64 }{
		{10, -0.13333333, -0.13333333}, {11.2201845, 0.86666667, 0.36666667}, {9.3325430, -0.73333333, -0.23333333},
	} {
		s := v.Strings[i]
		near(t, "level", float64(s.Level), want.level, 1e-6)
		near(t, "balance", float64(s.Balance), want.balance, 1e-7)
		near(t, "deviation", float64(s.Deviation), want.deviation, 1e-7)
		near(t, "U", float64(s.Expanded), 0.3, 0.1)
		near(t, "U by k", float64(s.Expanded), float64(s.K*s.Std), 1e-12)
		if s.Verdict != Conforms || s.Takes != 8 || s.Note != o.Strings[i].Note {
			t.Errorf("string %d: got %+v", i+1, s)
		}
	}
	near(t, "spread", float64(v.Spread), 1.6, 1e-9)
	if v.Verdict != Conforms || v.Session != "s1" || v.Jig != "J" || v.Excite != "travel" || len(v.Warnings) != 0 || len(v.MoreTakes) != 0 {
		t.Errorf("got %+v", v)
	}
	if want := start.Add(24 * time.Second); !v.Time.Equal(want) {
		t.Errorf("time: got %v, want %v", v.Time, want)
	}
}

// A balance has no mean, and so the same offset on every string asks for nothing.
func TestOffsetsAreCentred(t *testing.T) {
	o := order(3)
	rows := taken(around(20), around(21), around(19.4))
	o.Offset = []float64{0, 0.5, -0.5}
	plain := check1(t, rows, o, Options{})
	o.Offset = []float64{2, 2.5, 1.5}
	v := check1(t, rows, o, Options{})
	for i, s := range v.Strings {
		near(t, "target", s.Target, plain.Strings[i].Target, 1e-12)
		near(t, "deviation", float64(s.Deviation), float64(plain.Strings[i].Deviation), 1e-9)
	}
	if v.Verdict != Conforms {
		t.Errorf("got %q, want %q", v.Verdict, Conforms)
	}
	contains(t, v.Notes, "offset_db averages +2 dB; balances have no mean")
	if n := len(plain.Notes); len(v.Notes) != n+1 {
		t.Errorf("centred offsets: got %q, want nothing said of their mean", plain.Notes)
	}
}

func TestCheckVerdicts(t *testing.T) {
	tests := []struct {
		name    string
		levels  [][]float64
		want    Answer
		strings []Answer
	}{
		{"even", [][]float64{around(20), around(20)}, Conforms, []Answer{Conforms, Conforms}},
		{"one loud", [][]float64{around(20), around(24)}, OutOfTolerance, []Answer{OutOfTolerance, OutOfTolerance}},
		{"near the limit", [][]float64{around(20), around(22.1)}, CannotTell, []Answer{CannotTell, CannotTell}},
		{"out beside a doubt", [][]float64{around(20), around(20), around(23), around(19)}, OutOfTolerance,
			[]Answer{Conforms, Conforms, OutOfTolerance, OutOfTolerance}},
		{"one string", [][]float64{around(3)}, Conforms, []Answer{Conforms}},
		{"one string, one take", [][]float64{{3}}, Conforms, []Answer{Conforms}},
		{"one take each", [][]float64{{20}, {20}}, CannotTell, []Answer{CannotTell, CannotTell}},
		{"all takes equal", [][]float64{{20, 20}, {20, 20}}, Conforms, []Answer{Conforms, Conforms}},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			v := check1(t, taken(tt.levels...), order(len(tt.levels)), Options{})
			if v.Verdict != tt.want {
				t.Errorf("got %q, want %q", v.Verdict, tt.want)
			}
			for i, want := range tt.strings {
				if got := v.Strings[i].Verdict; got != want {
					t.Errorf("string %d: got %q, want %q (%+v)", i+1, got, want, v.Strings[i])
				}
			}
			if _, err := json.Marshal(v); err != nil {
				t.Error(err)
			}
		})
	}
}

func TestCheckEveryStringCount(t *testing.T) {
	for n := 1; n <= 12; n++ {
		levels := make([][]float64, n)
		for i := range levels {
			levels[i] = around(15)
		}
		if v := check1(t, taken(levels...), order(n), Options{}); v.Verdict != Conforms || len(v.Strings) != n {
			t.Errorf("%d strings: got %+v", n, v)
		}
	}
}

// The limits are part of the tolerance, the guard band is not.
func TestJudgeEdges(t *testing.T) {
	for _, tt := range []struct {
		deviation, expanded, tolerance float64
		want                           Answer
	}{
		{0.5, 0.5, 1, Conforms}, {-0.5, 0.5, 1, Conforms}, {0.75, 0.5, 1, CannotTell}, {1.5, 0.5, 1, CannotTell},
		{-1.5000001, 0.5, 1, OutOfTolerance}, {0, 2, 1, CannotTell}, {1, 0, 1, Conforms},
		{math.NaN(), 0.1, 1, CannotTell}, {0, math.NaN(), 1, CannotTell},
	} {
		if got := conformity(tt.deviation, tt.expanded, tt.tolerance); got != tt.want {
			t.Errorf("judge(%g, %g, %g): got %q, want %q", tt.deviation, tt.expanded, tt.tolerance, got, tt.want)
		}
	}
}

// The examples of testdata: a case with one limit conforms by the guard band
// U = 1.96 u when its conformance probability is at least 0.975, and is never
// out while that is above 0.025. With two limits it is so on either side.
func TestJudgeByConformanceProbability(t *testing.T) {
	for _, row := range table(t, "jcgm106_conformance.csv") {
		estimate, u := number(t, row[1]), number(t, row[2])
		chance := number(t, row[6])
		low, high := estimate-1000*u, estimate+1000*u
		if row[3] != "" {
			low = number(t, row[3])
		}
		if row[4] != "" {
			high = number(t, row[4])
		}
		got := conformity(estimate-(low+high)/2, solve.CoverageFactor(math.Inf(1), 0.95)*u, (high-low)/2)
		n := distuv.Normal{Mu: estimate, Sigma: u}
		near(t, row[0]+": probability", n.CDF(high)-n.CDF(low), chance, 1e-9)
		want := CannotTell
		if chance >= 0.975 {
			want = Conforms
		}
		if got != want {
			t.Errorf("%s, probability %g: got %q, want %q", row[0], chance, got, want)
		}
	}
}

// One string's true deviation lies on the very limit, and the allowance's error
// is drawn too. It may be passed, and failed, 2.5 % of the time each; 0.025 +-
// 0.008 is three standard errors of 3000 pickups. The pickup as a whole is passed
// no more often than that string.
func TestRiskAtTheLimit(t *testing.T) {
	const pickups, n = 3000, 6
	r := rand.New(rand.NewPCG(7, 8))
	o := order(n)
	passed, failed, conform := 0, 0, 0
	for range pickups {
		levels := make([][]float64, n)
		for i := range levels {
			truth := 20.0
			if i == 0 {
				truth += o.Tolerance * n / (n - 1) // its balance: the tolerance
			}
			levels[i] = normal(r, truth+0.15*r.NormFloat64(), 0.4, 4)
		}
		v := check1(t, taken(levels...), o, Options{})
		switch v.Strings[0].Verdict {
		case Conforms:
			passed++
		case OutOfTolerance:
			failed++
		}
		if v.Verdict == Conforms {
			conform++
		}
	}
	near(t, "string passed", float64(passed)/pickups, 0.025, 0.008)
	near(t, "string failed", float64(failed)/pickups, 0.025, 0.008)
	if conform > passed {
		t.Errorf("pickups passed: got %d, want at most %d", conform, passed)
	}
}

// Truth clear of the limit on either side must be told, not just left open.
func TestTellsWhatIsClear(t *testing.T) {
	const pickups, n = 300, 6
	r := rand.New(rand.NewPCG(9, 10))
	for balance, want := range map[float64]Answer{0: Conforms, 2.5: OutOfTolerance} {
		told := 0
		for range pickups {
			levels := make([][]float64, n)
			for i := range levels {
				levels[i] = normal(r, 20+0.15*r.NormFloat64(), 0.3, 10)
			}
			for j := range levels[0] {
				levels[0][j] += balance * n / (n - 1)
			}
			if check1(t, taken(levels...), order(n), Options{}).Verdict == want {
				told++
			}
		}
		if told < pickups*95/100 {
			t.Errorf("balance %g dB: %q in %d of %d", balance, want, told, pickups)
		}
	}
}

func TestScreening(t *testing.T) {
	clean := taken(around(20), around(20), around(20))
	want := check1(t, clean, order(3), Options{})

	add := func(change func(*record.Reading)) record.Reading {
		r := clean[3]
		r.Seq, r.RMS = 900, 40
		change(&r)
		return r
	}
	rows := append([]record.Reading{}, clean...)
	rows = append(rows,
		clean[0], // stands twice
		add(func(r *record.Reading) { r.Status = record.Clipped }),
		add(func(r *record.Reading) { r.Mode = "Q"; r.Seq = 901 }),
		add(func(r *record.Reading) { r.Purpose = record.ForModel; r.Seq = 902 }),
		add(func(r *record.Reading) { r.Pickup = "P2"; r.Seq = 903 }),
		add(func(r *record.Reading) { r.RMS = 0.4; r.Seq = 904 }), // below its quiet level
		add(func(r *record.Reading) { r.Session = "s0"; r.Time = start.Add(-time.Hour); r.Seq = 905 }),
		add(func(r *record.Reading) { r.Seq = 906 }),
		add(func(r *record.Reading) { r.Seq = 906; r.Status = record.Retracted }),
	)
	got := check1(t, rows, order(3), Options{})
	if got.Strings[0].Flagged != 2 {
		t.Errorf("flagged: got %d, want 2", got.Strings[0].Flagged)
	}
	got.Strings[0].Flagged = 0
	if !reflect.DeepEqual(got, want) {
		t.Errorf("got %+v, want %+v", got, want)
	}
}

func TestCheckRefuses(t *testing.T) {
	broken := errors.New("broken")
	if _, err := Check(func(yield func(record.Reading, error) bool) { yield(record.Reading{}, broken) }, order(2), "P1", Options{}); err != broken {
		t.Errorf("an error of the rows: got %v, want it as it is", err)
	}
	rows := taken(around(1), around(1))
	for i := range rows {
		rows[i].Purpose = record.ForModel
	}
	var missing *NotChecked
	_, err := Check(sequence(rows), order(2), "P1", Options{})
	if !errors.As(err, &missing) || !strings.Contains(err.Error(), `got 16 of purpose "model"; capture it with "evenpole capture`) {
		t.Errorf("no check: got %v", err)
	}
	_, err = Check(sequence(rows), order(2), "P9", Options{})
	if !errors.As(err, &missing) || !strings.Contains(err.Error(), `got those of "P1"`) {
		t.Errorf("no such pickup: got %v", err)
	}
	_, err = Check(sequence(nil), order(2), "P1", Options{})
	if !errors.As(err, &missing) || !strings.Contains(err.Error(), "got those of no pickup") {
		t.Errorf("no record: got %v", err)
	}
	for want, change := range map[string]func(*profiles.Order, *Options){
		"order.toml: expected the 2 strings of pickup":       func(o *profiles.Order, _ *Options) { o.Strings = o.Strings[:1] },
		"order.toml: expected at least one string, got none": func(o *profiles.Order, _ *Options) { o.Strings = nil },
		"offset_db: expected 2 values, one a string, got 1":  func(o *profiles.Order, _ *Options) { o.Offset = []float64{1} },
		"tolerance_db: expected more than 0":                 func(o *profiles.Order, _ *Options) { o.Tolerance = math.NaN() },
		"allowances: expected more than 0 dB, got -1":        func(_ *profiles.Order, opt *Options) { opt.Mounting = -1 },
		"coverage: expected between 0 and 1, got 2":          func(_ *profiles.Order, opt *Options) { opt.Coverage = 2 },
		"slopes: expected 2 values, one a string, got 1":     func(_ *profiles.Order, opt *Options) { opt.Slope = []float64{1} },
	} {
		o, opt := order(2), Options{}
		change(o, &opt)
		if _, err := Check(sequence(taken(around(1), around(1))), o, "P1", opt); !errors.As(err, new(*OrderError)) || !strings.Contains(err.Error(), want) {
			t.Errorf("got %v, want %q", err, want)
		}
	}
}

// What a session lacks, or has of its own, keeps the verdict open however even
// the levels are.
func TestWithheldVerdicts(t *testing.T) {
	each := func(change func(*record.Reading)) func([]record.Reading) []record.Reading {
		return func(rows []record.Reading) []record.Reading {
			for i := range rows {
				change(&rows[i])
			}
			return rows
		}
	}
	tests := []struct {
		name, warning string
		change        func([]record.Reading) []record.Reading
		order         func(*profiles.Order)
	}{
		{"missing string", "string 3 (G3): no take in the session", func(r []record.Reading) []record.Reading { return r[:16] }, nil},
		{"dead string", "string 3 (G3): none of 8 takes is above its quiet level", func(r []record.Reading) []record.Reading {
			for i := range r[16:] {
				r[16+i].RMS = 0.5
			}
			return r
		}, nil},
		{"all flagged", "string 1 (E4): all are flagged (8 takes)", each(func(r *record.Reading) { r.Status = record.DoubleStrike }), nil},
		{"other gauge", "string 1 (E4) has gauge 0.550 mm, ordered 0.500 mm", each(func(r *record.Reading) { r.Gauge = 0.55 }), nil},
		{"other core", "string 1 (E4) has core 0.450 mm, ordered 0.500 mm", each(func(r *record.Reading) { r.Core = 0.45 }), nil},
		{"other wrap", `string 2 (B3) has wrap "bronze", ordered "plain"`, each(func(r *record.Reading) { r.Wrap = "bronze" }), nil},
		{"other pitch", "string 1 (E4) at 300.0 Hz, its note at 329.6 Hz: D4 in place of E4", each(func(r *record.Reading) { r.Freq = 300 }), nil},
		{"moved pole", "string 1 (E4): the session names more than one height", func(r []record.Reading) []record.Reading { r[3].PoleHeight = 1.5; return r }, nil},
		{"mixed excitation", "mixes kinds of excitation", func(r []record.Reading) []record.Reading { r[3].Mode = "D"; return r }, nil},
		{"excitation not known", "does not say how the strings were set moving", each(func(r *record.Reading) { r.Excite = "" }), func(o *profiles.Order) { o.Excite = "force" }},
		{"note not known", "string 2 has no note in the order", each(func(*record.Reading) {}), func(o *profiles.Order) { o.Excite = "force"; o.Strings[1].Note = "" }},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			o := order(3)
			if tt.order != nil {
				tt.order(o)
			}
			v := check1(t, tt.change(taken(around(20), around(20), around(20))), o, Options{})
			contains(t, v.Warnings, tt.warning)
			if v.Verdict != CannotTell || len(v.MoreTakes) != 0 {
				t.Errorf("got %q with %v", v.Verdict, v.MoreTakes)
			}
			if _, err := json.Marshal(v); err != nil {
				t.Error(err)
			}
		})
	}
}

// What only weakens a verdict is said beside it.
func TestWarnings(t *testing.T) {
	rows := taken(around(20), around(20))
	for i := range rows {
		r := &rows[i]
		r.Batch, r.StringHeight, r.PoleHeight = "M-2", 3.2, 2.2
	}
	v := check1(t, rows, order(2), Options{})
	for _, want := range []string{
		`of batch "M-2", the order asks for "M-1"`, "string 1 (E4) at 3.20 mm, ordered 3.00 mm",
		"string 2 (B3) at 2.20 mm, allowed 0.00 to 2.00 mm",
	} {
		contains(t, v.Warnings, want)
	}
	if v.Verdict != Conforms {
		t.Errorf("got %q", v.Verdict)
	}
}

// A wrap of the user's own is warned of, once, whether it was ordered or is on the jig;
// another spelling of a known wrap is that wrap.
func TestWrapsAreReadAlike(t *testing.T) {
	rows, o := taken(around(20), around(20)), order(2)
	for i := range rows {
		if rows[i].Gauge = 1; rows[i].String == 1 {
			rows[i].Wrap = "Stainless steel"
		} else {
			rows[i].Wrap = "xyzzy"
		}
	}
	for i := range o.Strings {
		o.Strings[i].Gauge = 1
	}
	o.Strings[0].Wrap, o.Strings[1].Wrap = "stainless", "xyzzy"
	v := check1(t, rows, o, Options{})
	if v.Verdict != Conforms || v.Strings[0].Wrap != "stainless" || len(v.Warnings) != 1 {
		t.Errorf("got %q, wrap %q, warnings %q", v.Verdict, v.Strings[0].Wrap, v.Warnings)
	}
	contains(t, v.Warnings, `wrap "xyzzy" is none that the handbook knows`)
}

// An even pickup under travel is not under force. By hand for two plain strings
// alike, E4 and B3, five semitones apart: force less travel goes with 1/f² (the
// masses are equal), so B3 gains 40·log10(2^(5/12)) = 5.0172 dB on E4.
func TestConvertExcitation(t *testing.T) {
	o := order(2)
	o.Excite = "force"
	v := check1(t, taken(around(20), around(20)), o, Options{})
	near(t, "E4", float64(v.Strings[0].Balance), -5.0172/2, 1e-4)
	near(t, "B3", float64(v.Strings[1].Balance), 5.0172/2, 1e-4)
	near(t, "level as plucked", float64(v.Strings[0].Level), 10, 1e-3)
	same := check1(t, taken(around(20), around(20)), order(2), Options{})
	near(t, "allowance", math.Pow(float64(v.Strings[0].Std), 2)-math.Pow(float64(same.Strings[0].Std), 2), 0.04/2, 1e-12)
	contains(t, v.Notes, `worked out for "force"`)
	if v.Excite != "force" || v.Verdict != OutOfTolerance {
		t.Errorf("got %q for %q", v.Verdict, v.Excite)
	}
}

// A driven record is judged as force. Strings of equal f·mu then need nothing:
// E3 with four times E5's mass is twice as thick.
func TestDrivenIsJudgedAsForce(t *testing.T) {
	o := order(2)
	o.Strings[0].Note, o.Strings[1].Note = "E5", "E3"
	o.Strings[1].Core, o.Strings[1].Gauge = 1, 1
	rows := taken(around(20), around(20))
	for i := range rows {
		rows[i].Mode, rows[i].Excite = "D", "drive"
		if rows[i].String == 2 {
			rows[i].Core, rows[i].Gauge = 1, 1
		}
	}
	v := check1(t, rows, o, Options{})
	near(t, "balance", float64(v.Strings[0].Balance), 0, 1e-9)
	contains(t, v.Notes, `judged as "force"`)
}

// The takes asked for must be enough at the next look when they come with the same
// scatter, and one fewer must not be.
func TestMoreTakesAreEnough(t *testing.T) {
	scattered := func(db float64) []float64 { return []float64{db - 0.5, db + 0.5, db - 0.5, db + 0.5} }
	levels := [][]float64{scattered(21), scattered(20), scattered(20), scattered(20)}
	v := check1(t, taken(levels...), order(4), Options{Mounting: 0.01})
	if v.Verdict != CannotTell || len(v.MoreTakes) == 0 || v.MoreTakes[0].String != 1 {
		t.Fatalf("got %q, more %v", v.Verdict, v.MoreTakes)
	}
	b := newBudget(levels, 0.01*0.01)
	for _, m := range v.MoreTakes {
		b.takes[m.String-1] += m.Takes
	}
	margin, next := 1-math.Abs(float64(v.Strings[0].Deviation)), guardCoverage(0.95, 2)
	if _, _, expanded := b.balance(0).Expand(next); expanded > margin {
		t.Errorf("guard band after %v: got %g, want at most %g", v.MoreTakes, expanded, margin)
	}
	b.takes[0]--
	if _, _, expanded := b.balance(0).Expand(next); expanded <= margin {
		t.Errorf("one take fewer than %v is enough: %g within %g", v.MoreTakes, expanded, margin)
	}
	contains(t, []string{v.Remedy}, fmt.Sprintf("with %d takes a string", 4+v.MoreTakes[0].Takes))
}

// More takes of the wrong string are no help.
func TestWithheldAsksForNothing(t *testing.T) {
	wide := []float64{18.8, 21.2, 18.8, 21.2}
	rows := taken(wide, wide)
	if v := check1(t, rows, order(2), Options{}); len(v.MoreTakes) == 0 {
		t.Fatalf("the right strings: got %+v, want more takes asked for", v)
	}
	for i := range rows {
		rows[i].Gauge = 0.6
	}
	if v := check1(t, rows, order(2), Options{}); len(v.MoreTakes) != 0 {
		t.Errorf("other strings: got %v, want none", v.MoreTakes)
	}
}

func TestMoreTakesCannotHelp(t *testing.T) {
	v := check1(t, taken(around(20), around(22.1)), order(2), Options{})
	if len(v.MoreTakes) != 0 {
		t.Errorf("got %v, want none", v.MoreTakes)
	}
	contains(t, []string{v.Remedy}, "no number of takes can tell for string 1 (E4), string 2 (B3)")

	wild := []float64{10, 30, 10, 30}
	v = check1(t, taken(wild, wild), order(2), Options{})
	contains(t, []string{v.Remedy}, "more than 100 more takes")
	if len(v.MoreTakes) != 0 {
		t.Errorf("got %v, want none", v.MoreTakes)
	}

	v = check1(t, taken([]float64{20}, []float64{20}), order(2), Options{})
	if want := []More{{1, 4}, {2, 4}}; !reflect.DeepEqual(v.MoreTakes, want) {
		t.Errorf("one take each: got %v, want %v", v.MoreTakes, want)
	}
}

func TestRemedies(t *testing.T) {
	uneven := taken(around(20), around(20), around(20), around(24), around(20), around(20))
	tests := []struct {
		name   string
		rows   []record.Reading
		poles  profiles.PoleKind
		slope  float64
		str    int
		remedy string
		whole  string
	}{
		{"screw", uneven, profiles.Screw, 0, 4, "3.3 dB too loud: lower its screw", "turn the screws"},
		{"screw, with a slope", uneven, profiles.Screw, 4, 4, "3.3 dB too loud: lower its screw by about 0.83 mm, to 0.17 mm", "turn the screws"},
		{"screw, beyond its limit", uneven, profiles.Screw, 2, 4, "lower its screw to the order's limit, 0.00 mm; it would take -0.67 mm", "turn the screws"},
		{"rod", uneven, profiles.Rod, 4, 4, "thinner core; or rewind with a lower pole, about 0.17 mm", "tilting the pickup does not even it out"},
		{"tilt", taken(around(24), around(22), around(20)), profiles.Rod, 0, 3, "thicker core", "lower it on the side of string 1 or raise it on the side of string 3"},
		{"tilt the other way", taken(around(20), around(22), around(24)), profiles.Slug, 0, 1, "thicker core", "lower it on the side of string 3"},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			o := order(tt.rows[len(tt.rows)-1].String)
			o.Poles = tt.poles
			var opt Options
			for range o.Strings {
				opt.Slope = append(opt.Slope, tt.slope)
			}
			v := check1(t, tt.rows, o, opt)
			contains(t, []string{v.Strings[tt.str-1].Remedy}, tt.remedy)
			contains(t, []string{v.Remedy}, tt.whole)
			fixed := strings.Contains(v.Remedy, "never press, pull or hammer")
			if fixed != (tt.poles != profiles.Screw) {
				t.Errorf("caution: got %q", v.Remedy)
			}
		})
	}
}

func TestScrewAtItsLimit(t *testing.T) {
	rows := taken(around(20), around(20), around(16))
	for i := range rows {
		rows[i].PoleHeight = 1.79 // 0.01 mm below the gap's limit
	}
	v := check1(t, rows, order(3), Options{Slope: []float64{2, 2, 2}})
	contains(t, []string{v.Strings[2].Remedy}, "at the order's limit already")
}

// A plan keeps poles to the gap at rest: a string that swings by 0.6 mm and may
// come as near as 1.2 mm lies 1.8 mm over its pole, so that under a string at 3 mm
// no pole is higher than 1.2 mm. A check holds poles to the same.
func TestPolesKeepTheGapAtRest(t *testing.T) {
	o := order(2)
	o.Tolerance, o.PoleHeightMax, o.StringSwing = 0.5, 3, 0.6
	rows := func(height float64) []record.Reading {
		rows := taken(around(20), around(22))
		for i := range rows {
			rows[i].PoleHeight = height
		}
		return rows
	}
	v := check1(t, rows(1.4), o, Options{})
	contains(t, v.Warnings, "at 1.60 mm from its string, allowed 1.80 mm")
	v = check1(t, rows(1.2), o, Options{Slope: []float64{5, 5}}) // the limit is as high as the pole is
	if want := "1.0 dB too quiet; it is at the order's limit already, so try another string gauge"; v.Strings[0].Remedy != want {
		t.Errorf("got %q, want %q", v.Strings[0].Remedy, want)
	}
	for _, w := range v.Warnings {
		if strings.Contains(w, "outside the order's limits") {
			t.Errorf("got %q of poles at the limit", w)
		}
	}
}

func TestJSON(t *testing.T) {
	rows := taken(around(20), around(20))[:8]
	rows[0].StringHeight = math.NaN()
	v := check1(t, rows, order(2), Options{})
	text, err := json.Marshal(v)
	if err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{
		`"pickup":"P1"`, `"order":"A-1"`, `"session":"s1"`, `"verdict":"cannot tell yet"`, `"string":1,"note":"E4"`, `"balance_db":null`,
		`"string_height_mm":null`, `"expanded_u_db":null`, `"u_db":null`, `"takes":8`, `"spread_db":null`, `"tolerance_db":1`, `"more_takes":[]`, `"notes":[]`,
	} {
		contains(t, []string{string(text)}, want)
	}
	var back Verdict
	if err := json.Unmarshal(text, &back); err != nil {
		t.Fatal(err)
	}
	if again, _ := json.Marshal(&back); string(again) != string(text) {
		t.Errorf("got %s, want %s", again, text)
	}
}

// Two sessions of the same time: the one further down the record counts.
func TestLatestSession(t *testing.T) {
	rows := taken(around(20), around(20))
	later := taken(around(20), around(30))
	for i := range rows {
		rows[i].Time, later[i].Time = time.Time{}, time.Time{}
		later[i].Session, later[i].Boot = "s2", "0000000B"
	}
	if v := check1(t, append(rows, later...), order(2), Options{}); v.Session != "s2" || v.Verdict != OutOfTolerance {
		t.Errorf("got %q, %q", v.Session, v.Verdict)
	}
	for _, r := range later {
		r.Status = record.Retracted
		later = append(later, r)
	}
	if v := check1(t, append(rows, later...), order(2), Options{}); v.Session != "s1" || v.Verdict != Conforms {
		t.Errorf("taken back: got %q, %q", v.Session, v.Verdict)
	}
}

// TestWhatTheShopKnowsOfItsJig: a measured mounting, and what correcting the
// channels leaves, stand in U as the allowances that they are.
func TestWhatTheShopKnowsOfItsJig(t *testing.T) {
	rows := taken(around(0), around(0), around(0), around(0))
	assumed := check1(t, rows, order(4), Options{})
	contains(t, assumed.Notes, "our assumption")
	channel := func(jig string, at time.Time) float64 {
		if jig != "J" || !at.Equal(rows[len(rows)-1].Time) {
			t.Errorf("asked for %q at %v", jig, at)
		}
		return 0.05
	}
	known := check1(t, rows, order(4), Options{Mounting: 0.2, Channel: channel})
	contains(t, known.Notes, "0.2 dB a string for setting its height and mounting the pickup, taken as known (as the shop gives it)")
	contains(t, known.Notes, "channels are corrected as it was calibrated, with a standard uncertainty of 0.05 dB")
	square := func(v *Verdict) float64 { return float64(v.Strings[0].Std * v.Strings[0].Std) }
	want := (0.2*0.2 + 0.05*0.05 - 0.15*0.15) * 3 / 4 // a balance has 1 - 1/n of the levels' variance
	if got := square(known) - square(assumed); math.Abs(got-want) > 1e-9 {
		t.Errorf("the variance grows by %g dB², want %g", got, want)
	}
}
