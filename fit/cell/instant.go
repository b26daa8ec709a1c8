package cell

import "time"

// Instant is a point in time, to the nanosecond, without the pointer that a time.Time has
// for its zone. The zero value is none.
type Instant struct {
	second int64 // after the zero time.Time
	nano   int32
}

var zeroSecond = time.Time{}.Unix()

// InstantOf is that of a time; none for the zero time.
func InstantOf(t time.Time) Instant { return Instant{t.Unix() - zeroSecond, int32(t.Nanosecond())} }

// Time is the same in UTC; zero for none.
func (i Instant) Time() time.Time { return time.Unix(i.second+zeroSecond, int64(i.nano)).UTC() }

// IsZero reports whether there is none.
func (i Instant) IsZero() bool { return i == Instant{} }

// Before reports whether one came before another.
func (i Instant) Before(k Instant) bool {
	return i.second < k.second || i.second == k.second && i.nano < k.nano
}
