package shop

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"io/fs"

	"evenpole/fit"
	"evenpole/fit/batch"
	"evenpole/fit/field"
	"evenpole/profiles"
)

// FieldRecord reads the file of field readings named, or the shop's own for "".
// ErrNoFields says that the shop has none yet.
func (s *Shop) FieldRecord(ctx context.Context, file string) (*batch.Record, error) {
	if file == "" {
		if err := s.Require(); err != nil {
			return nil, err
		}
		if file = s.folder.fieldsFile(); Missing(file) {
			return nil, bad("the shop %s has %w", s.Dir(), ErrNoFields)
		}
	}
	return batch.Read(until(ctx, "field readings", fieldRows(file)))
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

// Wanted is what is asked of a batch. What is not given comes from what the shop
// ordered.
type Wanted struct {
	Batch                  string  // "" is the newest of the record
	batch.Options                  // its rods are worked out
	RodDiameter, RodLength float64 // mm, of every batch
}

// Characterise says of a batch how strong it is and how much it varies.
func (s *Shop) Characterise(loose *batch.Record, w Wanted) (*batch.Report, error) {
	ordered, err := s.Batches()
	if err != nil {
		return nil, err
	}
	name := cmp.Or(w.Batch, loose.Newest())
	return characterise(loose, name, w.with(name, loose.Batches(), ordered))
}

func characterise(loose *batch.Record, name string, o batch.Options) (*batch.Report, error) {
	r, err := loose.Characterise(name, o)
	return r, as[*batch.Refusal](err)
}

// with completes what is wanted by what the shop ordered. batches are those of the
// record.
func (w Wanted) with(name string, batches []string, ordered *profiles.Batches) batch.Options {
	o := w.Options
	own, _ := ordered.Batch(name)
	o.Reference = cmp.Or(o.Reference, ordered.Reference)
	o.Gap = cmp.Or(o.Gap, own.ProbeGap)
	o.Limits = batch.Limits{Min: limit(o.Limits.Min, own.Min), Max: limit(o.Limits.Max, own.Max)}
	o.Risks = batch.Risks{
		Acceptable: cmp.Or(o.Risks.Acceptable, ordered.Acceptable), Limiting: cmp.Or(o.Risks.Limiting, ordered.Limiting),
		Producer: cmp.Or(o.Risks.Producer, ordered.ProducerRisk), Consumer: cmp.Or(o.Risks.Consumer, ordered.ConsumerRisk),
	}
	o.Rods = map[string]field.Rod{}
	for _, b := range batches {
		of, _ := ordered.Batch(b)
		o.Rods[b] = field.Rod{Radius: cmp.Or(w.RodDiameter, of.RodDiameter) / 2, Length: cmp.Or(w.RodLength, of.RodLength)}
	}
	return o
}

// limit is the limit given, or the one ordered, of which 0 is none.
func limit(given *float64, ordered float64) *float64 {
	if given == nil && ordered != 0 {
		return &ordered
	}
	return given
}

// Stock names the loose magnets of a batch in the shop's record.
func (s *Shop) Stock(ctx context.Context, name string) ([]string, error) {
	loose, err := s.FieldRecord(ctx, "")
	if err != nil {
		return nil, err
	}
	r, err := characterise(loose, name, batch.Options{})
	if err != nil {
		return nil, err
	}
	var names []string
	for _, m := range r.Magnets {
		names = append(names, m.Name)
	}
	return names, nil
}

// Match sorts the magnets of a batch into sets.
func Match(ctx context.Context, r *batch.Report, size int) (*batch.Sets, error) {
	sets, err := r.Match(ctx, size)
	return sets, as[*batch.Refusal](err)
}

// AddLoudness adds how loud test pickups with a batch are, where the shop has a
// model that can tell. What stands in the way becomes a warning of the report.
func (s *Shop) AddLoudness(ctx context.Context, r *batch.Report) {
	if s.folder == "" {
		return
	}
	m, err := s.Model("")
	if errors.Is(err, ErrNoModel) {
		return
	}
	if err == nil {
		r.Loudness, err = s.loudness(ctx, m.Model, r)
	}
	if err != nil {
		r.Warnings = append(r.Warnings, fmt.Sprintf("test pickups are not compared: %v", err))
	}
}

func (s *Shop) loudness(ctx context.Context, model fit.Model, r *batch.Report) (*batch.Loudness, error) {
	data, err := s.gathered(ctx)
	if err != nil {
		return nil, err
	}
	l, _ := batch.Compare(data, model, r.Batch, r.Reference, r.Confidence)
	return l, nil
}
