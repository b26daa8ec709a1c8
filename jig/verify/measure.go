package verify

import (
	"fmt"
	"math"
	"slices"
	"time"

	"evenpole/jig"
	"evenpole/profiles"

	"gonum.org/v1/gonum/stat"
	"gonum.org/v1/gonum/stat/distuv"
)

// share is how much of a tolerance the uncertainty U of a string's level is to use up.
const share = 0.3

// measure works out the figures of a run.
func measure(s *session, m *sample, tolerance float64) (x Measured) {
	x.ToleranceDB = tolerance
	if len(s.idle) > 0 {
		x.AnswerMS = inMillis(middle(s.idle))
		x.AnswerWorstMS = inMillis(slices.Max(s.idle))
	}
	for _, r := range s.resent {
		if r.lines >= takes && r.took > 0 {
			x.LinesPerSecond = max(x.LinesPerSecond, float64(r.lines)/r.took.Seconds())
		}
	}
	x.QuietS, x.TakeS = m.quietTook.Seconds(), m.movedTook.Seconds()
	x.QuietMV, x.Hum = quietLevel(m.quiet)
	x.scatter(m.moved)
	return x
}

func inMillis(d time.Duration) float64 { return d.Seconds() * 1000 }

// quietLevel is the root of the mean square of the good quiet windows in mV, and what the
// ratio of peak to RMS says of it, 1.4 for a sine, some 4 for noise; or the pitch, where the
// jig tells one.
func quietLevel(all []jig.Reading) (mv float64, hum string) {
	var power, crest []float64
	mains := 0
	for _, r := range all {
		if r.Flags == 0 && r.RMSUV > 0 {
			power = append(power, float64(r.RMSUV)*float64(r.RMSUV))
			crest = append(crest, float64(r.PeakUV)/float64(r.RMSUV))
			if ofMains(r.FreqMHz) {
				mains++
			}
		}
	}
	if len(power) == 0 {
		return 0, "cannot tell"
	}
	switch c := stat.Mean(crest, nil); {
	case c < 2.2, 2*mains > len(power):
		hum = "hum"
	case c > 3.5:
		hum = "noise"
	default:
		hum = "cannot tell"
	}
	return math.Sqrt(stat.Mean(power, nil)) / 1000, hum
}

// ofMains tells whether a pitch in mHz is that of mains of 50 or 60 Hz or of one of the next
// harmonics, within 0.5 Hz.
func ofMains(freq int64) bool {
	for _, mains := range []int64{50_000, 60_000} {
		if off := (freq+mains/2)%mains - mains/2; freq > mains/2 && freq < 8*mains && -500 <= off && off <= 500 {
			return true
		}
	}
	return false
}

// scatter works out level and scatter of the good takes.
func (x *Measured) scatter(all []jig.Reading) {
	var db []float64
	for _, r := range all {
		rms := float64(r.RMSUV) / 1000
		if power := rms*rms - x.QuietMV*x.QuietMV; r.Flags == 0 && power > 0 {
			db = append(db, 10*math.Log10(power))
		}
	}
	x.Takes = len(db)
	if x.Takes == 0 {
		return
	}
	x.LevelMV = math.Pow(10, stat.Mean(db, nil)/20)
	x.QuietDB = 10 * math.Log10(1+x.QuietMV*x.QuietMV/(x.LevelMV*x.LevelMV))
	if x.Takes < 2 {
		return
	}
	free := float64(x.Takes - 1)
	chi := distuv.ChiSquared{K: free}
	x.ScatterDB = stat.StdDev(db, nil)
	x.ScatterLow = x.ScatterDB * math.Sqrt(free/chi.Quantile(0.975))
	x.ScatterHigh = x.ScatterDB * math.Sqrt(free/chi.Quantile(0.025))
	x.TakesWanted = max(1, int(math.Ceil(math.Pow(2*x.ScatterHigh/(share*x.ToleranceDB), 2))))
}

// Words says what the figures mean.
func (x *Measured) Words() (lines []string) {
	say := func(format string, args ...any) { lines = append(lines, fmt.Sprintf(format, args...)) }
	say("answer to a command: %.1f ms (median), %.1f ms (longest)", x.AnswerMS, x.AnswerWorstMS)
	if x.LinesPerSecond > 0 {
		say("lines of a RESEND: %.0f a second", x.LinesPerSecond)
	}
	say("a take lasts %.1f s, a quiet window %.1f s", x.TakeS, x.QuietS)
	say("quiet level: %.3f mV, %s", x.QuietMV, map[string]string{
		"hum":         "mostly hum: look at shields and earth",
		"noise":       "mostly noise",
		"cannot tell": "of hum or noise, which its peak does not tell",
	}[x.Hum])
	if x.Takes < 2 {
		say("scatter: too few good takes of string 1 to tell")
		return lines
	}
	say("string 1: %.2f mV; the quiet level would add %.3f dB to it, and is taken off", x.LevelMV, x.QuietDB)
	say("scatter of %d takes: %.2f dB (95 %%: %.2f to %.2f dB)", x.Takes, x.ScatterDB, x.ScatterLow, x.ScatterHigh)
	say("a tolerance of +- %.2f dB wants %s a string, for an uncertainty U of at most %.2f dB (%.0f %% of it)",
		x.ToleranceDB, profiles.Count(x.TakesWanted, "take"), share*x.ToleranceDB, 100*share)
	return lines
}
