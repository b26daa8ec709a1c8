package main

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"net/http"
	"net/http/cookiejar"
	"net/url"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"sync"
	"time"

	"evenpole/jig"
	"evenpole/jig/sim"
	"evenpole/page"
	"evenpole/profiles"
	"evenpole/shop"
	"evenpole/shop/workshop"
)

// bench is a shop with its pages, and a simulated jig on a pseudo-terminal.
type bench struct {
	dir     string
	address string
	client  *http.Client
	stop    context.CancelFunc
	served  chan error

	mu    sync.Mutex
	term  *sim.Term
	lines map[string]time.Time // when the line of a take was written, by how pages tell of it; nil when they are not noted
}

// openBench serves a copy of a shop.
func openBench(ctx context.Context, from string) (b *bench, err error) {
	b = &bench{lines: map[string]time.Time{}, served: make(chan error, 1)}
	if b.dir, err = os.MkdirTemp("", "evenpole-bench-page-"); err != nil {
		return nil, err
	}
	if err := os.CopyFS(b.dir, os.DirFS(from)); err != nil {
		return nil, err
	}
	s, err := shop.Open(b.dir)
	if err != nil {
		return nil, err
	}
	if err := prepare(ctx, s); err != nil {
		return nil, err
	}
	server, err := page.New(s, page.Options{Loopback: true, Version: "bench", Open: b.port})
	if err != nil {
		return nil, err
	}
	l, _, err := page.Listen("127.0.0.1:0")
	if err != nil {
		return nil, err
	}
	b.address = strings.TrimSuffix(page.Addresses(l)[0], "/")
	jar, err := cookiejar.New(nil)
	if err != nil {
		return nil, err
	}
	b.client = &http.Client{Jar: jar}
	ctx, b.stop = context.WithCancel(ctx)
	go func() { b.served <- server.Serve(ctx, l) }()
	return b, nil
}

// prepare gives a shop an order, and a model of its record.
func prepare(ctx context.Context, s *shop.Shop) error {
	if _, err := s.SaveOrder(workshop.OrderText); err != nil {
		return err
	}
	f := shop.Fitting{Files: []string{s.ReadingsFile()}, Program: "bench"}
	result, data, err := f.Best(ctx)
	if err != nil {
		return err
	}
	_, err = s.Keep(result, data, true)
	return err
}

// close ends the pages, and takes the shop away.
func (b *bench) close() error {
	b.stop()
	return errors.Join(<-b.served, os.RemoveAll(b.dir))
}

// plug runs a jig with the workshop's flat pickup, at a speed, until it is unplugged.
func (b *bench) plug(speed float64) (unplug func(), err error) {
	m, err := profiles.ParseMount("mount", []byte(workshop.FlatMount), profiles.Builtin())
	if err != nil {
		return nil, err
	}
	mounted, err := workshop.Mounted(m, 1)
	if err != nil {
		return nil, err
	}
	term, err := sim.Terminal()
	if err != nil {
		return nil, err
	}
	j := sim.New(sim.Config{Speed: speed, Seed: uint64(time.Now().UnixNano())})
	j.Mount(mounted)
	b.mu.Lock()
	b.term = term
	b.mu.Unlock()
	ctx, cancel := context.WithCancel(context.Background())
	ended := make(chan struct{})
	go func() {
		defer close(ended)
		_ = j.Serve(ctx, &stamped{term.Port, b}) // it ends by being unplugged
	}()
	return func() {
		cancel()
		<-ended
		term.Close()
	}, nil
}

// port opens the jig's port as the program does.
func (b *bench) port(string) (io.ReadWriteCloser, error) {
	b.mu.Lock()
	defer b.mu.Unlock()
	return jig.Open(b.term.Name, jig.DefaultBaud)
}

// stamped is the jig's side of the port; it notes when lines are written.
type stamped struct {
	io.ReadWriteCloser
	of *bench
}

func (s *stamped) Write(p []byte) (int, error) {
	at := time.Now()
	for line := range bytes.Lines(p) {
		s.of.note(string(line), at)
	}
	return s.ReadWriteCloser.Write(p)
}

// note notes the line of a take, under how pages tell of that.
func (b *bench) note(line string, at time.Time) {
	f := strings.Split(line, ",") // R,boot,seq,ms,string,take,mode,rms_uV,...
	if len(f) < 8 || f[0] != "R" || f[6] != "P" {
		return
	}
	uv, err := strconv.ParseFloat(f[7], 64)
	if err != nil {
		return
	}
	b.mu.Lock()
	defer b.mu.Unlock()
	if b.lines == nil {
		return
	}
	text := fmt.Sprintf("string %s: %.3f mV", f[4], uv/1000)
	if _, twice := b.lines[text]; !twice {
		b.lines[text] = at
	}
}

// noNotes ends the notes, which would grow.
func (b *bench) noNotes() {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.lines = nil
}

// written is when the line of a take was written that a page tells of.
func (b *bench) written(text string) (time.Time, bool) {
	text, _, _ = strings.Cut(text, ",")
	b.mu.Lock()
	defer b.mu.Unlock()
	at, ok := b.lines[text]
	return at, ok
}

// capture starts a capture of so many takes a string; stop pauses it.
func (b *bench) capture(speed float64, takes int) (stop func() error, err error) {
	unplug, err := b.plug(speed)
	if err != nil {
		return nil, err
	}
	if err := b.post("/capture/start", url.Values{
		"port": {"/dev/ttyBENCH0"}, "purpose": {"model"}, "takes": {strconv.Itoa(takes)}, "text": {workshop.FlatMount}, "again": {"on"}, "same": {"on"},
	}); err != nil {
		unplug()
		return nil, err
	}
	return func() error {
		err := b.post("/capture/pause", nil)
		if err == nil {
			err = b.wait("paused", "complete")
		}
		unplug()
		return err
	}, nil
}

// takesAString is how many takes of a string a session of the long run has.
const takesAString = 40

// captureWhole captures a session to its end, and returns how many takes it has.
func (b *bench) captureWhole(speed float64) (takes int, err error) {
	stop, err := b.capture(speed, takesAString)
	if err != nil {
		return 0, err
	}
	if err := b.wait("complete"); err != nil {
		return 0, err
	}
	return 6 * (takesAString + 3), stop()
}

// wait waits until the page of captures is in one of some states.
func (b *bench) wait(states ...string) error {
	for range 6000 {
		resp, err := b.client.Get(b.address + "/capture")
		if err != nil {
			return err
		}
		text, err := io.ReadAll(resp.Body)
		resp.Body.Close()
		if err != nil {
			return err
		}
		for _, state := range append(states, "stopped") {
			if strings.Contains(string(text), `id="state" data-state="`+state+`"`) {
				if state == "stopped" {
					return errors.New("the capture stopped: see " + filepath.Join(b.dir, "readings.csv"))
				}
				return nil
			}
		}
		time.Sleep(100 * time.Millisecond)
	}
	return fmt.Errorf("the capture was never %v", states)
}

// post does what a button does.
func (b *bench) post(path string, form url.Values) error {
	r, err := http.NewRequest(http.MethodPost, b.address+path, strings.NewReader(form.Encode()))
	if err != nil {
		return err
	}
	r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
	r.Header.Set("Origin", b.address)
	resp, err := b.client.Do(r)
	if err != nil {
		return err
	}
	defer resp.Body.Close()
	if resp.StatusCode != http.StatusOK {
		text, _ := io.ReadAll(io.LimitReader(resp.Body, 3000)) // what there is of it is told
		return fmt.Errorf("%s: %s: %s", path, resp.Status, text)
	}
	return nil
}
