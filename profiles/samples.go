package profiles

import (
	"embed"
	"path"
	"strings"
)

// A Sample is a whole order for a pickup that is not one pole a string and one coil.
type Sample struct{ Name, Text string }

//go:embed samples/*.toml
var sampleFiles embed.FS

// Samples lists the orders that help shows, by their names.
func Samples() []Sample {
	entries, err := sampleFiles.ReadDir("samples")
	if err != nil {
		panic(err) // they are part of the program
	}
	var out []Sample
	for _, e := range entries {
		text, err := sampleFiles.ReadFile(path.Join("samples", e.Name()))
		if err != nil {
			panic(err)
		}
		out = append(out, Sample{strings.TrimSuffix(e.Name(), ".toml"), string(text)})
	}
	return out
}

// SampleNames lists their names.
func SampleNames() []string {
	var out []string
	for _, s := range Samples() {
		out = append(out, s.Name)
	}
	return out
}
