package jig

import (
	"fmt"
	"math"
	"strconv"
)

// A number is a field of a line that holds an integer: its name, which ends in its unit,
// and the least and the greatest that it can hold.
type number struct {
	name      string
	low, high int64
}

// The numbers of the protocol. A line with another one is a bad line, whatever its CRC
// says: it is counted and reported, and no reading. Those that the protocol does not bound
// itself fit 32 bits, as firmware keeps them: levels end at 4295 V, fields at 2147 T,
// pitches at 4.3 MHz and windows at 50 days. So each is exact in a float64 and in the record.
var (
	versionNumber   = number{"version", Version, Version}
	stringsNumber   = number{"strings", 1, MaxStrings}
	fullScaleNumber = number{"full_scale_uV", 1, math.MaxUint32}

	seqNumber    = number{"seq", 0, math.MaxUint32}
	millisNumber = number{"ms", 0, math.MaxUint32}
	takeNumber   = number{"take", 1, math.MaxInt32}

	stringNumber = number{"string", 1, MaxStrings}
	rmsNumber    = number{"rms_uV", 0, math.MaxUint32}
	peakNumber   = number{"peak_uV", 0, math.MaxUint32}
	freqNumber   = number{"freq_mHz", 0, math.MaxUint32}
	windowNumber = number{"window_ms", 0, math.MaxUint32}

	positionNumber = number{"position", 0, math.MaxInt32}
	fieldNumber    = number{"field_uT", math.MinInt32, math.MaxInt32}

	idNumber    = number{"id", 0, math.MaxUint32}
	codeNumber  = number{"code", 1, math.MaxInt32}
	countNumber = number{"count", 1, math.MaxInt32}
	driveNumber = number{"freq_mHz", 1, math.MaxUint32}
	fromNumber  = number{"from", 0, math.MaxUint32}
	toNumber    = number{"to", 0, math.MaxUint32}
)

// span says which numbers are allowed.
func (n *number) span() string {
	if n.low == n.high {
		return strconv.FormatInt(n.low, 10)
	}
	return fmt.Sprintf("an integer from %d to %d", n.low, n.high)
}
