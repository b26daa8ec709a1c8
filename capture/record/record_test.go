package record

import (
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"evenpole/capture/record/disk"
	"evenpole/capture/record/table"
	"evenpole/profiles"
)

// sampleShop is the folder of the sample shop.
const sampleShop = "../../testdata/sample-shop/"

// newShop opens a shop in which some files stand already.
func newShop(t *testing.T, files map[string]string) (*Writer, error) {
	t.Helper()
	dir := t.TempDir()
	for name, text := range files {
		if err := os.WriteFile(filepath.Join(dir, name), []byte(text), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	s, err := OpenWriter(dir)
	if err == nil {
		t.Cleanup(func() { s.Close() })
	}
	return s, err
}

func mustShop(t *testing.T, files map[string]string) *Writer {
	t.Helper()
	s, err := newShop(t, files)
	if err != nil {
		t.Fatal(err)
	}
	return s
}

func text(t *testing.T, path string) string {
	t.Helper()
	b, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	return string(b)
}

func sampleReading(seq uint32) Reading {
	return Reading{
		Time: time.Date(2026, 3, 4, 5, 6, 7, 89e6, time.FixedZone("", 3600)), Session: "s001", Purpose: ForModel,
		Jig: "jig-7", Boot: "0000ABCD", Seq: seq, HasSeq: true, Pickup: `T "4", new`, Batch: "M-03", String: 2,
		Core: 0.33, Gauge: 0.33, Wrap: "plain", PoleHeight: -0.05, StringHeight: 3.125, Mode: "P", Take: 3,
		RMS: 12.3, Peak: 45.678, Freq: 246.9, Window: 500, Quiet: 0.4, Excite: "travel", Status: OK,
	}
}

func sampleRow(seq uint32) table.Row {
	r := sampleReading(seq)
	return readingColumns.Row(&r)
}

// fieldRow is a row of fields.csv with some cells.
func fieldRow(cells map[string]string) table.Row {
	row := make(table.Row, len(fieldColumns.Names))
	for name, text := range cells {
		*fieldColumns.Cell(row, name) = text
	}
	return row
}

const (
	newHead   = header + ",under,pole_height_2_mm,coil_2_gain" // of a new file; those of before have header
	header    = "time,session,purpose,jig,boot,seq,pickup,batch,string,string_set,core_mm,gauge_mm,wrap,pole_height_mm,string_height_mm,mode,take,rms_mv,peak_mv,freq_hz,window_ms,quiet_mv,excite,status,note"
	firstRow  = `2026-03-04T04:06:07.089Z,s001,model,jig-7,0000ABCD,1,"T ""4"", new",M-03,2,,0.3300,0.3300,plain,-0.05,3.125,P,3,12.300,45.678,246.900,500,0.400,travel,ok,`
	fieldHead = "time,session,jig,boot,seq,batch,magnet,pickup,string,position,take,field_mt,probe_gap_mm,status,note"
)

func TestANewFileHasTheColumnsInOrder(t *testing.T) {
	s := mustShop(t, nil)
	if entries, _ := os.ReadDir(s.Dir); len(entries) != 1 || entries[0].Name() != disk.LockFile {
		t.Errorf("an open shop has %v", entries)
	}
	if err := s.readings.append(sampleRow(1)); err != nil {
		t.Fatal(err)
	}
	if got, want := text(t, s.path(ReadingsFile)), newHead+"\r\n"+firstRow+",,,\r\n"; got != want {
		t.Errorf("got\n%s\nexpected\n%s", got, want)
	}
	if err := s.fields.append(fieldRow(map[string]string{"field_mt": "1"})); err != nil {
		t.Fatal(err)
	}
	if got, want := text(t, s.path(FieldsFile)), fieldHead+"\r\n,,,,,,,,,,,1,,,\r\n"; got != want {
		t.Errorf("got\n%s\nexpected\n%s", got, want)
	}
}

func TestRowsFollowTheFilesOwnColumns(t *testing.T) {
	names := strings.Split(header, ",")
	names[0], names[24] = names[24], names[0]
	head := "\xef\xbb\xbf" + strings.Join(names, ",") + ",mine\n"
	s := mustShop(t, map[string]string{ReadingsFile: head})
	if err := s.readings.append(sampleRow(1)); err != nil {
		t.Fatal(err)
	}
	row := "," + strings.TrimSuffix(firstRow[len("2026-03-04T04:06:07.089Z,"):], ",") + ",2026-03-04T04:06:07.089Z,\n"
	if got := text(t, s.path(ReadingsFile)); got != head+row {
		t.Errorf("got\n%s\nexpected\n%s", got, head+row)
	}
}

func TestAFileThatLacksColumnsIsRefused(t *testing.T) {
	head := "string,core_mm,pole_height_mm,string_height_mm,rms_mv\n1,0.25,0,3,12\n"
	_, err := newShop(t, map[string]string{ReadingsFile: head})
	var row *RowError
	if !errors.As(err, &row) || row.Line != 1 || !strings.HasPrefix(row.Column, "time, session, ") {
		t.Errorf("got %v", err)
	}
	dir := filepath.Dir(row.File)
	if got := text(t, row.File); got != head {
		t.Errorf("the file became %q", got)
	}
	if err := os.Remove(row.File); err != nil {
		t.Fatal(err)
	}
	again, err := OpenWriter(dir)
	if err != nil {
		t.Fatalf("the lock was not let go: %v", err)
	}
	again.Close()
}

// An older fields file has no status and no note. It takes rows that have
// nothing to say there.
func TestFieldsWithoutStatusAndNote(t *testing.T) {
	head := strings.TrimSuffix(fieldHead, ",status,note") + "\r\n"
	s := mustShop(t, map[string]string{FieldsFile: head})
	if err := s.fields.append(fieldRow(map[string]string{"field_mt": "1", "status": "ok"})); err != nil {
		t.Fatal(err)
	}
	err := s.fields.append(fieldRow(map[string]string{"field_mt": "1", "status": "ok", "note": "left over"}))
	if want := `fields.csv: the file has no column "note", and a row has "left over" to write there`; err == nil || !strings.HasSuffix(err.Error(), want) {
		t.Errorf("got %v", err)
	}
	if got := text(t, s.path(FieldsFile)); got != head+",,,,,,,,,,,1,\r\n" {
		t.Errorf("the file became %q", got)
	}
}

func TestTornLinesAreSetAside(t *testing.T) {
	const head = "a,b,c\r\n1,2,3\r\n"
	tests := []struct {
		name, file, whole string
		torn              bool
	}{
		{"nothing is torn", head, head, false},
		{"an empty file", "", "", false},
		{"no end of line", head + "4,5", head, true},
		{"a full row without an end", head + "4,5,6", head, true},
		{"half of CR LF", head + "4,5,6\r", head, true},
		{"a short row with an end", head + "4,5\r\n", head, true},
		{"zeros", head + "4,5,\x00\x00\x00\x00", head, true},
		{"zeros that were a line", head + "\x00\x00\n", head, true},
		{"in the middle of a quoted cell", head + "4,5,\"6", head, true},
		{"after a quote inside a cell", head + "4,5,\"6\"\"", head, true},
		{"after a byte order mark", "\xef\xbb\xbf" + head + "4,", "\xef\xbb\xbf" + head, true},
		{"the header", "a,b", "", true},
		{"the header after a byte order mark", "\xef\xbb\xbfa,b", "", true},
		{"a whole row that says nonsense", head + "x,y,z\r\n", head + "x,y,z\r\n", false},
		{"a whole cell of two lines", head + "4,5,\"6\n7\"\n", head + "4,5,\"6\n7\"\n", false},
		{"a whole cell that ends in a line", head + "4,5,\"6\n\"\n", head + "4,5,\"6\n\"\n", false},
		{"an open quote further up", head + "4,5,\"6\n7,8,9\n", head + "4,5,\"6\n7,8,9\n", false},
		{"a short row further up", head + "4,5\n7,8,9\n", head + "4,5\n7,8,9\n", false},
		{"a short row further up and a torn one", head + "4,5\n7,8,9\n7", head + "4,5\n7,8,9\n", true},
	}
	now := time.Date(2026, 3, 4, 5, 6, 7, 89e6, time.UTC)
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			dir := t.TempDir()
			path := filepath.Join(dir, "readings.csv")
			if err := os.WriteFile(path, []byte(tt.file), 0o644); err != nil {
				t.Fatal(err)
			}
			notice, err := setTornAside(path, nil, nil, now)
			if err != nil {
				t.Fatal(err)
			}
			if got := text(t, path); got != tt.whole {
				t.Errorf("left %q, expected %q", got, tt.whole)
			}
			aside := filepath.Join(dir, "readings.torn-20260304T050607.089Z.csv")
			if !tt.torn {
				if entries, _ := os.ReadDir(dir); len(entries) != 1 || notice != "" {
					t.Errorf("notice %q, files %v", notice, entries)
				}
				return
			}
			if got := text(t, aside); tt.whole+got != tt.file {
				t.Errorf("set aside %q", got)
			}
			if want := fmt.Sprintf("%s: the last line was torn (%s) and is now in %s", path, profiles.Count(len(tt.file)-len(tt.whole), "byte"), filepath.Base(aside)); notice != want {
				t.Errorf("notice %q", notice)
			}
		})
	}
}

func TestATornShopIsMendedWhenItIsOpened(t *testing.T) {
	s := mustShop(t, map[string]string{ReadingsFile: header + "\r\n" + firstRow + "\r\n2026-03-04T04:06", SessionsFile: "time,sess"})
	if len(s.Notices) != 2 || !strings.Contains(s.Notices[1], "sessions.torn-") {
		t.Errorf("notices %q", s.Notices)
	}
	if err := s.readings.append(sampleRow(2)); err != nil {
		t.Fatal(err)
	}
	n := 0
	for _, err := range ReadFile(s.path(ReadingsFile), Readings) {
		if err != nil {
			t.Error(err)
		}
		n++
	}
	if n != 2 {
		t.Errorf("%d rows, expected 2", n)
	}
}

// What is no record any more, as somebody saved it otherwise, stays as it is.
func TestAFileThatWasSavedOtherwise(t *testing.T) {
	record := header + "\r\n" + firstRow + "\r\n" + firstRow + "\r\n"
	utf16 := strings.Builder{}
	for _, r := range "\ufeff" + record {
		utf16.Write([]byte{byte(r), byte(r >> 8)})
	}
	for _, tt := range []struct{ name, file, want string }{
		{"semicolons", strings.NewReplacer(",", ";", ".", ",").Replace(record), "save it with commas between cells"},
		{"CR alone", strings.ReplaceAll(record, "\r\n", "\r"), "save it with line ends of LF or CR LF"},
		{"UTF-16", utf16.String(), "save it as CSV in UTF-8"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			dir := t.TempDir()
			path := filepath.Join(dir, ReadingsFile)
			if err := os.WriteFile(path, []byte(tt.file), 0o644); err != nil {
				t.Fatal(err)
			}
			_, err := OpenWriter(dir)
			var bad *RowError
			if !errors.As(err, &bad) || bad.Line != 1 || !strings.Contains(bad.Msg, tt.want) {
				t.Errorf("got %v", err)
			}
			if got := text(t, path); got != tt.file {
				t.Errorf("left %q", got)
			}
		})
	}
}

// An editor may take the end of the last line. The row is whole all the same,
// as its seal tells.
func TestASealedRowKeepsItsPlace(t *testing.T) {
	for _, end := range []string{"\r\n", "\n"} {
		dir := writtenShop(t, 10, 3)
		path := filepath.Join(dir, ReadingsFile)
		whole := text(t, path)
		if err := os.WriteFile(path, []byte(strings.TrimSuffix(whole, end)), 0o644); err != nil {
			t.Fatal(err)
		}
		s, err := OpenWriter(dir)
		if err != nil {
			t.Fatal(err)
		}
		if err := errors.Join(s.readings.append(someReadings(14, 1)...), s.Close()); err != nil {
			t.Fatal(err)
		}
		if rows := strings.Split(strings.ReplaceAll(text(t, path), "\r\n", "\n"), "\n"); len(s.Notices) != 0 || len(rows) != 13 {
			t.Errorf("notices %q, rows %q", s.Notices, rows)
		}
		if got := findings(t, dir); len(got) != 0 {
			t.Errorf("got %q", got)
		}
	}
}

// A start that fails leaves it to the next one to look at the shop as after a
// crash.
func TestAFailedStartAfterACrash(t *testing.T) {
	dir := t.TempDir()
	leaveLock(t, dir)
	inTheWay := filepath.Join(dir, ReadingsFile)
	if err := os.Mkdir(inTheWay, 0o755); err != nil {
		t.Fatal(err)
	}
	if _, err := OpenWriter(dir); err == nil {
		t.Fatal("a folder is taken for a file")
	}
	if err := os.Remove(inTheWay); err != nil {
		t.Fatal(err)
	}
	s, err := OpenWriter(dir)
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	if len(s.Notices) != 1 || !strings.Contains(s.Notices[0], "taken over") {
		t.Errorf("notices %q", s.Notices)
	}
}

func TestOneWriterAtATime(t *testing.T) {
	s := mustShop(t, nil)
	_, err := OpenWriter(s.Dir)
	host, _ := os.Hostname()
	want := regexp.MustCompile(fmt.Sprintf(`^shop is in use: process %d on %q since 20\d\d-\d\d-\d\dT\d\d:\d\d:\d\dZ$`, os.Getpid(), host))
	if !errors.Is(err, disk.ErrInUse) || !want.MatchString(err.Error()) {
		t.Errorf("got %v", err)
	}
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	again, err := OpenWriter(s.Dir)
	if err != nil {
		t.Fatal(err)
	}
	defer again.Close()
	if len(again.Notices) != 0 {
		t.Errorf("notices %q", again.Notices)
	}
}

func TestALockThatWasLeftBehind(t *testing.T) {
	host, err := os.Hostname()
	if err != nil {
		t.Fatal(err)
	}
	left := fmt.Sprintf("process %d on %q since 2026-03-04T05:06:07Z", 1<<30, host)
	s := mustShop(t, map[string]string{disk.LockFile: left + "\n"})
	want := fmt.Sprintf("process 1073741824 on %q since 2026-03-04T05:06:07Z did not let go of the shop and is gone: taken over", host)
	if len(s.Notices) != 1 || s.Notices[0] != want {
		t.Errorf("notices %q, expected %q", s.Notices, want)
	}
	elsewhere := fmt.Sprintf("process 7 on %q since 2026-03-04T05:06:07Z", host+"-other")
	if _, err := newShop(t, map[string]string{disk.LockFile: elsewhere}); !errors.Is(err, disk.ErrInUse) {
		t.Errorf("took over from another host: %v", err)
	}
}

func TestFindShop(t *testing.T) {
	root := t.TempDir()
	deep := filepath.Join(root, "shop", "orders", "2026")
	if err := os.MkdirAll(deep, 0o755); err != nil {
		t.Fatal(err)
	}
	if err := os.Mkdir(filepath.Join(root, "shop", "orders", ReadingsFile), 0o755); err != nil {
		t.Fatal(err) // a folder of that name makes no shop
	}
	if dir, ok := Find(deep); ok {
		t.Errorf("found %q where there is none", dir)
	}
	for _, name := range []string{ReadingsFile, FieldsFile, SessionsFile, profiles.SetsFile, profiles.ShopFile, profiles.BatchesFile} {
		path := filepath.Join(root, "shop", name)
		if err := os.WriteFile(path, nil, 0o644); err != nil {
			t.Fatal(err)
		}
		if dir, ok := Find(deep); !ok || dir != filepath.Join(root, "shop") {
			t.Errorf("with %s: found %q, %v", name, dir, ok)
		}
		os.Remove(path)
	}
}

// A failing is a file on a disk that is full, or that breaks.
type failing struct {
	disk.Appender
	room     int // bytes that still fit
	noSync   bool
	appended int
}

func (f *failing) Write(p []byte) (int, error) {
	n := min(f.room, len(p))
	f.room -= n
	f.Appender.Write(p[:n])
	if n < len(p) {
		return n, errors.New("disk full")
	}
	f.appended++
	return n, nil
}

func (f *failing) Sync() error {
	if f.noSync {
		return errors.New("disk broken")
	}
	return f.Appender.Sync()
}

func TestNothingKeptIsLostWhenTheDiskFails(t *testing.T) {
	rowLen := len(firstRow) + 2
	for _, f := range []*failing{
		{room: 3*rowLen - 20},
		{room: 2 * rowLen},
		{room: 100 * rowLen, noSync: true},
	} {
		s := mustShop(t, nil)
		if err := s.readings.append(sampleRow(1)); err != nil {
			t.Fatal(err)
		}
		f.Appender = s.readings.file
		s.readings.file = f
		kept := 1
		for seq := uint32(2); seq <= 9; seq++ {
			if err := s.readings.append(sampleRow(seq)); err == nil {
				kept++
			}
		}
		if f.appended > kept {
			t.Errorf("rows were written after the failure: %d, and %d are called kept", f.appended, kept)
		}
		if f.noSync && kept > 1 {
			t.Errorf("%d rows are called kept that were never synced", kept-1)
		}
		s.Close()
		again, err := OpenWriter(s.Dir)
		if err != nil {
			t.Fatal(err)
		}
		h, err := again.History("jig-7", "0000ABCD", "s001")
		if err != nil {
			t.Fatal(err)
		}
		for seq := 1; seq <= kept; seq++ {
			if !h.Seen[uint32(seq)] {
				t.Errorf("reading %d was called kept and is not there", seq)
			}
		}
		again.Close()
	}
}

// memory is a file that is not on a disk.
type memory struct{ io.Writer }

func (memory) Sync() error  { return nil }
func (memory) Close() error { return nil }
