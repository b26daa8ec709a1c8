// Package terminal draws lines anew where they stand on a terminal.
//
//   - terminal.go: whether a file is a terminal, by system; screen.go: the lines
//     ([Screen]).
package terminal

import (
	"bytes"
	"fmt"
	"io"
	"os"
	"strings"
	"sync"
)

// Screen is lines at the foot of a terminal that are drawn anew where they stand, below
// what else is written. Other texts written to it stay above them. Once it is closed they
// are gone, and texts go where they went before.
//
// It uses these control sequences of ECMA-48 and DEC's terminals, which all have: cursor up
// (CUU), erase to the end (ED), bold (SGR), wrapping off and on (DECAWM), so that what is too
// long for the terminal is cut off and takes one line all the same.
type Screen struct {
	mu    sync.Mutex
	to    io.Writer // the terminal
	texts io.Writer // where other texts go
	open  bool
	lines []string
	drawn int // lines that stand there now
}

// New returns a screen on a terminal; other texts written to it go to texts.
func New(to, texts io.Writer) *Screen { return &Screen{to: to, texts: texts} }

// Write writes a text above the lines. After one that does not end its line, which asks
// something, they wait for the next draw.
func (s *Screen) Write(text []byte) (int, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if !s.open {
		return s.texts.Write(text)
	}
	s.erase()
	n, err := s.texts.Write(text)
	if bytes.HasSuffix(text, []byte("\n")) {
		s.redraw()
	}
	return n, err
}

// Draw shows these lines in place of those that stand there.
func (s *Screen) Draw(lines []string) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.open, s.lines = true, lines
	s.erase()
	s.redraw()
}

// Close takes the lines away.
func (s *Screen) Close() {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.open {
		s.erase()
	}
	s.open = false
}

// erase takes away what was drawn; s.mu is held.
func (s *Screen) erase() {
	if s.drawn > 0 {
		fmt.Fprintf(s.to, "\x1b[%dA\r\x1b[J", s.drawn)
	}
	s.drawn = 0
}

// redraw draws the lines; s.mu is held.
func (s *Screen) redraw() {
	fmt.Fprintf(s.to, "\x1b[?7l%s\n\x1b[?7h", strings.Join(s.lines, "\n"))
	s.drawn = len(s.lines)
}

// Bold makes a text stand out.
func Bold(text string) string { return "\x1b[1m" + text + "\x1b[0m" }

// CanRedraw reports whether lines can be drawn anew on what w writes to.
func CanRedraw(w io.Writer) bool {
	return Is(w) && os.Getenv("TERM") != "dumb" && prepare(w)
}

// Is reports whether a person reads on a terminal what w writes.
func Is(w io.Writer) bool {
	f, ok := w.(*os.File)
	return ok && isTerminal(f)
}
