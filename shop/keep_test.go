package shop

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"evenpole/fit"
	"evenpole/fit/batch"
	"evenpole/fit/cell"
)

// sampleFit fits one kind to the sample record, or to what it was earlier.
func sampleFit(t *testing.T, early bool, kind string) (*fit.Result, *cell.Data) {
	t.Helper()
	record := filepath.Join("..", "testdata", "sample-shop", "readings.csv")
	if early {
		path := filepath.Join(t.TempDir(), "early.csv")
		if err := writeEarly(path, record); err != nil {
			t.Fatal(err)
		}
		record = path
	}
	d, err := CellsOf(t.Context(), []string{record}, "")
	if err != nil {
		t.Fatal(err)
	}
	r, err := fit.Best(context.Background(), d, nil, kind)
	if err != nil {
		t.Fatal(err)
	}
	return r, d
}

// testStore is a shop with one model, of the early record.
func testStore(t *testing.T, kind string) *Shop {
	t.Helper()
	s := &Shop{folder: folder(t.TempDir()), Now: func() time.Time { return time.Date(2026, 3, 4, 5, 6, 7, 0, time.UTC) }}
	r, d := sampleFit(t, true, kind)
	k, err := s.Keep(r, d, false)
	if err != nil || !k.New || !k.Current {
		t.Fatalf("got %+v, %v", k, err)
	}
	return s
}

// Several first fits at once keep one model, and history has one row of it.
func TestFirstFitsAtOnce(t *testing.T) {
	s := &Shop{folder: folder(t.TempDir()), Now: time.Now}
	fitted, d := sampleFit(t, true, "loglinear-height")
	var all sync.WaitGroup
	var news atomic.Int32
	for range 8 {
		r := *fitted
		all.Go(func() {
			k, err := s.Keep(&r, d, false)
			if err != nil || !k.Current || k.File != s.ModelFile("model-001.json") {
				t.Errorf("%+v, %v", k, err)
			}
			if k.New {
				news.Add(1)
			}
		})
	}
	all.Wait()
	models, err := s.Models()
	if err != nil || len(models) != 1 || news.Load() != 1 {
		t.Errorf("models %q, %v; %d new", models, err, news.Load())
	}
	history, err := os.ReadFile(s.folder.history())
	if lines := strings.Count(string(history), "\n"); err != nil || lines != 2 {
		t.Errorf("history, %v:\n%s", err, history)
	}
}

// A fit that predicts the new pickup worse is kept, and does not become
// current unless it is told to.
func TestWorseModelDoesNotBecomeCurrent(t *testing.T) {
	s := testStore(t, "falloff")
	worse, d := sampleFit(t, false, "loglinear-height")
	k, err := s.Keep(worse, d, false)
	if err != nil || !k.New || k.Current || !strings.Contains(k.Why, "predicts balance worse than model-001.json") {
		t.Fatalf("got %+v, %v", k, err)
	}
	kept, err := s.ReadModel("model-002.json")
	if err != nil {
		t.Fatal(err)
	}
	if h := kept.History; h.Current || h.Before != "model-001.json" || h.Comparison.Basis != fit.OneSaw || !h.Time.Equal(s.Now()) {
		t.Errorf("history %+v", h)
	}
	if name, err := s.CurrentModel(); err != nil || name != "model-001.json" {
		t.Errorf("current is %q, %v", name, err)
	}
	k, err = s.Keep(worse, d, true)
	if err != nil || k.New || !k.Current || !strings.HasPrefix(k.Why, "as told by --use, though it predicts balance worse") {
		t.Fatalf("got %+v, %v", k, err)
	}
	text, err := os.ReadFile(s.folder.history())
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
	k, err := s.Keep(better, d, false)
	if err != nil || !k.Current || !strings.Contains(k.Why, "predicts balance better than model-001.json") {
		t.Errorf("got %+v, %v", k, err)
	}
}

// Where no pickup is new, those that both knew decide.
func TestModelOfTheSamePickups(t *testing.T) {
	s := testStore(t, "falloff")
	r, d := sampleFit(t, true, "loglinear-gap")
	k, err := s.Keep(r, d, false)
	if err != nil || k.Current || !strings.Contains(k.Why, fit.BothSaw) {
		t.Errorf("got %+v, %v", k, err)
	}
}

// A number that is taken is passed over, and files that are no models do not
// count.
func TestModelsAreNumberedOn(t *testing.T) {
	s := testStore(t, "loglinear-gap")
	for _, name := range []string{"model-2.json", "model-0009.json", "model-x.json", "notes.txt", "model-007.json"} {
		if err := os.WriteFile(s.ModelFile(name), []byte("mine"), 0o666); err != nil {
			t.Fatal(err)
		}
	}
	r, d := sampleFit(t, false, "loglinear-gap")
	k, err := s.Keep(r, d, false)
	if err != nil || filepath.Base(k.File) != "model-008.json" {
		t.Errorf("got %+v, %v", k, err)
	}
	names, err := s.Models()
	if got := fmt.Sprint(names); err != nil || got != "[model-001.json model-007.json model-008.json]" {
		t.Errorf("got %s, %v", got, err)
	}
	for _, text := range []string{"8", "008", "model-008", "model-008.json"} {
		if name, err := s.FindModel(text); err != nil || name != "model-008.json" {
			t.Errorf("%q: got %q, %v", text, name, err)
		}
	}
	for _, text := range []string{"", "9", "-8", "8.5", "notes.txt", "../8", "99999999999999999999"} {
		if name, err := s.FindModel(text); err == nil {
			t.Errorf("%q: got %q", text, name)
		}
	}
}

// writeEarly writes the sample record as it was before its last pickup.
func writeEarly(path, record string) error {
	text, err := os.ReadFile(record)
	if err != nil {
		return err
	}
	var early strings.Builder
	for line := range strings.Lines(string(text)) {
		if !strings.Contains(line, ",P4,") {
			early.WriteString(line)
		}
	}
	return os.WriteFile(path, []byte(early.String()), 0o666)
}

// A current model that cannot be read is not one that never was: nothing goes on
// with the handbook, and no fit takes its place unasked.
func TestACurrentModelThatCannotBeRead(t *testing.T) {
	s := testStore(t, "loglinear-gap")
	if err := errors.Join(os.Remove(s.folder.current()), os.Mkdir(s.folder.current(), 0o777)); err != nil {
		t.Fatal(err)
	}
	unlike := func(what string, err error) {
		t.Helper()
		if err == nil || errors.Is(err, ErrNoModel) || !strings.Contains(err.Error(), currentFile) {
			t.Errorf("%s: %v", what, err)
		}
	}
	_, err := s.CurrentModel()
	unlike("current", err)
	_, err = s.Predictor("")
	unlike("to plan with", err)
	_, _, err = s.expected(t.Context())
	unlike("to check by", err)
	r, d := sampleFit(t, false, "loglinear-gap")
	_, err = s.Keep(r, d, false)
	unlike("a fit", err)
	report := &batch.Report{}
	s.AddLoudness(t.Context(), report)
	if len(report.Warnings) != 1 || !strings.Contains(report.Warnings[0], currentFile) {
		t.Errorf("loudness: %q", report.Warnings)
	}
}

func TestModelsNeverChange(t *testing.T) {
	path := filepath.Join(t.TempDir(), "model.json")
	r, _ := sampleFit(t, false, "loglinear-gap")
	if err := os.WriteFile(path, []byte("mine"), 0o644); err != nil {
		t.Fatal(err)
	}
	if err := WriteModel(path, r); !errors.Is(err, fs.ErrExist) {
		t.Errorf("got %v, want %v", err, fs.ErrExist)
	}
	if text, _ := os.ReadFile(path); string(text) != "mine" {
		t.Errorf("the file now holds %q", text)
	}
	if err := WriteModel(filepath.Join(path, "no", "folder"), r); err == nil {
		t.Error("a file in no folder: want an error")
	}
}

// A row that a power cut tore does not swallow the next one.
func TestHistoryAfterATornRow(t *testing.T) {
	s := testStore(t, "loglinear-gap")
	if err := os.WriteFile(s.folder.history(), []byte("time,model,before,why\n2026-03-04T05:"), 0o644); err != nil {
		t.Fatal(err)
	}
	if err := s.use("model-001.json", "", "a test, of commas"); err != nil {
		t.Fatal(err)
	}
	text, err := os.ReadFile(s.folder.history())
	if err != nil || !strings.HasSuffix(string(text), "05:\n2026-03-04T05:06:07Z,model-001.json,,\"a test, of commas\"\n") {
		t.Errorf("%v:\n%s", err, text)
	}
}
