package capture

import (
	"fmt"
	"math"
	"strings"
	"time"

	"evenpole/capture/record"
	"evenpole/jig"
	"evenpole/profiles"
	"evenpole/recording"
)

// Recording is plucks that were heard in a recording, to be filed as takes.
type Recording struct {
	Jig    string // see record.RecorderJig
	Excite profiles.Excitation
	Heard  *recording.Heard
	Scale  *Scale // nil: no calibration of the recorder is known
}

// Scale is what a calibration says of a recorder: by how much levels that are in thousandths
// of full scale have to be multiplied to be mV, by string, and since when.
type Scale struct {
	Of         func(str int) float64
	Calibrated time.Time
}

// FullScaleMV is what a recorder's full scale is in calibrations, and without one in the
// record, as if it were mV: levels are shares of it in thousandths.
const FullScaleMV = 1000

// FullScale is what the recorder's full scale is for a string in the record.
func (r *Recording) FullScale(str int) float64 {
	if r.Scale == nil {
		return FullScaleMV
	}
	return FullScaleMV * r.Scale.Of(str)
}

// scaleNote is the note of every take: what unit its level is in.
func (r *Recording) scaleNote() string {
	if r.Scale == nil {
		return record.RelativeNote
	}
	return "level in mV by the calibration of " + r.Scale.Calibrated.Format(time.DateOnly)
}

// RecordingNotes are the pitches in Hz by which a mount's strings are told apart in a
// recording, 0 where the mount gives no note. only is the string that all plucks are
// of, 0 for any. An error says what the mount lacks.
func RecordingNotes(m *profiles.Mount, only int) ([]float64, error) {
	if m.Loose() {
		return nil, &SetupError{m.File, "expected a pickup under strings, got loose magnets: nothing of these is heard"}
	}
	if only < 0 || only > len(m.Strings) {
		return nil, &SetupError{m.File, fmt.Sprintf("string: expected 1 to %d, got %d", len(m.Strings), only)}
	}
	out := make([]float64, len(m.Strings))
	for i, s := range m.Strings {
		hz, err := profiles.Pitch(s.Note)
		if err != nil && only == 0 {
			return nil, &SetupError{m.File, fmt.Sprintf("string %d: its note, for a recording tells strings by their pitch: %v", i+1, err)}
		}
		if err == nil {
			out[i] = hz
		}
	}
	return out, nil
}

// Rows are the rows that the plucks of a recording make, as they would be filed; began is
// when the recording did.
func (r *Recording) Rows(m *profiles.Mount, began time.Time) []record.Reading {
	ident := jig.Ident{Jig: r.Jig, Boot: r.Heard.Boot(), Strings: jig.MaxStrings, FullScaleUV: math.MaxInt64, Excite: jig.Excite(r.Excite)}
	takes := map[int]int{}
	var out []record.Reading
	for i, p := range r.Heard.Plucks {
		if p.String == 0 {
			continue
		}
		takes[p.String]++
		at := p.Release + recording.WindowDelay + p.Window
		micro := func(share float64) int64 { return int64(math.Round(1000 * r.FullScale(p.String) * share)) }
		x := jig.Reading{Boot: ident.Boot, Seq: uint32(i + 1), Millis: uint32(at.Milliseconds()), String: p.String, Take: takes[p.String], Mode: jig.Pluck,
			RMSUV: micro(p.RMS), PeakUV: micro(p.Peak), FreqMHz: int64(math.Round(1000 * p.Freq)), WindowMS: p.Window.Milliseconds(), Flags: p.Flags}
		row, notes := sentReading(x, ident, began.Add(at))
		row.SetMount(m)
		row.Quiet = millis(micro(p.Quiet))
		if row.RMS <= row.Quiet {
			notes = append(notes, tooQuiet)
		}
		row.Note = joinNotes(append(append(notes, p.Notes...), r.scaleNote()))
		out = append(out, row)
	}
	return out
}

// FiledError says that the same recording stands in the record already, and not as what
// it was to be filed as now.
type FiledError struct{ Session, Jig, Why string }

func (e *FiledError) Error() string {
	return fmt.Sprintf("this very recording was filed before, in session %s, %s", e.Session, e.Why)
}

// AddRecording files the plucks of a recording as a session's takes, or adds them to
// the latest session of the same recorder, purpose and mount where the recorder has a name,
// opt does not say Again and that session's levels are in the same unit, mV or thousandths of
// full scale. The same recording once more adds nothing, or what is missing of
// it, as its session has levels; one whose takes were all taken back is filed as if it had not
// been. The Result says how many good takes each string has, whether they are enough or not.
func AddRecording(w *record.Writer, rec *Recording, opt Options) (*Result, error) {
	opt = opt.withDefaults()
	if opt.Now == nil {
		opt.Now = time.Now
	}
	began := opt.Now().Add(-rec.Heard.Length)
	r := &run{shop: w, opt: opt, ident: jig.Ident{Jig: rec.Jig, Boot: rec.Heard.Boot(), Strings: jig.MaxStrings, Excite: jig.Excite(rec.Excite)}, result: &Result{}}
	for s := range opt.Mount.Strings {
		r.steps = append(r.steps, step{TakeGroup: record.TakeGroup{Mode: record.Pluck, Number: s + 1}, wanted: opt.Takes})
	}
	if err := r.findRecorded(rec.Scale); err != nil {
		return r.result, err
	}
	filed := *rec
	if r.relative {
		filed.Scale = nil
	}
	rows := filed.Rows(opt.Mount, began)
	var missing []record.Reading
	for _, row := range rows {
		if !r.seen[row.Seq] {
			missing = append(missing, row)
		}
	}
	if r.result.Already = len(missing) == 0; r.result.Already {
		r.result.Complete = len(r.result.Missing()) == 0
		return r.result, nil
	}
	if opt.Started != nil {
		opt.Started(r.result)
	}
	err := r.fileRecorded(missing)
	r.result.Complete = len(r.result.Missing()) == 0
	if err != nil {
		err = &StoppedError{r.result.Session, nil, err}
	}
	return r.result, err
}

// findRecorded finds the session that a recording belongs to.
func (r *run) findRecorded(scale *Scale) error {
	if err := r.readHolds(); err != nil {
		return err
	}
	session, jig := r.holds.Recorded(r.ident.Boot.String())
	filed := &record.History{}
	if session != "" {
		var err error
		if filed, err = r.shop.History(jig, r.ident.Boot.String(), session); err != nil {
			return err
		}
	}
	if back := len(filed.Seen) > 0 && !filed.Stands; session == "" || back {
		session, err := r.sessionToGoOn(scale)
		if err == nil {
			err = r.resumeSession(session)
		}
		if back {
			clear(r.seen)
		}
		return err
	}
	var why []string
	if jig != r.ident.Jig {
		of := "a recorder without a name"
		if name := strings.TrimPrefix(strings.TrimPrefix(jig, record.RecorderJig("")), "-"); name != "" {
			of = fmt.Sprintf("recorder %q", name)
		}
		why = append(why, "as of "+of)
	}
	if !r.holds.Is(session, r.opt.Purpose, r.mount) {
		why = append(why, "of another purpose or mount")
	}
	if filed.Excite != "" && filed.Excite != profiles.Excitation(r.ident.Excite) {
		why = append(why, "as plucked by "+string(filed.Excite))
	}
	if why != nil {
		return &FiledError{session, jig, strings.Join(why, " and ")}
	}
	return r.resumeSession(session)
}

// sessionToGoOn is the session that another recording of the recorder goes on with; "" for
// none.
func (r *run) sessionToGoOn(scale *Scale) (string, error) {
	if r.opt.Again || r.ident.Jig == record.RecorderJig("") {
		return "", nil
	}
	session := r.holds.LatestOf(r.ident.Jig, r.opt.Purpose, r.mount)
	if session == "" {
		return "", nil
	}
	h, err := r.shop.History(r.ident.Jig, r.ident.Boot.String(), session)
	if err != nil || h.Relative != (scale == nil) {
		return "", err
	}
	return session, nil
}

// fileRecorded writes the rows of a recording.
func (r *run) fileRecorded(rows []record.Reading) error {
	if err := r.keepMount(); err != nil {
		return err
	}
	if err := r.beginHold(0); err != nil {
		return err
	}
	for i := range rows {
		row := &rows[i]
		row.Session, row.Purpose = r.result.Session, r.opt.Purpose
		if err := r.shop.AddReading(row); err != nil {
			return err
		}
		c := row.AsTake()
		why := refusal(row, c.Good)
		r.countRow(row.Seq, true, c, why)
		if i, ok := r.index[c.TakeGroup]; ok {
			r.result.Tallies[i].Made++
		}
		r.report(c.TakeGroup, Progress{Session: row.Session, Level: row.RMS, Status: row.Status, Note: row.Note, Refused: why, Reading: row})
	}
	return r.addHold(record.Hold{Time: r.opt.Now(), Jig: r.ident.Jig, Boot: r.ident.Boot.String(), AfterSeq: rows[len(rows)-1].Seq})
}
