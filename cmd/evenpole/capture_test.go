package main

import (
	"bytes"
	"context"
	"fmt"
	"io/fs"
	"math"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"syscall"
	"testing"

	"evenpole/capture"
	"evenpole/capture/record"
	"evenpole/capture/record/disk"
	"evenpole/jig/jigtest"
	"evenpole/profiles"
)

const captureMount = `pickup = "P-9"
batch = "M-01"
poles = "rod"
pole_heights_mm = [0.4, 0.8, 1.9, 1.4, 0.9, 0.5]
string_heights_mm = [3.0, 3.0, 3.0, 3.0, 3.0, 3.0]
set = "light plain-third 10-46"
`

// readingsBefore is how many readings the jig of TestCaptureOverABadLine makes
// before its port is lost.
const readingsBefore = 40

// TestCaptureOverABadLine captures from a jig that shares no code with the
// program, over a cable that flips bits and loses and doubles lines. The jig
// restarts once and its port is lost half way; the same command on another port
// goes on. The record must then be the jig's own log, row for row.
func TestCaptureOverABadLine(t *testing.T) {
	bench := jigtest.New(jigtest.Config{
		Seed:   7,
		ToHost: jigtest.Wire{FlipBit: 1e-4, LoseLine: 0.04, DoubleLine: 0.1},
		ToJig:  jigtest.Wire{FlipBit: 1e-4, LoseLine: 0.04, DoubleLine: 0.1},
		Flags: map[jigtest.Shot]int{
			{String: 1, Mode: "P", Nth: 2}: jigtest.Clipped,
			{String: 5, Mode: "P", Nth: 1}: jigtest.DoubleStrike | jigtest.ShortWindow,
		},
		AtReading: map[int]jigtest.Mishap{
			20:             {Restart: true},
			readingsBefore: {HangUp: true},
		},
	})
	dir := t.TempDir()
	mount := filepath.Join(dir, "mount.toml")
	if err := os.WriteFile(mount, []byte(captureMount), 0o666); err != nil {
		t.Fatal(err)
	}
	shop := filepath.Join(dir, "shop")
	captured := func(want int) {
		t.Helper()
		port, unplug := plug(t, bench)
		defer unplug()
		var out, errs bytes.Buffer
		args := []string{"capture", "--shop", shop, "--port", port, "--mount", mount, "--purpose", "model", "--takes", "8"}
		if got := run(t.Context(), args, strings.NewReader(""), &out, &errs); got != want {
			t.Fatalf("exit status %d, want %d\n%s%s", got, want, &out, &errs)
		}
		if want != exitDone && !strings.Contains(errs.String(), "evenpole: ") {
			t.Errorf("no error said:\n%s", &errs)
		}
	}
	captured(exitFailed)
	if n := len(recorded(t, shop)); n == 0 || n > readingsBefore {
		t.Fatalf("%d readings kept before the port was lost", n)
	}
	captured(exitDone)
	compareWithLog(t, bench.Log(), recorded(t, shop))
	made := len(bench.Log())
	captured(exitDone) // complete already
	if n := len(bench.Log()); n != made {
		t.Errorf("a complete capture made %d more readings", n-made)
	}
}

// plug serves the jig on a new port until its script takes that away or unplug
// is called.
func plug(t *testing.T, bench *jigtest.Jig) (port string, unplug func()) {
	t.Helper()
	term, err := jigtest.OpenTerminal()
	if err != nil {
		t.Skip(err)
	}
	ctx, cancel := context.WithCancel(t.Context())
	done := make(chan struct{})
	go func() {
		defer close(done)
		bench.Serve(ctx, term.Master) // how it ends shows in the capture
		term.Close()
	}()
	return term.Path, func() {
		cancel()
		<-done
	}
}

// recorded is the shop's record.
func recorded(t *testing.T, shop string) []record.Reading {
	t.Helper()
	f, err := os.Open(filepath.Join(shop, record.ReadingsFile))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	var all []record.Reading
	for r, err := range record.Readings(f, record.ReadingsFile) {
		if err != nil {
			t.Fatal(err)
		}
		all = append(all, r)
	}
	return all
}

// compareWithLog wants every reading of the jig's log in the record once and
// as it was made, and nothing else there. Only readings of the command that a
// restart cut off may be missing: the jig forgot them before the host could ask
// again.
func compareWithLog(t *testing.T, log []jigtest.Entry, rows []record.Reading) {
	t.Helper()
	made := map[string]jigtest.Entry{}
	cut := map[uint64]bool{}
	for i, e := range log {
		made[fmt.Sprint(e.Boot, " ", e.Seq)] = e
		if i > 0 && log[i-1].Boot != e.Boot {
			cut[log[i-1].Command] = true
		}
	}
	if len(cut) != 1 {
		t.Errorf("%d restarts between readings, want 1", len(cut))
	}
	for _, r := range rows {
		id := fmt.Sprint(r.Boot, " ", r.Seq)
		e, ok := made[id]
		if !ok {
			t.Errorf("line %d: reading %s was not made, or stands twice", r.Line, id)
			continue
		}
		delete(made, id)
		want := []any{e.Jig, e.String, e.Take, e.Mode, e.RMS, e.Peak, e.Freq, e.Window, statusOf(e.Flags)}
		got := []any{r.Jig, r.String, r.Take, string(r.Mode), thousandths(r.RMS), thousandths(r.Peak), thousandths(r.Freq), int(r.Window), r.Status}
		if !slices.Equal(got, want) {
			t.Errorf("line %d: reading %s: got %v, made %v", r.Line, id, got, want)
		}
	}
	for id, e := range made {
		if !cut[e.Command] {
			t.Errorf("reading %s is lost: %+v", id, e)
		}
	}
}

// statusOf is what the record has to say of a take with flags.
func statusOf(flags int) record.Status {
	switch {
	case flags&jigtest.Clipped != 0:
		return record.Clipped
	case flags&jigtest.DoubleStrike != 0:
		return record.DoubleStrike
	}
	return record.OK
}

// thousandths is a figure of the record in the jig's unit.
func thousandths(x float64) int { return int(math.Round(x * 1000)) }

// A file that is gone is not a full disk: the same command would begin anew.
func TestHintWhenTheFileWasMoved(t *testing.T) {
	moved := &capture.StoppedError{Session: "s001", Err: &disk.WriteError{Path: "shop/readings.csv", Err: disk.ErrMoved}}
	if hints := resumeHint(moved); len(hints) != 1 || !strings.Contains(hints[0], "put it back") {
		t.Errorf("moved: %q", hints)
	}
	full := &capture.StoppedError{Session: "s001", Err: &disk.WriteError{Path: "shop/readings.csv", Err: syscall.ENOSPC}}
	if hints := resumeHint(full); len(hints) != 2 || !strings.Contains(hints[1], "make room where shop is") {
		t.Errorf("full: %q", hints)
	}
}

func TestHintWhenAShopCannotBeWrittenTo(t *testing.T) {
	for want, err := range map[string]error{
		"one process writes to shop":          fmt.Errorf("%w: process 7", disk.ErrInUse),
		"copy shop to a disk of this machine": fmt.Errorf("lock shop/writer.lock: %w: no locks available", disk.ErrNoLocks),
		"nothing can be written to":           &fs.PathError{Op: "open", Path: "shop/writer.lock", Err: fs.ErrPermission},
		"--shop":                              &fs.PathError{Op: "open", Path: "shop/writer.lock", Err: syscall.EROFS},
	} {
		if hints := openHint(err, "shop"); len(hints) != 1 || !strings.Contains(hints[0], want) {
			t.Errorf("%v: %q", err, hints)
		}
	}
	if hints := openHint(nil, "shop"); hints != nil {
		t.Errorf("no error: %q", hints)
	}
}

// A disk that can be read only is no dead end, whichever file was to be written; a hint that
// knows more is not doubled.
func TestHintWhenADiskIsReadOnly(t *testing.T) {
	read := &fs.PathError{Op: "open", Path: "shop/models/.lock", Err: syscall.EROFS}
	for _, err := range []error{read, withHint(read, "nothing can be written to shop: allow it")} {
		var out bytes.Buffer
		complain(&out, err, profiles.Millimetres)
		if n := strings.Count(out.String(), "hint: nothing can be written"); n != 1 {
			t.Errorf("%d hints: %s", n, out.String())
		}
	}
}

// Readings that were lost on the line and came when they were asked for again are
// counted, in the text and with --json.
func TestReadingsFetchedAgain(t *testing.T) {
	for form, want := range map[string]string{"--json=false": " 2 readings fetched again from the jig,", "--json": `"recovered": 2,`} {
		bench := jigtest.New(jigtest.Config{AtReading: map[int]jigtest.Mishap{5: {Lose: true}, 9: {Lose: true}}})
		port, unplug := plug(t, bench)
		defer unplug()
		dir := t.TempDir()
		mount := filepath.Join(dir, "mount.toml")
		if err := os.WriteFile(mount, []byte(captureMount), 0o666); err != nil {
			t.Fatal(err)
		}
		var out, errs bytes.Buffer
		args := []string{"capture", form, "--shop", filepath.Join(dir, "shop"), "--port", port, "--mount", mount, "--purpose", "model", "--takes", "3"}
		if got := run(t.Context(), args, strings.NewReader(""), &out, &errs); got != exitDone {
			t.Fatalf("exit status %d\n%s%s", got, &out, &errs)
		}
		if !strings.Contains(out.String(), want) {
			t.Errorf("it does not say %q:\n%s", want, &out)
		}
	}
}

// A core that the mount does not say is estimated, and said to be, before anything is
// plucked and with --json; a complete capture says it to scripts alone.
func TestEstimatedCoresAreSaid(t *testing.T) {
	port, unplug := plug(t, jigtest.New(jigtest.Config{}))
	defer unplug()
	dir := t.TempDir()
	mount := filepath.Join(dir, "mount.toml")
	if err := os.WriteFile(mount, []byte(captureMount), 0o666); err != nil {
		t.Fatal(err)
	}
	const said = "core estimated from the gauge: string 4 (D3), string 5 (A2), string 6 (E2)"
	for _, c := range []struct {
		flag             string
		stdout, onStderr bool
	}{{"--json=false", false, true}, {"--json", true, false}} {
		var out, errs bytes.Buffer
		args := []string{"capture", c.flag, "--shop", filepath.Join(dir, "shop"), "--port", port, "--mount", mount, "--purpose", "model", "--takes", "3"}
		if got := run(t.Context(), args, strings.NewReader(""), &out, &errs); got != exitDone {
			t.Fatalf("exit status %d\n%s%s", got, &out, &errs)
		}
		before, _, _ := strings.Cut(errs.String(), "kept quiet")
		if strings.Contains(out.String(), said) != c.stdout || strings.Contains(before, "warning: "+said) != c.onStderr {
			t.Errorf("%s:\n%s%s", c.flag, &out, &errs)
		}
	}
}

// A bass mount on a guitar: a script stops at the first take, which is not kept;
// --as-mounted goes on. The check of what was filed so cannot conform.
func TestOtherStringsThanMounted(t *testing.T) {
	bench := jigtest.New(jigtest.Config{})
	port, unplug := plug(t, bench)
	defer unplug()
	dir := t.TempDir()
	mount, shop := filepath.Join(dir, "bass.toml"), filepath.Join(dir, "shop")
	if err := os.WriteFile(mount, []byte(bassMount), 0o666); err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		flags []string
		want  int
		say   string
	}{
		{nil, exitInput, "bass.toml: string 1 is not what is on the jig: it sounds at 329.6 Hz, its note at 98.0 Hz: E4 in place of G2"},
		{[]string{"--as-mounted"}, exitDone, "session s001 complete"},
		{[]string{"--as-mounted"}, exitDone, "warning: not at its note: string 1 at 329.6 Hz, its note at 98.0 Hz: E4 in place of G2; string 2 at 246.9 Hz"},
		{[]string{"--as-mounted", "--json"}, exitDone, `"not at its note: string 1 at 329.6 Hz`},
	} {
		var said bytes.Buffer
		args := append([]string{"capture", "--shop", shop, "--port", port, "--mount", mount, "--purpose", "check", "--takes", "2"}, c.flags...)
		if got := run(t.Context(), args, strings.NewReader("y\n"), &said, &said); got != c.want || !strings.Contains(said.String(), c.say) {
			t.Errorf("%v: exit status %d, want %d, and %q\n%s", c.flags, got, c.want, c.say, &said)
		}
		takes := slices.DeleteFunc(recorded(t, shop), func(r record.Reading) bool { return r.Mode == record.Quiet })
		if (len(takes) == 0) != (c.want == exitInput) {
			t.Errorf("%v: %d takes kept", c.flags, len(takes))
		}
	}
	order := filepath.Join(dir, "order.toml")
	if err := os.WriteFile(order, []byte(bassOrder), 0o666); err != nil {
		t.Fatal(err)
	}
	var out, errs bytes.Buffer
	if got := run(t.Context(), []string{"check", "--shop", shop, "--order", order, "--pickup", "B-1"}, strings.NewReader(""), &out, &errs); got != exitCannotTell ||
		!strings.Contains(errs.String(), "strings were not at their pitch") {
		t.Errorf("checked: exit status %d\n%s%s", got, &out, &errs)
	}
}

const bassStrings = `[[string]]
note = "G2"
gauge_mm = 1.143
wrap = "nickel_plated_steel"
[[string]]
note = "D2"
gauge_mm = 1.651
wrap = "nickel_plated_steel"
[[string]]
note = "A1"
gauge_mm = 2.159
wrap = "nickel_plated_steel"
[[string]]
note = "E1"
gauge_mm = 2.667
wrap = "nickel_plated_steel"
`

const bassMount = `pickup = "B-1"
batch = "M-01"
poles = "rod"
pole_heights_mm = [1.0, 1.0, 1.0, 1.0]
string_heights_mm = [4.0, 4.0, 4.0, 4.0]
` + bassStrings

const bassOrder = `id = "B"
[instrument]
fretboard_radius_mm = 254.0
string_spread_mm = 57.0
scale_length_mm = 864.0
pickup_from_bridge_mm = 95.0
[pickup]
batch = "M-01"
poles = "rod"
pole_height_min_mm = 0.0
pole_height_max_mm = 2.6
pole_height_step_mm = 0.05
min_gap_mm = 1.2
string_height_first_mm = 4.0
string_height_last_mm = 4.0
[target]
tolerance_db = 20.0
` + bassStrings

// A capture of loose magnets says each magnet's field by its name, also when it was complete
// already.
func TestCaptureOfMagnetsNamesThem(t *testing.T) {
	bench := jigtest.New(jigtest.Config{Seed: 3})
	dir := t.TempDir()
	mount := filepath.Join(dir, "box.toml")
	if err := os.WriteFile(mount, []byte("batch = \"M-01\"\nmagnets = [\"left\", \"right\"]\nprobe_gap_mm = 0.5\n"), 0o666); err != nil {
		t.Fatal(err)
	}
	port, unplug := plug(t, bench)
	defer unplug()
	for range 2 {
		var out, errs bytes.Buffer
		args := []string{"capture", "--shop", dir, "--port", port, "--mount", mount, "--purpose", "batch", "--field", "all"}
		if got := run(t.Context(), args, strings.NewReader(""), &out, &errs); got != exitDone {
			t.Fatalf("exit status %d\n%s%s", got, &out, &errs)
		}
		table := regexp.MustCompile(`(?m)^position +magnet +field mT .*\n1 +left +-?[0-9.]+ .*\n2 +right +-?[0-9.]+ `)
		if !table.MatchString(out.String()) {
			t.Errorf("%s", &out)
		}
	}
}

// A jig with an exciter says what to mind.
func TestCaptureCautionsOfAnExciter(t *testing.T) {
	for excite, want := range map[string]bool{"travel": false, "drive": true} {
		bench := jigtest.New(jigtest.Config{Seed: 3, Excite: excite})
		dir := t.TempDir()
		mount := filepath.Join(dir, "mount.toml")
		if err := os.WriteFile(mount, []byte(captureMount), 0o666); err != nil {
			t.Fatal(err)
		}
		port, unplug := plug(t, bench)
		var out, errs bytes.Buffer
		args := []string{"capture", "--shop", dir, "--port", port, "--mount", mount, "--purpose", "model", "--takes", "1"}
		if got := run(t.Context(), args, strings.NewReader(""), &out, &errs); got != exitDone {
			t.Errorf("%s: exit status %d\n%s%s", excite, got, &out, &errs)
		}
		unplug()
		if got := strings.Contains(errs.String(), "caution: an exciter gets hot"); got != want {
			t.Errorf("%s: %s", excite, &errs)
		}
	}
}

// The table of takes says in words what they are of.
func TestCaptureTalliesAreInWords(t *testing.T) {
	var out bytes.Buffer
	printTallies(&env{stdout: &out}, &capture.Result{Tallies: []capture.Tally{
		{Mode: record.Quiet, Number: 1, Good: 3, Made: 3}, {Mode: record.Pluck, Number: 1, Good: 4, Made: 5, Refused: map[string]int{"clipped": 1}}, {Mode: record.Drive, Number: 2, Good: 1, Made: 1},
	}}, 0)
	const want = "string  takes   good  made  refused\n1       quiet   3     3     -\n1       plucks  4     5     1 clipped\n2       driven  1     1     -\n"
	if out.String() != want {
		t.Errorf("%s", &out)
	}
}
