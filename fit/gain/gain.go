// Package gain measures a jig's gain against a source whose level is known, keeps
// what was found, and applies it to readings.
//
// A gain is the true level over the level read, in dB as all levels are here. Its
// uncertainty follows JCGM 100:2008 (Evaluation of measurement data: guide to the
// expression of uncertainty in measurement): the scatter of the readings (type A),
// the source's uncertainty, which all readings share, and the jig's resolution
// (type B) are combined by the law of propagation (5.1.2), the effective degrees
// of freedom by the formula of Welch and Satterthwaite (G.4.1), and the coverage
// factor is Student's t (G.3).
//
// A gain that all strings share changes every level and no balance. The offset of one
// string's channel from that gain changes the balance; it is known when the source was
// read on every channel.
//
// The record stays as the jig read it: gains are applied to readings as they are read
// from it.
//
// The way through the package, in the order in which data flow:
//
//   - calibration.go: [Reading], [Options], and what a calibration says
//     ([Calibration], [Channel], [Slope]).
//   - read.go: readings of a source from a record, a CSV file or flags.
//   - line.go: the calibration line by least squares (line).
//   - gain.go: [Measure], the gain with its uncertainty.
//   - book.go: the calibrations of a shop on disk, and readings corrected by them
//     ([Book]).
package gain

import (
	"fmt"
	"math"
	"time"

	"evenpole/capture/record"
	"evenpole/fit/level"
	"evenpole/fit/solve"
	"evenpole/profiles"

	"github.com/pelletier/go-toml/v2"
)

// resolution is the jig's: it sends whole microvolts, so that a reading is off by
// up to half a one (JCGM 100:2008, 4.3.7 and F.2.2.1).
const resolution = 0.5e-3 / 1.7320508075688772 // mV, standard uncertainty

// Measure works out the gain from readings of a known source.
func Measure(readings []Reading, o Options) (*Calibration, error) {
	o = o.withDefaults()
	if err := validate(readings, o); err != nil {
		return nil, err
	}
	points := pointsOf(readings)
	l, err := fitLine(points, centre(points))
	if err != nil {
		return nil, err
	}
	c := &Calibration{
		Jig: o.Jig, Source: o.Source, Time: o.Time, From: o.From, Due: localDate(o.Time.AddDate(0, o.Months, 0)),
		Coverage: o.Coverage, Scatter: l.sd, Readings: readings, Warnings: []string{},
	}
	c.GainDB = l.a
	c.Gain = factorOf(l.a)
	var source, coarse float64
	for _, r := range readings {
		source = max(source, level.PerLn*r.SourceU/o.K/r.Source)
		coarse = max(coarse, level.PerLn*resolution/r.MV)
	}
	total := solve.Combine(solve.Part{Variance: l.va, DOF: l.dof}, typeB(source), typeB(coarse))
	c.Std, c.K, c.Expanded = total.Expand(o.Coverage)
	c.DOF = min(total.DOF, maxDOF)
	c.addChannels(l)
	c.addSlope(l, o.Coverage)
	return c, nil
}

// typeB is a standard uncertainty that does not come from the readings' scatter.
func typeB(std float64) solve.Part { return solve.Part{Variance: std * std, DOF: math.Inf(1)} }

// validate refuses readings or options that the arithmetic cannot take.
func validate(readings []Reading, o Options) error {
	fail := func(format string, args ...any) error { return &InputError{fmt.Sprintf(format, args...)} }
	switch {
	case o.Jig == "":
		return fail("jig: expected its id, got none")
	case !(o.Coverage > 0 && o.Coverage < 1) || !(o.K > 0) || o.Months < 1:
		return fail("expected a coverage between 0 and 1, a coverage factor above 0 and months from 1, got %g, %g and %d", o.Coverage, o.K, o.Months)
	case len(readings) == 0:
		return fail("expected readings of the source, got none")
	}
	for _, r := range readings {
		switch {
		case !(r.Source > 0) || !(r.MV > 0) || math.IsInf(r.Source+r.MV, 0):
			return fail("expected levels above 0 mV, got %g mV read of %g mV", r.MV, r.Source)
		case !(r.SourceU > 0) || r.SourceU >= r.Source:
			return fail("source's uncertainty: expected more than 0 and less than its %g mV, got %g: its certificate or data sheet states it", r.Source, r.SourceU)
		case r.N < 1 || r.SD < 0 || r.String < 0:
			return fail("expected a count from 1, a deviation and a string's number of 0 or more, got %d, %g and %d", r.N, r.SD, r.String)
		case math.Abs(dbOf(r.Source/r.MV)) > mostGain(o.Jig):
			return fail("expected the jig within %g dB of the source, got %g mV read of %g mV: a slip, or another unit", mostGain(o.Jig), r.MV, r.Source)
		}
	}
	return agree(readings)
}

// mostApart is how far, dB, readings of one source by one channel may lie apart (our rule): a
// jig whose readings do is not one to calibrate.
const mostApart = 3

// agree refuses readings of one source that no jig makes of it.
func agree(readings []Reading) error {
	type same struct {
		channel int
		source  float64
	}
	first := map[same]float64{}
	for _, r := range readings {
		at := same{r.String, r.Source}
		if _, met := first[at]; !met {
			first[at] = r.MV
		}
		if a := first[at]; math.Abs(dbOf(r.MV/a)) > mostApart {
			return &InputError{fmt.Sprintf("expected readings of %g mV within %d dB of one another, got %g and %g mV: a slip, or a decimal comma, which makes two readings of one: decimals take a point",
				r.Source, mostApart, a, r.MV)}
		}
	}
	return nil
}

// mostGain is how far, dB, a working jig may be off (our rule). What a recorder makes of a
// mV depends on its amplifier.
func mostGain(jig string) float64 {
	if record.IsRecorder(jig) {
		return 120
	}
	return 40
}

// addChannels lists each channel's gain and its offset from the jig's, when channels
// were read one by one.
func (c *Calibration) addChannels(l *line) {
	c.Channels = []Channel{}
	if len(l.channels) < 2 {
		return
	}
	for i, ch := range l.channels {
		c.Channels = append(c.Channels, Channel{ch.number, factorOf(ch.a), ch.a - l.a, math.Sqrt(l.offsetVariance(i))})
	}
}

// addSlope says how the gain changes with the level, and warns when the change is
// significant.
func (c *Calibration) addSlope(l *line, coverage float64) {
	if !l.sloped {
		return
	}
	low, high := math.Inf(1), 0.0
	for _, r := range c.Readings {
		low, high = min(low, r.Source), max(high, r.Source)
	}
	s := &Slope{PerDB: l.b, Std: math.Sqrt(l.vb), Low: low, High: high}
	s.AtLow, _ = l.at(dbOf(low))
	s.AtHigh, _ = l.at(dbOf(high))
	c.Slope = s
	if t := solve.CoverageFactor(l.dof, coverage); math.Abs(s.PerDB) > t*s.Std {
		c.Warnings = append(c.Warnings, profiles.Sprintf(
			"the jig is not linear: its gain goes from %+.3f dB at %.4g mV to %+.3f dB at %.4g mV; loud and quiet strings are read differently", s.AtLow, low, s.AtHigh, high))
	}
}

// dbOf is a factor, or a level in mV, in dB; factorOf is its inverse.
func dbOf(factor float64) float64 { return float64(level.Ln(math.Log(factor)).DB()) }
func factorOf(db float64) float64 { return math.Exp(float64(level.DB(db).Ln())) }

func localDate(t time.Time) toml.LocalDate {
	return toml.LocalDate{Year: t.Year(), Month: int(t.Month()), Day: t.Day()}
}

// pointsOf converts readings to points of a calibration line: the correction, dB,
// against the source's level, dB re 1 mV.
func pointsOf(readings []Reading) []point {
	var out []point
	for _, r := range readings {
		x := dbOf(r.Source)
		out = append(out, point{r.String, x, x - dbOf(r.MV), float64(r.N), r.SD})
	}
	return out
}

// centre is the mean of the channels' mean levels, where the gain is known best.
func centre(points []point) float64 {
	var sum, n float64
	for _, ch := range channelsOf(points) {
		sum, n = sum+ch.x, n+1
	}
	return sum / n
}

// maxDOF is the most degrees of freedom that are written: JSON has no infinity.
const maxDOF = 1e6
