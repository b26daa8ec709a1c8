package record

import (
	"bytes"
	"encoding/csv"
	"os"
	"strings"
	"testing"
)

func TestSampleSurvivesReadAndWrite(t *testing.T) {
	want, err := os.ReadFile(sampleShop + ReadingsFile)
	if err != nil {
		t.Fatal(err)
	}
	var got bytes.Buffer
	w := csv.NewWriter(&got)
	w.UseCRLF = true
	of := strings.Count(header, ",") + 1 // the sample is a record of before
	w.Write(readingColumns.Names[:of])
	n := 0
	for r, err := range Readings(bytes.NewReader(want), "readings.csv") {
		if err != nil {
			t.Fatal(err)
		}
		n++
		if r.Line != n+1 {
			t.Fatalf("line %d, expected %d", r.Line, n+1)
		}
		w.Write(readingColumns.Row(&r)[:of])
	}
	w.Flush()
	if n != 712 {
		t.Errorf("%d rows, expected 712", n)
	}
	if !bytes.Equal(got.Bytes(), want) {
		t.Error("what was written differs from what was read")
	}
}

func TestSampleFieldsRead(t *testing.T) {
	f, err := os.Open(sampleShop + FieldsFile)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	n := 0
	for r, err := range Fields(f, "fields.csv") {
		if err != nil {
			t.Fatal(err)
		}
		if r.Field == 0 || r.ProbeGap != 0.5 || r.Magnet == "" {
			t.Errorf("line %d: %+v", r.Line, r)
		}
		n++
	}
	if n != 192 {
		t.Errorf("%d rows, expected 192", n)
	}
}

func BenchmarkReadings(b *testing.B) {
	file, err := os.ReadFile(sampleShop + ReadingsFile)
	if err != nil {
		b.Fatal(err)
	}
	b.ReportAllocs()
	rows := 0
	for b.Loop() {
		for _, err := range Readings(bytes.NewReader(file), ReadingsFile) {
			if err != nil {
				b.Fatal(err)
			}
			rows++
		}
	}
	b.ReportMetric(float64(rows)/b.Elapsed().Seconds(), "rows/s")
}
