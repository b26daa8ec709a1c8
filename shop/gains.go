package shop

import (
	"context"
	"fmt"

	"evenpole/capture"
	"evenpole/capture/record/disk"
	"evenpole/fit/gain"
	"evenpole/recording"
)

// gains reads the calibrations that stand beside a record. What is said of levels is
// said of readings that are corrected by them; the record itself stays as the jig
// read it.
func (f folder) gains() (gain.Book, error) {
	book, err := gain.Load(string(f))
	return book, as[*gain.InputError](err)
}

// SourcePoints reads what a jig read of a source of known level from a CSV file.
func SourcePoints(path string) ([]gain.Reading, error) {
	f, err := disk.OpenInput(path)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	return gain.ReadPoints(f, path)
}

// SourceSession takes what a jig read of a source from a session: of the readings
// file named, or of the record for "". The source's true level and its expanded
// uncertainty are in mV.
func (s *Shop) SourceSession(path, jig, session string, mv, u float64) ([]gain.Reading, error) {
	if path == "" {
		path = s.folder.ReadingsFile()
	}
	out, err := gain.OfSession(readingRows(path), jig, session, mv, u)
	return out, as[*gain.InputError](err)
}

// SourceRecording takes what a recorder made of a source from a recording of it: see
// [recording.Steady]. The source's true level and its expanded uncertainty are in mV.
func SourceRecording(ctx context.Context, path string, channel int, mv, u float64) ([]gain.Reading, error) {
	f, err := disk.OpenInput(path)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	levels, err := recording.Steady(ctx, path, f, channel)
	if err != nil {
		return nil, as[*recording.ChannelError](as[*recording.SteadyError](as[*recording.FormatError](err)))
	}
	for i := range levels {
		levels[i] *= capture.FullScaleMV
	}
	return gain.Given(levels, 0, mv, u), nil
}

// Calibrate works a jig's gain out and keeps it under a name that none has yet,
// which it returns.
func (s *Shop) Calibrate(readings []gain.Reading, o gain.Options) (c *gain.Calibration, name string, err error) {
	if c, err = gain.Measure(readings, o); err != nil {
		return nil, "", &InputError{err}
	}
	if !s.hasJig(c.Jig) {
		c.Warnings = append(c.Warnings, fmt.Sprintf("no reading in the record is of jig %q: is that its name?", c.Jig))
	}
	encoded, err := c.Encode()
	if err != nil {
		return nil, "", err
	}
	stem := s.folder.calibration(c.Jig, c.Time)
	if err := disk.MakeDir(string(folderOf(stem))); err != nil {
		return nil, "", err
	}
	name, err = disk.CreateNext(stem, ".toml", text(encoded))
	return c, name, err
}

// hasJig reports whether the record has a reading of a jig; true where there is no
// record, or none that can be read, as it is only warned of.
func (s *Shop) hasJig(jig string) bool {
	for r, err := range s.Readings() {
		if err != nil || r.Jig == jig {
			return true
		}
	}
	return false
}
