package record

import (
	"errors"
	"path/filepath"
	"time"

	"evenpole/capture/record/disk"
	"evenpole/capture/record/table"
)

// A Writer adds rows to the record in a shop folder. One process has it at a time.
type Writer struct {
	Dir     string
	Notices []string // for people: what had to be put right when it was opened, and what endangers it

	lock     *disk.Lock
	create   func(path string) (disk.Appender, error)
	readings *ledger
	fields   *ledger
	sessions *ledger
}

// OpenWriter opens a shop folder for writing, and makes it if there is none; files
// are made when there is something to write to them. Torn last lines are set
// aside, see Notices; what was left half-written goes.
//
// Errors: disk.ErrInUse when another process is writing; a *RowError when a file
// lacks a column that a capture has to write. Nothing was written then.
func OpenWriter(dir string) (*Writer, error) { return openWriter(dir, disk.OpenAppend) }

func openWriter(dir string, create func(path string) (disk.Appender, error)) (*Writer, error) {
	if err := disk.MakeDir(dir); err != nil {
		return nil, err
	}
	s := &Writer{Dir: dir, create: create}
	now := time.Now()
	lock, notice, err := disk.TakeLock(dir)
	if err != nil {
		return nil, err
	}
	s.lock = lock
	disk.Sweep(dir)
	disk.Sweep(s.path(MountsDir))
	s.notice(notice)
	unsealed := foundLater
	if notice != "" {
		unsealed = afterCrash
	}
	err = s.open(now, unsealed)
	if err == nil {
		err = s.lock.Sign(now)
	}
	if err != nil {
		return nil, errors.Join(err, s.lock.Close()) // what a crash left is still to be put right
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

// open looks at the files of the record, and seals the rows that stand there without a
// seal, with a remark why. That comes before the lock is signed: until then, whether
// the writer before was cut short can be seen, also when this one is cut short itself.
func (s *Writer) open(now time.Time, unsealed string) (err error) {
	if s.readings, err = s.openSealed(ReadingsFile, readingColumns.Layout, now, unsealed, layoutColumns...); err != nil {
		return err
	}
	if s.fields, err = s.openSealed(FieldsFile, fieldColumns.Layout, now, unsealed, "status", "note"); err != nil {
		return err
	}
	if err := s.setTornAside(SessionsFile, neededOfHolds, nil, now); err != nil {
		return err
	}
	if s.sessions, err = openLedger(s.path(SessionsFile), holdColumns.Layout, operatorColumn); err != nil {
		return err
	}
	return errors.Join(s.readings.seals.settle(), s.fields.seals.settle())
}

// setTornAside sets a torn last line of a file of the shop aside, and notes that.
func (s *Writer) setTornAside(name string, columns []string, asSealed func(path string) bool, now time.Time) error {
	notice, err := setTornAside(s.path(name), columns, asSealed, now)
	s.notice(notice)
	return err
}

// openSealed opens a ledger whose rows are sealed. A file may lack the optional
// columns: older ones do.
func (s *Writer) openSealed(name string, columns *table.Layout, now time.Time, unsealed string, optional ...string) (*ledger, error) {
	if err := s.setTornAside(sealsPath(name), sealColumns.Names, nil, now); err != nil {
		return nil, err
	}
	if err := s.setTornAside(name, without(columns.Names, optional), func(path string) bool { return endsAsSealed(path, columns) }, now); err != nil {
		return nil, err
	}
	l, err := openLedger(s.path(name), columns, optional...)
	if err != nil {
		return nil, err
	}
	l.create, l.mark, l.check = s.create, s.lock.Mark, s.lock.Check
	l.seals, err = openSealer(l.path, columns, unsealed, s.create)
	return l, err
}

// Close lets another process write to the shop. After a write that failed the lock
// goes on naming this process, and the next writer looks at the shop as after a crash.
func (s *Writer) Close() error {
	failed := errors.Join(s.readings.err, s.fields.err, s.sessions.err) != nil
	err := errors.Join(s.readings.close(), s.fields.close(), s.sessions.close())
	if failed || err != nil {
		return errors.Join(err, s.lock.Close())
	}
	return s.lock.LetGo()
}

func (s *Writer) path(name string) string { return filepath.Join(s.Dir, name) }

// Holds reads sessions.csv.
func (s *Writer) Holds() (Holds, error) { return HoldsIn(s.Dir) }

// AddReading writes a reading. When it returns nil the row is on the disk, and r is what
// the row says, in the decimals of the file: rows of a capture at hand and rows read back
// are of one cell.
func (s *Writer) AddReading(r *Reading) error { return addRow(s.readings, readingColumns, r) }

// AddField writes a field reading likewise.
func (s *Writer) AddField(r *FieldReading) error { return addRow(s.fields, fieldColumns, r) }

// addRow writes a row of one of the files. A row that could not be read back is refused.
func addRow[T any](l *ledger, columns *table.Table[T], x *T) error {
	row := columns.Row(x)
	filed, bad := columns.Parse(row, func(string) (string, int) { return filepath.Base(l.path), 0 })
	if bad != nil {
		return bad
	}
	if err := l.append(row); err != nil {
		return err
	}
	*x = filed
	return nil
}

// AddHold notes in sessions.csv who commands a jig from here on.
func (s *Writer) AddHold(h Hold) error {
	if h.Operator != "" {
		if err := s.addOperatorColumn(); err != nil {
			return err
		}
	}
	return s.sessions.append(holdColumns.Row(&h))
}
