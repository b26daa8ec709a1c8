package main

import (
	"context"
	"fmt"
	"io"
	"strings"
	"time"

	"evenpole/jig"
	"evenpole/profiles"

	"github.com/spf13/cobra"
)

type talkOptions struct {
	port  string
	baud  int
	pluck int
	lines int
}

func newJigTalkCmd(e *env) *cobra.Command {
	var o talkOptions
	cmd := &cobra.Command{
		Use:   "talk --port PORT",
		Short: "Say what a jig is, then show its lines, decoded, as they come",
		Long: `For bringing a jig up: asks the jig on a port what it is, then shows every line,
decoded, and every bad line with what is wrong with it, until Ctrl-C. With
--pluck N that string is plucked once first. Nothing is recorded.`,
		Args:        cobra.NoArgs,
		Annotations: map[string]string{endsItself: ""},
		RunE:        func(cmd *cobra.Command, _ []string) error { return runJigTalk(cmd.Context(), e, o) },
	}
	addPortFlags(cmd, &o.port, &o.baud)
	cmd.Flags().IntVar(&o.pluck, "pluck", 0, "pluck string `N` once")
	cmd.Flags().IntVar(&o.lines, "lines", 0, "stop after `N` lines (0: until Ctrl-C)")
	return cmd
}

func runJigTalk(ctx context.Context, e *env, o talkOptions) error {
	port, err := jig.Open(o.port, o.baud)
	if err != nil {
		return err
	}
	return talk(ctx, e, port, o)
}

// silence is how long a port may say nothing that is a line.
const silence = 5 * time.Second

// talk shows the lines of a port and closes it. It uses no conversation: what is
// wrong with a jig that is being brought up has to be seen, not smoothed over.
func talk(ctx context.Context, e *env, port io.ReadWriteCloser, o talkOptions) error {
	id := uint32(time.Now().Unix() % 1e6 * 100)
	commands := []jig.Command{{ID: id, Verb: jig.VerbIdent}}
	if o.pluck > 0 {
		c := jig.PluckCommand(o.pluck, 1)
		c.ID = id + 1
		commands = append(commands, c)
	}
	var lines []byte
	for _, c := range commands {
		line := c.AppendLine(nil)
		e.print("> %s", strings.TrimSpace(string(line)))
		lines = append(lines, line...)
	}
	ctx, done := context.WithCancel(ctx)
	defer done()
	context.AfterFunc(ctx, func() { port.Close() }) // on its own: a port may not let go at once
	return e.showLines(ctx, listen(ctx, port, lines), o)
}

// heard is what a port had to say, or how it ended.
type heard struct {
	text []byte
	err  error
}

// listen sends lines and passes on what a port says, until ctx is done. A call of
// the port that does not return keeps nobody else waiting.
func listen(ctx context.Context, port io.ReadWriter, lines []byte) <-chan heard {
	out := make(chan heard)
	pass := func(h heard) bool {
		select {
		case out <- h:
			return h.err == nil
		case <-ctx.Done():
			return false
		}
	}
	go func() {
		if _, err := port.Write(lines); err != nil {
			pass(heard{err: err})
			return
		}
		for {
			buf := make([]byte, 4096)
			n, err := port.Read(buf)
			if !pass(heard{buf[:n], err}) {
				return
			}
		}
	}()
	return out
}

// showLines prints what a port says until enough lines came, the port ends, it
// falls silent or ctx is done.
func (e *env) showLines(ctx context.Context, port <-chan heard, o talkOptions) error {
	count := 0
	decoder := jig.NewDecoder()
	show := func(line string) {
		if o.lines == 0 || count < o.lines {
			e.print("%s", line)
		}
		count++
	}
	quiet := time.NewTimer(silence)
	defer quiet.Stop()
	for {
		select {
		case <-ctx.Done():
			return nil
		case <-quiet.C:
			return withHint(fmt.Errorf("port %s: no good line for %v", o.port, silence),
				"is this the jig's port, is it powered, and does it speak at the right rate?")
		case h := <-port:
			decoder.Feed(h.text,
				func(l *jig.Line) {
					quiet.Reset(silence)
					show("< " + describe(l))
				},
				func(b *jig.BadLine) { show("! " + b.Error()) })
			switch {
			case ctx.Err() != nil:
				return nil
			case h.err != nil:
				return fmt.Errorf("port %s: %w", o.port, h.err)
			case o.lines > 0 && count >= o.lines:
				return nil
			}
		}
	}
}

// describe puts a line into words.
func describe(l *jig.Line) string {
	switch l.Kind {
	case jig.KindIdent:
		x := l.Ident
		return fmt.Sprintf("jig %s, boot %v, firmware %s: %s, full scale %.1f mV, excite %s",
			x.Jig, x.Boot, x.Firmware, profiles.Count(x.Strings, "string"), float64(x.FullScaleUV)/1000, x.Excite)
	case jig.KindReading:
		x := l.Reading
		return fmt.Sprintf("reading %d: string %d, mode %c, take %d: %.3f mV RMS, peak %.3f mV, %.1f Hz, %d ms, flags %X",
			x.Seq, x.String, x.Mode, x.Take, float64(x.RMSUV)/1000, float64(x.PeakUV)/1000, float64(x.FreqMHz)/1000, x.WindowMS, uint32(x.Flags))
	case jig.KindField:
		x := l.Field
		return profiles.Sprintf("field %d: position %d, take %d: %.2f mT", x.Seq, x.Position, x.Take, float64(x.FieldUT)/1000)
	case jig.KindStatus:
		return fmt.Sprintf("alive: last reading %d, %.3f s since power-up", l.Status.Seq, float64(l.Status.Millis)/1000)
	case jig.KindAnswer:
		if l.Answer.Code == jig.Done {
			return fmt.Sprintf("command %d done", l.Answer.ID)
		}
		return fmt.Sprintf("command %d failed: %d %s", l.Answer.ID, l.Answer.Code, l.Answer.Text)
	}
	return "a command: is another host on this line?"
}
