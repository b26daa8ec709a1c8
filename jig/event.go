package jig

// EventKind says what happened on the line.
type EventKind byte

// The events.
const (
	EventBad     EventKind = iota // a bad line
	EventGap                      // readings are missing from the sequence
	EventResend                   // they were asked for
	EventLost                     // they were given up
	EventAgain                    // a command was sent again, for want of an answer
	EventBusy                     // the jig's queue was full
	EventRestart                  // the jig started again
	EventOther                    // a line that nobody waits for
)

// Event is one thing that happened on the line and that is not a reading.
type Event struct {
	Kind EventKind
	Flaw Flaw   // of a bad line
	Text string // for people
}

// String returns the text for people.
func (e Event) String() string { return e.Text }

// Stats counts what went over the line since Attach.
type Stats struct {
	Good     int          // good lines of any kind
	Bad      map[Flaw]int // bad lines by flaw
	Readings int          // R and F lines handed on, each reading once
	Repeats  int          // R and F lines that had come before or were not wanted any more
	Missing  int          // readings found to be missing
	Refilled int          // of these, those of a command that came when they were asked for again
	Lost     int          // of these, given up
	Resends  int          // RESEND commands
	Again    int          // command lines sent again
	Stray    int          // answers that nobody waited for, and other lines not for us
	Restarts int
}
