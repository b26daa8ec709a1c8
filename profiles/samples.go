package profiles

import (
	"embed"
	"path"
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

// SampleNames lists their names.
func (f *Format) SampleNames() []string {
	var out []string
	for _, s := range f.Samples() {
		out = append(out, s.Name)
	}
	return out
}
