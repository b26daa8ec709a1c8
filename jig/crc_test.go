package jig

import (
	"bytes"
	"encoding/csv"
	"os"
	"strconv"
	"strings"
	"testing"
)

// slowCRC is the definition, bit by bit: reflected polynomial 0xEDB88320.
func slowCRC(p []byte) uint32 {
	crc := ^uint32(0)
	for _, b := range p {
		crc ^= uint32(b)
		for range 8 {
			low := crc & 1
			crc = crc>>1 ^ low*0xEDB88320
		}
	}
	return ^crc
}

// The check value is that of CRC-32/ISO-HDLC in the catalogue of parametrised
// CRC algorithms.
func TestCRCCheckValue(t *testing.T) {
	if got := CRC([]byte("123456789")); got != 0xCBF43926 {
		t.Errorf("CRC = %08X, want CBF43926", got)
	}
}

func TestCRCVectors(t *testing.T) {
	f, err := os.Open("testdata/crc32_vectors.csv")
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	if len(rows) != 10 || rows[0][2] != "crc32_iso_hdlc" {
		t.Fatalf("%d rows, header %q", len(rows), rows[0])
	}
	for _, row := range rows[1:] {
		want, err := strconv.ParseUint(row[2], 0, 32)
		if err != nil {
			t.Fatal(err)
		}
		p := message(t, row[0])
		if got := CRC(p); got != uint32(want) {
			t.Errorf("%s: CRC = %08X, want %08X", row[0], got, want)
		}
		if got := slowCRC(p); got != uint32(want) {
			t.Errorf("%s: bit by bit %08X, want %08X", row[0], got, want)
		}
	}
}

// message makes the bytes that a row of the vectors describes.
func message(t *testing.T, name string) []byte {
	t.Helper()
	ramp := func(at func(i byte) byte) []byte {
		p := make([]byte, 32)
		for i := range p {
			p[i] = at(byte(i))
		}
		return p
	}
	switch name {
	case "32 bytes of 0x00":
		return make([]byte, 32)
	case "32 bytes of 0xFF":
		return bytes.Repeat([]byte{0xFF}, 32)
	case "0x00..0x1F ascending":
		return ramp(func(i byte) byte { return i })
	case "0x1F..0x00 descending":
		return ramp(func(i byte) byte { return 31 - i })
	case "empty":
		return nil
	case "single byte 0x00":
		return []byte{0}
	}
	text, ok := strings.CutPrefix(name, "ASCII ")
	if !ok {
		t.Fatalf("no such message: %q", name)
	}
	return []byte(text)
}
