package capture

import (
	"fmt"
	"math"
	"strings"
	"time"

	"evenpole/capture/record"
	"evenpole/jig"
	"evenpole/profiles"
)

// flagStatus gives the status that each flag of a take stands for, the gravest first.
var flagStatus = []struct {
	flag   jig.Flags
	status record.Status
}{
	{jig.Fault, record.Faulty},
	{jig.Clipped, record.Clipped},
	{jig.DoubleStrike, record.DoubleStrike},
	{jig.ShortWindow, record.ShortWindow},
}

// statusOf returns the status of a take and what its note has to say: all of several
// flags, and those that this program does not know.
func statusOf(f jig.Flags) (status record.Status, notes []string) {
	for _, m := range flagStatus {
		if f&m.flag != 0 {
			notes = append(notes, string(m.status))
			f &^= m.flag
		}
	}
	status = record.OK
	if len(notes) > 0 {
		status = record.Status(notes[0])
	}
	if len(notes) == 1 {
		notes = nil
	}
	if f != 0 {
		notes = append(notes, fmt.Sprintf("unknown flags %X", uint32(f)))
	}
	return status, notes
}

// FlagWords names the flags of a take, the gravest first, as the record does.
func FlagWords(f jig.Flags) []string {
	var out []string
	for _, m := range flagStatus {
		if f&m.flag != 0 {
			out = append(out, string(m.status))
		}
	}
	return out
}

// tooQuiet is the note of a take from which nothing can be told of its string.
const tooQuiet = "not above the quiet level: carries no information"

func joinNotes(notes []string) string { return strings.Join(notes, "; ") }

// millis turns what the jig sends in thousandths into the unit of the record.
func millis(n int64) float64 { return float64(n) / 1000 }

// sentReading returns a reading as a row without a session and a cell: what the jig
// sent and no more. A level at which the jig's input has long clipped counts as
// clipped, whether the jig says so or not.
func sentReading(x jig.Reading, id jig.Ident, now time.Time) (r record.Reading, notes []string) {
	beyond := max(x.RMSUV, x.PeakUV) > id.FullScaleUV
	if beyond {
		x.Flags |= jig.Clipped
	}
	status, notes := statusOf(x.Flags)
	if beyond {
		notes = append(notes, fmt.Sprintf("beyond the jig's full scale of %.4g mV", millis(id.FullScaleUV)))
	}
	none := math.NaN()
	return record.Reading{
		Time:   now,
		Jig:    id.Jig,
		Boot:   x.Boot.String(),
		Seq:    x.Seq,
		HasSeq: true,
		String: x.String,
		Core:   none, Gauge: none, PoleHeight: none, StringHeight: none,
		Mode:   record.Mode(x.Mode),
		Take:   x.Take,
		RMS:    millis(x.RMSUV),
		Peak:   millis(x.PeakUV),
		Freq:   millis(x.FreqMHz),
		Window: float64(x.WindowMS),
		Quiet:  none,
		Excite: profiles.Excitation(id.Excite),
		Status: status,
	}, notes
}

// sentField returns a field reading likewise.
func sentField(x jig.Field, id jig.Ident, now time.Time) record.FieldReading {
	return record.FieldReading{
		Time:     now,
		Jig:      id.Jig,
		Boot:     x.Boot.String(),
		Seq:      x.Seq,
		HasSeq:   true,
		Position: x.Position,
		Take:     x.Take,
		Field:    millis(x.FieldUT),
		ProbeGap: math.NaN(),
		Status:   record.OK,
	}
}
