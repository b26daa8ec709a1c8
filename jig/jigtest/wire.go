package jigtest

import (
	"bytes"
	"fmt"
	"hash/crc32"
	"math/rand/v2"
	"strings"
)

// maxLine is the longest line in bytes, its end not counted.
const maxLine = 160

// frame returns the line that carries a body.
func frame(body string) string {
	return fmt.Sprintf("%s*%08X\n", body, crc32.ChecksumIEEE([]byte(body)))
}

// unframe returns the body of a line without its LF, and whether the line is
// whole.
func unframe(line string) (body string, ok bool) {
	line = strings.TrimSuffix(line, "\r")
	body, sum, ok := strings.Cut(line, "*")
	if !ok || len(line) > maxLine {
		return "", false
	}
	for _, c := range []byte(body) {
		if c < ' ' || c > '~' {
			return "", false
		}
	}
	return body, sum == fmt.Sprintf("%08X", crc32.ChecksumIEEE([]byte(body)))
}

// split cuts bytes into lines without their LF and the unfinished rest.
func split(data []byte) (lines []string, rest []byte) {
	for {
		line, after, ok := bytes.Cut(data, []byte("\n"))
		if !ok {
			return lines, data
		}
		lines = append(lines, string(line))
		data = after
	}
}

// Wire is what a bad cable does, by chance. The zero value is a good one.
type Wire struct {
	FlipBit    float64 // chance of each bit to arrive inverted
	LoseByte   float64 // chance of each byte to be lost
	DoubleByte float64 // chance of each byte to arrive twice
	LoseLine   float64 // chance of each line to be lost
	DoubleLine float64 // chance of each line to arrive twice
}

// pass returns what arrives of a line.
func (w Wire) pass(noise *rand.Rand, line string) []byte {
	times := 1
	if happens(noise, w.LoseLine) {
		times = 0
	} else if happens(noise, w.DoubleLine) {
		times = 2
	}
	var out []byte
	for _, b := range []byte(strings.Repeat(line, times)) {
		if happens(noise, w.LoseByte) {
			continue
		}
		for bit := range 8 {
			if happens(noise, w.FlipBit) {
				b ^= 1 << bit
			}
		}
		out = append(out, b)
		if happens(noise, w.DoubleByte) {
			out = append(out, b)
		}
	}
	return out
}

// happens tells whether something of this chance happens now. What cannot
// happen uses up no random numbers.
func happens(noise *rand.Rand, chance float64) bool {
	return chance > 0 && noise.Float64() < chance
}
