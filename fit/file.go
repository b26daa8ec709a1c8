package fit

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"

	"evenpole/capture/record/disk"
)

// A model file is one JSON object: what it is and who made it, the report of
// its fit, and the state that its kind needs to predict again. It is written
// once and never changed.
const (
	fileFormat  = "evenpole model"
	fileVersion = 1
)

type modelFile struct {
	Format      string   `json:"format"`
	Version     int      `json:"version"`
	Program     string   `json:"program"` // version of the program that wrote it
	Fingerprint string   `json:"data_sha256"`
	History     *History `json:"history,omitempty"`
	Report
	State json.RawMessage `json:"state"` // of the kind
}

// Write writes the text of a model file.
func (r *Result) Write(to io.Writer) error {
	text, err := r.encode()
	if err != nil {
		return err
	}
	_, err = to.Write(text)
	return err
}

// encode is the text of the model's file.
func (r *Result) encode() ([]byte, error) {
	state, err := json.Marshal(r.Model)
	if err != nil {
		return nil, fmt.Errorf("model %q: %w", r.Kind, err)
	}
	text, err := json.MarshalIndent(modelFile{
		Format: fileFormat, Version: fileVersion, Program: r.Program, Fingerprint: r.Fingerprint, History: r.History, Report: r.Report, State: state,
	}, "", "  ")
	if err != nil {
		return nil, fmt.Errorf("model %q: %w", r.Kind, err)
	}
	return append(text, '\n'), nil
}

// Same reports whether two models are the same but for how they came into the
// shop: what the same program makes of the same data.
func (r *Result) Same(other *Result) bool {
	a, b := *r, *other
	a.History, b.History = nil, nil
	one, err1 := a.encode()
	two, err2 := b.encode()
	return err1 == nil && err2 == nil && bytes.Equal(one, two)
}

// ReadModel reads a model file. The model predicts exactly as the one that was
// written. An error names the file, and the line and column or the field where
// it is damaged.
func ReadModel(path string) (*Result, error) {
	text, err := disk.ReadInput(path)
	if err != nil {
		return nil, err
	}
	return parseModel(path, text)
}

// IsModel reports whether a file begins as a model file does.
func IsModel(path string) bool {
	f, err := disk.Open(path)
	if err != nil {
		return false
	}
	defer f.Close()
	d := json.NewDecoder(io.LimitReader(f, 1<<10))
	for _, want := range []json.Token{json.Delim('{'), "format", fileFormat} {
		if got, err := d.Token(); err != nil || got != want {
			return false
		}
	}
	return true
}

// parseModel reads the text of a model file.
func parseModel(path string, text []byte) (*Result, error) {
	var f modelFile
	if err := json.Unmarshal(text, &f); err != nil {
		return nil, fmt.Errorf("%s:%w", path, placed(text, err))
	}
	if f.Format != fileFormat {
		return nil, fmt.Errorf("%s: format: expected %q, got %q", path, fileFormat, f.Format)
	}
	if f.Version != fileVersion {
		return nil, fmt.Errorf("%s: version: expected %d, got %d: another version of evenpole wrote this model", path, fileVersion, f.Version)
	}
	k, err := kindOf(f.Kind)
	if err != nil {
		return nil, fmt.Errorf("%s: model: %w", path, err)
	}
	m, err := k.decode(f.State)
	if err != nil {
		return nil, fmt.Errorf("%s: state: %w", path, err)
	}
	return &Result{Report: f.Report, Model: m, Fingerprint: f.Fingerprint, Program: f.Program, History: f.History}, nil
}

// placed puts the line and column before an error of the JSON decoder, which
// counts bytes.
func placed(text []byte, err error) error {
	offset := int64(len(text))
	var syntax *json.SyntaxError
	var value *json.UnmarshalTypeError
	switch {
	case errors.As(err, &syntax):
		offset = syntax.Offset
	case errors.As(err, &value):
		offset = value.Offset
	}
	before := text[:min(offset, int64(len(text)))]
	line := bytes.Count(before, []byte("\n")) + 1
	column := max(1, len(before)-bytes.LastIndexByte(before, '\n')-1)
	return fmt.Errorf("%d:%d: %w", line, column, err)
}
