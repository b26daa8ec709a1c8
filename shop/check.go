package shop

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"io/fs"
	"iter"
	"strings"

	"evenpole/capture/record"
	"evenpole/capture/record/disk"
	"evenpole/fit"
	"evenpole/fit/drift"
	"evenpole/fit/repeat"
	"evenpole/fit/verdict"
	"evenpole/profiles"
)

// Check judges a pickup by the record, corrected by the jig's gain, compares it
// with what the model expects, and says what there is to say of the jig's
// calibration. A resistance that the last of the certificates before states for the same
// session holds where opt has none. notices are for people.
func (s *Shop) Check(ctx context.Context, o *profiles.Order, pickup string, opt verdict.Options, before Certificates) (v *verdict.Verdict, notices []string, err error) {
	book, err := s.folder.gains()
	if err != nil {
		return nil, nil, err
	}
	opt.Channel = book.ChannelStd
	bench, model, err := s.expected(ctx)
	if err != nil {
		notices = []string{fmt.Sprintf("not compared with what the model expects: %v", err)}
	}
	opt.Bench = bench
	twins, err := s.Twins(o)
	if err != nil {
		return nil, notices, err
	}
	notices = append(notices, twins...)
	v, err = verdict.Check(book.Apply(until(ctx, "readings", s.Readings())), o, pickup, opt)
	if err != nil {
		return nil, notices, as[*verdict.OrderError](as[*verdict.NotChecked](err))
	}
	if opt.Resistance == nil {
		r, notice, err := s.resistanceOf(before, v)
		if err != nil {
			return nil, notices, err
		}
		if notice != "" {
			notices = append(notices, notice)
		}
		if r != nil {
			v.StateResistance(o, *r)
		}
	}
	if v.Diagnosis != nil {
		v.Model = model
	}
	if c := book.At(v.Jig, v.Time); c != nil {
		v.Calibration = c.String()
		v.Notes = append(v.Notes, c.String())
	}
	if late := book.Overdue(v.Jig, v.Time); late != "" {
		v.Warnings = append(v.Warnings, late)
	}
	return v, notices, nil
}

// expected is what a pickup is compared with: the shop's current model, or the
// handbook's, its name, and the field readings that there are. With an error the field
// readings may be there alone.
func (s *Shop) expected(ctx context.Context) (*verdict.Bench, string, error) {
	lib, err := s.Library()
	if err != nil {
		return nil, "", err
	}
	b := &verdict.Bench{Model: fit.Handbook(profiles.Travel), Sets: lib.Sets()}
	if file := s.folder.fieldsFile(); !Missing(file) {
		b.Fields = until(ctx, "field readings", fieldRows(file))
	}
	fieldsAlone := &verdict.Bench{Fields: b.Fields}
	name, err := s.CurrentModel()
	if errors.Is(err, ErrNoModel) {
		return b, "the handbook alone", nil
	}
	if err != nil {
		return fieldsAlone, "", err
	}
	r, err := s.ReadModel(name)
	if err != nil {
		return fieldsAlone, "", err
	}
	b.Model = r.Model
	return b, fmt.Sprintf("%s (%s), of data %.12s", strings.TrimSuffix(name, ".json"), r.Kind, r.Fingerprint), nil
}

// Repeat analyses the sessions of purpose repeat. Who captured them stands in sessions.csv;
// operators is the file that says who mounted what otherwise, "" is the shop's, if it has one.
func (s *Shop) Repeat(ctx context.Context, o repeat.Options, operators string) (*repeat.Study, error) {
	var err error
	if o.Operators, err = s.readOperators(operators); err != nil {
		return nil, err
	}
	if s.folder != "" {
		holds, err := record.HoldsIn(s.Dir())
		if err != nil {
			return nil, err
		}
		o.Captured = holds.Operators()
	}
	return analysed(ctx, s.Readings(), o)
}

// RepeatOf is Repeat of readings wherever they come from, corrected by their gains. captured
// says who captured a session, and the file operators, which may be "", what it says
// otherwise.
func RepeatOf(ctx context.Context, src Source, o repeat.Options, captured map[string]string, operators string) (*repeat.Study, error) {
	if operators != "" {
		var err error
		if o.Operators, err = (&Shop{}).readOperators(operators); err != nil {
			return nil, err
		}
	}
	o.Captured = captured
	return analysed(ctx, src.Gains.Apply(src.Readings), o)
}

// analysed analyses readings, and tells of the steps of that.
func analysed(ctx context.Context, rows iter.Seq2[record.Reading, error], o repeat.Options) (*repeat.Study, error) {
	o.Step = func(step string) { record.Tell(ctx, "%s", step) }
	study, err := repeat.Analyse(until(ctx, "readings", rows), o)
	return study, as[*repeat.TooFew](err)
}

// readOperators reads who mounted what.
func (s *Shop) readOperators(file string) (repeat.Operators, error) {
	path := cmp.Or(file, s.folder.operators())
	f, err := disk.OpenInput(path)
	if errors.Is(err, fs.ErrNotExist) && file == "" {
		return nil, nil
	}
	if err != nil {
		return nil, err
	}
	defer f.Close()
	return repeat.ReadOperators(f, path)
}

// Drift draws the control charts of a reference pickup, or of the pickups that
// shipped for "". of is the figure that is watched; "" is the usual one.
func (s *Shop) Drift(ctx context.Context, reference, of string, o drift.Options) (*drift.Chart, error) {
	var series *drift.Series
	var err error
	if reference != "" {
		series, err = drift.Reference(until(ctx, "readings", s.Readings()), reference, cmp.Or(of, drift.Level))
	} else {
		series, err = drift.Shipped(until(ctx, "readings", s.Readings()), cmp.Or(of, drift.Spread))
	}
	if err == nil {
		var c *drift.Chart
		if c, err = drift.Draw(series, o); err == nil {
			return c, nil
		}
	}
	return nil, as[*drift.NoSeries](err)
}
