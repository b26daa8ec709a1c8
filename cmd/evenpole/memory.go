package main

import (
	"os"
	"runtime"
	"runtime/debug"
	"runtime/metrics"
)

// How much memory a fit takes beyond what is in use before garbage is collected: 30 % of
// it, where a Go program usually takes as much again. For 1,000,000 readings that is 190 in
// place of 300 MB, and costs a tenth of the time. Of a short record 30 % would be filled
// every few milliseconds, so that leastGarbage is let lie.
const (
	garbagePercent = 30
	leastGarbage   = 10 << 20 // bytes
)

// keepMemoryLow sets so from here on, unless GOGC says what the user wants.
func keepMemoryLow() {
	if os.Getenv("GOGC") == "" {
		new(pacer).pace()
	}
}

// pacer sets after each collection when the next one begins. It is garbage itself: that it
// is found tells that there was a collection.
type pacer struct{ self *pacer }

func (p *pacer) pace() {
	debug.SetGCPercent(percentFor(memoryInUse()))
	runtime.SetFinalizer(p, (*pacer).pace)
}

// percentFor is by how many percent memory may grow beyond so many bytes in use.
func percentFor(inUse uint64) int {
	return int(max(garbagePercent, 100*leastGarbage/max(inUse, 4<<20))) // no less than 4 MB counts as in use: runtime/debug
}

// memoryInUse is how many bytes the last collection left; before the first one, none.
func memoryInUse() uint64 {
	sample := []metrics.Sample{{Name: "/gc/heap/live:bytes"}}
	metrics.Read(sample)
	return sample[0].Value.Uint64()
}
