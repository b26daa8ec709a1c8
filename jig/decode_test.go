package jig

import (
	"bytes"
	"math/rand/v2"
	"os"
	"reflect"
	"regexp"
	"slices"
	"strings"
	"testing"
)

// sealed makes a line of a body.
func sealed(body string) string {
	return string(seal([]byte(body), 0))
}

// decoded feeds p in pieces of the given size, and returns what came of it.
func decoded(p []byte, size int) (good []Line, bad []BadLine) {
	d := NewDecoder()
	for len(p) > 0 {
		n := min(size, len(p))
		d.Feed(p[:n], func(l *Line) { good = append(good, *l) }, func(b *BadLine) { bad = append(bad, *b) })
		p = p[n:]
	}
	return good, bad
}

// Every kind of line, with its wire form written out by hand; the CRCs are
// checked against slowCRC.
var lines = []struct {
	body string
	line Line
}{
	{"I,1,bench-2,0A1B2C3D,fw 1.4,6,2000000,travel", Line{Kind: KindIdent, Ident: Ident{
		Jig: "bench-2", Boot: 0x0A1B2C3D, Firmware: "fw 1.4", Strings: 6, FullScaleUV: 2000000, Excite: Travel}}},
	{"I,1,x,00000001,,12,1,drive", Line{Kind: KindIdent, Ident: Ident{
		Jig: "x", Boot: 1, Strings: 12, FullScaleUV: 1, Excite: Drive}}},
	{"R,0A1B2C3D,17,93021,3,2,P,48211,153020,146832,1500,5", Line{Kind: KindReading, Reading: Reading{
		Boot: 0x0A1B2C3D, Seq: 17, Millis: 93021, String: 3, Take: 2, Mode: Pluck,
		RMSUV: 48211, PeakUV: 153020, FreqMHz: 146832, WindowMS: 1500, Flags: Clipped | ShortWindow}}},
	{"R,FFFFFFFF,4294967295,4294967295,12,200,Q,0,0,0,0,0", Line{Kind: KindReading, Reading: Reading{
		Boot: 0xFFFFFFFF, Seq: 1<<32 - 1, Millis: 1<<32 - 1, String: 12, Take: 200, Mode: Quiet}}},
	{"R,0A1B2C3D,1,1,1,1,P,4294967295,4294967295,4294967295,4294967295,0", Line{Kind: KindReading, Reading: Reading{
		Boot: 0x0A1B2C3D, Seq: 1, Millis: 1, String: 1, Take: 1, Mode: Pluck,
		RMSUV: 1<<32 - 1, PeakUV: 1<<32 - 1, FreqMHz: 1<<32 - 1, WindowMS: 1<<32 - 1}}},
	{"F,0A1B2C3D,18,94021,5,1,-61250", Line{Kind: KindField, Field: Field{
		Boot: 0x0A1B2C3D, Seq: 18, Millis: 94021, Position: 5, Take: 1, FieldUT: -61250}}},
	{"S,0A1B2C3D,18,95000", Line{Kind: KindStatus, Status: Status{Boot: 0x0A1B2C3D, Seq: 18, Millis: 95000}}},
	{"A,4711", Line{Kind: KindAnswer, Answer: Answer{ID: 4711}}},
	{"E,4712,3,17 is gone", Line{Kind: KindAnswer, Answer: Answer{ID: 4712, Code: NotAvailable, Text: "17 is gone"}}},
	{"E,4712,4,stuck, string 3", Line{Kind: KindAnswer, Answer: Answer{ID: 4712, Code: Mechanical, Text: "stuck, string 3"}}},
	{"E,1,6,", Line{Kind: KindAnswer, Answer: Answer{ID: 1, Code: Busy}}},
	{"C,1,IDENT", Line{Kind: KindCommand, Command: Command{ID: 1, Verb: VerbIdent}}},
	{"C,2,PLUCK,3,12", Line{Kind: KindCommand, Command: Command{ID: 2, Verb: VerbPluck, String: 3, Count: 12}}},
	{"C,3,DRIVE,3,146832,4", Line{Kind: KindCommand, Command: Command{ID: 3, Verb: VerbDrive, String: 3, FreqMHz: 146832, Count: 4}}},
	{"C,4,QUIET,6,3", Line{Kind: KindCommand, Command: Command{ID: 4, Verb: VerbQuiet, String: 6, Count: 3}}},
	{"C,5,FIELD,0,3", Line{Kind: KindCommand, Command: Command{ID: 5, Verb: VerbField, Count: 3}}},
	{"C,6,RESEND,0A1B2C3D,4294967290,3", Line{Kind: KindCommand, Command: Command{
		ID: 6, Verb: VerbResend, Boot: 0x0A1B2C3D, From: 1<<32 - 6, To: 3}}},
	{"C,7,STOP", Line{Kind: KindCommand, Command: Command{ID: 7, Verb: VerbStop}}},
}

func TestLinesBothWays(t *testing.T) {
	for _, c := range lines {
		wire := string(c.line.AppendLine(nil))
		body, crc, _ := strings.Cut(wire, "*")
		if want := string(appendHex(nil, slowCRC([]byte(c.body)))) + "\n"; body != c.body || crc != want {
			t.Errorf("encoded %q, want %s*%q", wire, c.body, want)
		}
		good, bad := decoded([]byte(wire), len(wire))
		if len(good) != 1 || !reflect.DeepEqual(good[0], c.line) {
			t.Errorf("%s: decoded %+v, %v", c.body, good, bad)
		}
	}
}

func TestDecoderIsLiberal(t *testing.T) {
	for _, c := range []struct{ body, want string }{
		{"R,0a1b2c3d,017,093021,03,02,P,0,0,0,0,0C", "R,0A1B2C3D,17,93021,3,2,P,0,0,0,0,c"},
		{"F,0A1B2C3D,1,1,1,1,-007", "F,0A1B2C3D,1,1,1,1,-7"},
	} {
		good, bad := decoded([]byte(sealed(c.body)), 1)
		if len(good) != 1 {
			t.Errorf("%s: %v", c.body, bad)
			continue
		}
		if got := string(good[0].AppendLine(nil)); got != sealed(c.want) {
			t.Errorf("%s: became %q", c.body, got)
		}
	}
}

func TestBadLines(t *testing.T) {
	const stamp = "R,0A1B2C3D,1,2,"
	pad := strings.Repeat("x", MaxLine)
	for _, c := range []struct {
		text   string
		flaw   Flaw
		reason string
	}{
		{"", Unframed, "expected * and eight hex digits at the end"},
		{"hello", Unframed, "expected * and eight hex digits at the end"},
		{"S,0A1B2C3D,1,2", Unframed, "expected * and eight hex digits at the end"},
		{"A,1*1234567", Unframed, "expected * and eight hex digits at the end"},
		{"A,1*1234567G", Unframed, `column 5: expected eight upper-case hex digits, got "1234567G"`},
		{"A,1*7bd0c2a1", Unframed, `column 5: expected eight upper-case hex digits, got "7bd0c2a1"`},
		{"A,1*00000000", WrongCRC, "column 5: expected CRC E6F65571, got 00000000"},
		{pad + "y", TooLong, "expected at most 160 bytes, got more"},
		{strings.Repeat(pad, 30), TooLong, "expected at most 160 bytes, got more"},

		{sealed(""), Malformed, `column 1: line: expected I, R, F, S, A, E or C, got ""`},
		{sealed("X,1"), Malformed, `column 1: line: expected I, R, F, S, A, E or C, got "X"`},
		{sealed("a,1"), Malformed, `column 1: line: expected I, R, F, S, A, E or C, got "a"`},
		{sealed("E,1,4,caf\xc3\xa9"), Malformed, `column 10: expected printable ASCII without *, got "\xc3"`},
		{sealed("E,1,4,a\tb"), Malformed, `column 8: expected printable ASCII without *, got "\t"`},
		{sealed("E,1,4,a*b"), Malformed, `column 8: expected printable ASCII without *, got "*"`},

		{sealed("I,2,j,0A1B2C3D,f,6,1,force"), Malformed, `column 3: version: expected 1, got "2"`},
		{sealed("I,1,,0A1B2C3D,f,6,1,force"), Malformed, `column 5: jig: expected a text, got ""`},
		{sealed("I,1,j,0A1B2C3,f,6,1,force"), Malformed, `column 7: boot: expected 8 hex digits, got "0A1B2C3"`},
		{sealed("I,1,j,0A1B2C3D,f,0,1,force"), Malformed, `column 18: strings: expected an integer from 1 to 12, got "0"`},
		{sealed("I,1,j,0A1B2C3D,f,6,0,force"), Malformed, `column 20: full_scale_uV: expected an integer from 1 to 4294967295, got "0"`},
		{sealed("I,1,j,0A1B2C3D,f,6,1,plectrum"), Malformed, `column 22: excite: expected travel, force or drive, got "plectrum"`},
		{sealed("I,1,j,0A1B2C3D"), Malformed, "column 15: firmware: expected a text, got nothing"},

		{sealed("R"), Malformed, "column 2: boot: expected 8 hex digits, got nothing"},
		{sealed("R,0A1B2C3G,1,2,3,1,P,0,0,0,0,0"), Malformed, `column 3: boot: expected 8 hex digits, got "0A1B2C3G"`},
		{sealed("R,0A1B2C3D,4294967296,2,3,1,P,0,0,0,0,0"), Malformed, `column 12: seq: expected an integer from 0 to 4294967295, got "4294967296"`},
		{sealed("R,0A1B2C3D,,2,3,1,P,0,0,0,0,0"), Malformed, `column 12: seq: expected an integer from 0 to 4294967295, got ""`},
		{sealed("R,0A1B2C3D,1,+2,3,1,P,0,0,0,0,0"), Malformed, `column 14: ms: expected an integer from 0 to 4294967295, got "+2"`},
		{sealed(stamp + "13,1,P,0,0,0,0,0"), Malformed, `column 16: string: expected an integer from 1 to 12, got "13"`},
		{sealed(stamp + "1,0,P,0,0,0,0,0"), Malformed, `column 18: take: expected an integer from 1 to 2147483647, got "0"`},
		{sealed(stamp + "1,1,X,0,0,0,0,0"), Malformed, `column 20: mode: expected P, D or Q, got "X"`},
		{sealed(stamp + "1,1,P,-1,0,0,0,0"), Malformed, `column 22: rms_uV: expected an integer from 0 to 4294967295, got "-1"`},
		{sealed(stamp + "1,1,P,1.5,0,0,0,0"), Malformed, `column 22: rms_uV: expected an integer from 0 to 4294967295, got "1.5"`},
		{sealed(stamp + "1,1,P,9223372036854775808,0,0,0,0"), Malformed, `column 22: rms_uV: expected an integer from 0 to 4294967295, got "9223372036854775808"`},
		{sealed(stamp + "1,1,P,9000000000000000000,0,0,0,0"), Malformed, `column 22: rms_uV: expected an integer from 0 to 4294967295, got "9000000000000000000"`},
		{sealed(stamp + "1,1,P,1,9007199254740993,0,0,0"), Malformed, `column 24: peak_uV: expected an integer from 0 to 4294967295, got "9007199254740993"`},
		{sealed(stamp + "1,1,P,1,2,4294967296,0,0"), Malformed, `column 26: freq_mHz: expected an integer from 0 to 4294967295, got "4294967296"`},
		{sealed(stamp + "1,1,P,1,2,3,4294967296,0"), Malformed, `column 28: window_ms: expected an integer from 0 to 4294967295, got "4294967296"`},
		{sealed("I,1,j,0A1B2C3D,f,6,9223372036854775807,force"), Malformed, `column 20: full_scale_uV: expected an integer from 1 to 4294967295, got "9223372036854775807"`},
		{sealed("F,0A1B2C3D,1,2,1,1,-2147483649"), Malformed, `column 20: field_uT: expected an integer from -2147483648 to 2147483647, got "-2147483649"`},
		{sealed(stamp + "1,1,P,1,2 ,0,0,0"), Malformed, `column 24: peak_uV: expected an integer from 0 to 4294967295, got "2 "`},
		{sealed(stamp + "1,1,P,1,2,-,0,0"), Malformed, `column 26: freq_mHz: expected an integer from 0 to 4294967295, got "-"`},
		{sealed(stamp + "1,1,P,1,2,3,x,0"), Malformed, `column 28: window_ms: expected an integer from 0 to 4294967295, got "x"`},
		{sealed(stamp + "1,1,P,1,2,3,4,"), Malformed, `column 30: flags: expected 1 to 8 hex digits, got ""`},
		{sealed(stamp + "1,1,P,1,2,3,4,100000000"), Malformed, `column 30: flags: expected 1 to 8 hex digits, got "100000000"`},
		{sealed(stamp + "1,1,P,1,2,3,4"), Malformed, "column 29: flags: expected 1 to 8 hex digits, got nothing"},
		{sealed(stamp + "1,1,P,1,2,3,4,0,7"), Malformed, `column 32: line: expected its end, got "7"`},

		{sealed("F,0A1B2C3D,1,2,-1,1,5"), Malformed, `column 16: position: expected an integer from 0 to 2147483647, got "-1"`},
		{sealed("F,0A1B2C3D,1,2,1,1,--5"), Malformed, `column 20: field_uT: expected an integer from -2147483648 to 2147483647, got "--5"`},
		{sealed("S,0A1B2C3D,1"), Malformed, "column 13: ms: expected an integer from 0 to 4294967295, got nothing"},
		{sealed("S,0A1B2C3D,1,2,"), Malformed, `column 16: line: expected its end, got ""`},
		{sealed("A,x"), Malformed, `column 3: id: expected an integer from 0 to 4294967295, got "x"`},
		{sealed("E,1,0,fine"), Malformed, `column 5: code: expected an integer from 1 to 2147483647, got "0"`},
		{sealed("E,1,4"), Malformed, "column 6: text: expected a text, got nothing"},
		{sealed("C,,STOP"), Malformed, `column 3: id: expected an integer from 0 to 4294967295, got ""`},
	} {
		text := strings.TrimSuffix(c.text, "\n")
		good, bad := decoded([]byte(text+"\n"), 7)
		if len(good) != 0 || len(bad) != 1 {
			t.Errorf("%q: %d good lines, %d bad", text, len(good), len(bad))
			continue
		}
		want := BadLine{c.flaw, text[:min(len(text), MaxLine)], c.reason}
		if bad[0] != want {
			t.Errorf("got  %+v\nwant %+v", bad[0], want)
		}
	}
}

func TestBadLineIsAnError(t *testing.T) {
	_, bad := decoded([]byte("\xff\x00?\n"), 1)
	const want = `bad line "\xff\x00?": expected * and eight hex digits at the end`
	if len(bad) != 1 || bad[0].Error() != want || bad[0].Flaw.String() != "no CRC" {
		t.Errorf("got %v", bad)
	}
}

// A command with an id is for the jig to refuse.
func TestCommandsToRefuse(t *testing.T) {
	for _, c := range []struct {
		body string
		want Command
	}{
		{"C,9", Command{ID: 9, Refuse: UnknownCommand}},
		{"C,9,DANCE,1", Command{ID: 9, Refuse: UnknownCommand}},
		{"C,9,pluck,1,1", Command{ID: 9, Refuse: UnknownCommand}},
		{"C,9,UNKNOWN", Command{ID: 9, Refuse: UnknownCommand}},
		{"C,9,PLUCK", Command{ID: 9, Verb: VerbPluck, Refuse: BadArgument}},
		{"C,9,PLUCK,0,3", Command{ID: 9, Verb: VerbPluck, Refuse: BadArgument}},
		{"C,9,QUIET,1,0", Command{ID: 9, Verb: VerbQuiet, Refuse: BadArgument}},
		{"C,9,DRIVE,1,0,3", Command{ID: 9, Verb: VerbDrive, Refuse: BadArgument}},
		{"C,9,FIELD,1", Command{ID: 9, Verb: VerbField, Refuse: BadArgument}},
		{"C,9,RESEND,XYZ,1,2", Command{ID: 9, Verb: VerbResend, Refuse: BadArgument}},
		{"C,9,STOP,NOW", Command{ID: 9, Verb: VerbStop, Refuse: BadArgument}},
	} {
		good, bad := decoded([]byte(sealed(c.body)), 3)
		if len(good) != 1 || good[0].Command != c.want {
			t.Errorf("%s: %+v, %v", c.body, good, bad)
		}
	}
}

func TestLineEndsAndLength(t *testing.T) {
	body := "E,1,4," + strings.Repeat("x", MaxLine-15)
	longest := strings.TrimSuffix(sealed(body), "\n")
	if len(longest) != MaxLine {
		t.Fatalf("%d bytes", len(longest))
	}
	longer := strings.TrimSuffix(sealed(body+"x"), "\n")
	stream := longest + "\r\n" + longer + "\n" + longest + "\n" + longest + "\r\r\n" + longest + "\n"
	for size := range len(stream) {
		good, bad := decoded([]byte(stream), size+1)
		if len(good) != 3 || len(bad) != 2 || bad[0].Flaw != TooLong || bad[1].Flaw != TooLong {
			t.Fatalf("in pieces of %d: %d good, bad %v", size+1, len(good), bad)
		}
	}
}

// Garbage costs the line that it is in, and no other. A lost line feed costs
// both lines.
func TestDecoderFindsItsWayBack(t *testing.T) {
	one, two, three := sealed("A,1"), sealed("A,2"), sealed("A,3")
	for _, c := range []struct {
		name, stream string
		ids          []uint32
		bad          int
	}{
		{"garbage before", "\x00\xfe*A,\n" + one + two, []uint32{1, 2}, 1},
		{"garbage glued on", one + "\x81" + two + three, []uint32{1, 3}, 1},
		{"line feed lost", one[:len(one)-1] + two + three, []uint32{3}, 1},
		{"line feed within", one[:4] + "\n" + one[4:] + two, []uint32{2}, 2},
		{"half a line", one + two[:5] + three + one, []uint32{1, 1}, 1},
		{"endless garbage", strings.Repeat("\xaa", 9999) + "\n" + one, []uint32{1}, 1},
		{"not yet ended", one + two[:len(two)-1], []uint32{1}, 0},
	} {
		for _, size := range []int{1, 2, 13, 10000} {
			good, bad := decoded([]byte(c.stream), size)
			var ids []uint32
			for _, l := range good {
				ids = append(ids, l.Answer.ID)
			}
			if !reflect.DeepEqual(ids, c.ids) || len(bad) != c.bad {
				t.Errorf("%s, in pieces of %d: ids %v, %d bad; want %v, %d", c.name, size, ids, len(bad), c.ids, c.bad)
			}
		}
	}
}

// CRC-32 finds every single bit error, so no flipped bit makes another reading.
func TestNoFlippedBitPasses(t *testing.T) {
	line := []byte(sealed("R,0A1B2C3D,17,93021,3,2,P,48211,153020,146832,1500,0"))
	for bit := range 8 * (len(line) - 1) {
		line[bit/8] ^= 1 << (bit % 8)
		if good, _ := decoded(line, len(line)); len(good) != 0 {
			t.Errorf("bit %d: got %+v", bit, good[0])
		}
		line[bit/8] ^= 1 << (bit % 8)
	}
}

func TestEncodersMakeTextFit(t *testing.T) {
	id := Ident{Jig: "a,b*c", Boot: 1, Firmware: "v\n2", Strings: 6, FullScaleUV: 1, Excite: Force}
	if got := string(id.AppendLine(nil)); got != sealed("I,1,a_b_c,00000001,v_2,6,1,force") {
		t.Errorf("got %q", got)
	}
	e := Answer{ID: 1, Code: Mechanical, Text: "a,b*c\r"}
	if got := string(e.AppendLine(nil)); got != sealed("E,1,4,a,b_c_") {
		t.Errorf("got %q", got)
	}
}

// traffic is what a jig sends, for the measurements.
func traffic(n int) []byte {
	var p []byte
	rng := rand.New(rand.NewPCG(3, 4))
	for i := range n {
		stamp := Status{Boot: 0xCAFE, Seq: uint32(i), Millis: uint32(4000 * i)}
		p = Reading{Boot: stamp.Boot, Seq: stamp.Seq, Millis: stamp.Millis, String: 1 + i%6, Take: 1 + i/6, Mode: Pluck,
			RMSUV: rng.Int64N(100000), PeakUV: rng.Int64N(400000), FreqMHz: 329628, WindowMS: 1500}.AppendLine(p)
		p = Field{Boot: stamp.Boot, Seq: stamp.Seq, Position: 1, Take: 1, FieldUT: -rng.Int64N(100000)}.AppendLine(p)
		p = stamp.AppendLine(p)
		p = Answer{ID: uint32(i)}.AppendLine(p)
	}
	return p
}

func TestDecoderDoesNotAllocate(t *testing.T) {
	p := traffic(10)
	d := NewDecoder()
	got := 0
	good := func(*Line) { got++ }
	bad := func(b *BadLine) { t.Error(b) }
	allocs := testing.AllocsPerRun(100, func() {
		for _, piece := range [][]byte{p[:33], p[33:200], p[200:]} {
			d.Feed(piece, good, bad)
		}
	})
	if allocs != 0 || got != 101*40 {
		t.Errorf("%v allocations for 40 lines; %d lines in 101 runs", allocs, got)
	}
}

func BenchmarkDecoder(b *testing.B) {
	p := traffic(100)
	d := NewDecoder()
	good, bad := func(*Line) {}, func(*BadLine) {}
	b.SetBytes(int64(len(p)))
	b.ReportAllocs()
	for b.Loop() {
		d.Feed(p, good, bad)
	}
	b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N*400), "ns/line")
}

// canonical writes the numbers of a body as the encoder does: an independent
// account of how the decoder is liberal.
func canonical(body string) string {
	f := strings.Split(body, ",")
	zeros := regexp.MustCompile(`^(-?)0+(\d)`)
	texts := map[string][]int{"I": {2, 4, 7}, "E": {3}}[f[0]]
	hex := map[string][]int{"I": {3}, "R": {1, 11}, "F": {1}, "S": {1}}[f[0]]
	if f[0] == "C" && f[2] == "RESEND" {
		hex = []int{3}
	}
	for i := range f {
		switch {
		case slices.Contains(texts, i):
			if f[0] == "E" {
				return strings.Join(f, ",")
			}
		case slices.Contains(hex, i) && i == 11:
			f[i] = strings.ToLower(strings.TrimLeft(f[i], "0"))
			if f[i] == "" {
				f[i] = "0"
			}
		case slices.Contains(hex, i):
			f[i] = strings.ToUpper(f[i])
		default:
			f[i] = zeros.ReplaceAllString(f[i], "$1$2")
			if f[i] == "-0" {
				f[i] = "0"
			}
		}
	}
	return strings.Join(f, ",")
}

// What parses encodes to the same body, and pieces of any size give the same
// lines.
func FuzzDecoder(f *testing.F) {
	seeds, err := os.ReadDir("testdata/fuzz/FuzzDecoder")
	if err != nil || len(seeds) == 0 {
		f.Fatalf("no seeds: %v", err)
	}
	for _, c := range lines {
		f.Add([]byte(c.body))
	}
	f.Fuzz(func(t *testing.T, body []byte) {
		stream := append(append([]byte{}, body...), sealed(string(body))...)
		whole, bad := decoded(stream, len(stream))
		pieces, badPieces := decoded(stream, 5)
		if !reflect.DeepEqual(whole, pieces) || !reflect.DeepEqual(bad, badPieces) {
			t.Fatalf("%q: in one piece %v %v, in many %v %v", stream, whole, bad, pieces, badPieces)
		}
		good, _ := decoded([]byte(sealed(string(body))), len(stream))
		if bytes.ContainsAny(body, "\r\n") || len(good) != 1 || good[0].Command.Refuse != 0 {
			return
		}
		if got := string(good[0].AppendLine(nil)); got != sealed(canonical(string(body))) {
			t.Errorf("%q became %q", body, got)
		}
	})
}
