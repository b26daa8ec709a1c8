package main

import (
	"os"
	"runtime"
	"runtime/debug"
	"runtime/metrics"
)

// garbagePercent is by how much a fit's memory grows beyond what is in use before garbage is
// collected, in percent of that, where a Go program usually takes as much again. For
// 10,000,000 readings that is 0.9 in place of 1.3 GB, and costs a tenth of the time. Up to
// fewBytes in all, which 1,000,000 readings need, it may grow as usual.
const (
	garbagePercent = 30
	usualPercent   = 100
	fewBytes       = 160 << 20
)

// Of a short record that would be filled every few milliseconds, so that some garbage is let
// lie at least, bytes: of readings from anywhere little; of a shop's own, which are fitted
// again and again while somebody waits, what saves an eighth of the processor time at
// 100,000 readings.
const (
	leastGarbage      = 10 << 20
	leastGarbageAgain = 32 << 20
)

// keepMemoryLow sets so from here on, unless GOGC says what the user wants.
func keepMemoryLow(leastGarbage uint64) {
	if os.Getenv("GOGC") == "" {
		p := &pacer{leastGarbage, []metrics.Sample{{Name: "/gc/heap/live:bytes"}}}
		p.pace()
	}
}

// pacer sets after each collection when the next one begins. It is garbage itself: that it
// is found tells that there was a collection.
type pacer struct {
	least uint64
	inUse []metrics.Sample // what the last collection left; before the first one, nothing
}

func (p *pacer) pace() {
	metrics.Read(p.inUse)
	debug.SetGCPercent(percentFor(p.inUse[0].Value.Uint64(), p.least))
	runtime.SetFinalizer(p, (*pacer).pace)
}

// percentFor is by how many percent memory may grow beyond so many bytes in use, by a number
// of bytes at least. Less than 4 MB does not count as in use: see package runtime/debug.
func percentFor(inUse, least uint64) int {
	inUse = max(inUse, 4<<20)
	few := 100 * (max(fewBytes, inUse) - inUse) / inUse
	return int(max(garbagePercent, min(usualPercent, few), 100*least/inUse))
}
