package record

import (
	"time"

	"evenpole/profiles"
)

// Purpose says what a capture is for.
type Purpose string

// The purposes that the record knows.
const (
	ForModel  Purpose = "model"
	ForBatch  Purpose = "batch"
	ForCheck  Purpose = "check"
	ForRepeat Purpose = "repeat"
)

// Purposes lists the purposes that the record knows.
func Purposes() []Purpose { return []Purpose{ForModel, ForBatch, ForCheck, ForRepeat} }

// ParsePurpose reads the name of a purpose.
func ParsePurpose(text string) (Purpose, error) { return profiles.OneOf(text, Purposes()) }

// UsualTakes is how many good takes of a string a capture makes where nothing else
// is asked for.
const UsualTakes = 10

// Mode says how a take was made.
type Mode string

// The modes that the record knows, and Probe, which is that of a field reading and
// stands in no file.
const (
	Pluck Mode = "P"
	Drive Mode = "D" // by an exciter
	Quiet Mode = "Q" // of the quiet level
	Probe Mode = "F"
)

// Modes lists the modes of readings.
func Modes() []Mode { return []Mode{Pluck, Drive, Quiet} }

// ParseMode reads a mode of a reading.
func ParseMode(text string) (Mode, error) { return profiles.OneOf(text, Modes()) }

// Status of a kept take: what the screening says of it.
type Status string

// The statuses that the record knows. Of several flags the first in this order is
// the status, and all of them stand in the note.
const (
	OK           Status = "ok"
	Faulty       Status = "fault"
	Clipped      Status = "clipped"
	DoubleStrike Status = "double_strike"
	ShortWindow  Status = "short_window"
	Retracted    Status = "retracted"
)

// Statuses lists the statuses that the record knows.
func Statuses() []Status {
	return []Status{OK, Faulty, Clipped, DoubleStrike, ShortWindow, Retracted}
}

// ParseStatus reads the name of a status.
func ParseStatus(text string) (Status, error) { return profiles.OneOf(text, Statuses()) }

// Reading is one row of readings.csv. A numeric field that is absent or empty
// in the file is NaN (floats) or 0 (String, Take); a time that is absent is the
// zero time. Lengths in mm, levels in RMS mV at the pickup's terminals.
type Reading struct {
	Time         time.Time
	Session      string
	Purpose      Purpose
	Jig          string
	Boot         string // eight hex digits, as the jig sends it
	Seq          uint32
	HasSeq       bool // false for a spreadsheet row without seq
	Pickup       string
	Batch        string
	String       int
	StringSet    string
	Core         float64 // mm
	Gauge        float64 // mm
	Wrap         profiles.Wrap
	PoleHeight   float64 // mm
	StringHeight float64 // mm
	Mode         Mode    // "" counts as Pluck
	Take         int
	RMS          float64 // mV
	Peak         float64 // mV
	Freq         float64 // Hz
	Window       float64 // ms
	Quiet        float64 // mV
	Excite       profiles.Excitation
	Status       Status // "" counts as ok
	Note         string

	Line int // line in the file it came from, 1 is the header; 0 when new
}

// FieldReading is one row of fields.csv. Pickup and String are empty for a
// loose magnet.
type FieldReading struct {
	Time     time.Time
	Session  string
	Jig      string
	Boot     string
	Seq      uint32
	HasSeq   bool
	Batch    string
	Magnet   string
	Pickup   string
	String   int
	Position int
	Take     int
	Field    float64 // mT, signed
	ProbeGap float64 // mm
	Status   Status
	Note     string

	Line int
}
