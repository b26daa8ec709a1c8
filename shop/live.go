package shop

import (
	"context"
	"iter"
	"math"
	"os"
	"path/filepath"
	"slices"

	"evenpole/capture/record"
	"evenpole/capture/record/disk"
	"evenpole/fit/cell"
	"evenpole/fit/gain"
	"evenpole/fit/level"
	"evenpole/profiles"

	"gonum.org/v1/gonum/stat/distuv"
)

// StringLevel is what the takes of a session say of one string so far. A figure that
// they do not tell yet is not known.
type StringLevel struct {
	String       int            `json:"string"`
	Core         float64        `json:"core_mm"`
	PoleHeight   float64        `json:"pole_height_mm"`
	StringHeight float64        `json:"string_height_mm"`
	Under        profiles.Under `json:"under,omitempty"` // what is under it where that is not one pole
	Takes        int            `json:"takes"`           // that count
	Level        level.Figure   `json:"level_mv"`        // geometric mean, as recorded: without a jig's gain; not known where it was filed in no known unit
	Within       level.Figure   `json:"within_db"`       // either side of the level: 95 % interval of the mean, by the takes' scatter alone
	Scatter      level.Figure   `json:"scatter_db"`      // standard deviation of a take
	Balance      level.Figure   `json:"balance_db"`      // against the mean of all strings that have takes
	Freq         float64        `json:"freq_hz"`         // median; 0 when not known
}

// Levels are the levels of a session's strings by rows of the record, in their order.
// Takes count as a check counts them, each alike.
func Levels(rows []record.Reading) ([]StringLevel, error) {
	data, err := cell.Gather(asFiled(func(yield func(record.Reading, error) bool) {
		for _, r := range rows {
			if !yield(r, nil) {
				return
			}
		}
	}))
	if err != nil {
		return nil, err
	}
	var factors tFactors
	out, _ := factors.levelsOf(data.Cells)
	return out, nil
}

// asFiled hands rows on with the scale that they were filed in, and no calibration applied.
func asFiled(rows iter.Seq2[record.Reading, error]) iter.Seq2[record.Reading, error] {
	return gain.Book(nil).Apply(rows)
}

// tFactors are by how many standard errors the 95 % interval of a mean of so many takes
// reaches to either side, as they were worked out; that takes longer than a session's
// levels.
type tFactors map[int]float64

func (f *tFactors) of(takes int) float64 {
	t, known := (*f)[takes]
	if !known {
		t = distuv.StudentsT{Sigma: 1, Nu: float64(takes - 1)}.Quantile(0.975)
		if *f == nil {
			*f = tFactors{}
		}
		(*f)[takes] = t
	}
	return t
}

// levelsOf are the levels of a session's cells, and that of all of them together in mV, not
// known where levels are relative.
func (f *tFactors) levelsOf(cells []cell.Cell) (out []StringLevel, together level.Figure) {
	var sum level.Ln
	var means []level.Ln
	relative := false
	for i := range cells {
		c := &cells[i]
		mean, sd := c.Plain()
		means = append(means, level.Ln(mean))
		sum += level.Ln(mean)
		s := StringLevel{String: c.String, Core: c.Core, PoleHeight: c.PoleHeight, StringHeight: c.StringHeight, Under: c.Under, Takes: c.Takes, Level: level.Figure(level.Ln(mean).DB().MV()), Within: level.Figure(math.NaN()), Scatter: level.Figure(math.NaN())}
		if !c.UsualPitch {
			s.Freq = c.Freq
		}
		if c.Scale != "" {
			s.Level, relative = level.Figure(math.NaN()), true
		}
		if c.Takes > 1 {
			s.Scatter = level.Figure(level.Ln(sd).DB())
			s.Within = level.Figure(level.Ln(f.of(c.Takes) * sd / math.Sqrt(float64(c.Takes))).DB())
		}
		out = append(out, s)
	}
	all := sum / level.Ln(len(means))
	for i, mean := range means {
		out[i].Balance = level.Figure((mean - all).DB())
	}
	if relative {
		return out, level.Figure(math.NaN())
	}
	return out, level.Figure(all.DB().MV())
}

// SessionRows reads the rows of a session, those that take its readings back among them.
func (s *Shop) SessionRows(ctx context.Context, session string) ([]record.Reading, error) {
	if Missing(s.ReadingsFile()) {
		return nil, nil
	}
	var out []record.Reading
	for r, err := range until(ctx, "readings", s.Readings()) {
		if err != nil {
			return nil, err
		}
		if r.Session == session {
			out = append(out, r)
		}
	}
	return out, nil
}

// LastCapture is the capture that was begun last, as sessions.csv says; not as files'
// times do, which a copy of the shop may have lost.
type LastCapture struct {
	Session string // "" before the first
	Purpose record.Purpose
	Pickup  string // "" of loose magnets
	Open    bool   // it was begun and not finished
	Mount   string // the text of its mount, as the shop keeps it; "" where it is gone
}

// LastCapture looks up the capture that was begun last.
func (s *Shop) LastCapture() (LastCapture, error) {
	holds, err := record.HoldsIn(s.Dir())
	if err != nil {
		return LastCapture{}, err
	}
	for _, h := range slices.Backward(holds) {
		if h.Session == "" || h.Jig == "" { // an end, or a session that was filed anew
			continue
		}
		text, err := s.keptMount(holds.Mount(h.Session))
		return LastCapture{h.Session, h.Purpose, h.Pickup, holds.Open()[h.Session], text}, err
	}
	return LastCapture{}, nil
}

// keptMount is the text of one of the shop's copies of mounts; "" where there is none of the
// name. A link, which may lead out of the shop, is none.
func (s *Shop) keptMount(name string) (string, error) {
	for _, file := range s.mounts() {
		if filepath.Base(file) != name {
			continue
		}
		if info, err := os.Lstat(file); err == nil && info.Mode().IsRegular() {
			text, err := disk.ReadFile(file)
			return string(text), err
		}
	}
	return "", nil
}
