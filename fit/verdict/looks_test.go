package verdict

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"testing"
	"time"

	"evenpole/capture/record"
	"evenpole/profiles"

	"gonum.org/v1/gonum/stat/distuv"
)

// inSession is rows filed in a session of a later hour, numbered after those before.
func inSession(rows []record.Reading, n int) []record.Reading {
	rows = slices.Clone(rows)
	for i := range rows {
		r := &rows[i]
		r.Session, r.Time, r.Seq = fmt.Sprintf("s%d", n), r.Time.Add(time.Duration(n)*time.Hour), r.Seq+uint32(10_000*n)
	}
	return rows
}

// lookingOn captures a pickup whose first string lies on its limit until it can be
// told, at most so often, and says how that string ended. With remount each look is a
// session of its own; else takes are added to the first.
func lookingOn(t *testing.T, r *rand.Rand, looks int, remount bool) Answer {
	const n = 3
	o := order(n)
	var rows []record.Reading
	mounted := make([]float64, n)
	for look := range looks {
		levels := make([][]float64, n)
		for i := range levels {
			if remount || look == 0 {
				mounted[i] = 0.15 * r.NormFloat64()
			}
			truth := 20 + mounted[i]
			if i == 0 {
				truth += o.Tolerance * n / (n - 1)
			}
			levels[i] = normal(r, truth, 0.4, 4)
		}
		more := inSession(taken(levels...), look+1)
		for i := range more {
			if !remount {
				more[i].Session = "s1"
			}
		}
		rows = append(rows, more...)
		v := decided(t, rows, o)
		if v.Looks != look+1 {
			t.Fatalf("look %d is counted as %d", look+1, v.Looks)
		}
		if v.Strings[0].Verdict != CannotTell {
			return v.Strings[0].Verdict
		}
	}
	return CannotTell
}

// decided is a check without what comes after the decision, which takes far longer.
func decided(t *testing.T, rows []record.Reading, o *profiles.Order) *Verdict {
	t.Helper()
	sessions, err := sessionsOf(sequence(rows), "P1")
	if err != nil {
		t.Fatal(err)
	}
	c := newCheck(o, sessions[len(sessions)-1], Options{}.withDefaults())
	c.judge(sessions)
	return c.v
}

// A string on its very limit, captured up to eight times until it can be told, is passed
// wrongly no more often than one look promises, and so failed: 0.025, with three
// standard errors of 1500 pickups.
func TestRiskOfManyLooks(t *testing.T) {
	const pickups, looks, promised = 1500, 8, 0.025
	for _, remount := range []bool{true, false} {
		r := rand.New(rand.NewPCG(17, 18))
		count := map[Answer]float64{}
		for range pickups {
			count[lookingOn(t, r, looks, remount)]++
		}
		most := promised + 3*math.Sqrt(promised*(1-promised)/pickups)
		for _, a := range []Answer{Conforms, OutOfTolerance} {
			if got := count[a] / pickups; got > most || got < promised/2 {
				t.Errorf("mounted again %v: %q with a chance of %.4f, want %.3f", remount, a, got, promised)
			}
		}
	}
}

// The shares add up to the whole; normal quantiles at the coverages of the first three
// looks, one-sided 0.02, 0.0025 and 0.00125, by Python's statistics.NormalDist.
func TestRiskShares(t *testing.T) {
	sum := 0.0
	for look := range 39 {
		sum += riskShare(look + 1)
	}
	near(t, "all looks", sum, 1, 1e-11)
	for i, want := range []float64{2.053749, 2.807034, 3.023341} {
		near(t, "guard", distuv.UnitNormal.Quantile((1+guardCoverage(0.95, i+1))/2), want, 1e-6)
	}
}

// What counts as a look, and what does not.
func TestLooksOfTheRecord(t *testing.T) {
	first := inSession(taken(around(20), around(20.5)), 1)
	changed := func(change func(*record.Reading)) []record.Reading {
		rows := slices.Clone(first)
		for i := range rows {
			change(&rows[i])
		}
		return rows
	}
	back := changed(func(r *record.Reading) { r.Status = record.Retracted })
	for _, tt := range []struct {
		name string
		past []record.Reading
		want int
	}{
		{"nothing before", nil, 1},
		{"a session before", first, 2},
		{"two before", append(inSession(first, 2), first...), 3},
		{"taken back", append(slices.Clone(first), back...), 1},
		{"a pole was moved", changed(func(r *record.Reading) { r.PoleHeight = 1.2 }), 1},
		{"a pole measured again", changed(func(r *record.Reading) { r.PoleHeight = 1.04 }), 2},
		{"other string heights", changed(func(r *record.Reading) { r.StringHeight = 3.3 }), 1},
		{"other strings", changed(func(r *record.Reading) { r.Gauge, r.Core = 0.6, 0.6 }), 1},
		{"other magnets", changed(func(r *record.Reading) { r.Batch = "M-2" }), 1},
		{"not finished", first[:8], 1},
		{"one take a string", []record.Reading{first[0], first[8]}, 1},
		{"for another purpose", changed(func(r *record.Reading) { r.Purpose = record.ForModel }), 1},
	} {
		rows := append(slices.Clone(tt.past), inSession(taken(around(20), around(20.5)), 9)...)
		v := check1(t, rows, order(2), Options{})
		if v.Looks != tt.want || v.Session != "s9" {
			t.Errorf("%s: got look %d of session %s, want %d", tt.name, v.Looks, v.Session, tt.want)
		}
	}
}

// Takes that are added to a session are another look; those sent late, and those of a
// spreadsheet in which strings take turns, are not.
func TestLooksWithinASession(t *testing.T) {
	rows := taken(around(20), around(20), around(20))
	added := inSession(rows, 1)
	late := slices.Clone(rows)
	late = append(append(late[:6:6], late[7:]...), late[6])
	var turns []record.Reading
	for take := range 8 {
		for i := range 3 {
			r := rows[8*i+take]
			r.Jig, r.Seq = "import", uint32(len(turns)+1)
			turns = append(turns, r)
		}
	}
	for i := range added {
		added[i].Session = "s1"
	}
	for name, tt := range map[string]struct {
		rows []record.Reading
		want int
	}{
		"one capture": {rows, 1}, "takes added": {append(slices.Clone(rows), added...), 2},
		"interrupted": {append(slices.Clone(rows[:4]), rows[4:]...), 1}, "sent late": {late, 1}, "a spreadsheet": {turns, 1},
		"added before all strings had takes": {append(slices.Clone(rows[:12]), added...), 1},
	} {
		if v := check1(t, tt.rows, order(3), Options{}); v.Looks != tt.want {
			t.Errorf("%s: got %d looks, want %d", name, v.Looks, tt.want)
		}
	}
}

// A first look has the U that it always had and a guard band little wider; the guard
// decides, and grows with looks.
func TestGuardBands(t *testing.T) {
	one := taken(around(20), around(20.5))
	v := check1(t, one, order(2), Options{})
	again := check1(t, append(inSession(one, 1), inSession(one, 2)...), order(2), Options{})
	for i := range v.Strings {
		a, b := v.Strings[i], again.Strings[i]
		if r := float64(a.Guard / a.Expanded); r < 1.04 || r > 1.06 {
			t.Errorf("first look: a guard band of %.3f U, want 1.05", r)
		}
		if r := float64(b.Guard / a.Guard); r < 1.35 || r > 1.5 || a.Expanded != b.Expanded {
			t.Errorf("second look: guard bands wider by %.3f, U %g and %g", r, a.Expanded, b.Expanded)
		}
	}
	contains(t, again.Notes, "look 2 at this pickup as it is")
	near(t, "coverage", again.GuardCoverage, 0.995, 1e-12)

	// Between the two guard bands the first look passes and the second cannot tell.
	o := order(2)
	o.Tolerance = float64(v.Strings[0].Guard)*1.2 + 0.25
	for want, rows := range map[Answer][]record.Reading{Conforms: one, CannotTell: append(inSession(one, 1), inSession(one, 2)...)} {
		if got := check1(t, rows, o, Options{}).Verdict; got != want {
			t.Errorf("got %q, want %q", got, want)
		}
	}
}

// Into a recording strings are plucked in any order, and it is one look; another
// recording of the session is another.
func TestRecordingIsOneLook(t *testing.T) {
	var turns turns
	again := 0
	for _, boot := range []string{"0000000A", "0000000B"} {
		for seq := range 12 {
			if turns.again(&record.Reading{Jig: record.RecorderJig("desk"), Boot: boot, Seq: uint32(seq + 1), HasSeq: true, String: seq%6 + 1}) {
				again++
			}
		}
	}
	if again != 1 {
		t.Errorf("got %d further looks, want 1", again)
	}
}
