package profiles

import (
	"strings"
	"unicode"
	"unicode/utf8"
)

// What a name and a note have to be, in words.
const (
	WantName = "a name: UTF-8 on one line, without control characters"
	WantNote = "a note: UTF-8 without control characters"
)

// IsName tells whether a text can be the name of something, whichever file or flag it
// comes from: UTF-8 on one line, without characters that steer a terminal or turn the
// text round (control characters, ends of lines and paragraphs, and the marks of
// Unicode's bidirectional algorithm, UAX #9), so that it can be printed anywhere.
func IsName(text string) bool {
	return utf8.ValidString(text) && !strings.ContainsFunc(text, steers)
}

// IsNote tells likewise whether a text can be a note, which may have lines and tabs.
func IsNote(text string) bool {
	return utf8.ValidString(text) && !strings.ContainsFunc(text, func(r rune) bool { return steers(r) && !strings.ContainsRune("\n\r\t", r) })
}

func steers(r rune) bool {
	return unicode.In(r, unicode.Cc, unicode.Zl, unicode.Zp, unicode.Bidi_Control)
}
