package record

import (
	"context"
	"errors"
	"io"
	"io/fs"
	"iter"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"evenpole/capture/record/disk"
	"evenpole/capture/record/table"
)

// Seeds are short: the fuzzer tries what it may leave out of an input, which grows with
// the square of its length.

// rewrite reads a file and writes the rows that can be read. Every mistake is a
// *RowError with its place.
func rewrite[T any](t *testing.T, file string, columns *table.Table[T], rows func(io.Reader, string) iter.Seq2[T, error]) string {
	var written strings.Builder
	lines := [][]string{columns.Names}
	for x, err := range rows(strings.NewReader(file), "f.csv") {
		var row *RowError
		if err != nil && (!errors.As(err, &row) || row.File != "f.csv" || row.Line < 1 || row.Msg == "") {
			t.Fatalf("%T: %v", err, err)
		}
		if err == nil {
			lines = append(lines, columns.Row(&x))
		}
	}
	if err := table.WriteLines(&written, false, lines...); err != nil {
		t.Fatal(err)
	}
	return written.String()
}

// sameAgain fails unless what is read and written is read as the same.
func sameAgain[T any](t *testing.T, file string, columns *table.Table[T], rows func(io.Reader, string) iter.Seq2[T, error]) {
	once := rewrite(t, file, columns, rows)
	if twice := rewrite(t, once, columns, rows); twice != once {
		t.Errorf("read and written:\n%s\nand once more:\n%s", once, twice)
	}
}

var readingSeeds = []string{
	need + "\n1,.25,0,3,12\n",
	"\xef\xbb\xbf\"rms_mv\", string ,core_mm,string_height_mm,pole_height_mm,x\n 12 ,1, .25,3,-0,\n",
	need + ",seq,status\n1,.25,0,3,12,4294967296,ok\nx,,,,,,\n1\n2,.25,0,3,1e-9,0,retracted\n",
	"\"0000",
	need + ",note,pickup\n1,.25,0,3,12,\"a\r\nb\",\"T \"\"4\"\"\"\n",
	need + ",time,window_ms,freq_hz\n1,.25,0,3,12,2026-01-01T00:00:00+05:30,1e3,0\n1,.25,0,3,12,9999-12-31T23:59:59.9999-23:59,.0005,-0\n",
	need + ",jig,boot,purpose,mode,take,excite\r\n1,0.2540,0.61,3.50,0.431,jig-7,4804B21C,model,Q,1,travel\r\n",
	need + ",batch,string_set,gauge_mm,wrap,peak_mv,quiet_mv\r\n1,0.2540,0.61,3.50,0.431,M-01,ten-nps,0.254,plain,1.675,0.4\r\n2,0.3",
}

func FuzzReadings(f *testing.F) {
	for _, s := range readingSeeds {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, file string) { sameAgain(t, file, readingColumns, Readings) })
}

var fieldSeeds = []string{
	"field_mt\n83.2\n-121\n",
	"time,session,jig,boot,seq,field_mt,probe_gap_mm\r\n2025-03-03T08:49:54.870Z,s001,jig-7,4804B21C,3,-83.2,0.50\r\n",
	"batch,magnet,position,take,field_mt,status,note\nM-01,m1,2,1,83.25,ok,\"left, \"\"top\"\"\"\nM-01,m2,0,0,,retracted,\n",
	"pickup,string,field_mt\nP1,13,1e400\nP1,12,+.5\n",
}

func FuzzFields(f *testing.F) {
	for _, s := range fieldSeeds {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, file string) { sameAgain(t, file, fieldColumns, Fields) })
}

const holdHeader = "time,session,purpose,kind,jig,boot,after_seq,pickup,mount\n"

var holdSeeds = []string{
	holdHeader + "2026-03-04T05:06:07Z,s001,model,readings,jig-7,0000ABCD,0,P1,P1-12345678.toml\n",
	holdHeader + ",s002,check,fields,jig-7,0000ABCD,4294967295,P1,a\n,,,,jig-7,0000ABCD,7,,\n,s002,check,fields,,,0,P1,b\n",
	holdHeader + "x,s9999999999,loud,levels,,,-1,,\n",
}

// FuzzHolds reads sessions.csv, and asks what there is to ask of it.
func FuzzHolds(f *testing.F) {
	for _, s := range holdSeeds {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, file string) {
		sameAgain(t, file, holdColumns, readHolds)
		var all Holds
		sessions := map[string]bool{"": true}
		for h, err := range readHolds(strings.NewReader(file), "f.csv") {
			if err == nil {
				all, sessions[h.Session] = append(all, h), true
			}
		}
		for _, h := range all {
			if s := all.Latest(h.Purpose, h.Kind, h.Mount); !sessions[s] {
				t.Errorf("the latest session is %q, which has no hold", s)
			}
			if s := all.Owner(h.Jig, h.Boot, h.AfterSeq+1); !sessions[s] {
				t.Errorf("a reading belongs to %q, which has no hold", s)
			}
			if _, ok := all.First(h.Jig, h.Boot); !ok {
				t.Errorf("no first hold of %s, %s", h.Jig, h.Boot)
			}
			if n := sessionNumber(h.Session); n > 999_999_999 || n < 0 {
				t.Errorf("session %q has the number %d", h.Session, n)
			}
		}
	})
}

var sealSeeds = []string{
	"row,digest,chain,remark\n0,1f0323643b28a9d9,47df5cca80e19cb3,\n1,,47df5cca80e19cb3,\nx,1F0323643b28a9d9,47,?\n2,36106d76c6a37ab6\n",
	"row,digest,chain,remark\r\n712,,47df5cca80e19cb3,never sealed\r\n713,36106d76c6a37ab6,f794dea7b76acfe7,found\r\n",
	"\"0000",
	"remark,chain,extra,digest,row\naccepted,47df5cca80e19cb3,,1f0323643b28a9d9,1\n",
	"row,digest,chain,remark\r\n1,1f0323643b28a9d9,47df5cca80e19cb3,\r\n2,\"36106d7",
	"row,digest,chain,remark\r\n1,1f0323643b28a9d9,47df5cca80e19cb3,after a crash\r\n",
}

func FuzzSeals(f *testing.F) {
	for _, s := range sealSeeds {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, file string) { sameAgain(t, file, sealColumns, readSeals) })
}

// FuzzImport: of a person's spreadsheet each row is refused, or it can be read from the
// record.
func FuzzImport(f *testing.F) {
	for _, s := range []string{
		need + "\n1,0.254,0.5,3,12\n",
		"session,jig,boot,seq," + need + ",status\ns001,jig-7,0000ABCD,7,,,,,12,retracted\n,,,,1,,,,,retracted\n",
		"string;core_mm;pole_height_mm;string_height_mm;rms_mv\n0;0,2;1.2;x;\"\n",
		"String;Core (in);Pole height [mm];String height mm;RMS (uV);time\n1;0,010;-0,5;3;12000,5;2025-03-03 08:49\n;;;;;\n",
		"time\tstring\tcore_mm\tpole_height_mm\tstring_height_mm\trms_mv\tnote\n2025-03-03\t1\t.254\t1e-1\t3\t12\t\"a\n b\"\n",
	} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, file string) {
		m, err := ReadImport(strings.NewReader(file), "f.csv", filepath.Join("testdata", "none"), ImportOptions{Zone: time.UTC})
		var row *RowError
		if err != nil && !errors.As(err, &row) {
			t.Fatalf("%T: %v", err, err)
		}
		if err != nil {
			return
		}
		if m.Rows != m.Readable+m.RefusedRows || m.Readable != len(m.readable(t)) {
			t.Errorf("%+v", m)
		}
		for _, row := range m.readable(t) {
			if _, bad := readingColumns.Parse(row, func(string) (string, int) { return "", 0 }); bad != nil {
				t.Errorf("%q: %v", row, bad)
			}
		}
	})
}

// FuzzShop: a shop of any files is verified, exported and opened for writing, or refused
// with the place of what is wrong. Opening it loses no byte, and what was opened once is
// opened again.
func FuzzShop(f *testing.F) {
	whole := readingColumns.Names
	dir := f.TempDir()
	if _, seals := writtenFiles(f, filepath.Join(dir, "seed"), 3); seals != "" {
		readings, _ := writtenFiles(f, filepath.Join(dir, "seed"), 0)
		f.Add(readings, seals, fieldSeeds[1], holdSeeds[0], false)
		f.Add(readings[:len(readings)-20], seals, "", holdSeeds[1][:90], true)
		f.Add(readings, seals[:len(seals)-9], fieldSeeds[2], "", true)
	}
	f.Add(strings.Join(whole, ",")+"\n"+strings.Repeat(",", len(whole)-1), sealSeeds[1], "\"", "time", false)
	f.Add(readingSeeds[0], "", fieldSeeds[0], holdSeeds[2], true)
	shop := filepath.Join(dir, "shop")
	f.Fuzz(func(t *testing.T, readings, seals, fields, sessions string, crashed bool) {
		if err := errors.Join(os.RemoveAll(shop), os.Mkdir(shop, 0o755)); err != nil {
			t.Fatal(err)
		}
		before := files{}
		for name, text := range (files{ReadingsFile: readings, "readings.seals.csv": seals, FieldsFile: fields, SessionsFile: sessions}) {
			if text == "" {
				continue
			}
			before[name] = text
			if err := os.WriteFile(filepath.Join(shop, name), []byte(text), 0o644); err != nil {
				t.Fatal(err)
			}
		}
		if crashed {
			leaveLock(t, shop)
		}
		_, err := Verify(context.Background(), shop, func(Finding) {})
		wantRefusal(t, err, shop)
		_, err = Export(context.Background(), io.Discard, shop, ReadingsFile, Filter{})
		wantRefusal(t, err, shop)
		for again := range 2 {
			if !mend(t, shop) {
				if again > 0 {
					t.Error("what was mended is refused")
				}
				return
			}
			after := filesIn(t, shop)
			keepsAll(t, before, after)
			before = after
			_, err = Verify(context.Background(), shop, func(Finding) {})
			wantRefusal(t, err, shop)
		}
	})
}

// writtenFiles adds rows to a shop, and returns the texts of its readings and their seals.
func writtenFiles(f *testing.F, dir string, n int) (readings, seals string) {
	w, err := OpenWriter(dir)
	if err != nil {
		f.Fatal(err)
	}
	if err := errors.Join(w.readings.append(someReadings(1, n)...), w.Close()); err != nil {
		f.Fatal(err)
	}
	for name, text := range map[string]*string{ReadingsFile: &readings, "readings.seals.csv": &seals} {
		b, err := os.ReadFile(filepath.Join(dir, name))
		if err != nil {
			f.Fatal(err)
		}
		*text = string(b)
	}
	return readings, seals
}

// mend opens a shop as a writer does, and closes it; ok is false when it was refused.
func mend(t *testing.T, shop string) (ok bool) {
	w, err := OpenWriter(shop)
	if err != nil {
		wantRefusal(t, err, shop)
		return false
	}
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	return true
}

// wantRefusal fails on an error that is not of the files, or has no place in them.
func wantRefusal(t *testing.T, err error, shop string) {
	t.Helper()
	var row *RowError
	switch {
	case err == nil || errors.Is(err, fs.ErrNotExist):
	case !errors.As(err, &row) || filepath.Dir(row.File) != shop || row.Line < 1:
		t.Fatalf("%T: %v", err, err)
	}
}

// keepsAll fails unless each file is as it was, but for a torn line that is set aside, a
// line end that it lacked, and seals that were owed.
func keepsAll(t *testing.T, before, after files) {
	for name, text := range before {
		if name == disk.LockFile {
			continue
		}
		now, aside := after[name], ""
		for other, torn := range after {
			if _, old := before[other]; !old && strings.HasPrefix(other, strings.TrimSuffix(name, ".csv")+".torn-") {
				aside += torn
			}
		}
		kept, whole := strings.CutSuffix(text, aside)
		added := strings.TrimPrefix(now, kept)
		if !whole || kept+added != now || !strings.Contains(name, ".seals.") && added != "" && added != "\n" {
			t.Errorf("%s: %q became %q, and %q set aside", name, text, now, aside)
		}
	}
}
