package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"strings"
	"text/tabwriter"

	"evenpole/capture"
	"evenpole/capture/record/disk"
	"evenpole/fit/level"
	"evenpole/profiles"
	"evenpole/recording"
	"evenpole/report"
	"evenpole/shop"

	"github.com/spf13/cobra"
)

// recordingOptions are those of a capture from a recording.
type recordingOptions struct {
	file     string
	recorder string
	excite   string
	channel  int
	only     int
	yes      bool
	svg      string
}

const recordingHelp = `
With --recording a recording of plucks takes the jig's place: WAV or FLAC, or - for what a
recorder writes into a pipe. Each pluck is found, its string told by its pitch against the
mount's notes, and its level measured over half a second. What was understood is shown, and
filed with --yes; the same file twice adds nothing. Pluck one string at a time, ten times
each, a second apart, stop it before the next one, and begin with a second of silence. Strings
of one note (of a twelve-string) are told apart by recording each alone, with --string.

--excite says how they were plucked, as levels mean another thing by it: travel where each
string is pulled aside as far as the others (a pick of one stiffness, a jig with a stop),
force where each is let go at the same pull (a loop of thread that breaks, a soft pick).

A recorder does not know millivolts: levels compare with one another, balance is right, and
levels in mV are said to be none, unless 'evenpole calibrate' has made them true: takes that
are filed from then on are in mV, those before in thousandths of full scale, as each one's
note says. --recorder
names a recorder as it is set: recordings of one name, with no knob moved between them,
compare and go on with one session. A hand scatters; how much, and how many takes that asks
for, is said, and what is planned or judged by it allows for it.

Caution: turn monitors down before you plug in; use a recorder that runs on batteries, or one
whose mains supply is whole; nothing of mains voltage is to be opened.`

// addRecordingFlags adds the flags of a capture from a recording.
func addRecordingFlags(cmd *cobra.Command, o *recordingOptions) {
	f := cmd.Flags()
	f.StringVar(&o.file, "recording", "", "take the plucks of this `file`, WAV or FLAC, or - for standard input, in place of a jig's")
	f.StringVar(&o.recorder, "recorder", "", "`name` of the recorder as it is set: recordings of one name have levels that compare")
	f.StringVar(&o.excite, "excite", "", "how a recording's strings were plucked, a `kind`: travel or force")
	f.IntVar(&o.channel, "channel", 0, "`number` of the recording's channel (default 1)")
	f.IntVar(&o.only, "string", 0, "all plucks of the recording are of this `string`")
	f.BoolVar(&o.yes, "yes", false, "file what was understood of a recording")
	svgFlag(cmd, &o.svg, "draw a recording with its plucks into this `file`, .svg")
	for _, other := range []string{"port", "field", "max-plucks", "until"} {
		cmd.MarkFlagsMutuallyExclusive("recording", other)
	}
}

// check refuses what does not go together.
func (o *recordingOptions) check(cmd *cobra.Command) error {
	if o.file == "" {
		if !cmd.Flags().Changed("port") {
			return withHint(badInput(`expected a jig's --port or a --recording (required flag "port" not set)`), "'evenpole jig list' shows the ports; without a jig, a recorder does")
		}
		for _, flag := range []string{"recorder", "excite", "channel", "string", "yes", "svg"} {
			if cmd.Flags().Changed(flag) {
				return badInput("%s: it says something of a recording: expected --recording, got none", flag)
			}
		}
		return nil
	}
	if err := o.listening(nil).Check(); errors.Is(err, shop.ErrNoExcite) {
		return withHint(err, "travel: each string is pulled aside as far as the others; force: each is let go at the same pull; a pick in one hand is nearer to travel")
	} else if err != nil {
		return err
	}
	return atLeastOne(cmd, "channel", "string", "takes")
}

// listening is what the flags say of a recording.
func (o *recordingOptions) listening(m *profiles.Mount) *shop.Listening {
	return &shop.Listening{Mount: m, Recorder: o.recorder, Excite: profiles.Excitation(o.excite), Channel: o.channel, Only: o.only}
}

// captureRecording shows what a recording holds, and files it.
func captureRecording(ctx context.Context, e *env, dir string, o captureOptions, opt capture.Options) error {
	heard, wrong := hearRecording(ctx, e, dir, o, opt.Mount)
	if heard == nil {
		return wrong
	}
	if o.recording.svg != "" {
		picture := heard.Picture(o.recording.file, heard.Heard)
		if err := e.writeFile(o.recording.svg, func(f io.Writer) error { return report.DrawRecording(f, picture) }); err != nil {
			return err
		}
	}
	doc := newRecordingDocument(heard)
	if !e.json {
		e.showUnderstood(heard)
	}
	e.warn(heard.Notices)
	if wrong != nil {
		return wrong
	}
	if !o.recording.yes && !e.goesOn(ctx, o.stdin, fmt.Errorf("nothing is kept yet"), "file this?") {
		if e.json {
			return recordingJSON.write(e, doc)
		}
		e.print("nothing kept yet: --yes files %s", heard.Understood.Takes())
		return nil
	}
	result, err := fileRecording(e, dir, heard.Recording, opt)
	if err != nil {
		return err
	}
	return e.filed(doc, result)
}

// hearRecording listens to a recording, and tells of each pluck as it comes. One without any
// is returned with the error that says so.
func hearRecording(ctx context.Context, e *env, dir string, o captureOptions, m *profiles.Mount) (*shop.Heard, error) {
	in, name := o.stdin, "standard input"
	if o.recording.file != "-" {
		f, err := disk.OpenInput(o.recording.file)
		if err != nil {
			return nil, err
		}
		defer f.Close()
		in, name = f, o.recording.file
	}
	listening := ctx
	if o.recording.file != "-" {
		listening = context.WithoutCancel(ctx) // a file has an end of its own
	} else {
		defer context.AfterFunc(ctx, func() { e.note("the recording ends here") })()
	}
	heard, err := shop.Listen(listening, dir, name, in, o.recording.listening(m), func(p recording.Pluck) {
		if !o.quiet {
			e.note("heard at %s: %s", p.Release.Round(1e6), pluckWords(&p))
		}
	})
	if err == nil && o.recording.file != "-" && ctx.Err() != nil {
		return nil, errStopped
	}
	return heard, err
}

// pluckWords says what a pluck was heard as.
func pluckWords(p *recording.Pluck) string {
	text := fmt.Sprintf("string %d, %.1f Hz, %.1f dB below full scale", p.String, p.Freq, -float64(level.Of(p.RMS, p.Quiet).DB()))
	if p.Flags != 0 {
		text += "; not counted: " + strings.Join(append(capture.FlagWords(p.Flags), p.Notes...), "; ")
	}
	return text
}

// fileRecording adds a recording to the record.
func fileRecording(e *env, dir string, rec *capture.Recording, opt capture.Options) (*capture.Result, error) {
	defer disk.Hold()()
	w, err := openWriter(dir)
	if err != nil {
		return nil, err
	}
	e.warn(w.Notices)
	result, err := capture.AddRecording(w, rec, opt)
	var filed *capture.FiledError
	if errors.As(err, &filed) {
		err = withHint(&inputError{err}, "'evenpole record amend --session "+filed.Session+"' files it anew with another mount",
			"where it was filed wrongly otherwise, 'evenpole record retract --session "+filed.Session+"', then the same command once more")
	}
	return result, closeWriter(w, withHint(err, diskHint(err)...))
}

// showUnderstood prints what was understood of a recording.
func (e *env) showUnderstood(h *shop.Heard) {
	e.print("%s", h.Sound())
	tw := tabwriter.NewWriter(e.stdout, 0, 0, 2, ' ', tabwriter.AlignRight)
	fmt.Fprintln(tw, "string\tnote\tplucks\tgood\tdB re full scale\tbalance dB\tscatter dB\t+- dB\t")
	for _, s := range h.Strings {
		fmt.Fprintf(tw, "%d\t%s\t%d\t%d\t%s\t%s\t%s\t%s\t\n", s.String, s.Note, s.Plucks, s.Good, plus(s.Level), plus(s.Balance), plain(s.Scatter), plain(s.Within))
	}
	tw.Flush()
	for _, line := range h.Words() {
		e.print("%s", line)
	}
}

// recordingDocument is what --json prints of a recording.
type recordingDocument struct {
	Format   string           `json:"format"`
	Seconds  float64          `json:"seconds"`
	Jig      string           `json:"jig"`
	Boot     string           `json:"boot"`
	Noises   int              `json:"noises"`
	Scatter  level.Figure     `json:"scatter_db"`
	Wanted   int              `json:"wanted_takes"`
	Strings  []recordedString `json:"strings"`
	Warnings []string         `json:"warnings"`
	Session  string           `json:"session"` // "" where nothing was kept
	Already  bool             `json:"already_complete"`
	Kept     int              `json:"kept"`
}

type recordedString struct {
	String  int          `json:"string"`
	Note    string       `json:"note"`
	Plucks  int          `json:"plucks"`
	Good    int          `json:"good"`
	Level   level.Figure `json:"level_dbfs"`
	Balance level.Figure `json:"balance_db"`
	Scatter level.Figure `json:"scatter_db"`
	Within  level.Figure `json:"within_db"`
}

var recordingJSON = newDocument[recordingDocument]()

func newRecordingDocument(h *shop.Heard) recordingDocument {
	sound := h.Heard
	d := recordingDocument{Format: sound.Format.String(), Seconds: sound.Length.Seconds(), Jig: h.Jig, Boot: sound.Boot().String(), Noises: sound.Noises,
		Scatter: h.Scatter, Wanted: h.Wanted, Strings: []recordedString{}, Warnings: append([]string{}, h.Notices...)}
	for _, s := range h.Strings {
		d.Strings = append(d.Strings, recordedString(s))
	}
	return d
}

// filed says what was filed of a recording.
func (e *env) filed(doc recordingDocument, r *capture.Result) error {
	doc.Session, doc.Already, doc.Kept = r.Session, r.Already, r.Kept
	if e.json {
		return recordingJSON.write(e, doc)
	}
	if r.Already {
		e.print("session %s has this very recording already: nothing added", r.Session)
		return nil
	}
	e.print("session %s: %s kept", r.Session, profiles.Count(r.Kept, "take"))
	for _, t := range r.Missing() {
		e.print("%v: record more", t)
	}
	return nil
}
