package shop

import (
	"errors"
	"fmt"
	"io/fs"

	"evenpole/fit"
	"evenpole/fit/batch"
	"evenpole/profiles"
)

// FieldRecord reads the file of field readings named, or the shop's own for "".
// ErrNoFields says that the shop has none yet.
func (s *Shop) FieldRecord(file string) (*batch.Record, error) {
	if file == "" {
		if err := s.Is(); err != nil {
			return nil, err
		}
		if file = s.folder.fieldsFile(); missing(file) {
			return nil, bad("the shop %s has %w", s.Dir(), ErrNoFields)
		}
	}
	return batch.Read(fieldRows(file))
}

// Batches reads what magnets the shop ordered; nothing where it does not say.
func (s *Shop) Batches() (*profiles.Batches, error) {
	if s.folder == "" {
		return &profiles.Batches{}, nil
	}
	b, err := profiles.ReadBatches(s.folder.batches())
	if errors.Is(err, fs.ErrNotExist) {
		return &profiles.Batches{}, nil
	}
	return b, err
}

// Stock names the loose magnets of a batch in the shop's record.
func (s *Shop) Stock(name string) ([]string, error) {
	loose, err := s.FieldRecord("")
	if err != nil {
		return nil, err
	}
	r, err := Characterise(loose, name, batch.Options{})
	if err != nil {
		return nil, err
	}
	var names []string
	for _, m := range r.Magnets {
		names = append(names, m.Name)
	}
	return names, nil
}

// Characterise says of a batch how strong it is and how much it varies.
func Characterise(loose *batch.Record, name string, o batch.Options) (*batch.Report, error) {
	r, err := loose.Characterise(name, o)
	return r, as[*batch.Refusal](err)
}

// Match sorts the magnets of a batch into sets.
func Match(r *batch.Report, size int) (*batch.Sets, error) {
	sets, err := r.Match(size)
	return sets, as[*batch.Refusal](err)
}

// AddLoudness adds how loud test pickups with a batch are, where the shop has a
// model that can tell. What stands in the way becomes a warning of the report.
func (s *Shop) AddLoudness(r *batch.Report) {
	if s.folder == "" {
		return
	}
	m, err := s.Model("")
	if errors.Is(err, ErrNoModel) {
		return
	}
	if err == nil {
		r.Loudness, err = s.loudness(m.Model, r)
	}
	if err != nil {
		r.Warnings = append(r.Warnings, fmt.Sprintf("test pickups are not compared: %v", err))
	}
}

func (s *Shop) loudness(model fit.Model, r *batch.Report) (*batch.Loudness, error) {
	sources, err := sourcesOf([]string{s.folder.ReadingsFile()})
	if err != nil {
		return nil, err
	}
	data, err := gather(sources)
	if err != nil {
		return nil, err
	}
	l, _ := batch.Compare(data, model, r.Batch, r.Reference, r.Confidence)
	return l, nil
}
