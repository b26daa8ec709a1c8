package fit

import (
	"bytes"
	"encoding/json"
	"errors"
	"io/fs"
	"math"
	"os"
	"path/filepath"
	"reflect"
	"strings"
	"testing"
	"time"

	"evenpole/fit/cell"
	"evenpole/fit/cell/celltest"
	"evenpole/profiles"

	"gonum.org/v1/gonum/mat"
)

func sampleResult(t *testing.T, kind string) *Result {
	t.Helper()
	r, err := measuredAs(celltest.Sample(t), kind)
	if err != nil {
		t.Fatal(err)
	}
	r.Program = "1.2.3"
	r.History = &History{Time: time.Date(2026, 1, 2, 3, 4, 5, 0, time.UTC), Before: "model-001.json", Why: "a try"}
	return r
}

// save writes a model file.
func save(path string, r *Result) error {
	var b bytes.Buffer
	if err := r.Write(&b); err != nil {
		return err
	}
	return os.WriteFile(path, b.Bytes(), 0o644)
}

func TestModelFileReadsBackTheSame(t *testing.T) {
	for _, kind := range Kinds() {
		path := filepath.Join(t.TempDir(), "model.json")
		want := sampleResult(t, kind)
		if err := save(path, want); err != nil {
			t.Fatal(err)
		}
		got, err := ReadModel(path)
		if err != nil {
			t.Fatal(err)
		}
		if !got.Same(want) || !reflect.DeepEqual(got.History, want.History) {
			t.Errorf("%s: got %+v, want %+v", kind, got, want)
		}
		s, heights := setup()
		s.Excite, s.Strings[2].Wrap = profiles.Force, "bronze"
		if a, b := got.Model.Level(nil, s, heights), want.Model.Level(nil, s, heights); !reflect.DeepEqual(a, b) {
			t.Errorf("%s: levels %v, want %v", kind, a, b)
		}
		if a, b := got.Model.Uncertainty(s, heights), want.Model.Uncertainty(s, heights); !mat.Equal(a, b) {
			t.Errorf("%s: uncertainty differs", kind)
		}
		if a, b := got.Model.Warnings(s, heights), want.Model.Warnings(s, heights); !reflect.DeepEqual(a, b) {
			t.Errorf("%s: warnings %q, want %q", kind, a, b)
		}
	}
}

// What a model came from tells models apart; how it came into the shop does not.
func TestSameModel(t *testing.T) {
	a, b := sampleResult(t, "loglinear-gap"), sampleResult(t, "loglinear-gap")
	b.History = nil
	if !a.Same(b) || a.History == nil {
		t.Error("the same fit of the same data counts as another")
	}
	for name, other := range map[string]*Result{"kind": sampleResult(t, "loglinear-height"), "program": {}, "data": {}} {
		if name != "kind" {
			*other = *b
		}
		switch name {
		case "program":
			other.Program = "2.0.0"
		case "data":
			other.Fingerprint = "0"
		}
		if a.Same(other) {
			t.Errorf("another %s counts as the same", name)
		}
	}
}

func TestReadModelNamesTheDamage(t *testing.T) {
	dir := t.TempDir()
	path := filepath.Join(dir, "model.json")
	if err := save(path, sampleResult(t, "loglinear-gap")); err != nil {
		t.Fatal(err)
	}
	whole, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	for name, c := range map[string]struct{ old, new, want string }{
		"torn":          {"\"state\": {", "\x00", "damaged.json:"},
		"no object":     {string(whole), "[1]\n", `damaged.json:1:1: json: cannot unmarshal array`},
		"empty":         {string(whole), "", "damaged.json:1:1: unexpected end of JSON input"},
		"wrong type":    {`"version": 1`, `"version": "one"`, "damaged.json:3:18: json: cannot unmarshal string"},
		"other format":  {fileFormat, "a recipe", `damaged.json: format: expected "evenpole model", got "a recipe"`},
		"newer":         {`"version": 1`, `"version": 2`, "damaged.json: version: expected 1, got 2"},
		"unknown kind":  {`"model": "loglinear-gap"`, `"model": "crystal-ball"`, `damaged.json: model: expected a kind of model (falloff, loglinear-height, loglinear-gap), got "crystal-ball"`},
		"another kind":  {`"model": "loglinear-gap"`, `"model": "loglinear-height"`, `damaged.json: state: terms: a loglinear-height model has no "gap"`},
		"lost estimate": {`"b": [`, `"b": [1, `, "damaged.json: state: expected terms, b, centre and covariance of one length, got 2, 3, 2, 2"},
		"no deviation":  {`"residual_sd": 0`, `"residual_sd": -0`, "damaged.json: state: expected deviations that are not negative"},
	} {
		text := strings.Replace(string(whole), c.old, c.new, 1)
		if text == string(whole) {
			t.Fatalf("%s: %q is not in the file", name, c.old)
		}
		damaged := filepath.Join(dir, "damaged.json")
		if err := os.WriteFile(damaged, []byte(text), 0o644); err != nil {
			t.Fatal(err)
		}
		if _, err := ReadModel(damaged); err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: got %v, want %q", name, err, c.want)
		}
	}
	if _, err := ReadModel(filepath.Join(dir, "none.json")); !errors.Is(err, fs.ErrNotExist) {
		t.Errorf("no file: got %v", err)
	}
}

// A model's file says what each of its parameters was taken to be before there were data, in
// the parameter's unit, and reading it again gives the same.
func TestModelFileHasItsPriors(t *testing.T) {
	of := sampleResult(t, "falloff")
	var text bytes.Buffer
	if err := of.Write(&text); err != nil {
		t.Fatal(err)
	}
	read, err := parseModel("m.json", text.Bytes())
	if err != nil {
		t.Fatal(err)
	}
	for i, p := range read.Parameters {
		if p.Prior == nil || !(p.Prior.SE > 0) || *p.Prior != *of.Parameters[i].Prior {
			t.Fatalf("%s: prior %+v", p.Name, p.Prior)
		}
		// What the data gave is what the prior's variance shrank by.
		if told := 1 - (p.SE/p.Value)*(p.SE/p.Value)/((p.Prior.SE/p.Prior.Value)*(p.Prior.SE/p.Prior.Value)); p.Name == "falloff_slope" && math.Abs(told-p.FromData) > 1e-9 {
			t.Errorf("%s: %.4f from data by its prior, %.4f told", p.Name, told, p.FromData)
		}
		if p.Name == "falloff_bend" {
			if in := p.In(profiles.Inches); math.Abs(in.Prior.Value*25.4-4) > 1e-9 || p.Prior.Value != 4 {
				t.Errorf("%s: prior %g mm is %g in", p.Name, p.Prior.Value, in.Prior.Value)
			}
		}
	}
	for _, p := range sampleResult(t, "loglinear-gap").Parameters {
		if p.Prior != nil {
			t.Errorf("%s: a log-linear model has no priors, got %+v", p.Name, p.Prior)
		}
	}
}

// The names are those that scripts rely on.
func TestReportNames(t *testing.T) {
	text, err := json.Marshal(sampleResult(t, "loglinear-gap").Report)
	if err != nil {
		t.Fatal(err)
	}
	var got map[string]any
	if err := json.Unmarshal(text, &got); err != nil {
		t.Fatal(err)
	}
	for _, name := range []string{"model", "n_readings", "n_used", "n_pickups", "parameters", "residual_sd_db", "cv_rms_db", "cv_rms_level_db", "warnings"} {
		if v, ok := got[name]; !ok || v == nil {
			t.Errorf("%s: got %v", name, v)
		}
	}
	first := got["parameters"].([]any)[0].(map[string]any)
	for _, name := range []string{"name", "value", "se", "unit"} {
		if _, ok := first[name]; !ok {
			t.Errorf("parameters lack %q", name)
		}
	}
	single, err := measuredAs(&cell.Data{Cells: sampleResultCells(t)}, "loglinear-gap")
	if err != nil {
		t.Fatal(err)
	}
	if text, _ := json.Marshal(single.Report); !strings.Contains(string(text), `"cv_rms_db":null,"cv_rms_level_db":null`) {
		t.Errorf("one pickup: got %s", text)
	}
}

func sampleResultCells(t *testing.T) []cell.Cell {
	_, own := celltest.Sample(t).Split("P1")
	return own
}
