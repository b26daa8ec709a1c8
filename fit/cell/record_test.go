package cell

import (
	"iter"
	"testing"

	"evenpole/capture/record"
	"evenpole/capture/record/recordtest"
)

// gather makes cells of rows, a list a file.
func gather(t testing.TB, files ...[]record.Reading) *Data {
	t.Helper()
	var seqs []iter.Seq2[record.Reading, error]
	for _, f := range files {
		seqs = append(seqs, recordtest.Rows(f))
	}
	d, err := Gather(seqs...)
	if err != nil {
		t.Fatal(err)
	}
	return d
}
