package fit

import (
	"testing"
)

// The time of a row on its way into a cell.
func BenchmarkGather(b *testing.B) {
	rows := readRecord(b, "readings.csv")
	b.ReportAllocs()
	for b.Loop() {
		if _, err := Gather(each(rows)); err != nil {
			b.Fatal(err)
		}
	}
	b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N*len(rows)), "ns/row")
}
