package capture_test

import (
	"context"
	"errors"
	"io"
	"net"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"evenpole/capture"
	"evenpole/capture/record"
	"evenpole/jig"
	"evenpole/jig/jigtest"
	"evenpole/profiles"
)

// bench is a shop with a jig on the bench, all in the time of a synctest
// bubble.
type bench struct {
	t    *testing.T
	dir  string
	jig  *jigtest.Jig // nil when it is another device
	dev  device
	conn *jig.Conn
}

// A device is a jig of either kind.
type device interface {
	Serve(context.Context, io.ReadWriter) error
}

// onBench runs a test with a jig that is plugged in.
func onBench(t *testing.T, cfg jigtest.Config, f func(b *bench)) {
	dir := t.TempDir()
	synctest.Test(t, func(t *testing.T) {
		cfg.StatusEvery = time.Second
		j := jigtest.New(cfg)
		b := &bench{t: t, dir: dir, jig: j, dev: j}
		b.plug()
		f(b)
		b.conn.Close()
		synctest.Wait()
	})
}

// plug connects the program to the jig, which stays switched on if it was.
func (b *bench) plug() {
	b.t.Helper()
	if err := b.tryPlug("test port"); err != nil {
		b.t.Fatal(err)
	}
}

// tryPlug is plug for a jig that may not answer, on a port of some name.
func (b *bench) tryPlug(name string) (err error) {
	ours, theirs := net.Pipe()
	go b.dev.Serve(context.Background(), theirs) // ends with our Close
	b.conn, err = jig.Attach(b.t.Context(), ours, name, jig.Options{})
	return err
}

// replug is a program that ended and was started again.
func (b *bench) replug() {
	b.t.Helper()
	b.conn.Close()
	synctest.Wait()
	b.plug()
}

// run captures into the shop.
func (b *bench) run(opt capture.Options) (*capture.Result, error) {
	b.t.Helper()
	return b.runWith(b.t.Context(), b.conn, opt)
}

func (b *bench) runWith(ctx context.Context, conn capture.Conn, opt capture.Options) (*capture.Result, error) {
	b.t.Helper()
	shop, err := record.OpenWriter(b.dir)
	if err != nil {
		b.t.Fatal(err)
	}
	defer func() {
		if err := shop.Close(); err != nil {
			b.t.Error(err)
		}
	}()
	if opt.Purpose == "" {
		opt.Purpose = record.ForModel
	}
	if opt.Mount == nil {
		opt.Mount = mount()
	}
	return capture.Run(ctx, shop, conn, opt)
}

// must is run for a capture that has to end well.
func (b *bench) must(opt capture.Options) *capture.Result {
	b.t.Helper()
	res, err := b.run(opt)
	if err != nil {
		b.t.Fatal(err)
	}
	return res
}

// readings is the shop's record.
func (b *bench) readings() []record.Reading {
	b.t.Helper()
	f, err := os.Open(filepath.Join(b.dir, record.ReadingsFile))
	if errors.Is(err, os.ErrNotExist) {
		return nil
	}
	if err != nil {
		b.t.Fatal(err)
	}
	defer f.Close()
	return collect(b.t, record.Readings(f, "readings.csv"))
}

func (b *bench) fields() []record.FieldReading {
	b.t.Helper()
	f, err := os.Open(filepath.Join(b.dir, record.FieldsFile))
	if err != nil {
		b.t.Fatal(err)
	}
	defer f.Close()
	return collect(b.t, record.Fields(f, "fields.csv"))
}

func collect[T any](t *testing.T, rows func(func(T, error) bool)) []T {
	t.Helper()
	var all []T
	for x, err := range rows {
		if err != nil {
			t.Fatal(err)
		}
		all = append(all, x)
	}
	return all
}

// rewrite changes the lines of readings.csv, the header first.
func (b *bench) rewrite(change func(lines []string) []string) {
	b.t.Helper()
	lines := strings.SplitAfter(b.file(record.ReadingsFile), "\n")
	text := strings.Join(change(lines[:len(lines)-1]), "")
	if err := os.WriteFile(filepath.Join(b.dir, record.ReadingsFile), []byte(text), 0o644); err != nil {
		b.t.Fatal(err)
	}
}

// file is the text of a file of the shop, with LF line ends; "" when there is
// none.
func (b *bench) file(name string) string {
	b.t.Helper()
	text, err := os.ReadFile(filepath.Join(b.dir, name))
	if err != nil && !errors.Is(err, os.ErrNotExist) {
		b.t.Fatal(err)
	}
	return strings.ReplaceAll(string(text), "\r\n", "\n")
}

// wholeRecord checks that the record has every reading that the jig made, as
// the jig made it, each once, but for those that are gone for good, counted
// from 1.
func (b *bench) wholeRecord(gone ...int) {
	b.t.Helper()
	if lost := b.agrees(madeByTest(b.jig), gone...); len(lost) > 0 {
		b.t.Errorf("the record lacks %v", lost)
	}
}

// made is a reading as a jig's log and the record both tell it.
type made struct {
	jig, boot            string
	seq                  uint32
	str, take            int
	mode                 string
	rms, freq, peakV, ms float64
	good                 bool
}

func madeByTest(j *jigtest.Jig) (all []made) {
	for _, e := range j.Log() {
		all = append(all, made{e.Jig, e.Boot, e.Seq, e.String, e.Take, e.Mode, float64(e.RMS) / 1000,
			float64(e.Freq) / 1000, float64(e.Peak) / 1000, float64(e.Window), e.Flags&15 == 0})
	}
	return all
}

// agrees checks that everything in the record was made by the jig, is there as
// the jig made it, and once. It returns what the record lacks of the log, but
// for what is gone for good, counted from 1.
func (b *bench) agrees(log []made, gone ...int) (lost []made) {
	b.t.Helper()
	wrong, missing := b.compare(log)
	for _, m := range wrong {
		b.t.Errorf("was not made, or stands twice: %+v", m)
	}
	for i, m := range log {
		switch missing := slices.Contains(missing, m); {
		case missing && !slices.Contains(gone, i+1):
			lost = append(lost, m)
		case !missing && slices.Contains(gone, i+1):
			b.t.Errorf("reading %d was to be gone, and is in the record: %+v", i+1, m)
		}
	}
	return lost
}

// compare returns the rows of the record that are not in the log, or not for
// the first time, and what the record lacks.
func (b *bench) compare(log []made) (wrong, missing []made) {
	want := map[made]bool{}
	for _, m := range log {
		want[m] = true
	}
	for _, r := range b.readings() {
		m := made{r.Jig, r.Boot, r.Seq, r.String, r.Take, string(r.Mode), r.RMS, r.Freq, r.Peak, r.Window, r.Status == record.OK}
		if !want[m] {
			wrong = append(wrong, m)
		}
		delete(want, m)
	}
	for _, m := range log {
		if want[m] {
			missing = append(missing, m)
		}
	}
	return wrong, missing
}

// good counts the record's good takes of a string in one mode and session.
func good(rows []record.Reading, session string, mode record.Mode, str int) int {
	n := 0
	for _, r := range rows {
		if r.Session == session && r.Mode == mode && r.String == str && r.Status == record.OK {
			n++
		}
	}
	return n
}

const mountText = `pickup = "T-004"
batch = "M-03"
poles = "rod"
pole_heights_mm = [0.4, 0.8, 1.9]
string_heights_mm = [3.0, 3.25, 3.125]
magnets = ["M-03/11", "M-03/02", "M-03/40"]
probe_gap_mm = 0.5
[[string]]
note = "E4"
gauge_mm = 0.254
core_mm = 0.254
wrap = "plain"
[[string]]
note = "B3"
gauge_mm = 0.3302
core_mm = 0.3302
wrap = "plain"
[[string]]
note = "G3"
gauge_mm = 0.508
core_mm = 0.2667
wrap = "nickel"
`

const looseText = `batch = "M-03"
magnets = ["M-03/11", "M-03/02"]
probe_gap_mm = 0.5
`

func mount() *profiles.Mount { return parseMount(mountText) }

func parseMount(text string) *profiles.Mount {
	m, err := profiles.ParseMount("mounts/T-004.toml", []byte(text), profiles.Builtin())
	if err != nil {
		panic(err)
	}
	return m
}

// edited is the mount with one thing changed.
func edited(old, new string) *profiles.Mount {
	return parseMount(strings.Replace(mountText, old, new, 1))
}
