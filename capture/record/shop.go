package record

import (
	"crypto/sha256"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"iter"
	"os"
	"path/filepath"
	"strings"
	"time"

	"evenpole/capture/record/disk"
	"evenpole/profiles"
)

// Files and folders of a shop folder.
const (
	ReadingsFile = "readings.csv"
	FieldsFile   = "fields.csv"
	SessionsFile = "sessions.csv"
	MountsDir    = "mounts"

	setsFile = "strings.toml" // of package profiles
)

// A Shop is a shop folder that this process may write to.
type Writer struct {
	Dir     string
	Notices []string // what had to be put right when it was opened, or endangers it, for people

	lock     *os.File
	create   func(path string) (disk.Appender, error)
	readings *ledger[readingRow]
	fields   *ledger[fieldRow]
	sessions *ledger[holdRow]
}

// FindShop returns the nearest folder, from start upwards, that is a shop: one
// that holds readings.csv, fields.csv, sessions.csv or strings.toml.
func Find(start string) (dir string, ok bool) {
	dir, err := filepath.Abs(start)
	if err != nil {
		return "", false
	}
	for {
		for _, name := range []string{ReadingsFile, FieldsFile, SessionsFile, setsFile} {
			if info, err := os.Stat(filepath.Join(dir, name)); err == nil && info.Mode().IsRegular() {
				return dir, true
			}
		}
		parent := filepath.Dir(dir)
		if parent == dir {
			return "", false
		}
		dir = parent
	}
}

// OpenShop opens a shop folder for writing, and makes it if there is none; files
// are made when there is something to write to them. Torn last lines are set
// aside, see Notices.
//
// Errors: ErrInUse when another process is writing; a *RowError when a file
// lacks a column that a capture has to write. Nothing was written then.
func OpenWriter(dir string) (*Writer, error) { return openWriter(dir, disk.OpenAppend) }

func openWriter(dir string, create func(path string) (disk.Appender, error)) (*Writer, error) {
	if err := disk.MakeDir(dir); err != nil {
		return nil, err
	}
	s := &Writer{Dir: dir, create: create}
	now := time.Now()
	lock, notice, err := disk.TakeLock(dir, now)
	if err != nil {
		return nil, err
	}
	s.lock = lock
	s.notice(notice)
	unsealed := foundLater
	if notice != "" {
		unsealed = afterCrash
	}
	if err := s.open(now, unsealed); err != nil {
		return nil, errors.Join(err, s.letGo(notice != "")) // what a crash left still waits to be put right
	}
	for _, danger := range disk.Dangers(dir) {
		s.notice(danger)
	}
	return s, nil
}

func (s *Writer) notice(text string) {
	if text != "" {
		s.Notices = append(s.Notices, text)
	}
}

// open looks at the shop's files. unsealed is the remark for rows that stand
// there without a seal.
func (s *Writer) open(now time.Time, unsealed string) (err error) {
	if s.readings, err = openRecord[readingRow](s, ReadingsFile, now, unsealed); err != nil {
		return err
	}
	if s.fields, err = openRecord[fieldRow](s, FieldsFile, now, unsealed, "status", "note"); err != nil {
		return err
	}
	if err := s.mend(SessionsFile, columnsOf[holdRow](), nil, now); err != nil {
		return err
	}
	s.sessions, err = openLedger[holdRow](s.path(SessionsFile))
	return err
}

// mend mends a file of the shop, and notes what it did.
func (s *Writer) mend(name string, columns []string, asSealed func(path string) bool, now time.Time) error {
	notice, err := mend(s.path(name), columns, asSealed, now)
	s.notice(notice)
	return err
}

// openRecord opens a ledger whose rows are sealed.
func openRecord[W any](s *Writer, name string, now time.Time, unsealed string, optional ...string) (*ledger[W], error) {
	if err := s.mend(sealsPath(name), columnsOf[sealRow](), nil, now); err != nil {
		return nil, err
	}
	if err := s.mend(name, neededBy[W](optional), endsAsSealed[W], now); err != nil {
		return nil, err
	}
	l, err := openLedger[W](s.path(name), optional...)
	if err != nil {
		return nil, err
	}
	l.create = s.create
	l.seals, err = openSealer[W](l.path, unsealed, s.create)
	return l, err
}

// Close lets another process write to the shop. After a write that failed the
// lock keeps this one's name, and the next one looks at the shop as after a
// crash.
func (s *Writer) Close() error {
	failed := errors.Join(s.readings.err, s.fields.err, s.sessions.err) != nil
	err := errors.Join(s.readings.close(), s.fields.close(), s.sessions.close())
	return errors.Join(err, s.letGo(failed || err != nil))
}

// letGo gives the lock up; it keeps this process's name where the next one has
// something to put right.
func (s *Writer) letGo(unfinished bool) error {
	if unfinished {
		return s.lock.Close()
	}
	return disk.LetGo(s.lock)
}

func (s *Writer) path(name string) string { return filepath.Join(s.Dir, name) }

// readFile reads the rows of a file of the shop, of which there are none when
// there is no file or nothing in it.
func readFile[T any](path string, rows func(io.Reader, string) iter.Seq2[T, error]) iter.Seq2[T, error] {
	return func(yield func(T, error) bool) {
		f, err := openNow(path)
		if errors.Is(err, fs.ErrNotExist) {
			return
		}
		if err != nil {
			var none T
			yield(none, err)
			return
		}
		defer f.Close()
		if f.Size() == 0 { // a writer was cut short before the header
			return
		}
		for x, err := range rows(f, path) {
			if !yield(x, err) {
				return
			}
		}
	}
}

// Holds reads sessions.csv.
func (s *Writer) Holds() (Holds, error) {
	var all Holds
	for h, err := range readFile(s.path(SessionsFile), readHolds) {
		if err != nil {
			return nil, err
		}
		all = append(all, h)
	}
	return all, nil
}

// AddReading writes a reading. When it returns nil the row is on the disk.
func (s *Writer) AddReading(r *Reading) error { return s.readings.append(r.row()) }

// AddField writes a field reading likewise.
func (s *Writer) AddField(r *FieldReading) error { return s.fields.append(r.row()) }

// AddHold notes in sessions.csv who commands a jig from here on.
func (s *Writer) AddHold(h Hold) error { return s.sessions.append(h.row()) }

// MountName is the name of the shop's copy of a mount: what is mounted, and a
// digest of all that the mount says. How its file is called, laid out and
// commented makes no difference, nor does what the program calls its fields: what
// is hashed is the JSON of mountIdentity.
func MountName(m *profiles.Mount) (string, error) {
	id := mountIdentity{
		Pickup: m.Pickup, Batch: m.Batch, Poles: string(m.Poles), PoleHeights: m.PoleHeights, Magnets: m.Magnets,
		StringHeights: m.StringHeights, ProbeGap: m.ProbeGap, Set: m.Set,
	}
	for _, s := range m.Strings {
		id.Strings = append(id.Strings, stringIdentity{s.Note, s.Gauge, s.Core, string(s.Wrap), s.CoreEstimated})
	}
	text, err := json.Marshal(id)
	if err != nil {
		return "", fmt.Errorf("mount %s: %w", m.File, err)
	}
	what := m.Pickup
	if what == "" {
		what = m.Batch
	}
	return fmt.Sprintf("%s-%.4x.toml", plain(what), sha256.Sum256(text)), nil
}

// mountIdentity is what two mounts have in common that are the same. Its keys and
// their order are in the names of files that shops have: they do not change. File
// and Text stand for what the mount's file was, and are always empty.
type mountIdentity struct {
	File          string           `json:"File"`
	Text          []byte           `json:"Text"`
	Pickup        string           `json:"Pickup"`
	Batch         string           `json:"Batch"`
	Poles         string           `json:"Poles"`
	PoleHeights   []float64        `json:"PoleHeights"`
	Magnets       []string         `json:"Magnets"`
	StringHeights []float64        `json:"StringHeights"`
	ProbeGap      float64          `json:"ProbeGap"`
	Set           string           `json:"Set"`
	Strings       []stringIdentity `json:"Strings"`
}

type stringIdentity struct {
	Note          string  `json:"Note"`
	Gauge         float64 `json:"Gauge"`
	Core          float64 `json:"Core"`
	Wrap          string  `json:"Wrap"`
	CoreEstimated bool    `json:"CoreEstimated"`
}

// plain replaces what cannot stand in the name of a file everywhere.
func plain(name string) string {
	return strings.Map(func(r rune) rune {
		switch {
		case r >= 'a' && r <= 'z', r >= 'A' && r <= 'Z', r >= '0' && r <= '9', r == '-', r == '_', r == '.':
			return r
		}
		return '-'
	}, name)
}

// KeepMount keeps a verbatim copy of a mount under its name.
func (s *Writer) KeepMount(name string, m *profiles.Mount) error {
	dir := s.path(MountsDir)
	if err := disk.MakeDir(dir); err != nil {
		return err
	}
	err := disk.CreateFile(filepath.Join(dir, name), func(to io.Writer) error {
		_, err := to.Write(m.Text)
		return err
	})
	if errors.Is(err, fs.ErrExist) {
		return nil
	}
	return err
}
