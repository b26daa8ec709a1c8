package firmwarenotes

import (
	"bufio"
	"bytes"
	"encoding/binary"
	"encoding/csv"
	"io"
	"math"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"

	"evenpole/jig"
	"evenpole/jig/verify"
)

const (
	boardRate   = 32000
	boardSkip   = boardRate / 50
	boardWindow = boardRate / 2
	boardPlucks = 4 // of each string, played in turn
	boardFactor = 4_000_000.0 / 65536
)

// tape is what the emulated ADC plays.
type tape struct {
	pluck [6][boardPlucks][]uint16
	quiet [6][]uint16
}

// newTape plays strings tuned E4 to E2 over hum and noise.
func newTape() (tp tape) {
	r := rand.New(rand.NewPCG(17, 9))
	for s, freq := range []float64{329.628, 246.942, 195.998, 146.832, 110, 82.407} {
		p := pluck{rate: boardRate, seconds: 0.53, freq: freq, tau: 1.5, noise: 3, top: 65535}
		for i := range boardPlucks {
			p.level = (2400 + 150*float64(s)) * (1 + 0.02*r.NormFloat64())
			tp.pluck[s][i] = p.codes(r)
		}
		p.level, p.freq = 4, 50
		p.tau = math.Inf(1)
		tp.quiet[s] = p.codes(r)
	}
	return tp
}

// write writes the tape as board.c reads it.
func (tp *tape) write(t *testing.T, path string, speed uint32) {
	t.Helper()
	head := []uint32{0x4A494731, boardRate, speed, boardWindow}
	var codes []uint16
	for s := range tp.pluck {
		for _, wave := range append(slices.Clone(tp.pluck[s][:]), tp.quiet[s]) {
			head = append(head, uint32(len(codes)), uint32(len(wave)))
			codes = append(codes, wave...)
		}
	}
	var out bytes.Buffer
	binary.Write(&out, binary.LittleEndian, head)
	binary.Write(&out, binary.LittleEndian, codes)
	if err := os.WriteFile(path, out.Bytes(), 0o600); err != nil {
		t.Fatal(err)
	}
}

// board is the firmware on an emulated board.
type board struct {
	t    *testing.T
	elf  string
	tape string
	boot int
	cmd  *exec.Cmd
	path string // of its serial line
}

// newBoard builds the firmware and switches the board on. Without compiler or emulator the
// test is skipped.
func newBoard(t *testing.T, tp *tape, speed uint32) *board {
	t.Helper()
	b := &board{t: t, elf: buildBoard(t), tape: filepath.Join(t.TempDir(), "tape"), boot: 0x51}
	if _, err := exec.LookPath("qemu-system-arm"); err != nil {
		t.Skip("no emulator qemu-system-arm (Debian: qemu-system-arm): ", err)
	}
	tp.write(t, b.tape, speed)
	b.on()
	t.Cleanup(b.off)
	return b
}

func buildBoard(t *testing.T) (elf string) {
	t.Helper()
	if _, err := exec.LookPath("arm-none-eabi-gcc"); err != nil {
		t.Skip("no cross compiler arm-none-eabi-gcc (Debian: gcc-arm-none-eabi): ", err)
	}
	elf = filepath.Join(t.TempDir(), "jig.elf")
	if out, err := exec.Command("sh", filepath.Join("c", "mcu", "build.sh"), elf).CombinedOutput(); err != nil {
		t.Fatalf("%v\n%s", err, out)
	}
	return elf
}

var redirected = regexp.MustCompile(`redirected to (\S+)`)

// on switches the board on; its serial line is a new pseudo-terminal.
func (b *board) on() {
	b.t.Helper()
	b.boot++
	b.cmd = exec.Command("sh", filepath.Join("c", "mcu", "run.sh"), b.elf, b.tape, strconv.Itoa(b.boot))
	out, err := b.cmd.StdoutPipe()
	if err != nil {
		b.t.Fatal(err)
	}
	b.cmd.Stderr = b.cmd.Stdout
	if err := b.cmd.Start(); err != nil {
		b.t.Fatal(err)
	}
	said := ""
	for lines := bufio.NewScanner(out); lines.Scan(); {
		said += lines.Text() + "\n"
		if m := redirected.FindStringSubmatch(lines.Text()); m != nil {
			b.path = m[1]
			go io.Copy(io.Discard, out)
			return
		}
	}
	b.t.Fatalf("the emulator names no serial line: %s", said)
}

func (b *board) off() {
	b.cmd.Process.Kill()
	b.cmd.Wait()
}

// open opens the board's serial line as a host does.
func (b *board) open() (io.ReadWriteCloser, error) { return jig.Open(b.path, 0) }

func TestBoardIsVerified(t *testing.T) {
	t.Parallel()
	tp := newTape()
	b := newBoard(t, &tp, 10)
	port, err := b.open()
	if err != nil {
		t.Fatal(err)
	}
	restart := verify.Restart{Ask: func() { b.off(); b.on() }, Reopen: b.open}
	rep := passes(t, port, verify.Options{Name: b.path, Restart: restart})
	if len(rep.Skipped) > 0 {
		t.Errorf("skipped %q", rep.Skipped)
	}
	if m := rep.Measured; m.Takes != 10 || m.ScatterDB < 0.01 || m.ScatterDB > 0.5 || m.QuietMV < 0.1 || m.QuietMV > 1 {
		t.Errorf("measured %+v", m)
	}
}

// TestBoardLevels: what the board sends is what the samples say in double precision.
func TestBoardLevels(t *testing.T) {
	t.Parallel()
	tp := newTape()
	b := newBoard(t, &tp, 10)
	port, err := b.open()
	if err != nil {
		t.Fatal(err)
	}
	conn, err := jig.Attach(t.Context(), port, b.path, jig.Options{})
	if err != nil {
		t.Fatal(err)
	}
	defer conn.Close()
	for s := range tp.pluck {
		quiet := 0
		for _, c := range []jig.Command{jig.PluckCommand(s+1, boardPlucks), jig.QuietCommand(s+1, 1)} {
			sink := jig.Sink{Reading: func(r jig.Reading) error {
				wave := tp.quiet[s]
				if r.Mode == jig.Pluck {
					wave = tp.pluck[s][r.Take-1]
				} else {
					quiet++
				}
				rms, peak := double(wave[boardSkip:boardSkip+boardWindow], boardFactor)
				if math.Abs(float64(r.RMSUV)-rms) > 0.51 || math.Abs(float64(r.PeakUV)-peak) > 0.51 || r.Flags != 0 || r.WindowMS != 500 {
					t.Errorf("string %d: %+v, in double precision %.2f and %.2f", s+1, r, rms, peak)
				}
				return nil
			}}
			if o, err := conn.Do(t.Context(), c, sink); err != nil || o.Got != c.Count {
				t.Fatalf("string %d: %+v, %v", s+1, o, err)
			}
		}
		if quiet != 1 {
			t.Errorf("%d quiet windows", quiet)
		}
	}
}

const boardMount = `pickup = "E-1"
batch = "M-01"
poles = "rod"
pole_heights_mm = [0.4, 0.8, 1.9, 1.4, 0.9, 0.5]
string_heights_mm = [3.0, 3.0, 3.0, 3.0, 3.0, 3.0]
set = "light plain-third 10-46"
`

// TestCaptureFromBoard: the command captures a pickup from the board.
func TestCaptureFromBoard(t *testing.T) {
	t.Parallel()
	tp := newTape()
	b := newBoard(t, &tp, 10)
	dir := t.TempDir()
	program, mount, folder := filepath.Join(dir, "evenpole"), filepath.Join(dir, "mount.toml"), filepath.Join(dir, "shop")
	if out, err := exec.Command("go", "build", "-o", program, "evenpole/cmd/evenpole").CombinedOutput(); err != nil {
		t.Fatalf("%v\n%s", err, out)
	}
	if err := os.WriteFile(mount, []byte(boardMount), 0o600); err != nil {
		t.Fatal(err)
	}
	out, err := exec.Command(program, "capture", "--shop", folder, "--port", b.path, "--mount", mount, "--purpose", "model", "--takes", "4").CombinedOutput()
	if err != nil {
		t.Fatalf("%v\n%s", err, out)
	}
	got := map[string]int{}
	for _, row := range readings(t, filepath.Join(folder, "readings.csv")) {
		s, _ := strconv.Atoi(row["string"])
		take, _ := strconv.Atoi(row["take"])
		if row["mode"] != "P" || row["status"] != "ok" {
			continue
		}
		got[row["string"]]++
		rms, _ := double(tp.pluck[s-1][(take-1)%boardPlucks][boardSkip:boardSkip+boardWindow], boardFactor)
		if mv, err := strconv.ParseFloat(row["rms_mv"], 64); err != nil || math.Abs(1000*mv-rms) > 0.51 {
			t.Errorf("string %d, take %d: %s mV, in double precision %.5f", s, take, row["rms_mv"], rms/1000)
		}
	}
	for s := 1; s <= 6; s++ {
		if got[strconv.Itoa(s)] != 4 {
			t.Errorf("%d good takes of string %d, want 4\n%s", got[strconv.Itoa(s)], s, out)
		}
	}
}

// readings are the rows of a record by column.
func readings(t *testing.T, path string) (rows []map[string]string) {
	t.Helper()
	text, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	all, err := csv.NewReader(bytes.NewReader(text)).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	for _, row := range all[1:] {
		m := map[string]string{}
		for i, name := range all[0] {
			m[name] = row[i]
		}
		rows = append(rows, m)
	}
	return rows
}

// TestBoardHasNoFloat: nothing of the firmware calls for floating point or a heap.
func TestBoardHasNoFloat(t *testing.T) {
	elf := buildBoard(t)
	out, err := exec.Command("arm-none-eabi-nm", elf).Output()
	if err != nil {
		t.Fatal(err)
	}
	symbol := regexp.MustCompile(`\b(__aeabi_[fd]\w*|malloc|_sbrk)\b`)
	if found := symbol.FindString(string(out)); found != "" || !strings.Contains(string(out), "level_sample") {
		t.Errorf("the firmware has %q", found)
	}
}

// TestFiguresOfBoard: the script's figures are no worse than the page says.
func TestFiguresOfBoard(t *testing.T) {
	t.Parallel()
	buildBoard(t)
	if _, err := exec.LookPath("qemu-system-arm"); err != nil {
		t.Skip("no emulator qemu-system-arm (Debian: qemu-system-arm): ", err)
	}
	out, err := exec.Command("sh", filepath.Join("c", "mcu", "figures.sh")).CombinedOutput()
	if err != nil {
		t.Fatalf("%v\n%s", err, out)
	}
	for figure, most := range map[string]float64{
		`code and constants: (\d+) bytes`:                  9000,
		`memory: (\d+) bytes`:                              16000,
		`instructions a sample: ([\d.]+)`:                  100,
		`instructions for the reading after .*: (\d+)`:     1.2e6,
		`(?m)^time for the reading .* at 48 MHz: (\d+) ms`: 50,
	} {
		m := regexp.MustCompile(figure).FindStringSubmatch(string(out))
		if m == nil {
			t.Errorf("no %q in\n%s", figure, out)
			continue
		}
		if v, err := strconv.ParseFloat(m[1], 64); err != nil || v <= 0 || v > most {
			t.Errorf("%s, want at most %g", m[0], most)
		}
	}
}
