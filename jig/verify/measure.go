package verify

import (
	"fmt"
	"math"
	"slices"
	"time"

	"evenpole/jig"

	"gonum.org/v1/gonum/stat"
	"gonum.org/v1/gonum/stat/distuv"
)

// Measured is how good the jig is, as far as a few takes of string 1 tell. What could not be
// measured is 0.
type Measured struct {
	AnswerMS       float64 `json:"answer_ms"`       // median time from IDENT to its A
	AnswerWorstMS  float64 `json:"answer_worst_ms"` // the longest
	LinesPerSecond float64 `json:"lines_per_second"`
	QuietS         float64 `json:"quiet_s"` // a quiet window, with the wait before it
	TakeS          float64 `json:"take_s"`  // a pluck or driven window likewise

	Takes       int     `json:"takes"` // good ones that what follows is made of
	LevelMV     float64 `json:"level_mv"`
	ScatterDB   float64 `json:"scatter_db"` // standard deviation from take to take
	ScatterLow  float64 `json:"scatter_low_db"`
	ScatterHigh float64 `json:"scatter_high_db"` // its 95 % interval
	QuietMV     float64 `json:"quiet_mv"`
	QuietDB     float64 `json:"quiet_db"` // what the quiet level would add to string 1 were it not taken off
	Hum         string  `json:"hum"`      // hum, noise or cannot tell

	ToleranceDB float64 `json:"tolerance_db"`
	TakesWanted int     `json:"takes_wanted"` // for U of 30 % of the tolerance, by the upper end of the scatter
}

// share is how much of a tolerance the uncertainty U of a string's level is to use up.
const share = 0.3

// measure works out the figures of a run.
func measure(s *session, m *sample, tolerance float64) (x Measured) {
	x.ToleranceDB = tolerance
	if len(s.idle) > 0 {
		x.AnswerMS = ms(middle(s.idle))
		x.AnswerWorstMS = ms(slices.Max(s.idle))
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

func ms(d time.Duration) float64 { return d.Seconds() * 1000 }

// quietLevel is the root of the mean square of the good quiet windows in mV, and what the
// ratio of peak to RMS says of it: 1.4 for a sine, some 4 for noise.
func quietLevel(all []jig.Reading) (mv float64, hum string) {
	var power, crest []float64
	for _, r := range all {
		if r.Flags == 0 && r.RMSUV > 0 {
			power = append(power, float64(r.RMSUV)*float64(r.RMSUV))
			crest = append(crest, float64(r.PeakUV)/float64(r.RMSUV))
		}
	}
	if len(power) == 0 {
		return 0, "cannot tell"
	}
	switch c := stat.Mean(crest, nil); {
	case c < 2.2:
		hum = "hum"
	case c > 3.5:
		hum = "noise"
	default:
		hum = "cannot tell"
	}
	return math.Sqrt(stat.Mean(power, nil)) / 1000, hum
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
		"hum":         "mostly hum, by its peak: look at shields and earth",
		"noise":       "mostly noise, by its peak",
		"cannot tell": "of hum or noise, which its peak does not tell",
	}[x.Hum])
	if x.Takes < 2 {
		say("scatter: too few good takes of string 1 to tell")
		return lines
	}
	say("string 1: %.2f mV; the quiet level would add %.3f dB to it, and is taken off", x.LevelMV, x.QuietDB)
	say("scatter of %d takes: %.2f dB (95 %%: %.2f to %.2f dB)", x.Takes, x.ScatterDB, x.ScatterLow, x.ScatterHigh)
	say("a tolerance of +- %.2f dB wants %d takes a string, for an uncertainty U of at most %.2f dB (%.0f %% of it)",
		x.ToleranceDB, x.TakesWanted, share*x.ToleranceDB, 100*share)
	return lines
}
