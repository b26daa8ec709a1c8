// Package shop makes one thing of a shop's folder: readings, the cells that models
// are fitted to, models and which of them is current, string sets, calibrations,
// and where papers go. [Open] and [Find] read; who writes to the record holds a
// record.Writer. What is told to people, and how, is the caller's affair: an
// [InputError] says that the user can help it.
//
// The way through the package:
//
//   - files.go: the names of all files and folders, and which other package decides the
//     few that are not decided here.
//   - errors.go: errors that are of the user's input.
//   - shop.go: a shop, its rows, its string sets and what it describes.
//   - sessions.go: the sessions of the record, with what counts of each.
//   - pickup.go: whether a pickup to capture is the one that the record has under its id.
//   - own.go: what belongs to a shop, and so is never written over.
//   - write.go: how whole files are written, and a row that is added to one.
//   - gains.go: calibrations, from readings of a source to the gains that readings
//     are corrected by.
//   - kept.go: files that the shop may lose. cellscache.go: readings.cells, by which a long
//     record is not read anew each time; finding.go: readings.found, by which one that stays
//     is not searched and fitted anew.
//   - cells.go: readings, then fields, then the screening for mistakes: the cells
//     that everything is fitted to.
//   - models.go: the models that were kept, and the current one.
//   - keep.go: a fit that becomes a model of the shop, and whether it is current.
//   - fit.go: a record, fitted.
//   - magnets.go: batches of loose magnets.
//   - plan.go: plans and captures to come, from the current model.
//   - issued.go, certificates.go: a certificate that was issued, and what it says otherwise
//     than the one before; certificates, numbered.
//   - papers.go: the papers of a finished pickup, issued and written; lookup.go: what their
//     QR codes are of.
//   - check.go: finished pickups, the jig's repeatability and its drift.
//   - try.go: an order with something other than ordered.
//   - live.go: the levels of a session; follow.go: a capture while it runs; recording.go:
//     what was understood of a recording, before any of it is kept.
//   - lists.go: what a shop has, by name: orders, mounts, certificates, pickups measured.
//   - mountfile.go: which file a session's mount is, and what it says.
//   - overview.go: what the record holds, what is open and what shipped; recorded.go: what it
//     has of one pickup or session.
package shop

import (
	"context"
	"errors"
	"io"
	"io/fs"
	"iter"
	"os"
	"path/filepath"
	"syscall"
	"time"

	"evenpole/capture/record"
	"evenpole/profiles"
)

// Shop is a folder with a record and what belongs to it, open for reading. The zero
// value is no shop: it has the built-in string sets, no record and no model.
type Shop struct {
	Now func() time.Time // for what it writes down; time.Now

	folder
}

// Open returns the shop in a folder, which may be empty but must be there.
func Open(dir string) (*Shop, error) {
	switch info, err := os.Stat(dir); {
	case errors.Is(err, fs.ErrNotExist), errors.Is(err, syscall.ENOTDIR):
		return nil, bad("shop %s: no such folder", dir)
	case err != nil:
		return nil, err
	case !info.IsDir():
		return nil, bad("shop %s: expected a folder, got a file", dir)
	}
	return &Shop{time.Now, folder(dir)}, nil
}

// Find returns the nearest shop, from a folder upwards.
func Find(start string) (s *Shop, ok bool) {
	dir, ok := record.Find(start)
	if !ok {
		return nil, false
	}
	return &Shop{time.Now, folder(dir)}, true
}

// HasRecord reports whether a folder has readings or field readings.
func HasRecord(dir string) bool {
	return !Missing(folder(dir).ReadingsFile()) || !Missing(folder(dir).fieldsFile())
}

// Dir is the shop's folder; "" for no shop.
func (s *Shop) Dir() string { return string(s.folder) }

// Name is what the shop's folder is called.
func (s *Shop) Name() (string, error) {
	dir, err := filepath.Abs(s.Dir())
	return filepath.Base(dir), err
}

// Require refuses no shop, with ErrNoShop.
func (s *Shop) Require() error {
	if s.folder == "" {
		return &InputError{ErrNoShop}
	}
	return nil
}

// Library is the string sets at hand: the shop's own and the built-in ones.
func (s *Shop) Library() (*profiles.Library, error) {
	if s.folder == "" {
		return profiles.Builtin(), nil
	}
	return profiles.LoadLibrary(s.Dir())
}

// Settings are what the shop says of itself.
func (s *Shop) Settings() (*profiles.Shop, error) {
	if s.folder == "" {
		return &profiles.Shop{}, nil
	}
	return profiles.LoadShop(s.Dir())
}

// ReadOrder reads an order with the string sets at hand.
func (s *Shop) ReadOrder(path string) (*profiles.Order, error) {
	lib, err := s.Library()
	if err != nil {
		return nil, err
	}
	return profiles.ReadOrder(path, lib)
}

// ReadMount reads what is mounted, with the string sets at hand.
func (s *Shop) ReadMount(path string) (*profiles.Mount, error) {
	lib, err := s.Library()
	if err != nil {
		return nil, err
	}
	return profiles.ReadMount(path, lib)
}

// ParseMount is ReadMount of a text; name stands for the file in errors.
func (s *Shop) ParseMount(name, text string) (*profiles.Mount, error) {
	lib, err := s.Library()
	if err != nil {
		return nil, err
	}
	return profiles.ParseMount(name, []byte(text), lib)
}

// RequireRecord refuses no shop, with ErrNoShop, and one in which nothing was captured yet,
// with ErrNoReadings.
func (s *Shop) RequireRecord() error {
	if err := s.Require(); err != nil {
		return err
	}
	if !HasRecord(s.Dir()) {
		return s.folder.noReadings()
	}
	return nil
}

func (f folder) noReadings() error { return bad("the shop %s has %w", f, ErrNoReadings) }

// openError says of a file that cannot be opened what it is to the shop that it stands in.
func openError(path string, err error) error {
	if f := folderOf(path); errors.Is(err, fs.ErrNotExist) && filepath.Base(path) == record.ReadingsFile && !Missing(string(f)) {
		return f.noReadings()
	}
	return err
}

// Readings reads the record's readings, as the jig read them.
func (s *Shop) Readings() iter.Seq2[record.Reading, error] {
	return readingRows(s.folder.ReadingsFile())
}

// readingRows reads a readings file, as it stands when it is asked for its rows. That
// it cannot be opened comes as an error of its first row.
func readingRows(path string) iter.Seq2[record.Reading, error] {
	return rows(path, record.Readings)
}

// fieldRows reads a file of field readings likewise.
func fieldRows(path string) iter.Seq2[record.FieldReading, error] {
	return rows(path, record.Fields)
}

func rows[T any](path string, of func(io.Reader, string) iter.Seq2[T, error]) iter.Seq2[T, error] {
	return func(yield func(T, error) bool) {
		f, err := record.Open(path)
		if err != nil {
			var none T
			yield(none, openError(path, err))
			return
		}
		defer f.Close()
		of(f, path)(yield)
	}
}

// until hands rows on until ctx ends; then its error comes in place of a row. It looks at
// ctx every some thousand rows, and tells how many rows of what there were.
func until[T any](ctx context.Context, what string, rows iter.Seq2[T, error]) iter.Seq2[T, error] {
	return func(yield func(T, error) bool) {
		n := 0
		for x, err := range rows {
			ended := record.TellRow(ctx, what, n)
			if ended != nil {
				var none T
				yield(none, ended)
				return
			}
			if n++; !yield(x, err) {
				return
			}
		}
	}
}

// Missing reports whether a file is not there.
func Missing(path string) bool {
	_, err := os.Stat(path)
	return errors.Is(err, fs.ErrNotExist)
}
