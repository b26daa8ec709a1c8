package record

import (
	"context"
	"errors"
	"fmt"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"evenpole/capture/record/disk"
	"evenpole/capture/record/table"
)

// understood reads a spreadsheet against an empty record, or against that of dir.
func understood(t *testing.T, file, dir string, opt ImportOptions) *Import {
	t.Helper()
	m, err := ReadImport(strings.NewReader(file), "old bench.csv", dir, opt)
	if err != nil {
		t.Fatal(err)
	}
	return m
}

// readable returns the rows of a spreadsheet that are readable, in the record's writing.
func (m *Import) readable(t testing.TB) (rows []table.Row) {
	t.Helper()
	if err := m.each(func(row table.Row) error { rows = append(rows, row); return nil }); err != nil {
		t.Fatal(err)
	}
	return rows
}

var need1 = need + "\n1,0.254,0.5,3,12\n"

func TestImportUnderstands(t *testing.T) {
	east := time.FixedZone("east", 2*3600)
	const cells = "session,jig,boot,seq"
	tests := []struct {
		name, file string
		opt        ImportOptions
		want       string // of the first row: time, core, pole height, string height, level, note
	}{
		{"its own columns", need1, ImportOptions{}, ",0.2540,0.50,3.00,12.000,"},
		{"a mark, another order, headers for people", "\xef\xbb\xbfRMS [mV],Pole height (in),Core (in),String,String height (mm),Colour\n12,.02,0.010,1,3,red\n",
			ImportOptions{}, ",0.2540,0.508,3.00,12.000,"},
		{"semicolons and decimal commas", "String;Core mm;pole-height-mm;string height mm;RMS µV;Note\n1;0,254;-0,5;3;12000,5;a, b\n",
			ImportOptions{}, ",0.2540,-0.50,3.00,12.001,\"a, b\""},
		{"semicolons and decimal points", strings.ReplaceAll(need1, ",", ";"), ImportOptions{}, ",0.2540,0.50,3.00,12.000,"},
		{"tabs", strings.ReplaceAll(need1, ",", "\t"), ImportOptions{}, ",0.2540,0.50,3.00,12.000,"},
		{"a column called otherwise, one set, volts", "No,Out,pole_height_mm,string_height_mm\n1,0.012,0.5,3\n",
			ImportOptions{Columns: map[string]string{"No": "string", "Out": "rms_v"}, Set: map[string]string{"core_mm": "0.254", "note": "old"}}, ",0.2540,0.50,3.00,12.000,old"},
		{"times", "time," + need + "\n2025-03-03 08:49,1,0.254,0.5,3,12\n", ImportOptions{Zone: east}, "2025-03-03T06:49:00.000Z,0.2540,0.50,3.00,12.000,"},
		{"a time with a zone", "time," + need + "\n2025-03-03T08:49:01.5+01:00,1,0.254,0.5,3,12\n", ImportOptions{Zone: east}, "2025-03-03T07:49:01.500Z,0.2540,0.50,3.00,12.000,"},
		{"titles over the header", "My bench; March\n\n;;\n" + strings.ReplaceAll(need1, ",", ";"), ImportOptions{}, ",0.2540,0.50,3.00,12.000,"},
		{"units in cells", "string,Core,Pole height,string_height_mm,RMS\n1,10 thou,\"0.02\"\"\",0.118 in,12000 µV\n", ImportOptions{}, ",0.2540,0.508,2.9972,12.000,"},
		{"units as words", "string,core (inches),pole height in mils,string_height_mm,level_mv\n1,0.010,20,3,12\n", ImportOptions{Columns: map[string]string{"level_mv": "rms_mv"}}, ",0.2540,0.508,3.00,12.000,"},
		{"quoted decimal commas", need + "\n1,\"0,254\",\"0,5\",3,\"12,5\"\n", ImportOptions{}, ",0.2540,0.50,3.00,12.500,"},
		{"a day and a month by points", "time," + need + "\n3.12.2025 08:49,1,0.254,0.5,3,12\n", ImportOptions{Zone: east}, "2025-12-03T06:49:00.000Z,0.2540,0.50,3.00,12.000,"},
		{"a date", "Date," + need + "\n3.12.25,1,0.254,0.5,3,12\n", ImportOptions{Zone: time.UTC}, "2025-12-03T00:00:00.000Z,0.2540,0.50,3.00,12.000,"},
		{"empty rows between", need + "\n,,,,\n\n1,0.254,0.5,3,12\n,,,,\n", ImportOptions{}, ",0.2540,0.50,3.00,12.000,"},
		{"a reading of another jig", cells + "," + need + ",mode\ns001,jig-9,0000ABCD,7,1,,,,12,Q\n", ImportOptions{}, ",,,,12.000,"},
	}
	for _, tt := range tests {
		m := understood(t, tt.file, t.TempDir(), tt.opt)
		rows := m.readable(t)
		if len(rows) != 1 || len(m.Refused) != 0 || m.Rows != 1 {
			t.Errorf("%s: %+v", tt.name, m)
			continue
		}
		cell := func(name string) string { return *readingColumns.Cell(rows[0], name) }
		note := cell("note")
		if strings.Contains(note, ",") {
			note = `"` + note + `"`
		}
		if got := strings.Join([]string{cell("time"), cell("core_mm"), cell("pole_height_mm"), cell("string_height_mm"), cell("rms_mv"), note}, ","); got != tt.want {
			t.Errorf("%s: got %s, expected %s", tt.name, got, tt.want)
		}
	}
}

func TestImportRefusesRows(t *testing.T) {
	for row, want := range map[string]string{
		"1;0,254;0,5;3;laut;;;;":                    `old bench.csv:3: Level (mV): expected a number, got "laut"`,
		"1;0,254;0,5;3;1.234,5;;;;":                 `old bench.csv:3: Level (mV): expected a number, got "1.234,5"`,
		"1;0,254;0,5;3;12.5;;;;":                    `old bench.csv:3: Level (mV): expected decimals after "," as in the rows above, got "12.5"`,
		"13;0,254;0,5;3;12;;;;":                     `old bench.csv:3: string: expected a whole number from 1 to 12, got "13"`,
		"1;;0,5;3;12;;;;":                           `old bench.csv:3: core_mm: expected a value, got ""`,
		"1;0,254;0,5;3":                             `old bench.csv:3: expected 9 cells as in the header, got another number`,
		"1;0,254;0,5;3;12;03/04/2025;;;":            `old bench.csv:3: time: expected a time such as 2025-03-03T08:49:54.870Z, got "03/04/2025"`,
		"1;0,254;0,5;3;12;;retracted;;":             `old bench.csv:3: status: expected a jig, boot and seq with it, to tell what is taken back, got "retracted"`,
		"1;0,254;0,5;3;12 dB;;;;":                   `old bench.csv:3: Level (mV): expected a number, got "12 dB"`,
		"\n1;0,254;\"a\nb\";3;12;;;;":               `old bench.csv:4: pole_height_mm: expected a number, got "a\nb"`,
		"1;\"0,254\"x;0,5;3;12;;;;":                 `old bench.csv:3: expected a quoted cell to end with a quote and a comma, got something else at line 3`,
		"1;0,254;0,5;3;12;;;a note that is long;no": `old bench.csv:3: purpose: expected one of model, batch, check, repeat, got "no"`,
	} {
		file := "string;core_mm;pole_height_mm;string_height_mm;Level (mV);time;status;note;purpose\n1;0,254;0,5;3;12;;;;\n" + row + "\n1;0,254;0,5;3;13;;;;\n"
		m := understood(t, file, t.TempDir(), ImportOptions{Columns: map[string]string{"Level (mV)": "rms_mv"}})
		if len(m.Refused) != 1 || m.Refused[0].Error() != want {
			t.Errorf("got %v\nexpected %s", m.Refused, want)
		}
		if quoted := strings.Contains(row, "x;"); m.Readable != 2 && !quoted {
			t.Errorf("%q: %d rows readable, expected 2", row, m.Readable)
		}
	}
}

// "1,180" in quotes is 1180 to one person and 1.18 to another. Where nothing above it tells, it is
// refused; a length can be only one of the two.
func TestImportRefusesACommaThatMayPartThousands(t *testing.T) {
	for file, want := range map[string]string{
		"batch,magnet,Field (gauss)\nb,1,\"1,180\"\n":              `old bench.csv:2: Field (gauss): expected 1180 or 1.180, as the comma may part thousands or decimals, got "1,180"`,
		"batch,magnet,Field (gauss)\nb,1,\"1,180 G\"\n":            `old bench.csv:2: Field (gauss): expected 1180 or 1.180, as the comma may part thousands or decimals, got "1,180 G"`,
		"batch,magnet,Field (gauss)\nb,1,\"-1,180\"\n":             `old bench.csv:2: Field (gauss): expected -1180 or -1.180, as the comma may part thousands or decimals, got "-1,180"`,
		"batch,magnet,field_mt\nb,1,\"117,5\"\nb,2,\"1,180\"\n":    "",
		"batch,magnet,field_mt,probe_gap_mm\nb,1,117,\"1,016\"\n":  "",
		"batch;magnet;field_mt\nb;1;118,125\n":                     "",
		"batch,magnet,field_mt\nb,1,\"0,180\"\nb,2,\"118,0625\"\n": "",
	} {
		m := understood(t, file, t.TempDir(), ImportOptions{Fields: true})
		got := ""
		if len(m.Refused) > 0 {
			got = m.Refused[0].Error()
		}
		if got != want {
			t.Errorf("%q: got %s\nexpected %s", file, got, want)
		}
	}
}

// The limits of mounts hold for a spreadsheet, and the likely cause is named.
func TestImportRefusesLengthsThatNoMountMayHave(t *testing.T) {
	const heads = "string;Core (mm);Gauge (in);wrap;pole_height_mm;String height (mm);rms_mv;status;jig;boot;seq\n"
	for row, want := range map[string]string{
		"1;0,010;;;0,5;3;12;;;;":                `old bench.csv:3: Core (mm): expected 0.15 to 4 mm, got "0,010"; if that is inches, say so with --column 'Core (mm)=core_in'`,
		"1;10;;;0,5;3;12;;;;":                   `old bench.csv:3: Core (mm): expected 0.15 to 4 mm, got "10"; if that is thousandths of an inch, say so with --column 'Core (mm)=core_thou'`,
		"1;0,254;0,254;;0,5;3;12;;;;":           `old bench.csv:3: Gauge (in): expected 0.005906 to 0.1575 in, got "0,254"; if that is millimetres, say so with --column 'Gauge (in)=gauge_mm'`,
		"1;0,254;10;;0,5;3;12;;;;":              `old bench.csv:3: Gauge (in): expected 0.005906 to 0.1575 in, got "10"; if that is thousandths of an inch, say so with --column 'Gauge (in)=gauge_thou'`,
		"1;0,254;;;0,5;0,118;12;;;;":            `old bench.csv:3: String height (mm): expected 0.5 to 30 mm, got "0,118"; if that is inches, say so with --column 'String height (mm)=string_height_in'`,
		"1;2540;;;0,5;3;12;;;;":                 `old bench.csv:3: Core (mm): expected 0.15 to 4 mm, got "2540"`,
		"1;0,254;;;3;3;12;;;;":                  `old bench.csv:3: pole_height_mm: expected a pole below its string at 3 mm, got "3 mm"`,
		"1;0,254;;;-20;3;12;;;;":                `old bench.csv:3: pole_height_mm: expected -10 to 8 mm, got "-20"; if that is thousandths of an inch, say so with --column 'pole_height_mm=pole_height_thou'`,
		"1;0,5;0,01;nickel;0,5;3;12;;;;":        `old bench.csv:3: Core (mm): expected no more than the gauge, 0.254 mm, got "0.5 mm"`,
		"1;10;;;0,5;3;12;ok;j;0000000A;1":       `old bench.csv:3: Core (mm): expected 0.15 to 4 mm, got "10"; if that is thousandths of an inch, say so with --column 'Core (mm)=core_thou'`,
		"1;;;;;;12;ok;j;0000000A;1":             "",
		"1;10;;;0,5;3;12;retracted;j;000000A;1": "",
	} {
		m := understood(t, heads+"1;0,254;;;0,5;3;12;;;;\n"+row+"\n", t.TempDir(), ImportOptions{})
		got := ""
		if len(m.Refused) > 0 {
			got = m.Refused[0].Error()
		}
		if got != want {
			t.Errorf("got %s\nexpected %s", got, want)
		}
	}
	m := understood(t, "string,pole_height_mm,string_height_mm,rms_mv\n1,0.5,3,12\n", t.TempDir(), ImportOptions{Set: map[string]string{"core_mm": "0.010"}})
	if want := `old bench.csv:2: core_mm: expected 0.15 to 4 mm, got "0.01"; if that is inches`; len(m.Refused) != 1 || m.Refused[0].Error() != want {
		t.Errorf("got %v\nexpected %s", m.Refused, want)
	}
	f := understood(t, "field_mt,probe_gap_mm\n100,25.4\n100,1\n", t.TempDir(), ImportOptions{Fields: true})
	if want := `old bench.csv:2: probe_gap_mm: expected 0.05 to 20 mm, got "25.4"; if that is thousandths of an inch, say so with --column 'probe_gap_mm=probe_gap_thou'`; len(f.Refused) != 1 || f.Refused[0].Error() != want {
		t.Errorf("got %v\nexpected %s", f.Refused, want)
	}
	bare := understood(t, "string,Core,pole_height_mm,string_height_mm,rms_mv\n1,0.254,0.5,3,12\n", t.TempDir(), ImportOptions{})
	if want := `old bench.csv:2: Core: expected a number with its unit, as the header has none (or --column 'Core=core_mm', where that is the unit of all), got "0.254"`; len(bare.Refused) != 1 || bare.Refused[0].Error() != want {
		t.Errorf("got %v\nexpected %s", bare.Refused, want)
	}
	gauss := understood(t, "batch,magnet,Field (gauss),probe_gap_mm\nb,1,1105,0.5\nb,2,110.5 mT,0.5\n", t.TempDir(), ImportOptions{Fields: true})
	for _, row := range gauss.readable(t) {
		if got := *fieldColumns.Cell(row, "field_mt"); got != "110.50" {
			t.Errorf("1105 gauss are %s mT", got)
		}
	}
	if gauss.Readable != 2 {
		t.Errorf("%+v", gauss)
	}
	thou := understood(t, "string,Core (thou),Pole height (in),String height (in),rms_mv\n1,10,0.02,0.118,12\n", t.TempDir(), ImportOptions{})
	if rows := thou.readable(t); len(rows) != 1 || *readingColumns.Cell(rows[0], "core_mm") != "0.2540" {
		t.Errorf("%+v", thou)
	}
}

func TestImportRefusesFiles(t *testing.T) {
	for file, want := range map[string]string{
		"":                                   `old bench.csv:1: expected a header row, got an empty file`,
		"notes\n\nstring,core_mm\n1,0.254\n": `old bench.csv:3: pole_height_mm, string_height_mm, rms_mv: expected in the header, got ["string" "core_mm"]`,
		"string,core_mm\n1,0.254\n":          `old bench.csv:1: pole_height_mm, string_height_mm, rms_mv: expected in the header, got ["string" "core_mm"]`,
		need + ",Core (in)\n":                `old bench.csv:1: Core (in): expected one column for core_mm, got two`,
		"PK\x03\x04\x14":                     `old bench.csv:1: expected CSV in UTF-8, got a spreadsheet program's own format: save it as CSV (UTF-8)`,
		"\xff\xfes\x00t\x00":                 `old bench.csv:1: expected CSV in UTF-8, got UTF-16: save it as CSV (UTF-8)`,
		need + ",note\n1,1,1,1,1,\xe4\n":     `old bench.csv:2: expected text in UTF-8, got "1,1,1,1,1,\xe4": save it as CSV (UTF-8)`,
		"\"a\n":                              `old bench.csv:1: expected a quoted cell to end with a quote and a comma, got something else at line 1`,
	} {
		_, err := ReadImport(strings.NewReader(file), "old bench.csv", t.TempDir(), ImportOptions{})
		var row *RowError
		if !errors.As(err, &row) || err.Error() != want {
			t.Errorf("got %v\nexpected %s", err, want)
		}
	}
	_, err := ReadImport(strings.NewReader(need1), "x.csv", t.TempDir(), ImportOptions{Set: map[string]string{"picku": "T"}})
	if want := `set: expected a column of readings.csv, got "picku"`; err == nil || err.Error() != want {
		t.Errorf("got %v", err)
	}
	_, err = ReadImport(strings.NewReader(need1), "x.csv", t.TempDir(), ImportOptions{Columns: map[string]string{"rms_mv": "rms"}})
	if want := `column rms_mv: expected a column of the record, or one in another unit, got "rms"`; err == nil || err.Error() != want {
		t.Errorf("got %v", err)
	}
	_, err = ReadImport(strings.NewReader(need1), "x.csv", t.TempDir(), ImportOptions{Columns: map[string]string{"Aus": "rms_mv"}})
	if want := `x.csv:1: Aus: expected in the header, got "` + need + `"`; err == nil || err.Error() != want {
		t.Errorf("got %v", err)
	}
}

// add imports a spreadsheet and tells how many rows that added.
func add(t *testing.T, file, dir string, opt ImportOptions) int {
	t.Helper()
	m := understood(t, file, dir, opt)
	s, err := OpenWriter(dir)
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	n, err := s.Import(m)
	if err != nil || n != m.New() {
		t.Errorf("%d added, %d foreseen, %v", n, m.New(), err)
	}
	return n
}

// Rows that were the record's own come back into their sessions, as when a spreadsheet saved
// readings.csv so that it cannot be read, or an old copy of it was put back. Rows of another
// shop's sessions become a part of the import's, also where the names are alike.
func TestImportedRowsOfTheShopKeepTheirSessions(t *testing.T) {
	s := mustShop(t, nil)
	for _, h := range []Hold{
		{Time: start, Session: "s001", Purpose: ForModel, Kind: OfReadings, Jig: "jig-7", Boot: "0000ABCD", Mount: "m.toml", Operator: "Bo"},
		{Time: start, Jig: "jig-7", Boot: "0000ABCD", AfterSeq: 3},
	} {
		if err := s.AddHold(h); err != nil {
			t.Fatal(err)
		}
	}
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	sheet := "Zeit;session;jig;boot;seq;pickup;" + strings.ReplaceAll(need, ",", ";") + "\n"
	for _, name := range []string{"s001;jig-7;0000ABCD;1", "s001;jig-7;0000ABCD;2", "s001;jig-7;0000ABCD;9", "s001;jig-8;0000ABCD;3", "s002;jig-7;0000ABCD;3"} {
		sheet += "4.3.2026 05:06;" + name + ";T-1;1;0,254;0,5;3;12\n"
	}
	if m := understood(t, sheet, s.Dir, ImportOptions{Columns: map[string]string{"Zeit": "time"}}); m.Own != 2 {
		t.Errorf("%d rows are the shop's own", m.Own)
	}
	if n := add(t, sheet, s.Dir, ImportOptions{Columns: map[string]string{"Zeit": "time"}}); n != 5 {
		t.Errorf("%d rows added", n)
	}
	var got []string
	for r, err := range ReadFile(s.path(ReadingsFile), Readings) {
		if err != nil {
			t.Fatal(err)
		}
		got = append(got, r.Session)
	}
	if want := []string{"s001", "s001", "import-old-bench-s001", "import-old-bench-s001", "import-old-bench-s002"}; !slices.Equal(got, want) {
		t.Errorf("got %q", got)
	}
	if m := understood(t, sheet, t.TempDir(), ImportOptions{Columns: map[string]string{"Zeit": "time"}}); m.Own != 0 {
		t.Errorf("%d rows are another shop's own", m.Own)
	}
}

func TestImportingTwiceAddsNothing(t *testing.T) {
	dir := t.TempDir()
	rows := []string{"1,0.254,0.5,3,12\n", "1,0.254,0.5,3,12\n", "2,0.33,0.5,3,14\n"}
	steps := []struct {
		name string
		rows []string
		opt  ImportOptions
		want int
	}{
		{"first", rows, ImportOptions{}, 3},
		{"again", rows, ImportOptions{}, 0},
		{"sorted otherwise", []string{rows[2], rows[0], rows[1]}, ImportOptions{}, 0},
		{"written otherwise", []string{"1,.2540,0.50,3.0,12.000\n", rows[2]}, ImportOptions{}, 0},
		{"grown: the same level a third time, and another", append(slices.Clone(rows), rows[0], "3,0.43,0.5,3,15\n"), ImportOptions{}, 2},
		{"another session", rows[:1], ImportOptions{Session: "notes"}, 1},
	}
	for _, step := range steps {
		if got := add(t, need+"\n"+strings.Join(step.rows, ""), dir, step.opt); got != step.want {
			t.Errorf("%s: %d added, expected %d", step.name, got, step.want)
		}
	}
	var seqs []string
	for r, err := range ReadFile(filepath.Join(dir, ReadingsFile), Readings) {
		if err != nil {
			t.Fatal(err)
		}
		seqs = append(seqs, fmt.Sprintf("%s %d", r.Session, r.Seq))
		if r.Jig != importJig || len(r.Boot) != 8 {
			t.Errorf("line %d: jig %q, boot %q", r.Line, r.Jig, r.Boot)
		}
	}
	const s = "import-old-bench "
	if want := []string{s + "1", s + "2", s + "3", s + "4", s + "5", "notes 1"}; !slices.Equal(seqs, want) {
		t.Errorf("rows %q", seqs)
	}
	if m := understood(t, need+"\n"+rows[2], dir, ImportOptions{Session: "copy"}); m.Elsewhere != 1 {
		t.Errorf("a copy under another name: %+v", m)
	}
	s2, err := OpenWriter(dir)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := s2.Retract(Target{File: ReadingsFile, Row: 2}, "", start); err != nil {
		t.Fatal(err)
	}
	s2.Close()
	if got := add(t, need+"\n"+rows[0]+rows[1], dir, ImportOptions{}); got != 0 {
		t.Errorf("%d rows that were taken back came again", got)
	}
	if got := findings(t, dir); got != nil {
		t.Errorf("findings %q", got)
	}
}

// takeBack retracts in a shop.
func takeBack(t *testing.T, dir string, what ...Target) {
	t.Helper()
	s, err := OpenWriter(dir)
	if err != nil {
		t.Fatal(err)
	}
	for _, target := range what {
		if _, err := s.Retract(target, "", start); err != nil {
			t.Fatal(err)
		}
	}
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
}

// counted lists the readings of a shop that count, by what the rows say: "seq: pole
// height".
func counted(t *testing.T, dir string) (all []string) {
	t.Helper()
	rows, err := Sift[Reading](ReadFile(filepath.Join(dir, ReadingsFile), Readings), nil)
	if err != nil {
		t.Fatal(err)
	}
	for _, r := range rows {
		if r.Why == Counts {
			all = append(all, fmt.Sprintf("%d: %.2f", r.Row.Seq, r.Row.PoleHeight))
		}
	}
	slices.Sort(all)
	return all
}

// A reading that was taken back is not in the record.
func TestImportAfterRowsWereTakenBack(t *testing.T) {
	head := "jig,boot,seq,status," + need + "\n"
	row := func(seq int, height, status string) string {
		return fmt.Sprintf("jig-7,0000ABCD,%d,%s,2,0.33,%s,3.1,10\n", seq, status, height)
	}
	old := row(1, "-0.05", "") + row(2, "-0.05", "") + row(3, "-0.05", "")
	tests := []struct {
		name         string
		backs        []Target
		file         string
		opt          ImportOptions
		added, again int
		want         string // what counts
	}{
		{"nothing was", nil, old, ImportOptions{}, 0, 0, "[1: -0.05 2: -0.05 3: -0.05]"},
		{"a session, one height corrected", []Target{{Session: "s001"}}, row(1, "-0.05", "") + row(2, "0.50", "") + row(3, "-0.05", ""), ImportOptions{}, 3, 3, "[1: -0.05 2: 0.50 3: -0.05]"},
		{"a session, and such rows are left out", []Target{{Session: "s001"}}, old, ImportOptions{SkipTakenBack: true}, 0, 0, "[]"},
		{"one reading, listed twice", []Target{{File: ReadingsFile, Row: 3}}, old + row(2, "-0.05", ""), ImportOptions{}, 1, 1, "[1: -0.05 2: -0.05 3: -0.05]"},
		{"one reading, which the file takes back too", []Target{{File: ReadingsFile, Row: 3}}, old + row(2, "-0.05", "") + row(2, "-0.05", "retracted"), ImportOptions{}, 0, 0, "[1: -0.05 3: -0.05]"},
		{"filed anew in the file alone", nil, old + row(2, "-0.05", "retracted") + row(2, "0.50", ""), ImportOptions{}, 2, 0, "[1: -0.05 2: 0.50 3: -0.05]"},
		{"filed anew in the file, and taken back in both", []Target{{File: ReadingsFile, Row: 3}}, old + row(2, "-0.05", "retracted") + row(2, "0.50", ""), ImportOptions{}, 1, 1, "[1: -0.05 2: 0.50 3: -0.05]"},
		{"the file takes back what it filed anew", nil, old + row(2, "-0.05", "retracted") + row(2, "0.50", "") + row(2, "0.50", "retracted"), ImportOptions{}, 3, 0, "[1: -0.05 3: -0.05]"},
	}
	for _, tt := range tests {
		dir := writtenShop(t, 3, 0)
		takeBack(t, dir, tt.backs...)
		m := understood(t, head+tt.file, dir, tt.opt)
		if m.Again != tt.again {
			t.Errorf("%s: %d would stand again, expected %d", tt.name, m.Again, tt.again)
		}
		if got := add(t, head+tt.file, dir, tt.opt); got != tt.added {
			t.Errorf("%s: %d rows added, expected %d", tt.name, got, tt.added)
		}
		if got := fmt.Sprint(counted(t, dir)); got != tt.want {
			t.Errorf("%s: %s count, expected %s", tt.name, got, tt.want)
		}
		if got := add(t, head+tt.file, dir, tt.opt); got != 0 {
			t.Errorf("%s: %d rows added by a second import", tt.name, got)
		}
		noFaults(t, dir, tt.name)
	}
}

// The same goes for rows that have their names from an import: a corrected row is a
// reading of its own, and the others stand again under the names that they had.
func TestImportASpreadsheetAnew(t *testing.T) {
	dir := t.TempDir()
	wrong, right := need+"\n1,0.254,0.5,3,12\n2,0.33,0.5,3,14\n", need+"\n1,0.254,0.5,3,12\n2,0.33,0.6,3,14\n"
	add(t, wrong, dir, ImportOptions{})
	takeBack(t, dir, Target{Session: "import-old-bench"})
	if m := understood(t, wrong, dir, ImportOptions{Session: "other"}); m.Elsewhere != 0 {
		t.Errorf("what was taken back is in another import: %+v", m)
	}
	if got := add(t, right, dir, ImportOptions{}); got != 2 {
		t.Errorf("%d rows added, expected 2", got)
	}
	if got, want := fmt.Sprint(counted(t, dir)), "[1: 0.50 3: 0.60]"; got != want {
		t.Errorf("%s count, expected %s", got, want)
	}
	if got := add(t, right, dir, ImportOptions{}); got != 0 {
		t.Errorf("%d rows added by a second import", got)
	}
	noFaults(t, dir, "at the end")
}

// A reading that is taken back above every row of it never counts, and is not added
// over and over.
func TestImportOfWhatNeverStands(t *testing.T) {
	dir := writtenShop(t, 1, 0)
	edit(t, filepath.Join(dir, ReadingsFile), func(l []string) []string { return append(l[:1], strings.Replace(l[1], ",ok,", ",retracted,", 1)) })
	file := "jig,boot,seq," + need + "\njig-7,0000ABCD,1,2,0.33,0,3.1,10\n"
	if first, second := add(t, file, dir, ImportOptions{}), add(t, file, dir, ImportOptions{}); first != 1 || second != 0 {
		t.Errorf("%d rows added, then %d", first, second)
	}
}

// The record of another shop keeps its identities, taken-back rows included.
func TestImportTheSample(t *testing.T) {
	dir := t.TempDir()
	readings, fields := text(t, sampleShop+ReadingsFile), text(t, sampleShop+FieldsFile)
	if got := add(t, readings, dir, ImportOptions{}); got != 710 { // two of 712 stand twice
		t.Errorf("%d readings added", got)
	}
	if got := add(t, fields, dir, ImportOptions{Fields: true}); got != 192 {
		t.Errorf("%d field readings added", got)
	}
	if got := add(t, readings, dir, ImportOptions{Session: "other"}) + add(t, fields, dir, ImportOptions{Fields: true}); got != 0 {
		t.Errorf("%d rows added a second time", got)
	}
	audit, err := Verify(context.Background(), dir, func(f Finding) {
		if f.Fault {
			t.Error(f)
		}
	})
	if err != nil || len(audit.Files) != 2 || audit.Files[0].Sealed != 710 {
		t.Errorf("%+v, %v", audit, err)
	}
}

// An import that a full disk cuts short is completed by the next.
func TestImportOntoAFullDisk(t *testing.T) {
	dir := t.TempDir()
	readings := text(t, sampleShop+ReadingsFile)
	m := understood(t, readings, dir, ImportOptions{})
	s, err := openWriter(dir, (&tightDisk{room: 60000, syncs: 1000}).create)
	if err != nil {
		t.Fatal(err)
	}
	n, err := s.Import(m)
	var w *disk.WriteError
	if !errors.As(err, &w) || !errors.Is(err, errFull) || n != 256 {
		t.Errorf("%d added, %v", n, err)
	}
	s.Close()
	rest := add(t, readings, dir, ImportOptions{})
	rows := 0
	for _, err := range ReadFile(filepath.Join(dir, ReadingsFile), Readings) {
		if err != nil {
			t.Fatal(err)
		}
		rows++
	}
	if rows != 710 || rest > 710-n {
		t.Errorf("%d rows, %d added by the second", rows, rest)
	}
	noFaults(t, dir, "after both")
}
