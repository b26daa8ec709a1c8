package firmwarenotes

import (
	"encoding/csv"
	"encoding/hex"
	"fmt"
	"hash/crc32"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"sync"
	"testing"

	"evenpole/jig"
)

func page(t *testing.T) string {
	t.Helper()
	text, err := os.ReadFile("README.md")
	if err != nil {
		t.Fatal(err)
	}
	return string(text)
}

// block returns the text of the one fenced block of a language.
func block(t *testing.T, language string) string {
	t.Helper()
	fence := regexp.MustCompile("(?s)```" + language + "\n(.*?)```")
	found := fence.FindAllStringSubmatch(page(t), -1)
	if len(found) != 1 {
		t.Fatalf("%d blocks of %q, want 1", len(found), language)
	}
	return found[0][1]
}

// An example is a line of the protocol that the page shows.
type example struct {
	mark string // ">", "<" or "x<" in the conversation
	body string
	sum  string
}

func (e example) line() string { return e.body + "*" + e.sum + "\n" }

var exampleLine = regexp.MustCompile(`(?m)^(?:(x?[<>]) )?([^ \n][^*\n]*)\*([0-9A-F]{8})$`)

func examples(t *testing.T, text string, least int) []example {
	t.Helper()
	var all []example
	for _, m := range exampleLine.FindAllStringSubmatch(text, -1) {
		all = append(all, example{m[1], m[2], m[3]})
	}
	if len(all) < least {
		t.Fatalf("%d example lines, want at least %d: does the test still find them?", len(all), least)
	}
	return all
}

// bitwise is the page's C function in Go: the formula of the catalogue of
// parametrised CRC algorithms, without a table.
func bitwise(p []byte) uint32 {
	crc := uint32(0xFFFFFFFF)
	for _, b := range p {
		crc ^= uint32(b)
		for range 8 {
			low := crc & 1
			crc >>= 1
			if low == 1 {
				crc ^= 0xEDB88320
			}
		}
	}
	return crc ^ 0xFFFFFFFF
}

func TestExamplesCarryTheirCRC(t *testing.T) {
	for _, e := range examples(t, page(t), 45) {
		for name, sum := range map[string]uint32{"library": crc32.ChecksumIEEE([]byte(e.body)), "bit by bit": bitwise([]byte(e.body))} {
			if want := fmt.Sprintf("%08X", sum); e.sum != want {
				t.Errorf("%s*%s: %s, the CRC is %s", e.body, e.sum, name, want)
			}
		}
		if len(e.line()) > 160 {
			t.Errorf("%s: %d bytes, the page allows 160", e.body, len(e.line()))
		}
	}
}

func TestNoExampleIsOverlooked(t *testing.T) {
	sum := regexp.MustCompile(`(?m)\*[0-9A-Fa-f]{8}$`)
	if found, seen := len(sum.FindAllString(page(t), -1)), len(examples(t, page(t), 1)); found != seen {
		t.Errorf("%d lines end in a CRC, and %d are checked", found, seen)
	}
}

func TestExamplesDecode(t *testing.T) {
	kinds := map[byte]jig.Kind{'I': jig.KindIdent, 'R': jig.KindReading, 'F': jig.KindField,
		'S': jig.KindStatus, 'A': jig.KindAnswer, 'E': jig.KindAnswer, 'C': jig.KindCommand}
	seen := map[byte]bool{}
	for _, e := range examples(t, page(t), 45) {
		seen[e.body[0]] = true
		lines := 0
		jig.NewDecoder().Feed([]byte(e.line()),
			func(l *jig.Line) {
				lines++
				if l.Kind != kinds[e.body[0]] || l.Command.Refuse != 0 {
					t.Errorf("%s: decoded as %+v", e.body, l)
				}
				if again := string(l.AppendLine(nil)); again != e.line() {
					t.Errorf("%s: encoded again as %s", e.body, again)
				}
			},
			func(b *jig.BadLine) { t.Errorf("%s: %v", e.body, b) })
		if lines > 1 {
			t.Errorf("%s: decoded as %d lines", e.body, lines)
		}
	}
	if len(seen) != len(kinds) {
		t.Errorf("examples of %d kinds of line, want %d", len(seen), len(kinds))
	}
}

func TestHexDump(t *testing.T) {
	var dumped []byte
	var shown string
	row := regexp.MustCompile(`(?m)^([0-9a-f]{4})  ((?:[0-9a-f]{2} )+) *\|(.*)\|$`)
	for _, m := range row.FindAllStringSubmatch(block(t, "hexdump"), -1) {
		if at := fmt.Sprintf("%04x", len(dumped)); m[1] != at {
			t.Errorf("row %s, want %s", m[1], at)
		}
		bytes, err := hex.DecodeString(strings.ReplaceAll(m[2], " ", ""))
		if err != nil {
			t.Fatal(err)
		}
		dumped, shown = append(dumped, bytes...), shown+m[3]
	}
	line, ok := strings.CutSuffix(string(dumped), "\n")
	if !ok || shown != line+"." {
		t.Errorf("the bytes are %q, the text beside them %q", dumped, shown)
	}
	body, sum, _ := strings.Cut(line, "*")
	if want := fmt.Sprintf("%08X", crc32.ChecksumIEEE([]byte(body))); sum != want {
		t.Errorf("CRC %q, want %s", sum, want)
	}
	if !strings.Contains(page(t), "The line `"+line+"` as bytes") {
		t.Errorf("the page does not name the line %q", line)
	}
}

// TestVectors compares the table on the page with testdata/crc32.csv and with
// both ways to compute it.
func TestVectors(t *testing.T) {
	file, err := os.Open(filepath.Join("testdata", "crc32.csv"))
	if err != nil {
		t.Fatal(err)
	}
	defer file.Close()
	rows, err := csv.NewReader(file).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	for _, row := range rows[1:] {
		message, want := row[0], row[1]
		if got := fmt.Sprintf("%08X", bitwise([]byte(message))); got != want {
			t.Errorf("%q: %s, want %s", message, got, want)
		}
		cell := "`" + message + "`"
		if message == "" {
			cell = "(none)"
		}
		if !strings.Contains(page(t), "| "+cell+" | `"+want+"` |") {
			t.Errorf("%q is not in the page's table with %s", message, want)
		}
	}
	if len(rows) != 6 {
		t.Errorf("%d rows, want 6", len(rows))
	}
}

// strict is how C is compiled here.
var strict = []string{"-std=c99", "-Wall", "-Wextra", "-Wpedantic", "-Wshadow", "-Wconversion", "-Werror"}

// sanitizers are the flags that find misuse of memory and undefined behaviour when the
// program runs, where the compiler has them.
var sanitizers = sync.OnceValue(func() []string {
	flags := []string{"-fsanitize=address,undefined", "-fno-sanitize-recover"}
	dir, err := os.MkdirTemp("", "sanitizers")
	if err != nil {
		return nil
	}
	defer os.RemoveAll(dir)
	probe := exec.Command("cc", append(flags, "-x", "c", "-o", filepath.Join(dir, "probe"), "-")...)
	probe.Stdin = strings.NewReader("int main(void) { return 0; }\n")
	if probe.Run() != nil {
		return nil
	}
	return flags
})

// compile builds a C program and returns its path. Without a compiler the test
// is skipped.
func compile(t *testing.T, sources ...string) string {
	t.Helper()
	cc, err := exec.LookPath("cc")
	if err != nil {
		t.Skip("no C compiler: ", err)
	}
	program := filepath.Join(t.TempDir(), "program.exe")
	args := slices.Concat(strict, sanitizers(), []string{"-o", program}, sources)
	if out, err := exec.Command(cc, args...).CombinedOutput(); err != nil {
		t.Fatalf("%q do not compile: %v\n%s", sources, err, out)
	}
	return program
}

// TestC has the page's C send the body of every example.
func TestC(t *testing.T) {
	const driver = `
int main(void)
{
    char body[256];
    while (fgets(body, sizeof body, stdin)) {
        body[strcspn(body, "\n")] = 0;
        send_line(body);
    }
    return 0;
}
`
	source := filepath.Join(t.TempDir(), "line.c")
	if err := os.WriteFile(source, []byte(block(t, "c")+driver), 0o600); err != nil {
		t.Fatal(err)
	}
	var bodies, want strings.Builder
	for _, e := range examples(t, page(t), 45) {
		bodies.WriteString(e.body + "\n")
		want.WriteString(e.line())
	}
	cmd := exec.Command(compile(t, source))
	cmd.Stdin = strings.NewReader(bodies.String())
	got, err := cmd.Output()
	if err != nil {
		t.Fatal(err)
	}
	sent := strings.ReplaceAll(string(got), "\r\n", "\n") // a C library for Windows writes these
	if sent != want.String() {
		t.Errorf("the page's C sends\n%s\nwant\n%s", sent, want.String())
	}
}

func TestPageAndReferenceShareTheCRC(t *testing.T) {
	reference, err := os.ReadFile(filepath.Join("c", "jig.c"))
	if err != nil {
		t.Fatal(err)
	}
	function := regexp.MustCompile(`(?s)uint32_t jig_crc\(.*?\n}\n`)
	if on := function.FindString(block(t, "c")); on == "" || !strings.Contains(string(reference), on) {
		t.Errorf("jig.c has another function than the page's\n%s", on)
	}
}

// TestConversation holds the conversation to the rules of the page: each
// command is answered, numbers follow one another, and what was damaged comes
// again unchanged.
func TestConversation(t *testing.T) {
	talk := examples(t, block(t, "conversation"), 30)
	answered := func(id string) bool {
		return slices.ContainsFunc(talk, func(e example) bool {
			return e.mark == "<" && (e.body == "A,"+id || strings.HasPrefix(e.body, "E,"+id+","))
		})
	}
	last, damaged := 0, 0
	for i, e := range talk {
		fields := strings.Split(e.body, ",")
		again := slices.ContainsFunc(talk[:i], func(x example) bool { return x.body == e.body })
		switch {
		case (e.mark == ">") != (fields[0] == "C"):
			t.Errorf("%s %s goes the wrong way", e.mark, e.body)
		case fields[0] == "C" && !answered(fields[1]):
			t.Errorf("%s has no answer", e.body)
		case fields[0] == "S" && fields[2] != fmt.Sprint(last):
			t.Errorf("%s after reading %d", e.body, last)
		case fields[0] == "R" && !again:
			if last++; fields[2] != fmt.Sprint(last) {
				t.Errorf("%s after reading %d", e.body, last-1)
			}
		}
		if e.mark == "x<" {
			damaged++
			if !slices.Contains(talk[i:], example{"<", e.body, e.sum}) {
				t.Errorf("%s is damaged and does not come again unchanged", e.body)
			}
		}
	}
	if last != 6 || damaged != 1 {
		t.Errorf("%d readings, %d damaged, want 6 and 1", last, damaged)
	}
}
