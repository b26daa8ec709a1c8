package main

import (
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"evenpole/fit"
	"evenpole/fit/cell"
)

// sampleFit fits one kind to the sample record, or to what it was earlier.
func sampleFit(t *testing.T, early bool, kind string) (*fit.Result, *cell.Data) {
	t.Helper()
	record := filepath.Join("..", "..", "testdata", "sample-shop", "readings.csv")
	if early {
		path := filepath.Join(t.TempDir(), "early.csv")
		if err := writeEarly(path, record); err != nil {
			t.Fatal(err)
		}
		record = path
	}
	d, err := gatherFiles([]string{record})
	if err != nil {
		t.Fatal(err)
	}
	r, err := fit.Best(d, nil, kind)
	if err != nil {
		t.Fatal(err)
	}
	return r, d
}

// testStore is a shop with one model, of the early record.
func testStore(t *testing.T, kind string) *modelStore {
	t.Helper()
	s := &modelStore{t.TempDir(), func() time.Time { return time.Date(2026, 3, 4, 5, 6, 7, 0, time.UTC) }}
	r, d := sampleFit(t, true, kind)
	k, err := s.keep(r, d, false)
	if err != nil || !k.New || !k.Current {
		t.Fatalf("got %+v, %v", k, err)
	}
	return s
}

// A fit that predicts the new pickup worse is kept, and does not become
// current unless it is told to.
func TestWorseModelDoesNotBecomeCurrent(t *testing.T) {
	s := testStore(t, "falloff")
	worse, d := sampleFit(t, false, "loglinear-height")
	k, err := s.keep(worse, d, false)
	if err != nil || !k.New || k.Current || !strings.Contains(k.Why, "predicts balance worse than model-001.json") {
		t.Fatalf("got %+v, %v", k, err)
	}
	kept, err := s.read("model-002.json")
	if err != nil {
		t.Fatal(err)
	}
	if h := kept.History; h.Current || h.Before != "model-001.json" || h.Comparison.Basis != fit.OneSaw || !h.Time.Equal(s.now()) {
		t.Errorf("history %+v", h)
	}
	if name, err := s.current(); err != nil || name != "model-001.json" {
		t.Errorf("current is %q, %v", name, err)
	}
	k, err = s.keep(worse, d, true)
	if err != nil || k.New || !k.Current || !strings.HasPrefix(k.Why, "as told by --use, though it predicts balance worse") {
		t.Fatalf("got %+v, %v", k, err)
	}
	text, err := os.ReadFile(s.path(historyFile))
	if err != nil {
		t.Fatal(err)
	}
	if lines := strings.Split(strings.TrimSpace(string(text)), "\n"); len(lines) != 3 || !strings.HasPrefix(lines[2], "2026-03-04T05:06:07Z,model-002.json,model-001.json,") {
		t.Errorf("history:\n%s", text)
	}
}

func TestBetterModelBecomesCurrent(t *testing.T) {
	s := testStore(t, "loglinear-height")
	better, d := sampleFit(t, false, "falloff")
	k, err := s.keep(better, d, false)
	if err != nil || !k.Current || !strings.Contains(k.Why, "predicts balance better than model-001.json") {
		t.Errorf("got %+v, %v", k, err)
	}
}

// Where no pickup is new, those that both knew decide.
func TestModelOfTheSamePickups(t *testing.T) {
	s := testStore(t, "falloff")
	r, d := sampleFit(t, true, "loglinear-gap")
	k, err := s.keep(r, d, false)
	if err != nil || k.Current || !strings.Contains(k.Why, fit.BothSaw) {
		t.Errorf("got %+v, %v", k, err)
	}
}

// A number that is taken is passed over, and files that are no models do not
// count.
func TestModelsAreNumberedOn(t *testing.T) {
	s := testStore(t, "loglinear-gap")
	for _, name := range []string{"model-2.json", "model-0009.json", "model-x.json", "notes.txt", "model-007.json"} {
		if err := os.WriteFile(s.path(name), []byte("mine"), 0o666); err != nil {
			t.Fatal(err)
		}
	}
	r, d := sampleFit(t, false, "loglinear-gap")
	k, err := s.keep(r, d, false)
	if err != nil || filepath.Base(k.File) != "model-008.json" {
		t.Errorf("got %+v, %v", k, err)
	}
	names, err := s.names()
	if got := fmt.Sprint(names); err != nil || got != "[model-001.json model-007.json model-008.json]" {
		t.Errorf("got %s, %v", got, err)
	}
	for _, text := range []string{"8", "008", "model-008", "model-008.json"} {
		if name, err := s.find(text); err != nil || name != "model-008.json" {
			t.Errorf("%q: got %q, %v", text, name, err)
		}
	}
	for _, text := range []string{"", "9", "-8", "8.5", "notes.txt", "../8", "99999999999999999999"} {
		if name, err := s.find(text); err == nil {
			t.Errorf("%q: got %q", text, name)
		}
	}
}
