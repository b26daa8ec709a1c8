package shop

import (
	"context"
	"errors"
	"fmt"
	"io"
	"math"
	"slices"
	"strings"
	"time"

	"evenpole/capture"
	"evenpole/capture/record"
	"evenpole/fit/level"
	"evenpole/profiles"
	"evenpole/recording"
	"evenpole/report"

	"gonum.org/v1/gonum/stat/distuv"
)

// RecordedString is what was understood of one string in a recording. What its takes do not tell
// is not known.
type RecordedString struct {
	String  int
	Note    string       // of the mount
	Plucks  int          // all of them
	Good    int          // those that count
	Level   level.Figure // dB re full scale, mean of the good takes
	Balance level.Figure // dB, against the mean of all strings
	Scatter level.Figure // dB, standard deviation of a take
	Within  level.Figure // dB either side: 95 % interval of the mean by the scatter alone
}

// RecordedWithin is how sure of a string's level takes are wanted to make, dB: half of the
// usual tolerance's quarter, so that the hand adds little to what setting a height does.
const RecordedWithin = 0.25

// mostWanted is how many takes are asked for at most.
const mostWanted = 1000

// Understood is what was understood of a recording, before anything of it is kept.
type Understood struct {
	Rows    []record.Reading // as they would be filed
	Strings []RecordedString
	Scatter level.Figure // dB, standard deviation of a take, of all strings
	Wanted  int          // good takes of a string until that interval is RecordedWithin; 0: not known
	Notices []string     // for people
}

// Listening says what a recording is of, and how it was made.
type Listening struct {
	Mount    *profiles.Mount
	Recorder string              // its name as it is set; "" for one that has none
	Excite   profiles.Excitation // how the strings were plucked: travel or force
	Channel  int                 // of the file; 0: the first
	Only     int                 // all plucks are of this string; 0: pitch tells them
}

// ErrNoExcite is within the error of a Listening that does not say how strings were plucked.
var ErrNoExcite = errors.New("how the strings were plucked")

// Check refuses what no recording can be of. The error is an [*InputError].
func (l *Listening) Check() error {
	if _, err := profiles.OneOf(string(l.Excite), []profiles.Excitation{profiles.Travel, profiles.Force}); err != nil {
		return &InputError{fmt.Errorf("excite: %w: %w", ErrNoExcite, err)}
	}
	if !profiles.IsName(l.Recorder) || strings.TrimSpace(l.Recorder) != l.Recorder {
		return bad("recorder: expected %s, got %q", profiles.WantName, l.Recorder)
	}
	return nil
}

// Heard is a recording as it would be filed, with what was understood of it.
type Heard struct {
	*capture.Recording
	*Understood
}

// Listen hears a recording of a mount's strings; dir is the folder of the record that it would
// be filed in, name its own. Every pluck is told as it is found. What is no recording is an
// [*InputError].
func Listen(ctx context.Context, dir, name string, in io.Reader, l *Listening, told func(recording.Pluck)) (*Heard, error) {
	notes, err := capture.RecordingNotes(l.Mount, l.Only)
	if err != nil {
		return nil, err
	}
	sound, err := recording.Hear(ctx, name, in, recording.Options{Notes: notes, Only: l.Only, Channel: l.Channel}, told)
	if errors.As(err, new(*recording.FormatError)) || errors.As(err, new(*recording.ChannelError)) {
		err = &InputError{err}
	}
	if err != nil {
		return nil, err
	}
	h := &Heard{Recording: &capture.Recording{Jig: record.RecorderJig(l.Recorder), Excite: l.Excite, Heard: sound}}
	if h.Scale, err = ScaleOf(dir, h.Jig); err != nil {
		return nil, err
	}
	if h.Understood, err = UnderstandRecording(h.Recording, l.Mount); err != nil {
		return nil, err
	}
	if cores := l.Mount.EstimatedCores(); cores != "" {
		h.Notices = append(h.Notices, cores)
	}
	if len(h.Understood.Rows) == 0 {
		return h, bad("%s: no pluck was heard in %s of sound", name, sound.Length.Round(1e8))
	}
	return h, nil
}

// Sound says how long a recording of which format is, and how many plucks are in it.
func (h *Heard) Sound() string {
	return fmt.Sprintf("%s: %s of sound, %s", h.Heard.Format, h.Heard.Length.Round(1e8), profiles.Count(len(h.Understood.Rows), "pluck"))
}

// Words says what the levels of a recording are worth, a line each.
func (h *Heard) Words() (lines []string) {
	if h.Scale != nil {
		lines = append(lines, fmt.Sprintf("levels are in mV, as recorder %q was calibrated on %s", h.Jig, h.Scale.Calibrated.Format(time.DateOnly)))
	} else {
		lines = append(lines, fmt.Sprintf("levels are relative: millivolts are none, unless this recorder (jig %q) is calibrated", h.Jig))
	}
	if h.Scatter.Known() {
		lines = append(lines, fmt.Sprintf("a take scatters by %.2f dB: %s a string make its level sure to %.2f dB (95 %%)", float64(h.Scatter), profiles.Count(h.Wanted, "good take"), RecordedWithin))
	}
	return lines
}

// ScaleOf is what the calibrations that stand beside a shop's record say of a recorder now,
// by its name as a jig; nil where they say nothing.
func ScaleOf(dir, jig string) (*capture.Scale, error) {
	book, err := folder(dir).gains()
	if err != nil {
		return nil, err
	}
	c := book.At(jig, time.Now())
	if c == nil {
		return nil, nil
	}
	return &capture.Scale{Of: c.Of, Calibrated: c.Time}, nil
}

// UnderstandRecording says what a recording holds of a mount's strings.
func UnderstandRecording(r *capture.Recording, m *profiles.Mount) (*Understood, error) {
	out := &Understood{Rows: r.Rows(m, time.Now().Add(-r.Heard.Length)), Scatter: level.Figure(math.NaN()), Notices: r.Heard.Notices}
	levels, err := Levels(out.Rows)
	if err != nil {
		return nil, err
	}
	unknown := level.Figure(math.NaN())
	for i, s := range m.Strings {
		out.Strings = append(out.Strings, RecordedString{String: i + 1, Note: s.Note, Level: unknown, Balance: unknown, Scatter: unknown, Within: unknown})
	}
	sums := make([]level.DB, len(out.Strings)) // of good takes
	for _, row := range out.Rows {
		out.Strings[row.String-1].Plucks++
		if row.AsTake().Good {
			full := r.FullScale(row.String)
			sums[row.String-1] += level.Of(row.RMS/full, row.Quiet/full).DB()
		}
	}
	var squares, freedom float64
	for _, l := range levels {
		s := &out.Strings[l.String-1]
		s.Good, s.Balance, s.Scatter, s.Within = l.Takes, l.Balance, l.Scatter, l.Within
		s.Level = level.Figure(float64(sums[l.String-1]) / float64(l.Takes))
		if l.Takes > 1 {
			freedom += float64(l.Takes - 1)
			squares += float64(l.Takes-1) * float64(l.Scatter) * float64(l.Scatter)
		}
	}
	if freedom > 0 {
		out.Scatter = level.Figure(math.Sqrt(squares / freedom))
		out.Wanted = takesFor(float64(out.Scatter))
	}
	out.notices(r.Heard)
	return out, nil
}

// takesFor is how many takes of a scatter make their mean as sure as is wanted.
func takesFor(scatter float64) int {
	for n := 2; n < mostWanted; n++ {
		t := distuv.StudentsT{Sigma: 1, Nu: float64(n - 1)}.Quantile(0.975)
		if t*scatter/math.Sqrt(float64(n)) <= RecordedWithin {
			return n
		}
	}
	return mostWanted
}

// Good is how many plucks count.
func (r *Understood) Good() (n int) {
	for _, s := range r.Strings {
		n += s.Good
	}
	return n
}

// Takes says how many takes would be filed, and how many of them count where not all do.
func (r *Understood) Takes() string {
	all := profiles.Count(len(r.Rows), "take")
	if good := r.Good(); good < len(r.Rows) {
		all += fmt.Sprintf(", of which %d count", good)
	}
	return all
}

// notices says what to do about a recording.
func (r *Understood) notices(h *recording.Heard) {
	note := func(format string, args ...any) { r.Notices = append(r.Notices, profiles.Sprintf(format, args...)) }
	hums := slices.DeleteFunc(slices.Clone(h.Plucks), func(p recording.Pluck) bool { return p.Hum == 0 })
	if len(hums) > 0 {
		note("hum of the mains (%g Hz) drowns %s: turn the pickup, and take it and its cable away from transformers, lamps and screens, look whether its shield is earthed, and record again",
			hums[0].Hum, profiles.Count(len(hums), "pluck"))
	}
	if h.Noises > 0 {
		note("taken for no plucks: %s without a pitch", profiles.Count(h.Noises, "sound"))
	}
	var quiet []string
	for _, s := range r.Strings {
		if s.Good > 0 && float64(s.Level) < -60 {
			quiet = append(quiet, fmt.Sprint(s.String))
		}
	}
	if quiet != nil {
		note("strings %s are more than 60 dB below full scale, where the record's steps begin to count: record them louder", profiles.Listed(quiet))
	}
	tuned := map[string][]int{}
	for i, s := range r.Strings {
		if s.Note != "" {
			tuned[s.Note] = append(tuned[s.Note], i+1)
		}
	}
	for i, s := range r.Strings {
		if twins := tuned[s.Note]; len(twins) > 1 && twins[0] == i+1 {
			note("strings %v are all tuned to %s and cannot be told apart by ear: record each alone, with --string", twins, s.Note)
		}
	}
}

// Picture is a recording as it is drawn.
func (r *Understood) Picture(file string, h *recording.Heard) report.RecordingPicture {
	p := report.RecordingPicture{File: file, Format: h.Format.String(), Seconds: h.Length.Seconds(), Stretch: h.Envelope.Seconds(), Low: h.Envelope.Low, High: h.Envelope.High}
	for _, k := range h.Plucks {
		m := report.RecordedPluck{At: k.Release.Seconds(), From: (k.Release + recording.WindowDelay).Seconds(), To: (k.Release + recording.WindowDelay + k.Window).Seconds(),
			String: k.String, Level: 20 * math.Log10(k.RMS)}
		m.Wrong = strings.Join(append(capture.FlagWords(k.Flags), k.Notes...), "; ")
		p.Plucks = append(p.Plucks, m)
	}
	return p
}
