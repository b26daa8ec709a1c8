package record

import (
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"testing"

	"evenpole/capture/record/sheet"
)

// largeSheet is a spreadsheet of equal rows that stands nowhere: it is made as it is
// read. At its end it notes how much memory is in use.
type largeSheet struct {
	rows int
	row  string
	at   int64
	used uint64 // bytes, the most
}

func (s *largeSheet) size() int64 { return int64(len(need+"\n") + s.rows*len(s.row)) }

func (s *largeSheet) Read(p []byte) (n int, err error) {
	if s.at == s.size() {
		runtime.GC()
		var m runtime.MemStats
		runtime.ReadMemStats(&m)
		s.used = max(s.used, m.HeapAlloc)
		return 0, io.EOF
	}
	head := need + "\n"
	if s.at < int64(len(head)) {
		n = copy(p, head[s.at:])
	} else {
		n = copy(p, s.row[(s.at-int64(len(head)))%int64(len(s.row)):])
	}
	s.at += int64(n)
	return n, nil
}

func (s *largeSheet) Seek(offset int64, whence int) (int64, error) {
	if whence == io.SeekCurrent {
		offset += s.at
	}
	s.at = offset
	return offset, nil
}

// A spreadsheet is never held whole.
func TestImportOfALargeFile(t *testing.T) {
	s := &largeSheet{rows: 1000, row: "1,0.254,0.5,3," + strings.Repeat("0", 100_000) + "12\n"}
	var before runtime.MemStats
	runtime.GC()
	runtime.ReadMemStats(&before)
	m, err := ReadImport(s, "large.csv", t.TempDir(), ImportOptions{})
	if err != nil || m.Readable != s.rows {
		t.Fatalf("%+v, %v", m, err)
	}
	if most := before.HeapAlloc + uint64(s.size())/10; s.used > most {
		t.Errorf("%d bytes in use for a file of %d, expected at most %d", s.used, s.size(), most)
	}
}

func TestImportListsSomeOfManyRefusedRows(t *testing.T) {
	m := understood(t, need+"\n"+strings.Repeat("1,0.254,0.5,3,loud\n", 3*MostRefused), t.TempDir(), ImportOptions{})
	if m.Rows != 3*MostRefused || m.RefusedRows != m.Rows || len(m.Refused) != MostRefused {
		t.Errorf("%d rows, %d refused, %d listed", m.Rows, m.RefusedRows, len(m.Refused))
	}
}

// writer opens a shop for writing until the test ends.
func writer(t *testing.T, dir string) *Writer {
	t.Helper()
	s, err := OpenWriter(dir)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { s.Close() })
	return s
}

// A row far down that cannot be written leaves the record as it was.
func TestImportIsAllOrNothing(t *testing.T) {
	dir := t.TempDir()
	path := filepath.Join(dir, FieldsFile)
	const head = "time,session,jig,boot,seq,batch,magnet,pickup,string,position,take,field_mt,probe_gap_mm\r\n" // an older one, without notes
	if err := os.WriteFile(path, []byte(head), 0o644); err != nil {
		t.Fatal(err)
	}
	m := understood(t, "field_mt,note\n"+strings.Repeat("100,\n", 600)+"100,chipped\n", dir, ImportOptions{Fields: true})
	n, err := writer(t, dir).Import(m)
	if err == nil || !strings.Contains(err.Error(), `the file has no column "note"`) || n != 0 || text(t, path) != head {
		t.Errorf("%d rows added, %v", n, err)
	}
}

// A spreadsheet that was changed since it was shown is not imported.
func TestImportOfAFileThatChanges(t *testing.T) {
	dir, file := t.TempDir(), filepath.Join(t.TempDir(), "bench.csv")
	put := func(level string) {
		if err := os.WriteFile(file, []byte(need+"\n1,0.254,0.5,3,"+level+"\n"), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	put("12")
	f, err := os.Open(file)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	m, err := ReadImport(f, file, dir, ImportOptions{})
	if err != nil {
		t.Fatal(err)
	}
	put("13")
	n, err := writer(t, dir).Import(m)
	if !errors.Is(err, sheet.ErrChanged) || err.Error() != file+": was changed while it was read: try again" || n != 0 {
		t.Errorf("%d rows added, %v", n, err)
	}
	if _, err := os.Stat(filepath.Join(dir, ReadingsFile)); !errors.Is(err, os.ErrNotExist) {
		t.Errorf("a record was begun: %v", err)
	}
}

// The record itself can be imported, though it grows meanwhile: rows without a name get
// one.
func TestImportOfTheRecordItself(t *testing.T) {
	dir := t.TempDir()
	path := filepath.Join(dir, ReadingsFile)
	var rows strings.Builder
	rows.WriteString("jig,boot,seq,session,purpose,pickup,batch,string_set,gauge_mm,wrap,mode,take,peak_mv,freq_hz,window_ms,quiet_mv,excite,status,note,time," + need + "\n")
	for i := range 600 {
		fmt.Fprintf(&rows, ",,,old,,,,,,,,,,,,,,,,,1,0.254,0.5,3,%d\n", i+1)
	}
	if err := os.WriteFile(path, []byte(rows.String()), 0o644); err != nil {
		t.Fatal(err)
	}
	f, err := os.Open(path)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	m, err := ReadImport(f, path, dir, ImportOptions{})
	if err != nil {
		t.Fatal(err)
	}
	if n, err := writer(t, dir).Import(m); n != 600 || err != nil {
		t.Errorf("%d rows added, %v", n, err)
	}
}
