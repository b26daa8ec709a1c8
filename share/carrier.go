package share

import (
	"context"
	"errors"
	"fmt"
	"iter"
)

// A Carrier is where the shared record is: a database, or a folder. It keeps the streams
// of all benches, and what it holds only grows.
//
// A carrier is not trusted: whoever reads entries from it compares their chains.
type Carrier interface {
	// Heads are those of all benches that have entries or may have some.
	Heads(ctx context.Context) (map[string]Heads, error)

	// Read returns the entries of a stream that follow the first so many.
	Read(ctx context.Context, bench string, s Stream, after int64) iter.Seq2[Entry, error]

	// Append adds entries of one bench, of each stream in order, and returns once they are
	// kept: all of them, or none. One that is there already is passed over.
	Append(ctx context.Context, bench string, entries []Entry) error

	// Scan looks for entries that are not what they were when they were added, as far as
	// the carrier itself can tell, and for what it passed over.
	Scan(ctx context.Context) ([]Fault, error)

	Close() error
}

// A Fault is something in the shared record that is not as it should be.
type Fault struct {
	Bench  string `json:"bench"`
	Stream Stream `json:"stream"` // "" for all of them
	N      int64  `json:"n"`      // of the first entry concerned; 0 for none
	Text   string `json:"text"`
}

// String says where and what.
func (f Fault) String() string {
	switch {
	case f.Stream == "":
		return fmt.Sprintf("bench %s: %s", f.Bench, f.Text)
	case f.N == 0:
		return fmt.Sprintf("bench %s, %s: %s", f.Bench, f.Stream, f.Text)
	}
	return fmt.Sprintf("bench %s, %s %d: %s", f.Bench, f.Stream, f.N, f.Text)
}

// A BadError says what of a bench's entries cannot be believed, and where. It is a fault of
// that bench, and others are read all the same.
type BadError struct{ Msg string }

// Error returns the message.
func (e *BadError) Error() string { return e.Msg }

// Errors of carriers.
var (
	ErrClosed      = errors.New("this bench was closed out: it may read the shared record and add nothing")
	ErrNotAdmitted = errors.New("this bench is not admitted to the shared record")
)

// A DivergedError says that this shop's own record and what was shared of it do not say
// the same.
type DivergedError struct {
	Bench  string
	Stream Stream
	N      int64 // the first entry that differs
	Gone   bool  // there is none in the shop
}

// OtherShop reports whether the first entry differs, which says what shop it is: the name
// is another shop's.
func (e *DivergedError) OtherShop() bool { return e.Stream == Documents && e.N == 1 }

// Error says where, and what it may come from.
func (e *DivergedError) Error() string {
	what := "does not say what was shared of it"
	if e.Gone {
		what = "is shared, and is not in this folder"
	}
	if e.OtherShop() {
		return fmt.Sprintf("another shop shares under the name %q: choose another name for this one", e.Bench)
	}
	return fmt.Sprintf("%s row %d of this bench, %q, %s: nothing more is pushed, and the shared record keeps what it said", e.Stream, e.N, e.Bench, what)
}
