package shop

import (
	"bytes"
	"errors"
	"fmt"
	"io/fs"
	"time"

	"evenpole/capture/record/disk"
	"evenpole/fit"
	"evenpole/fit/cell"
)

// Kept says what became of a fit in the shop.
type Kept struct {
	File    string `json:"file"` // "" when it was not written
	New     bool   `json:"new"`  // false when the shop had this very model
	Current bool   `json:"current"`
	Why     string `json:"why"`
}

// WriteModel writes a model to a file that must not be there: models never change.
func WriteModel(path string, r *fit.Result) error { return disk.CreateFile(path, r.Write) }

// Keep writes a model under the next free number, unless the shop has it. Of several
// processes that fit, one keeps its model after the other. It
// becomes the current one when it predicts unseen pickups at least as well, or
// when the user insists. d is what it was fitted to.
func (s *Shop) Keep(r *fit.Result, d *cell.Data, insist bool) (Kept, error) {
	if err := disk.MakeDir(s.folder.model("")); err != nil {
		return Kept{}, err
	}
	release, err := disk.TakeTurn(s.folder.modelsLock())
	if err != nil {
		return Kept{}, err
	}
	defer release()
	before, err := s.CurrentModel()
	if err != nil && !errors.Is(err, ErrNoModel) {
		return Kept{}, err
	}
	name, err := s.same(r)
	if err != nil {
		return Kept{}, err
	}
	if name != "" && name == before {
		return Kept{s.ModelFile(name), false, true, "the record says nothing that it does not know"}, nil
	}
	h := s.decideCurrent(r, d, before, insist)
	isNew := name == ""
	if isNew {
		r.History = h
		if name, err = s.add(r); err != nil {
			return Kept{}, err
		}
	}
	if h.Current {
		err = s.use(name, before, h.Why)
	}
	return Kept{s.ModelFile(name), isNew, h.Current, h.Why}, err
}

// same names the model of the shop that is this one; "" when there is none.
func (s *Shop) same(r *fit.Result) (string, error) {
	names, err := s.Models()
	if err != nil {
		return "", err
	}
	for _, name := range names {
		if !s.mayBe(name, r) {
			continue
		}
		if m, err := s.ReadModel(name); err == nil && m.Same(r) {
			return name, nil
		}
	}
	return "", nil
}

// mayBe reports whether a model may be this one, by the beginning of its file, where the
// fingerprint of its data stands: a shop with many models would read them all for long.
func (s *Shop) mayBe(name string, r *fit.Result) bool {
	const beginning = 4096 // bytes; names of programs are short
	text, err := readStart(s.folder.model(name), beginning)
	return err == nil && bytes.Contains(text, []byte(r.Fingerprint))
}

// add writes a model under the number after the last.
func (s *Shop) add(r *fit.Result) (string, error) {
	names, err := s.Models()
	if err != nil {
		return "", err
	}
	n := 1
	if len(names) > 0 {
		last, _ := modelNumber(names[len(names)-1])
		n = last + 1
	}
	for ; ; n++ { // another fit may take the number first
		if err := WriteModel(s.ModelFile(modelName(n)), r); !errors.Is(err, fs.ErrExist) {
			return modelName(n), err
		}
	}
}

// decideCurrent decides whether a fit replaces the current model.
func (s *Shop) decideCurrent(r *fit.Result, d *cell.Data, before string, insist bool) *fit.History {
	h := &fit.History{Time: s.Now().UTC().Truncate(time.Second), Before: before}
	var old *fit.Result
	var err error
	if before != "" {
		old, err = s.ReadModel(before)
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
