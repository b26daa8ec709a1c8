package capture

import (
	"fmt"
	"math"
	"strings"
	"time"

	"evenpole/jig"
)

// flagStatus is what the flags of a take mean, the gravest first.
var flagStatus = []struct {
	flag   jig.Flags
	status Status
}{
	{jig.Fault, Faulty},
	{jig.Clipped, Clipped},
	{jig.DoubleStrike, DoubleStrike},
	{jig.ShortWindow, ShortWindow},
}

// screen returns the status of a take and what its note has to say: all of
// several flags, and those that this program does not know.
func screen(f jig.Flags) (status Status, notes []string) {
	for _, m := range flagStatus {
		if f&m.flag != 0 {
			notes = append(notes, string(m.status))
			f &^= m.flag
		}
	}
	status = OK
	if len(notes) > 0 {
		status = Status(notes[0])
	}
	if len(notes) == 1 {
		notes = nil
	}
	if f != 0 {
		notes = append(notes, fmt.Sprintf("unknown flags %X", uint32(f)))
	}
	return status, notes
}

// tooQuiet is the note of a take that says nothing of its string.
const tooQuiet = "not above the quiet level: carries no information"

func joinNotes(notes []string) string { return strings.Join(notes, "; ") }

// millis turns what the jig sends in thousandths into the unit of the record.
func millis(n int64) float64 { return float64(n) / 1000 }

// bare returns a reading as a row without a cell: what the jig said and no more.
func bare(x jig.Reading, id jig.Ident, now time.Time) (r Reading, notes []string) {
	status, notes := screen(x.Flags)
	none := math.NaN()
	return Reading{
		Time:   now,
		Jig:    id.Jig,
		Boot:   x.Boot.String(),
		Seq:    x.Seq,
		HasSeq: true,
		String: x.String,
		Core:   none, Gauge: none, PoleHeight: none, StringHeight: none,
		Mode:   Mode(x.Mode),
		Take:   x.Take,
		RMS:    millis(x.RMSUV),
		Peak:   millis(x.PeakUV),
		Freq:   millis(x.FreqMHz),
		Window: float64(x.WindowMS),
		Quiet:  none,
		Excite: string(id.Excite),
		Status: status,
	}, notes
}

// bareField is bare for a field reading.
func bareField(x jig.Field, id jig.Ident, now time.Time) FieldReading {
	return FieldReading{
		Time:     now,
		Jig:      id.Jig,
		Boot:     x.Boot.String(),
		Seq:      x.Seq,
		HasSeq:   true,
		Position: x.Position,
		Take:     x.Take,
		Field:    millis(x.FieldUT),
		ProbeGap: math.NaN(),
		Status:   OK,
	}
}
