package main

import (
	"bytes"
	"context"
	_ "embed"
	"errors"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"time"

	"evenpole/capture/record"
	"evenpole/fit"
	"evenpole/fit/cell"
	"evenpole/fit/next"
	"evenpole/profiles"
	"evenpole/shop"
)

// A stage is one way through a log. Each runs as a process of its own, so that its memory
// can be told.
type stage struct {
	name   string
	before func(log string) error                    // what is there already; not measured; may be nil
	does   func(log string) (said string, err error) // in this program; nil for a command
	args   func(log string) []string                 // the command; nil where there is none here
}

//go:embed peer.py
var peerPython string

//go:embed peer.R
var peerR string

// stages are what is measured; program is the program, dir a folder for what it writes.
func stages(program, dir string) []stage {
	fitShop := func(string) []string { return []string{program, "fit", "--shop", filepath.Join(dir, "shop"), "--json"} }
	return []stage{
		{name: "bare", does: bareStage},
		{name: "cells", does: cellsStage},
		{name: "screened", does: func(log string) (string, error) {
			d, err := shop.CellsOf(context.Background(), []string{log}, "")
			if err != nil {
				return "", err
			}
			return fmt.Sprintf("%d cells, %d suspects", len(d.Cells), len(d.Suspects)), nil
		}},
		{name: "whole fit", args: func(log string) []string {
			model := filepath.Join(dir, "model.json")
			os.Remove(model) // of the last log: no command replaces a file
			return []string{program, "fit", "--readings", log, "--out", model, "--json"}
		}},
		{name: "100 more rows", before: func(log string) error { return fitShorter(program, filepath.Join(dir, "shop"), log, 100) },
			args: fitShop},
		{name: "no more rows", before: func(log string) error { return fitShorter(program, filepath.Join(dir, "shop"), log, 0) },
			args: fitShop},
		inShop(program, dir, "explain", "explain", "--model", filepath.Join(dir, "model.json"), "--pickup", "P0001"),
		inShop(program, dir, "pictures", "pictures", "--model", filepath.Join(dir, "model.json"), "--out", filepath.Join(dir, "pictures"), "--force"),
		inShop(program, dir, "list", "record", "list"),
		inShop(program, dir, "sessions", "record", "sessions"),
		inShop(program, dir, "show", "record", "show", "P0001"),
		{name: "next", does: nextStage},
		{name: "verify", does: func(log string) (string, error) { // the command's exit status tells the rows that stand twice
			audit, err := record.Verify(context.Background(), filepath.Dir(log), func(record.Finding) {})
			return fmt.Sprintf("%d faults", audit.Faults), err
		}},
		{name: "verify sealed", before: sealShop, does: func(log string) (string, error) {
			audit, err := record.Verify(context.Background(), sealedShop(log), func(record.Finding) {})
			return fmt.Sprintf("%d faults", audit.Faults), err
		}},
		{name: "capture goes on", before: sealShop, does: goOnStage},
		{name: "batch", before: func(log string) error { return looseMagnets(filepath.Join(dir, "loose"), log) }, args: func(string) []string {
			return []string{program, "batch", "--shop", filepath.Join(dir, "loose"), "--json"}
		}},
		inShop(program, dir, "export", "record", "export", "--out", filepath.Join(dir, "export.csv"), "--force"),
		{name: "pandas, SciPy", args: func(log string) []string {
			return peer(dir, "python3", "peer.py", peerPython, "import pandas, scipy", log)
		}},
		{name: "data.table, lme4", args: func(log string) []string {
			return peer(dir, "Rscript", "peer.R", peerR, "library(data.table); library(lme4)", log)
		}},
	}
}

// inShop is a command that reads the shop's record.
func inShop(program, dir, name string, command ...string) stage {
	return stage{name: name, args: func(string) []string { return slices.Concat([]string{program}, command, []string{"--shop", dir}) }}
}

// peer is the command that runs a script of another program; nil when that is not
// installed.
func peer(dir, program, file, script, needs, log string) []string {
	check := map[string]string{"python3": "-c", "Rscript": "-e"}[program]
	if exec.Command(program, check, needs).Run() != nil {
		return nil
	}
	path := filepath.Join(dir, file)
	if os.WriteFile(path, []byte(script), 0o666) != nil {
		return nil
	}
	return []string{program, path, log}
}

func bareStage(log string) (string, error) {
	cells, err := bareCells(log)
	if err != nil {
		return "", err
	}
	f := fitBare(cells)
	return fmt.Sprintf("%d %v %v", f.cells, f.slope, f.se), nil
}

func cellsStage(log string) (string, error) {
	f, err := os.Open(log)
	if err != nil {
		return "", err
	}
	defer f.Close()
	d, err := cell.Gather(record.Readings(f, log))
	if err != nil {
		return "", err
	}
	return fmt.Sprintf("%d cells of %d readings", len(d.Cells), d.Readings), nil
}

// nextStage asks which captures would tell most of a pickup to come.
func nextStage(log string) (string, error) {
	dir := filepath.Dir(log)
	s, err := shop.Open(dir)
	if err != nil {
		return "", err
	}
	m, err := s.Model(filepath.Join(dir, "model.json"))
	if err != nil {
		return "", err
	}
	d, err := s.Cells(context.Background())
	if err != nil {
		return "", err
	}
	want := next.Want{
		Setup:   &fit.Setup{Strings: stringSets()[0].strings, StringHeights: profiles.ArcHeights(241, 51, 6, 3.3, 3.5), Spacing: profiles.UsualSpacing},
		Heights: []float64{0.5, 1, 1.5, 1.5, 1, 0.5},
	}
	list, err := next.Next(context.Background(), m.Model, d, []next.Want{want}, d.StringSets(), 3)
	return fmt.Sprintf("%d captures", len(list)), err
}

// cost is what a run took.
type cost struct {
	wall, processor float64 // s
	peak            float64 // MB
	said            string
}

// fitShorter makes a shop of a log which was fitted when it was so many rows shorter.
func fitShorter(program, shop, log string, rows int) error {
	readings := filepath.Join(shop, record.ReadingsFile)
	if err := errors.Join(os.RemoveAll(shop), os.MkdirAll(shop, 0o777), copyFile(readings, log)); err != nil {
		return err
	}
	f, err := os.OpenFile(readings, os.O_RDWR, 0)
	if err != nil {
		return err
	}
	defer f.Close()
	last, err := cutRows(f, rows)
	if err != nil {
		return err
	}
	if said, err := exec.Command(program, "fit", "--shop", shop).CombinedOutput(); err != nil {
		return fmt.Errorf("%w\n%s", err, said)
	}
	_, err = f.Write(last)
	return err
}

// cutRows cuts the last rows off a log, and leaves the file open at its end. A log is not
// read into memory as a whole: a process that is started counts the memory of the one that
// starts it as its own.
func cutRows(f *os.File, rows int) (last []byte, err error) {
	const longest = 1 << 10 // bytes of a row
	end, err := f.Seek(0, io.SeekEnd)
	if err != nil {
		return nil, err
	}
	last = make([]byte, min(end, int64(rows+1)*longest))
	if _, err := f.ReadAt(last, end-int64(len(last))); err != nil {
		return nil, err
	}
	at := len(last)
	for range rows {
		at = 1 + bytes.LastIndexByte(last[:at-1], '\n')
	}
	last = last[at:]
	if err := f.Truncate(end - int64(len(last))); err != nil {
		return nil, err
	}
	_, err = f.Seek(0, io.SeekEnd)
	return last, err
}

func copyFile(to, from string) error {
	in, err := os.Open(from)
	if err != nil {
		return err
	}
	defer in.Close()
	out, err := os.Create(to)
	if err != nil {
		return err
	}
	_, err = io.Copy(out, in)
	return errors.Join(err, out.Close())
}

// run runs a stage on a log.
func (s *stage) run(log string) (cost, error) {
	if s.before != nil {
		if err := s.before(log); err != nil {
			return cost{}, fmt.Errorf("%s: %w", s.name, err)
		}
	}
	self, err := os.Executable()
	if err != nil {
		return cost{}, err
	}
	args := []string{self, "-stage", s.name, log}
	if s.does == nil {
		args = s.args(log)
	}
	cmd := exec.Command(args[0], args[1:]...)
	var out, complaint bytes.Buffer
	cmd.Stdout, cmd.Stderr = &out, &complaint
	start := time.Now()
	if err := cmd.Run(); err != nil {
		return cost{}, fmt.Errorf("%s: %w\n%s", s.name, err, complaint.Bytes())
	}
	state := cmd.ProcessState
	return cost{time.Since(start).Seconds(), (state.UserTime() + state.SystemTime()).Seconds(), peakOf(state), out.String()}, nil
}
