package shop

import (
	"context"
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"evenpole/capture/record"
	"evenpole/capture/record/recordtest"
	"evenpole/fit"
	"evenpole/fit/drift"
	"evenpole/fit/gain"
	"evenpole/fit/plan"
	"evenpole/fit/repeat"
	"evenpole/fit/verdict"
	"evenpole/profiles"
)

func TestOpenWantsAFolder(t *testing.T) {
	file := filepath.Join(t.TempDir(), "file")
	if err := os.WriteFile(file, nil, 0o666); err != nil {
		t.Fatal(err)
	}
	for path, want := range map[string]string{file + "-none": "no such folder", file: "expected a folder, got a file", filepath.Join(file, "x"): "no such folder"} {
		if s, err := Open(path); !errors.As(err, new(*InputError)) || !strings.Contains(err.Error(), want) {
			t.Errorf("%s: got %v, %v", path, s, err)
		}
	}
}

// No shop has string sets, the handbook and no record, and reads nothing of the
// folder that the program happens to be in.
func TestNoShop(t *testing.T) {
	t.Chdir(t.TempDir())
	if err := errors.Join(os.Mkdir("models", 0o777), os.WriteFile("models/current.txt", []byte("model-001.json\n"), 0o666),
		os.WriteFile("batches.toml", []byte("no TOML"), 0o666)); err != nil {
		t.Fatal(err)
	}
	s := &Shop{}
	lib, err := s.Library()
	if err != nil || len(lib.Sets()) == 0 {
		t.Errorf("library: %v", err)
	}
	if d, err := s.CellsOrNone(t.Context()); err != nil || len(d.Cells) != 0 {
		t.Errorf("cells: %v", err)
	}
	if _, err := s.Predictor(""); err != nil {
		t.Errorf("predictor: %v", err)
	}
	if _, err := s.Batches(); err != nil {
		t.Errorf("batches: %v", err)
	}
	_, noModel := s.Model("")
	_, noFields := s.FieldRecord(t.Context(), "")
	for _, err := range []error{s.Require(), noModel, noFields} {
		if !errors.Is(err, ErrNoShop) || !errors.As(err, new(*InputError)) {
			t.Errorf("got %v", err)
		}
	}
}

func TestPapersAreNamedSafely(t *testing.T) {
	s := &Shop{folder: "s"}
	want := filepath.Join("s", "certificates", "0012-A_1-.._b_c_.html")
	if got := s.CertificateFiles(12, "A/1", `..\b:c?`)[0]; got != want {
		t.Errorf("got %s, want %s", got, want)
	}
	if got := s.PictureFile("mine", "a.svg"); got != filepath.Join("mine", "a.svg") {
		t.Errorf("got %s", got)
	}
}

// Calibrations of one day stand beside each other, and all apply.
func TestCalibrationsAreKept(t *testing.T) {
	s, err := Open(t.TempDir())
	if err != nil {
		t.Fatal(err)
	}
	day := time.Date(2026, 3, 2, 9, 0, 0, 0, time.UTC)
	for _, want := range []string{"j_1-2026-03-02.toml", "j_1-2026-03-02-2.toml"} {
		_, name, err := s.Calibrate([]gain.Reading{{Source: 10, SourceU: 0.1, MV: 9, N: 1}, {Source: 10, SourceU: 0.1, MV: 9.1, N: 1}}, gain.Options{Jig: "j/1", Time: day})
		if err != nil || filepath.Base(name) != want {
			t.Errorf("got %s, %v; want %s", name, err, want)
		}
	}
	if book, err := s.folder.gains(); err != nil || len(book) != 2 {
		t.Errorf("%d calibrations, %v", len(book), err)
	}
	if _, _, err := s.Calibrate(nil, gain.Options{Jig: "j", Time: day}); !errors.As(err, new(*InputError)) {
		t.Errorf("of nothing: %v", err)
	}
}

// Rows of a file that is not there end with why.
func TestReadingsOfNoRecord(t *testing.T) {
	s := &Shop{folder: folder(t.TempDir())}
	n := 0
	for _, err := range s.Readings() {
		if n++; !errors.Is(err, ErrNoReadings) {
			t.Errorf("got %v", err)
		}
	}
	if n != 1 {
		t.Errorf("%d rows", n)
	}
}

func TestGivenHeights(t *testing.T) {
	o := &profiles.Order{Strings: make([]profiles.String, 3), StringHeightFirst: 3, StringHeightLast: 3, StringSpread: 50, FretboardRadius: 240}
	if _, heights, err := Given(o, []float64{1}); err != nil || len(heights) != 3 || heights[2] != 1 {
		t.Errorf("one for all: %v, %v", heights, err)
	}
	for _, heights := range [][]float64{{1, 2}, {1, 1, 3.5}} {
		if _, _, err := Given(o, heights); !errors.As(err, new(*InputError)) || strings.Contains(err.Error(), "--") {
			t.Errorf("%v: %v", heights, err)
		}
	}
}

// Rows end with the context soon, and so does what is made of them.
func TestRowsEndWithTheirContext(t *testing.T) {
	ctx, cancel := context.WithCancel(t.Context())
	given := 0
	endless := func(yield func(record.Reading, error) bool) {
		for ; ; given++ {
			if given == 10_000 {
				cancel()
			}
			if !yield(record.Reading{}, nil) {
				return
			}
		}
	}
	var last error
	for _, err := range until(ctx, "readings", endless) {
		last = err
	}
	if !errors.Is(last, context.Canceled) || given > 20_000 {
		t.Errorf("%d rows, %v", given, last)
	}
	s, err := Open(recordtest.Path(t, "sample-shop"))
	if err != nil {
		t.Fatal(err)
	}
	order, err := s.ReadOrder(recordtest.Path(t, "sample-shop", "orders", "A-001.toml"))
	if err != nil {
		t.Fatal(err)
	}
	for name, do := range map[string]func() error{
		"cells": func() error { _, err := s.Cells(ctx); return err },
		"plan":  func() error { _, err := Plan(ctx, order, fit.Handbook(profiles.Travel), plan.Options{}); return err },
		"what if": func() error {
			_, err := s.WhatIf(ctx, order, fit.Handbook(profiles.Travel), plan.Options{}, &plan.Plan{})
			return err
		},
		"check":  func() error { _, _, err := s.Check(ctx, order, "P1", verdict.Options{}, nil); return err },
		"repeat": func() error { _, err := s.Repeat(ctx, repeat.Options{}, ""); return err },
		"drift":  func() error { _, err := s.Drift(ctx, "", "", drift.Options{}); return err },
	} {
		if err := do(); !errors.Is(err, context.Canceled) || errors.As(err, new(*InputError)) {
			t.Errorf("%s: got %v", name, err)
		}
	}
}
