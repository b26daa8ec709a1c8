package main

import (
	"context"
	"fmt"
	"io"
	"math"
	"strings"
	"text/tabwriter"
	"time"

	"evenpole/capture"
	"evenpole/capture/record"
	"evenpole/cmd/evenpole/terminal"
	"evenpole/fit/level"
	"evenpole/profiles"
	"evenpole/shop"
)

// watched is a capture as the person who makes it sees it: one screen that is redrawn
// where standard output is a terminal, a line a take where it is not.
type watched struct {
	env    *env
	quiet  bool
	bell   io.Writer        // the terminal whose bell rings; nil for none
	screen *terminal.Screen // nil where lines are printed
	about  string
	live   *shop.Live
}

// watch prepares to show a capture, before anything is told of it.
func (e *env) watch(o *captureOptions) *watched {
	w := &watched{env: e, quiet: o.quiet}
	for _, to := range []io.Writer{e.stderr, e.stdout} {
		if o.bell && terminal.Is(to) {
			w.bell = to
		}
	}
	if !o.quiet && !e.json && terminal.CanRedraw(e.stdout) {
		w.screen = terminal.New(e.stdout, e.stderr)
		if terminal.Is(e.stderr) {
			e.stderr = w.screen
		}
	}
	return w
}

// follow has a capture of a mount into the shop in dir shown.
func (w *watched) follow(ctx context.Context, dir, jig string, opt *capture.Options) {
	w.live = shop.NewLive(opt.Mount)
	opt.Started = func(r *capture.Result) {
		var rows []record.Reading
		of, err := shop.Open(dir)
		if err == nil {
			rows, err = of.RowsBefore(ctx, r)
		}
		if err != nil {
			w.env.note("what was captured before is not shown: %v", err)
		}
		w.live.Begun(r, rows)
		w.about = fmt.Sprintf("%s, for %s, session %s, jig %s", mounted(opt.Mount), opt.Purpose, r.Session, jig)
		w.show()
	}
	opt.Progress = func(p capture.Progress) {
		w.live.Landed(p, time.Now())
		if p.Refused != "" {
			w.ring(1)
		}
		if w.screen == nil && !w.quiet {
			w.env.progress(p)
		}
		w.show()
	}
}

// mounted is what a mount has on the jig.
func mounted(m *profiles.Mount) string {
	if m.Pickup == "" {
		return "magnets of batch " + m.Batch
	}
	return "pickup " + m.Pickup
}

// show draws the screen, if there is one.
func (w *watched) show() {
	if w.screen != nil {
		w.screen.Draw(screenLines(w.live, w.about))
	}
}

// end takes the screen away, and rings that the capture has ended.
func (w *watched) end() {
	if w.screen != nil {
		w.screen.Close()
	}
	w.ring(2)
}

func (w *watched) ring(times int) {
	if w.bell != nil {
		fmt.Fprint(w.bell, strings.Repeat("\a", times))
	}
}

// screenLines are the lines of the screen: what is next, the last take, the strings with
// their balance as bars, what is left.
func screenLines(l *shop.Live, about string) []string {
	what, more := l.Next()
	lines := []string{"", about, "", terminal.Bold(what) + "  " + more}
	last := "none yet"
	if n := len(l.Takes); n > 0 {
		t := l.Takes[n-1]
		last = fmt.Sprintf("%s: %s, %s", t.What(), t.Size(), t.Fate())
	}
	lines = append(lines, "last take: "+last, "")
	var b strings.Builder
	tw := tabwriter.NewWriter(&b, 0, 0, 2, ' ', tabwriter.AlignRight)
	fmt.Fprintf(tw, "string\tnote\ttakes\tbalance dB\t%s\tlevel mV\t+- dB\tquiet mV\t\n", barScale())
	for _, s := range l.Strings() {
		fmt.Fprintf(tw, "%d\t%s\t%d of %d\t%s\t%s\t%s\t%s\t%s\t\n", s.Number, orDash(s.Note), s.Good, s.Wanted, plus(s.Balance), barOf(s.Balance), plain(s.Level), plain(s.Within), known("%.3f", s.Quiet))
	}
	tw.Flush()
	lines = append(lines, strings.Split(strings.TrimRight(b.String(), "\n"), "\n")...)
	return append(lines, "", l.Left()+"; Ctrl-C finishes the take and stops")
}

// A bar has barHalf letters either side of its middle, and stands for barDB.
const (
	barHalf = 12
	barDB   = 6.0
)

// barScale is the head of a column of bars.
func barScale() string {
	ends := profiles.Sprintf("%+.0f", barDB)
	return fmt.Sprintf("%.0f%s0%s%s", -barDB, strings.Repeat(" ", barHalf-len(ends)), strings.Repeat(" ", barHalf-len(ends)), ends)
}

// barOf draws a balance from the middle; what is beyond the scale ends in an arrow.
func barOf(balance level.Figure) string {
	bar := []byte(strings.Repeat(".", barHalf) + "|" + strings.Repeat(".", barHalf))
	if !balance.Known() {
		return string(bar)
	}
	db := float64(balance)
	n, step := int(math.Round(math.Abs(db)/barDB*barHalf)), 1
	if db < 0 {
		step = -1
	}
	for i := 1; i <= min(n, barHalf); i++ {
		bar[barHalf+i*step] = '#'
	}
	switch {
	case n > barHalf && step > 0:
		bar[2*barHalf] = '>'
	case n > barHalf:
		bar[0] = '<'
	}
	return string(bar)
}

// printStrings prints how the strings of a capture came out.
func (e *env) printStrings(l *shop.Live) {
	tw := tabwriter.NewWriter(e.stdout, 0, 0, 2, ' ', tabwriter.AlignRight)
	rows := 0
	fmt.Fprintln(tw, "string\tnote\ttakes\tlevel mV\t+- dB\tbalance dB\tscatter dB\tquiet mV\t")
	for _, s := range l.Strings() {
		if s.Level.Known() {
			rows++
			fmt.Fprintf(tw, "%d\t%s\t%d\t%s\t%s\t%s\t%s\t%s\t\n", s.Number, orDash(s.Note), s.Takes, plain(s.Level), plain(s.Within), plus(s.Balance), plain(s.Scatter), known("%.3f", s.Quiet))
		}
	}
	if rows > 0 {
		e.print("")
		tw.Flush()
	}
}
