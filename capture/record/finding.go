package record

import "fmt"

// What a Finding can be.
const (
	Altered    = "altered"    // a row does not say what it said when it was written
	Missing    = "missing"    // a row that was written is gone
	Added      = "added"      // a row was not written by this program, as far as the seals tell
	Unreadable = "unreadable" // a row that cannot be read
	Duplicate  = "duplicate"  // a reading stands twice: the first one counts
	BadSeals   = "bad seals"  // the file of seals was altered
	Unsealed   = "unsealed"   // whether a row was altered cannot be told
	Gap        = "gap"        // sequence numbers that are not in the record
	Backwards  = "backwards"  // a row's time is before an earlier row's
	NoTarget   = "no target"  // a row takes back a reading that does not stand above it
	Unfinished = "unfinished" // a reading was taken back to be filed anew, and does not stand again
	Torn       = "torn"       // the last line is not whole
)

// A Finding is one thing that Verify has to say.
type Finding struct {
	File  string `json:"file"`
	First int    `json:"first_row"` // line of the file, the header is 1; 0 when it is no row's
	Last  int    `json:"last_row"`
	Kind  string `json:"kind"`
	Fault bool   `json:"fault"` // the record is not as it was written; else a remark
	Text  string `json:"text"`
}

// String returns "file:row: kind: text".
func (f Finding) String() string {
	place := f.File
	switch {
	case f.First > 0 && f.Last > f.First:
		place += fmt.Sprintf(":%d-%d", f.First, f.Last)
	case f.First > 0:
		place += fmt.Sprintf(":%d", f.First)
	}
	return fmt.Sprintf("%s: %s: %s", place, f.Kind, f.Text)
}

// unreadable says what is wrong with a row that cannot be read.
func unreadable(file string, line int, bad *RowError) Finding {
	text := bad.Msg
	if bad.Column != "" {
		text = bad.Column + ": " + text
	}
	return Finding{file, line, line, Unreadable, true, text}
}
