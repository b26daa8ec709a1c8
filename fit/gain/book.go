package gain

import (
	"bytes"
	"errors"
	"fmt"
	"io/fs"
	"iter"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"evenpole/capture/record"
	"evenpole/capture/record/disk"
	"evenpole/profiles"

	"github.com/pelletier/go-toml/v2"
)

// Dir is the folder of a shop that calibrations stand in, one file each.
const Dir = "calibrations"

// Book is the calibrations of a shop, the earliest to apply first.
type Book []Calibration

// Load reads the calibrations that stand beside a shop's record; none at all is
// no error. A mistake in one is an [*InputError] with its place.
func Load(shop string) (Book, error) {
	dir := filepath.Join(shop, Dir)
	files, err := os.ReadDir(dir)
	if errors.Is(err, fs.ErrNotExist) {
		return nil, nil
	}
	if err != nil {
		return nil, err
	}
	var b Book
	for _, f := range files {
		name := filepath.Join(dir, f.Name())
		if f.IsDir() || filepath.Ext(name) != ".toml" || strings.HasPrefix(f.Name(), ".") { // "." begins what is being written
			continue
		}
		text, err := disk.ReadFile(name)
		if err != nil {
			return nil, err
		}
		c, err := Parse(name, text)
		if err != nil {
			return nil, err
		}
		b = append(b, *c)
	}
	slices.SortStableFunc(b, func(x, y Calibration) int {
		if c := x.From.Compare(y.From); c != 0 {
			return c
		}
		return x.Time.Compare(y.Time)
	})
	return b, nil
}

// Parse reads one calibration; name stands for the file in errors.
func Parse(name string, text []byte) (*Calibration, error) {
	var c Calibration
	d := toml.NewDecoder(bytes.NewReader(text))
	d.DisallowUnknownFields()
	if err := d.Decode(&c); err != nil {
		return nil, placed(name, err)
	}
	if err := c.valid(); err != nil {
		return nil, &InputError{fmt.Sprintf("%s: %v", name, err)}
	}
	return &c, nil
}

// placed adds the line of the file to an error of the TOML library.
func placed(name string, err error) error {
	var strict *toml.StrictMissingError
	var de *toml.DecodeError
	if errors.As(err, &strict) && len(strict.Errors) > 0 {
		de = &strict.Errors[0]
		row, column := de.Position()
		return &InputError{fmt.Sprintf("%s:%d:%d: %s: expected a key of a calibration, got another", name, row, column, strings.Join(de.Key(), "."))}
	}
	if errors.As(err, &de) {
		row, column := de.Position()
		return &InputError{fmt.Sprintf("%s:%d:%d: %s", name, row, column, strings.TrimPrefix(de.Error(), "toml: "))}
	}
	return &InputError{fmt.Sprintf("%s: %v", name, err)}
}

// valid refuses a gain that would spoil every reading.
func (c *Calibration) valid() error {
	sane := func(gain float64) bool { return gain > 0 && math.Abs(dbOf(gain)) <= mostGain(c.Jig) }
	switch {
	case c.Jig == "":
		return errors.New("jig: expected its id, got none")
	case c.From.IsZero():
		return errors.New("from: expected a time such as 2026-03-02T09:00:00Z, got none")
	case c.Due.Year == 0:
		return errors.New("due: expected a date such as 2027-03-02, got none")
	case !sane(c.Gain):
		return fmt.Errorf("gain: expected a factor within %g dB of 1, got %g", mostGain(c.Jig), c.Gain)
	}
	for _, ch := range c.Channels {
		if !sane(ch.Gain) || ch.String < 1 {
			return fmt.Errorf("channel: expected a string from 1 and a gain within %g dB of 1, got %d and %g", mostGain(c.Jig), ch.String, ch.Gain)
		}
	}
	return nil
}

// Encode returns the calibration as a file.
func (c *Calibration) Encode() ([]byte, error) {
	text, err := toml.Marshal(c)
	if err != nil {
		return nil, err
	}
	return append([]byte("# A calibration of the jig: how far its levels are from true ones. evenpole\n# reads all files of this folder; delete one to do without it.\n"), text...), nil
}

// At is the calibration that corrects a jig's readings at a time; nil when there is
// none.
func (b Book) At(jig string, t time.Time) *Calibration {
	for i := len(b) - 1; i >= 0; i-- {
		if c := &b[i]; c.Jig == jig && !c.From.After(t) {
			return c
		}
	}
	return nil
}

// Of is the gain of a string's channel: its own or, when channels were not read one
// by one, the jig's.
func (c *Calibration) Of(str int) float64 {
	for _, ch := range c.Channels {
		if ch.String == str {
			return ch.Gain
		}
	}
	return c.Gain
}

// Apply corrects the levels of readings to true levels. Those of a recorder that were filed
// in thousandths of full scale stay relative without a calibration, see
// [record.Reading.Scale], and those that were filed in mV stay as they are.
func (b Book) Apply(rows iter.Seq2[record.Reading, error]) iter.Seq2[record.Reading, error] {
	return func(yield func(record.Reading, error) bool) {
		for r, err := range rows {
			if err == nil {
				b.correct(&r)
			}
			if !yield(r, err) {
				return
			}
		}
	}
}

// correct corrects the levels of a reading.
func (b Book) correct(r *record.Reading) {
	if record.IsRecorder(r.Jig) && !r.Relative() {
		return
	}
	c := b.At(r.Jig, r.Time)
	if c == nil {
		r.Scale = r.ScaleOf()
		return
	}
	g := c.Of(r.String)
	r.RMS, r.Peak, r.Quiet = g*r.RMS, g*r.Peak, g*r.Quiet
}

// Overdue says when a jig's calibration was due before t; "" when it was not, or
// was never made.
func (b Book) Overdue(jig string, t time.Time) string {
	c := b.At(jig, t)
	if c == nil || !t.After(c.Due.AsTime(time.UTC).AddDate(0, 0, 1)) {
		return ""
	}
	return fmt.Sprintf("jig %q was due to be calibrated on %s, before this was measured: levels may be off by more than they say", jig, c.Due)
}

// ChannelStd is the standard uncertainty, dB, that the correction of a jig's
// channels leaves in each string's level at a time: the largest, 0 when channels
// are not corrected.
func (b Book) ChannelStd(jig string, t time.Time) float64 {
	var u float64
	if c := b.At(jig, t); c != nil {
		for _, ch := range c.Channels {
			u = max(u, ch.Std)
		}
	}
	return u
}

// String says what the calibration does to readings.
func (c *Calibration) String() string {
	return profiles.Sprintf("levels are the jig's times %.4f, as it was calibrated on %s: %+.3f dB with U = %.3f dB (k = %.2f)",
		c.Gain, c.Time.Format(time.DateOnly), c.GainDB, c.Expanded, c.K)
}
