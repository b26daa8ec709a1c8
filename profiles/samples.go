package profiles

import (
	"embed"
	"math"
	"path"
	"regexp"
	"strconv"
	"strings"
)

// A Sample is a whole file for a pickup that is not one pole a string and one coil, or for
// loose magnets.
type Sample struct{ Name, Text string }

//go:embed samples/*.toml samples/mounts/*.toml
var sampleFiles embed.FS

// Samples lists the files of the format that help shows, by their names; none for most.
func (f *Format) Samples() []Sample {
	if f.samples == "" {
		return nil
	}
	entries, err := sampleFiles.ReadDir(f.samples)
	if err != nil {
		panic(err) // they are part of the program
	}
	var out []Sample
	for _, e := range entries {
		name, ok := strings.CutSuffix(e.Name(), ".toml")
		if !ok {
			continue
		}
		text, err := sampleFiles.ReadFile(path.Join(f.samples, e.Name()))
		if err != nil {
			panic(err)
		}
		out = append(out, Sample{name, string(text)})
	}
	return out
}

// lengthLine is a line of a sample that has lengths: its key, and a number or a list of them.
var lengthLine = regexp.MustCompile(`(?m)^([a-z_]+)_mm = ([0-9.\-\[\], ]+)`)

// In is the sample's text with its lengths in units: inches to a thousandth.
func (s Sample) In(u Units) string {
	if u != Inches {
		return s.Text
	}
	return lengthLine.ReplaceAllStringFunc(s.Text, func(line string) string {
		key, lengths, _ := strings.Cut(line, "_mm = ")
		return key + "_in = " + number.ReplaceAllStringFunc(lengths, func(mm string) string {
			sign, x := signAnd(mm)
			return withSign(sign, strconv.FormatFloat(tradeInches(x/mmPerInch), 'f', -1, 64))
		})
	})
}

// tradeInches rounds a length to a thousandth of an inch; a radius or a scale to the quarter
// inch by which the trade names it, where it is that near.
func tradeInches(in float64) float64 {
	if quarter := math.Round(4*in) / 4; in > 5 && math.Abs(in-quarter) < 0.02 {
		return quarter
	}
	return math.Round(1000*in) / 1000
}

// SampleNames lists their names.
func (f *Format) SampleNames() []string {
	var out []string
	for _, s := range f.Samples() {
		out = append(out, s.Name)
	}
	return out
}
