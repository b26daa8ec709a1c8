package main

import (
	"runtime"
	"runtime/debug"
	"runtime/metrics"
	"testing"
	"time"
)

// Memory may grow by as much as is in use up to some 160 MB, beyond by 30 %, and by some MB
// where little is in use: Go takes 4 MB as the least that is.
func TestMemoryGrowsBy(t *testing.T) {
	for inUse, want := range map[uint64]uint64{0: leastGarbage, 1 << 20: leastGarbage, 8 << 20: leastGarbage, 50 << 20: 50 << 20, 100 << 20: 60 << 20, 1 << 30: 3 << 30 / 10} {
		got := max(inUse, 4<<20) * uint64(percentFor(inUse, leastGarbage)) / 100
		if got > want || got < want-want/50 {
			t.Errorf("of %d bytes in use: got %d more, want %d", inUse, got, want)
		}
	}
}

// After each collection the next one is set anew, by what is in use then.
func TestMemoryIsPacedAnew(t *testing.T) {
	t.Setenv("GOGC", "")
	defer debug.SetGCPercent(debug.SetGCPercent(100))
	keepMemoryLow(leastGarbage)
	much := make([]byte, 200<<20)
	waitForPercent(t, func(percent uint64) bool { return percent == garbagePercent })
	runtime.KeepAlive(much)
	much = nil
	waitForPercent(t, func(percent uint64) bool { return percent > garbagePercent })
}

func waitForPercent(t *testing.T, ok func(percent uint64) bool) {
	t.Helper()
	sample := []metrics.Sample{{Name: "/gc/gogc:percent"}}
	for range 1000 {
		runtime.GC()
		if metrics.Read(sample); ok(sample[0].Value.Uint64()) {
			return
		}
		time.Sleep(time.Millisecond)
	}
	t.Fatalf("memory may grow by %d %%", sample[0].Value.Uint64())
}
