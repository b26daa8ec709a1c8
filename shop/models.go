package shop

import (
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"evenpole/capture/record/disk"
	"evenpole/fit"
	"evenpole/profiles"
)

// Models names the shop's models by their files, oldest first.
func (s *Shop) Models() ([]string, error) {
	entries, err := os.ReadDir(s.folder.model(""))
	if err != nil && !errors.Is(err, fs.ErrNotExist) {
		return nil, err
	}
	var names []string
	for _, e := range entries {
		names = append(names, e.Name())
	}
	var models []string
	for _, n := range modelNumbers(names) {
		models = append(models, modelName(n))
	}
	return models, nil
}

// FindModel names a model that people name 2, 002, model-002 or model-002.json.
// ErrUnknownModel says that there is none.
func (s *Shop) FindModel(text string) (string, error) {
	names, err := s.Models()
	if err != nil {
		return "", err
	}
	if n, ok := modelNumber(text); ok && slices.Contains(names, modelName(n)) {
		return modelName(n), nil
	}
	return "", bad("shop %s: %w, got %q", s.Dir(), ErrUnknownModel, text)
}

// ModelFile is the file of a model.
func (s *Shop) ModelFile(name string) string { return s.folder.model(name) }

// ReadModel reads a model of the shop.
func (s *Shop) ReadModel(name string) (*fit.Result, error) { return readModel(s.folder.model(name)) }

func readModel(path string) (*fit.Result, error) {
	m, err := fit.ReadModel(path)
	if err != nil {
		return nil, &InputError{err}
	}
	return m, nil
}

// CurrentModel names the shop's current model. ErrNoModel says that it never had
// one.
func (s *Shop) CurrentModel() (string, error) {
	path := s.folder.current()
	text, err := readStart(path, longestName)
	if errors.Is(err, fs.ErrNotExist) {
		return "", bad("the shop %s has %w", s.Dir(), ErrNoModel)
	}
	if err != nil {
		return "", err
	}
	name := strings.TrimSpace(string(text))
	if name != filepath.Base(name) || name == "" || len(text) > longestName || !profiles.IsName(name) {
		return "", bad("%s:1: expected the name of a model file beside it, got %.60q", path, name)
	}
	return name, nil
}

// longestName is the most bytes that the name of the current model has, its line end
// included.
const longestName = 256

// readStart reads a file up to one byte more than so many.
func readStart(path string, most int64) ([]byte, error) {
	f, err := disk.Open(path)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	return io.ReadAll(io.LimitReader(f, most+1))
}

// Model reads the model file named, or the shop's current model for "".
func (s *Shop) Model(file string) (*fit.Result, error) {
	if file != "" {
		return readModel(file)
	}
	if err := s.Require(); err != nil {
		return nil, err
	}
	name, err := s.CurrentModel()
	if err != nil {
		return nil, err
	}
	m, err := s.ReadModel(name)
	if errors.Is(err, fs.ErrNotExist) {
		return nil, bad("%s:1: the current model %s is not there: 'evenpole model list' lists those that are, 'evenpole model use' chooses one", s.folder.current(), name)
	}
	return m, err
}

// Predictor is what plans are made with: the model file named, or the shop's
// current model, or the handbook where there is none.
func (s *Shop) Predictor(file string) (fit.Predictor, error) {
	if file == "" && s.folder == "" {
		return fit.Handbook(profiles.Travel), nil
	}
	m, err := s.Model(file)
	if errors.Is(err, ErrNoModel) {
		return fit.Handbook(profiles.Travel), nil
	}
	if err != nil {
		return nil, err
	}
	return m.Model, nil
}

// UseModel makes a model the current one, unless it is, and writes down when and
// why. It returns which was current before; "" when there was none that can be
// used.
func (s *Shop) UseModel(name, why string) (before string, err error) {
	if _, err := s.ReadModel(name); err != nil {
		return "", err
	}
	release, err := disk.TakeTurn(s.folder.modelsLock())
	if err != nil {
		return "", err
	}
	defer release()
	before, _ = s.CurrentModel() // one that cannot be used is replaced
	if before == name {
		return before, nil
	}
	return before, s.use(name, before, why)
}

// use makes a model the current one in place of another.
func (s *Shop) use(name, before, why string) error {
	if err := disk.WriteFile(s.folder.current(), text(fmt.Sprintln(name))); err != nil {
		return err
	}
	return appendRow(s.folder.history(), []string{"time", "model", "before", "why"},
		[]string{s.Now().UTC().Format(time.RFC3339), name, before, why})
}
