package cell

import (
	"testing"

	"evenpole/capture/record/recordtest"
)

// The time of a row on its way into a cell.
func BenchmarkGather(b *testing.B) {
	rows := recordtest.Sample(b)
	b.ReportAllocs()
	for b.Loop() {
		if _, err := Gather(recordtest.Rows(rows)); err != nil {
			b.Fatal(err)
		}
	}
	b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N*len(rows)), "ns/row")
}
