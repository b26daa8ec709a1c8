package main

import (
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"evenpole/fit/level"
	"evenpole/profiles"
	"evenpole/report"
)

// How figures, names and days are read and written, in all commands alike.

// signed writes decibels with their sign.
func signed(v float64) string { return profiles.Sprintf("%+.2f", v) }

func signedCells(values []float64) string {
	var cells []string
	for _, v := range values {
		cells = append(cells, signed(v))
	}
	return strings.Join(cells, "\t")
}

// stringCells is the head of columns by string.
func stringCells(n int) string {
	var cells []string
	for i := range n {
		cells = append(cells, fmt.Sprint(i+1))
	}
	return strings.Join(cells, "\t")
}

func wrapList(wraps []profiles.Wrap) string {
	var names []string
	for _, w := range wraps {
		names = append(names, string(w))
	}
	return strings.Join(names, ", ")
}

func orZero(v *float64) float64 {
	if v == nil {
		return 0
	}
	return *v
}

func day(t time.Time) string { return t.Format(time.DateOnly) }

// dayOrDash is the day of a time; a dash where there is none.
func dayOrDash(t time.Time) string {
	if t.IsZero() {
		return "-"
	}
	return day(t)
}

func decibels(v *float64) string {
	if v == nil {
		return "cannot be told"
	}
	return profiles.Sprintf("%.2f dB", *v)
}

func figure(v *float64) string {
	if v == nil {
		return "-"
	}
	return profiles.Sprintf("%.2f", *v)
}

func orNone(name string) string {
	if name == "" {
		return "none"
	}
	return name
}

func orDash(text string) string {
	if text == "" {
		return "-"
	}
	return text
}

// ifAny is a text with what goes before it; nothing for none.
func ifAny(before, text string) string {
	if text == "" {
		return ""
	}
	return before + text
}

// pageName refuses a page by another name than of what can be written; "" is none.
func pageName(flag, path string) error {
	switch ext := strings.ToLower(filepath.Ext(path)); {
	case path == "", ext == ".html", ext == ".htm", ext == ".pdf":
		return nil
	}
	return badInput("%s: expected a name that ends in .html or .pdf, got %q", flag, path)
}

// paperOf is the paper that a flag names, or the shop's.
func paperOf(e *env, flag string) (report.Paper, error) {
	if flag != "" {
		paper, err := report.ParsePaper(flag)
		if err != nil {
			return paper, badInput("paper: %v", err)
		}
		return paper, nil
	}
	s, err := e.shopHere()
	if err != nil {
		return report.A4, err
	}
	return s.Paper()
}

// known writes a figure, or a dash when it is not known.
func known(format string, f level.Figure) string {
	if !f.Known() {
		return "-"
	}
	return profiles.Sprintf(format, float64(f))
}

func plain(f level.Figure) string { return known("%.2f", f) }

func plus(f level.Figure) string {
	if !f.Known() {
		return "-"
	}
	return signed(float64(f))
}

func namesOr(names []string, none string) string {
	if len(names) == 0 {
		return none
	}
	return strings.Join(names, ", ")
}

// dayFlag reads a date as a flag gives it.
func dayFlag(flag, text string) (time.Time, error) {
	if text == "" {
		return time.Time{}, nil
	}
	t, err := time.Parse(time.DateOnly, text)
	if err != nil {
		return t, badInput("%s: expected a day such as 2026-03-02, got %q", flag, text)
	}
	return t, nil
}

// few are the first of some notes on pickups, and how many more there are.
func few(notes []string) []string {
	const most = profiles.MostListed
	if len(notes) <= most {
		return notes
	}
	return append(slices.Clone(notes[:most]), "and "+profiles.Count(len(notes)-most, "more pickup"))
}

// quoted is an argument of a command that a person may copy.
func quoted(arg string) string {
	if strings.ContainsAny(arg, " \t&;|<>()$`\\'*?#~") || arg == "" {
		return `"` + arg + `"`
	}
	return arg
}

// shopFlag is --shop as it was given, for a command that a person may copy.
func (e *env) shopFlag() string {
	if e.shop == "" {
		return ""
	}
	return " --shop " + quoted(e.shop)
}

// eachFromHere is fromHere of several paths.
func eachFromHere(paths []string) []string {
	out := make([]string, len(paths))
	for i, path := range paths {
		out[i] = fromHere(path)
	}
	return out
}

// fromHere is a path as short as it can be named from the folder that one is in.
func fromHere(path string) string {
	here, err := os.Getwd()
	if err != nil || !filepath.IsAbs(path) {
		return path
	}
	if rel, err := filepath.Rel(here, path); err == nil && len(rel) < len(path) {
		return rel
	}
	return path
}
