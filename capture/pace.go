package capture

import "time"

// Pace tells how long a capture is likely to take yet, from how long its takes took. The
// zero value is one of no takes.
type Pace struct {
	first, last time.Time
	takes       int
}

// Heard notes a take that was kept.
func (p *Pace) Heard(at time.Time) {
	if p.takes == 0 {
		p.first = at
	}
	p.takes++
	p.last = at
}

// Remaining is how long so many takes are likely to take; ok is false before the second
// take.
func (p *Pace) Remaining(takes int) (d time.Duration, ok bool) {
	if p.takes < 2 {
		return 0, false
	}
	return p.last.Sub(p.first) / time.Duration(p.takes-1) * time.Duration(takes), true
}
