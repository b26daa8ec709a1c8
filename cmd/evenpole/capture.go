package main

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"strconv"
	"strings"
	"time"

	"evenpole/capture"
	"evenpole/capture/record"
	"evenpole/capture/record/disk"
	"evenpole/cmd/evenpole/terminal"
	"evenpole/jig"
	"evenpole/profiles"
	"evenpole/shop"

	"github.com/spf13/cobra"
)

type captureOptions struct {
	port    string
	baud    int
	mount   string
	purpose string
	takes   int
	plucks  int
	field   string
	who     string // --operator
	until   float64
	again   bool
	mounted bool // --as-mounted
	same    bool // --same-pickup
	quiet   bool
	bell    bool

	recording recordingOptions

	stdin io.Reader                          // where a person answers, if it is a terminal
	open  func() (io.ReadWriteCloser, error) // how to reach the jig; nil: the serial port
}

func newCaptureCmd(e *env) *cobra.Command {
	var o captureOptions
	cmd := &cobra.Command{
		Use:   "capture (--port PORT | --recording FILE) --mount MOUNT --purpose PURPOSE",
		Short: "Read a jig, or a recording, into the shop's record",
		Long: `Reads a jig into the shop's record: the quiet level first, then good takes of
every string; takes that were flagged, missed or lost are plucked again. A
reading is called kept once it is on the disk. The same command goes on with a
capture that was interrupted, and adds nothing to one that is complete; --again
starts another, as a repeat study needs. --until 0.1 makes as many takes of each string
as its mean needs to be known to 0.1 dB (standard error), and no more. Ctrl-C finishes the take and stops;
twice, it stops at once.

A string that does not sound at the note of the mount, to half a semitone, is another
string or out of tune. At a terminal you are asked at its first take; a script stops
there, unless --as-mounted says that the mount is right. A check cannot conform then.

A jig with an exciter drives each string as strongly as its exciter does: what a pluck
gives one string more than another, by pitch and weight, is not in such levels. 'plan'
works it out from notes and masses; a pickup that is captured on both kinds of jig tells
it, string by string, and then plucked and driven captures feed one model.

A pickup that the record has with another batch, with other heights of poles that are
no screws, in either coil, with one coil in place of two, with more strings, or, in a
check, under other strings only, may be another one under its id. At a terminal you are asked before anything is plucked; a script ends
there, unless --same-pickup says that it is the same one, changed.

Where standard output is a terminal, one screen is redrawn: what is next, the last take,
the strings with their balance as bars, what is left. Elsewhere each take is a line. It
ends with each string's level, with the 95 % interval of the mean by the takes' scatter
alone, its balance, and how much its takes scatter.

With --field the jig's probe is read instead: "all", or positions such as "1-6"
or "1,3,5".
` + recordingHelp + `

Caution: wear glasses where strings are under tension or a plucker runs; an exciter gets hot.

Caution: strong magnets pinch fingers and harm pacemaker wearers. Never hammer or
press the poles of a wound rod-magnet coil.`,
		Args:        cobra.NoArgs,
		Annotations: map[string]string{endsItself: ""},
		RunE: func(cmd *cobra.Command, _ []string) error {
			if o.until == 0 && cmd.Flags().Changed("until") {
				return badInput("until: expected a standard error of more than 0 dB, got 0")
			}
			if err := atLeastOne(cmd, "takes", "max-plucks"); err != nil {
				return err
			}
			if err := o.recording.check(cmd); err != nil {
				return err
			}
			o.stdin = cmd.InOrStdin()
			return runCapture(cmd.Context(), e, o)
		},
	}
	addPortFlags(cmd, &o.port, &o.baud)
	f := cmd.Flags()
	delete(f.Lookup("port").Annotations, cobra.BashCompOneRequiredFlag) // a recording takes the jig's place
	f.StringVar(&o.mount, "mount", "", "mount `file`: what is on the jig")
	f.StringVar(&o.purpose, "purpose", "", "`purpose`: model, batch, check or repeat")
	f.IntVar(&o.takes, "takes", 0, fmt.Sprintf("good takes a string (default %d), or field readings a position (default %d)", capture.DefaultTakes, capture.DefaultFieldTakes))
	f.Float64Var(&o.until, "until", 0, "as many takes a string as this standard error of its mean level needs, in `dB`, 40 at most (or --takes)")
	f.IntVar(&o.plucks, "max-plucks", 0, "give a string up after so many plucks (default three times the takes, and 5)")
	f.StringVar(&o.field, "field", "", "read the field at these `positions` instead")
	f.StringVar(&o.who, "operator", "", "`name` of who captures: goes into sessions.csv, and is remembered (default: as in the capture before; - for nobody)")
	f.BoolVar(&o.mounted, "as-mounted", false, "take the strings for those of the mount, however they sound")
	f.BoolVar(&o.same, "same-pickup", false, "take the pickup for the one that the record has under its id, however it was changed")
	f.BoolVar(&o.again, "again", false, "start a new session though there is one of the same purpose and mount")
	f.BoolVar(&o.quiet, "quiet", false, "tell of no take: only how it ends")
	f.BoolVar(&o.bell, "bell", false, "ring the terminal's bell: once where a take is refused, twice at the end")
	addRecordingFlags(cmd, &o.recording)
	required(cmd, "mount", "purpose")
	e.writes(cmd)
	return cmd
}

func runCapture(ctx context.Context, e *env, o captureOptions) error {
	s, dir, err := e.shopToBe()
	if err != nil {
		return err
	}
	mount, err := s.ReadMount(o.mount)
	if err != nil {
		return err
	}
	opt := capture.Options{Mount: mount, Purpose: record.Purpose(o.purpose), Takes: o.takes, Until: o.until, MaxPlucks: o.plucks, Again: o.again, AsMounted: o.mounted, Operator: o.who}
	opt.OffPitch = func(p *capture.PitchError) bool {
		return e.goesOn(ctx, o.stdin, p, "file its takes, and those of the strings after it, as the mount says all the same?")
	}
	if err := checkCapture(o); err != nil {
		return err
	}
	if opt.FieldPositions, err = positions(o.field, mount); err != nil {
		return err
	}
	if err := o.samePickup(ctx, e, s, opt); err != nil {
		return err
	}
	if o.recording.file != "" {
		return captureRecording(ctx, e, dir, o, opt)
	}
	watched := e.watch(&o)
	w, conn, err := openBoth(ctx, e, dir, o)
	if err != nil {
		return err
	}
	defer conn.Close()
	e.warn(w.Notices)
	watched.follow(ctx, dir, conn.Ident().Jig, &opt)
	shown := opt.Started
	opt.Started = func(r *capture.Result) {
		e.started(r, mount, o.who)
		shown(r)
	}
	result, err := capturing(ctx, e, w, conn, opt)
	watched.end()
	if err = closeWriter(w, withHint(err, resumeHint(err)...)); err != nil {
		if line := lineWords(result, conn.Stats()); line != "" {
			e.note("%s", line)
		}
		return err
	}
	return e.captured(result, conn.Stats(), o.until, mount, watched.live)
}

// capturing runs a capture. The end of ctx lets it finish the take that it is at.
func capturing(ctx context.Context, e *env, w *record.Writer, conn *jig.Conn, opt capture.Options) (*capture.Result, error) {
	opt.Stop = ctx.Done()
	defer context.AfterFunc(ctx, func() { e.note("finishing this take; Ctrl-C again stops at once") })()
	hard, release := gently(ctx)
	defer release()
	return capture.Run(hard, w, conn, opt)
}

// started says who captures, where that was remembered, which cores are no measured ones, and
// what readings of heights that were taken twice differ by.
func (e *env) started(r *capture.Result, m *profiles.Mount, named string) {
	complete := len(r.Missing()) == 0
	if r.Operator != "" && named == "" && !complete {
		e.note("operator %s, as in the capture before; --operator names another", r.Operator)
	}
	if cores := m.EstimatedCores(); cores != "" && !complete {
		e.warn([]string{cores})
	}
	for _, t := range []struct {
		what  string
		twice *profiles.Twice
	}{{"pole", m.PolesTwice}, {"string", m.StringsTwice}} {
		if t.twice != nil {
			e.note("%s", t.twice.Told(t.what))
		}
	}
}

// samePickup asks whether a pickup is the one that the record has under its id, where
// the mount says otherwise of it.
func (o *captureOptions) samePickup(ctx context.Context, e *env, s *shop.Shop, opt capture.Options) error {
	if o.same {
		return nil
	}
	err := s.SamePickup(opt.Mount, opt.Purpose, opt.Kind(), opt.Again)
	var other *shop.OtherPickup
	if errors.As(err, &other) && e.goesOn(ctx, o.stdin, other, "is it the same pickup, changed?") {
		return nil
	}
	if other == nil {
		return err
	}
	hints := []string{"give another pickup an id of its own; where it is the same one, changed, say --same-pickup",
		"where the record is wrong, 'evenpole record amend' files a session anew"}
	if opt.Mount.Poles == "" {
		hints = append(hints, `poles = "screw" in the mount says that they are there to be moved`)
	}
	return withHint(err, hints...)
}

// goesOn asks the person at the bench whether to go on in spite of what is said. Who is
// not at a terminal cannot be asked, and the end of ctx is a no.
func (e *env) goesOn(ctx context.Context, stdin io.Reader, said error, question string) bool {
	if f, ok := stdin.(*os.File); !ok || !terminal.Is(f) {
		return false
	}
	e.note("%v", said)
	fmt.Fprintf(e.stderr, "%s [y/N] ", question)
	answer := make(chan string, 1)
	go func() {
		line, _ := bufio.NewReader(stdin).ReadString('\n')
		answer <- strings.ToLower(strings.TrimSpace(line))
	}()
	select {
	case a := <-answer:
		return a == "y" || a == "yes"
	case <-ctx.Done():
		return false
	}
}

// openBoth takes hold of the shop and of the jig.
func openBoth(ctx context.Context, e *env, dir string, o captureOptions) (*record.Writer, *jig.Conn, error) {
	w, conn, err := capture.Open(shop.HasRecord(dir), func() (*record.Writer, error) { return openWriter(dir) }, func() (*jig.Conn, error) { return attach(ctx, e, o) })
	if err != nil && w != nil {
		err = closeWriter(w, err)
	}
	return w, conn, err
}

func checkCapture(o captureOptions) error {
	if _, err := record.ParsePurpose(o.purpose); err != nil {
		return badInput("purpose: %w", err)
	}
	return nil
}

// attach reaches the jig and settles who it is.
func attach(ctx context.Context, e *env, o captureOptions) (*jig.Conn, error) {
	open := o.open
	if open == nil {
		open = func() (io.ReadWriteCloser, error) { return jig.Open(o.port, o.baud) }
	}
	port, err := open()
	if err != nil {
		return nil, err
	}
	conn, err := jig.Attach(ctx, port, o.port, jig.Options{Event: e.lineEvents()})
	if ctx.Err() != nil {
		return nil, fmt.Errorf("port %q: stopped before the jig had answered", o.port)
	}
	if err != nil {
		return nil, err
	}
	id := conn.Ident()
	e.note("jig %s on %s: %s, %s", id.Jig, o.port, profiles.Count(id.Strings, "string"), id.Excite)
	if id.Excite == jig.Drive && o.field == "" {
		e.note("caution: an exciter gets hot, and its amplifier may be loud: follow their makers' instructions")
	}
	if day, ok := id.SimulatedDay(); ok {
		e.note("it is simulated, on a day of its own: rows are dated %s", day.Format(time.DateOnly))
	}
	return conn, nil
}

// toldBad is how many bad lines of one flaw are told each, with what was wrong.
const toldBad = 10

// lineEvents returns what tells of events on the line: the first of each kind, then how
// many there were, at 10, 100 and so on, so that no jig fills the screen or a log. The first
// bad lines of each flaw are told each, and so are restarts: a capture bounds these.
func (e *env) lineEvents() func(jig.Event) {
	type kind struct {
		jig.EventKind
		jig.Flaw
	}
	seen, next := map[kind]int{}, map[kind]int{}
	return func(ev jig.Event) {
		k := kind{ev.Kind, ev.Flaw}
		seen[k]++
		switch n := seen[k]; {
		case n == 1:
			next[k] = 10
			e.note("line: %v", ev)
		case n == next[k]:
			next[k] = 10 * n
			e.note("line: %v; number %d of its kind", ev, n)
		case ev.Kind == jig.EventRestart, ev.Kind == jig.EventBad && n < toldBad:
			e.note("line: %v", ev)
		}
	}
}

// resumeHint says how a capture that did not end well goes on.
func resumeHint(err error) []string {
	if !errors.As(err, new(*capture.StoppedError)) {
		return nil
	}
	if errors.Is(err, disk.ErrMoved) {
		return diskHint(err)
	}
	if errors.As(err, new(*capture.PitchError)) {
		return []string{"that take was not kept: name the mount that is on the jig, tune the string, or say --as-mounted where the mount is right",
			"quiet levels that were kept make no cell; 'evenpole record retract' takes them back"}
	}
	hints := []string{"what was kept stays; the same command goes on from here"}
	if errors.Is(err, jig.ErrUnplugged) {
		hints = append(hints, "under another --port too, if the jig comes back there: the record knows it by its own id (see 'evenpole jig list')")
	}
	return append(hints, diskHint(err)...)
}

// positions reads "all", "1-6", "1,3,5" and mixtures.
func positions(text string, m *profiles.Mount) ([]int, error) {
	if text == "" {
		return nil, nil
	}
	most := max(len(m.Strings), len(m.Magnets))
	if text == "all" {
		text = fmt.Sprintf("1-%d", most)
	}
	var out []int
	for _, part := range strings.Split(text, ",") {
		first, last, isRange := strings.Cut(part, "-")
		if !isRange {
			last = first
		}
		a, errA := strconv.Atoi(strings.TrimSpace(first))
		b, errB := strconv.Atoi(strings.TrimSpace(last))
		if errA != nil || errB != nil || a < 1 || b < a || b > most {
			return nil, badInput("field: expected positions from 1 to %d such as \"1-6\" or \"1,3\", or \"all\", got %q", most, part)
		}
		for i := a; i <= b; i++ {
			out = append(out, i)
		}
	}
	return out, nil
}

// progress shows each row once it is kept.
func (e *env) progress(p capture.Progress) {
	what := map[record.Mode]string{record.Pluck: "string", record.Drive: "string", record.Quiet: "quiet, string", record.Probe: "position"}[p.Mode]
	unit := "mV"
	if p.Mode == record.Probe {
		unit = "mT"
	}
	name := ""
	if p.Magnet != "" {
		name = ", magnet " + p.Magnet
	}
	line := fmt.Sprintf("kept %s %d%s: %.3f %s, %d of %d good", what, p.Number, name, p.Level, unit, p.Good, p.Wanted)
	if p.StandardError > 0 {
		line += fmt.Sprintf(", to %.2f dB", p.StandardError)
	}
	if p.Status != record.OK {
		line += fmt.Sprintf(" (%s)", p.Status)
	}
	if p.Note != "" {
		line += ": " + p.Note
	}
	e.note("%s", line)
}
