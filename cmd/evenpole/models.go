package main

import (
	"encoding/csv"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"time"

	"evenpole/fit"
	"evenpole/fit/cell"
)

// The shop's models: files that never change, one that names the current, and
// one that says when and why it became so.
const (
	modelsDir   = "models"
	currentFile = "current.txt"
	historyFile = "history.csv"
)

// modelStore is a shop's folder of models.
type modelStore struct {
	shop string
	now  func() time.Time
}

func (s *modelStore) path(name string) string { return filepath.Join(s.shop, modelsDir, name) }

// modelName is the name of a model's file.
func modelName(n int) string { return fmt.Sprintf("model-%03d.json", n) }

var modelPattern = regexp.MustCompile(`^(?:model-)?0*([0-9]{1,6})(?:\.json)?$`)

// names lists the model files, oldest first.
func (s *modelStore) names() ([]string, error) {
	entries, err := os.ReadDir(s.path(""))
	if err != nil && !errors.Is(err, fs.ErrNotExist) {
		return nil, err
	}
	var numbers []int
	for _, e := range entries {
		if m := modelPattern.FindStringSubmatch(e.Name()); m != nil {
			if n, err := strconv.Atoi(m[1]); err == nil && modelName(n) == e.Name() {
				numbers = append(numbers, n)
			}
		}
	}
	slices.Sort(numbers)
	var names []string
	for _, n := range numbers {
		names = append(names, modelName(n))
	}
	return names, nil
}

// find returns the file of a model that was named as people name it: 2, 002,
// model-002 or model-002.json.
func (s *modelStore) find(text string) (string, error) {
	names, err := s.names()
	if err != nil {
		return "", err
	}
	if m := modelPattern.FindStringSubmatch(text); m != nil {
		if n, err := strconv.Atoi(m[1]); err == nil && slices.Contains(names, modelName(n)) {
			return modelName(n), nil
		}
	}
	return "", withHint(badInput("shop %s: expected the number of one of its models, got %q", s.shop, text), "'evenpole model list' shows them")
}

// read reads a model of the shop.
func (s *modelStore) read(name string) (*fit.Result, error) {
	m, err := fit.ReadModel(s.path(name))
	if err != nil {
		return nil, &inputError{err}
	}
	return m, nil
}

// current names the shop's current model.
func (s *modelStore) current() (string, error) {
	path := s.path(currentFile)
	text, err := os.ReadFile(path)
	if err != nil {
		return "", withHint(badInput("the shop %s has no model yet", s.shop), "'evenpole fit' makes one from the record")
	}
	name := strings.TrimSpace(string(text))
	if name != filepath.Base(name) || name == "" {
		return "", badInput("%s:1: expected the name of a model file beside it, got %q", path, name)
	}
	return name, nil
}

// currentModel is the path of the shop's current model.
func currentModel(shop string) (string, error) {
	s := modelStore{shop: shop}
	name, err := s.current()
	if err != nil {
		return "", err
	}
	return s.path(name), nil
}

// hasModel reports whether there is a shop here that has a current model, or
// had one whose file is lost.
func (e *env) hasModel() bool {
	shop, ok := e.findShop()
	if !ok {
		return false
	}
	s := modelStore{shop: shop}
	return !missing(s.path(currentFile))
}

// use makes a model the current one and writes down when and why.
func (s *modelStore) use(name, why string) error {
	before, err := s.current()
	if err != nil {
		before = "" // there was none that could be used
	}
	err = writeFile(s.path(currentFile), func(f *os.File) error {
		_, err := fmt.Fprintln(f, name)
		return err
	})
	if err != nil {
		return err
	}
	return s.note(name, before, why)
}

// note adds a row to the history of what was current.
func (s *modelStore) note(name, before, why string) error {
	path := s.path(historyFile)
	isNew := missing(path)
	f, err := os.OpenFile(path, os.O_WRONLY|os.O_CREATE|os.O_APPEND, 0o644)
	if err != nil {
		return err
	}
	w := csv.NewWriter(f)
	if isNew {
		w.Write([]string{"time", "model", "before", "why"})
	}
	w.Write([]string{s.now().UTC().Format(time.RFC3339), name, before, why})
	w.Flush()
	return errors.Join(w.Error(), f.Close())
}

// kept says what became of a fit in the shop.
type kept struct {
	File    string `json:"file"` // "" when it was not written
	New     bool   `json:"new"`  // false when the shop had this very model
	Current bool   `json:"current"`
	Why     string `json:"why"`
}

// keep writes a model under the next free number, unless the shop has it. It
// becomes the current one when it predicts unseen pickups at least as well, or
// when the user insists.
func (s *modelStore) keep(r *fit.Result, d *cell.Data, insist bool) (kept, error) {
	if err := os.MkdirAll(s.path(""), 0o777); err != nil {
		return kept{}, err
	}
	before, err := s.current()
	if err != nil && !missing(s.path(currentFile)) {
		return kept{}, err
	}
	name, err := s.same(r)
	if err != nil {
		return kept{}, err
	}
	if name != "" && name == before {
		return kept{s.path(name), false, true, "the record says nothing that it does not know"}, nil
	}
	h := s.judge(r, d, before, insist)
	isNew := name == ""
	if isNew {
		r.History = h
		if name, err = s.add(r); err != nil {
			return kept{}, err
		}
	}
	if h.Current {
		err = s.use(name, h.Why)
	}
	return kept{s.path(name), isNew, h.Current, h.Why}, err
}

// same names the model of the shop that is this one; "" when there is none.
func (s *modelStore) same(r *fit.Result) (string, error) {
	names, err := s.names()
	if err != nil {
		return "", err
	}
	for _, name := range names {
		if m, err := s.read(name); err == nil && m.Same(r) {
			return name, nil
		}
	}
	return "", nil
}

// add writes a model under the number after the last.
func (s *modelStore) add(r *fit.Result) (string, error) {
	names, err := s.names()
	if err != nil {
		return "", err
	}
	n := 1
	if len(names) > 0 {
		fmt.Sscanf(names[len(names)-1], "model-%d", &n)
		n++
	}
	for ; ; n++ { // another fit may take the number first
		if err := r.Write(s.path(modelName(n))); !errors.Is(err, fs.ErrExist) {
			return modelName(n), err
		}
	}
}

// judge decides whether a fit replaces the current model.
func (s *modelStore) judge(r *fit.Result, d *cell.Data, before string, insist bool) *fit.History {
	h := &fit.History{Time: s.now().UTC().Truncate(time.Second), Before: before}
	var old *fit.Result
	var err error
	if before != "" {
		old, err = s.read(before)
	}
	switch {
	case before == "":
		h.Current, h.Why = true, "the shop's first model"
	case err != nil:
		h.Current, h.Why = true, fmt.Sprintf("%s cannot be read", before)
	default:
		c := fit.CompareNew(old, r, d)
		h.Comparison = &c
		h.Current, h.Why = c.SecondAsWell(), because(&c, before)
	}
	if insist && !h.Current {
		h.Current, h.Why = true, "as told by --use, though "+h.Why
	}
	return h
}

// because says how a new fit compares with the model before it.
func because(c *fit.Comparison, before string) string {
	if c.Balance[0] == nil {
		return fmt.Sprintf("nothing tells it from %s, and it knows the newer data", before)
	}
	verb := "predicts balance as well as"
	switch margin := *c.Balance[0] - *c.Balance[1]; {
	case !c.SecondAsWell():
		verb = "predicts balance worse than"
	case margin > fit.AsWell:
		verb = "predicts balance better than"
	}
	return fmt.Sprintf("it %s %s, %.2f dB against %.2f dB (rms), on %s", verb, before, *c.Balance[1], *c.Balance[0], c.Basis)
}
