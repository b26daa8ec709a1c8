package page

import (
	"bufio"
	"context"
	"encoding/json"
	"errors"
	"io"
	"net/http"
	"net/http/cookiejar"
	"net/http/httptest"
	"net/url"
	"os"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"evenpole/capture/record"
	"evenpole/jig"
	"evenpole/jig/sim"
	"evenpole/profiles"
	"evenpole/shop/workshop"
)

// jigBench is a simulated jig behind a port that may be lost.
type jigBench struct {
	mu   sync.Mutex
	term *sim.Term
	gone bool
}

// open opens the port where it is now.
func (b *jigBench) open(string) (io.ReadWriteCloser, error) {
	b.mu.Lock()
	term, gone := b.term, b.gone
	b.mu.Unlock()
	if gone {
		return nil, &jig.PortError{Port: "sim", Err: jig.ErrNoPort}
	}
	return term.Open()
}

func (b *jigBench) plug(gone bool) *sim.Term {
	term := sim.InProcess()
	b.mu.Lock()
	defer b.mu.Unlock()
	b.term, b.gone = term, gone
	return term
}

// flatJig is a simulated jig with the workshop's flat pickup on it.
func flatJig(t *testing.T, c sim.Config) *sim.Jig {
	t.Helper()
	m, err := profiles.ParseMount("mount", []byte(workshop.FlatMount), profiles.Builtin())
	if err != nil {
		t.Fatal(err)
	}
	mounted, err := workshop.Mounted(m, 1)
	if err != nil {
		t.Fatal(err)
	}
	j := sim.New(c)
	j.Mount(mounted)
	return j
}

// startJig runs a simulated jig with the workshop's flat pickup on it. Where it hangs up,
// its port is gone until back is closed.
func startJig(t *testing.T, c sim.Config, back chan struct{}) *jigBench {
	t.Helper()
	if c.Speed == 0 {
		c.Speed = 2000
	}
	j, b := flatJig(t, c), &jigBench{}
	term := b.plug(false)
	ctx, cancel := context.WithCancel(context.Background())
	served := make(chan struct{})
	go func() {
		defer close(served)
		for {
			err := j.Serve(ctx, term.Port)
			if !errors.Is(err, sim.ErrHungUp) {
				return
			}
			b.plug(true)
			term.Close()
			select {
			case <-back:
			case <-ctx.Done():
			}
			term = b.plug(false)
		}
	}()
	t.Cleanup(func() {
		cancel()
		b.mu.Lock()
		b.term.Close()
		b.mu.Unlock()
		<-served
	})
	return b
}

// browser is a browser at the bench.
type browser struct {
	t      *testing.T
	at     string
	client *http.Client
}

// served serves a fresh shop with a jig to browsers.
func served(t *testing.T, b *jigBench) (s *Server, open func() *browser) {
	t.Helper()
	s = servingShop(t, t.TempDir(), Options{Loopback: true, Open: b.open, Wait: time.Millisecond})
	server := httptest.NewServer(s)
	t.Cleanup(func() {
		server.CloseClientConnections()
		server.Close()
		s.bench.finish()
	})
	return s, func() *browser {
		jar, err := cookiejar.New(nil)
		if err != nil {
			t.Fatal(err)
		}
		br := &browser{t, server.URL, &http.Client{Jar: jar}}
		br.get("/capture")
		return br
	}
}

func (b *browser) get(path string) string {
	b.t.Helper()
	resp, err := b.client.Get(b.at + path)
	if err != nil {
		b.t.Fatal(err)
	}
	return b.text(resp)
}

func (b *browser) text(resp *http.Response) string {
	b.t.Helper()
	defer resp.Body.Close()
	text, err := io.ReadAll(resp.Body)
	if err != nil {
		b.t.Fatal(err)
	}
	return string(text)
}

// post sends a form and returns the status and the page that comes of it.
func (b *browser) post(path string, form url.Values) (int, string) {
	b.t.Helper()
	r, err := http.NewRequest(http.MethodPost, b.at+path, strings.NewReader(form.Encode()))
	if err != nil {
		b.t.Fatal(err)
	}
	r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
	r.Header.Set("Origin", b.at)
	resp, err := b.client.Do(r)
	if err != nil {
		b.t.Fatal(err)
	}
	return resp.StatusCode, b.text(resp)
}

// watch follows the events of the bench until one is as wanted.
func (b *browser) watch(wanted func(seen) bool) seen {
	b.t.Helper()
	ctx, cancel := context.WithTimeout(context.Background(), 2*time.Minute)
	defer cancel()
	r, err := http.NewRequestWithContext(ctx, http.MethodGet, b.at+"/capture/events", nil)
	if err != nil {
		b.t.Fatal(err)
	}
	resp, err := b.client.Do(r)
	if err != nil {
		b.t.Fatal(err)
	}
	defer resp.Body.Close()
	var now seen
	lines := bufio.NewScanner(resp.Body)
	lines.Buffer(nil, 1<<20)
	for lines.Scan() {
		text, ok := strings.CutPrefix(lines.Text(), "data: ")
		if !ok {
			continue
		}
		now = seen{}
		if err := json.Unmarshal([]byte(text), &now); err != nil {
			b.t.Fatal(err)
		}
		if wanted(now) {
			return now
		}
	}
	b.t.Fatalf("the stream ended at %+v: %v", now, lines.Err())
	return now
}

func in(state string) func(seen) bool { return func(b seen) bool { return b.State == state } }

func startForm() url.Values {
	return url.Values{"port": {"/dev/ttySIM0"}, "purpose": {"check"}, "takes": {"3"}, "text": {workshop.FlatMount}}
}

// keptTakes are the good takes of the record, quiet levels among them.
func keptTakes(t *testing.T, s *Server) (n int) {
	t.Helper()
	rows, err := record.Sift(s.shop.Readings(), nil)
	if err != nil {
		t.Fatal(err)
	}
	for _, r := range rows {
		if r.Why == record.Counts {
			n++
		}
	}
	return n
}

func TestAWholeCapture(t *testing.T) {
	s, open := served(t, startJig(t, sim.Config{Scatter: &sim.Scatter{}}, nil))
	at, wall := open(), open()
	if status, text := at.post("/capture/start", startForm()); status != http.StatusOK || !strings.Contains(text, `id="next"`) {
		t.Fatalf("status %d: %.3000s", status, text)
	}
	now := wall.watch(in(complete))
	if now.Next != "Done" || now.Left != "0 takes left" || now.Yours || len(now.Takes) != 12 || now.Takes[0].String != "string 6" || !now.Takes[0].Kept {
		t.Errorf("%+v", now)
	}
	for _, x := range now.Strings {
		if x.Takes != "3 of 3" || x.Level == unknown || x.Within == unknown || x.Balance == unknown || x.Quiet == unknown || x.Pitch != "at its note" {
			t.Errorf("%+v", x)
		}
	}
	if n := keptTakes(t, s); n != 6*(3+3) {
		t.Errorf("%d takes count", n)
	}
	text := at.get("/capture")
	if !strings.Contains(text, "complete") || !strings.Contains(text, "light plain-third 10-46") {
		t.Errorf("the form does not know the last mount: %.6000s", text)
	}
}

// A capture ends a string's takes once its mean is known well enough, and is somebody's:
// the next one, too, unless it names another.
func TestUntilAndOperator(t *testing.T) {
	s, open := served(t, startJig(t, sim.Config{}, nil))
	at := open()
	form := startForm()
	form.Set("takes", "")
	form.Set("until", "0.3")
	form.Set("operator", "Bo")
	at.post("/capture/start", form)
	now := at.watch(in(complete))
	if !strings.Contains(now.About, ", operator Bo") {
		t.Errorf("about: %q", now.About)
	}
	if n := keptTakes(t, s) - 6*3; n < 6*3 || n >= 6*40 {
		t.Errorf("%d plucks count", n)
	}
	if text := at.get("/capture"); !strings.Contains(text, `name="until" inputmode="decimal" value="0.3"`) || !strings.Contains(text, `name="operator" value="Bo"`) {
		t.Errorf("the form does not know what was filled in last: %.6000s", text)
	}
	form = startForm()
	form.Set("again", "on")
	at.post("/capture/start", form)
	at.watch(func(b seen) bool { return b.State == complete && strings.Contains(b.About, "s002") })
	holds, err := record.HoldsIn(s.shop.Dir())
	if err != nil {
		t.Fatal(err)
	}
	if who := holds.Operators(); who["s001"] != "Bo" || who["s002"] != "Bo" {
		t.Errorf("operators: %v", who)
	}
}

func TestPauseGoOnAndTakeBack(t *testing.T) {
	s, open := served(t, startJig(t, sim.Config{Scatter: &sim.Scatter{}, Speed: 200}, nil))
	at := open()
	at.post("/capture/start", startForm())
	at.watch(func(b seen) bool { return b.Next == "String 1" && b.Back })
	if status, text := at.post("/capture/take-back", nil); status != http.StatusOK {
		t.Fatalf("status %d: %s", status, text)
	}
	at.watch(func(b seen) bool { return b.State == capturing && b.Back })
	at.post("/capture/pause", nil)
	now := at.watch(in(paused))
	if now.Can != "go-on" || now.Running {
		t.Errorf("%+v", now)
	}
	before := keptTakes(t, s)
	left := s.bench.live.LeftToDo()
	if status, _ := at.post("/capture/take-back", nil); status != http.StatusOK || keptTakes(t, s) != before-1 || s.bench.live.LeftToDo() != left+1 {
		t.Errorf("status %d; %d takes count, were %d; %d are left, were %d", status, keptTakes(t, s), before, s.bench.live.LeftToDo(), left)
	}
	if status, text := at.post("/capture/take-back", nil); status != http.StatusUnprocessableEntity || !strings.Contains(text, "no take to take back") {
		t.Errorf("status %d: %.2000s", status, text)
	}
	at.post("/capture/go-on", nil)
	at.watch(in(complete))
	if n := keptTakes(t, s); n != 6*(3+3) {
		t.Errorf("%d takes count", n)
	}
}

// A lost jig shows, and the capture goes on by itself when it is back.
func TestALostJigComesBack(t *testing.T) {
	back := make(chan struct{})
	s, open := served(t, startJig(t, sim.Config{Scatter: &sim.Scatter{}, Faults: sim.Faults{HangUpAfter: 10}}, back))
	at := open()
	at.post("/capture/start", startForm())
	now := at.watch(in(lost))
	if now.Words == "" || now.Can != "pause" {
		t.Errorf("%+v", now)
	}
	close(back)
	at.watch(in(complete))
	if n := keptTakes(t, s); n != 6*(3+3) {
		t.Errorf("%d takes count", n)
	}
}

// One browser holds the jig; others watch, or take over.
func TestOneHoldsTheJig(t *testing.T) {
	_, open := served(t, startJig(t, sim.Config{Speed: 20}, nil))
	at, other := open(), open()
	at.post("/capture/start", startForm())
	at.watch(in(capturing))
	for _, path := range []string{"/capture/pause", "/capture/take-back", "/capture/go-on", "/capture/start"} {
		if status, text := other.post(path, startForm()); status != http.StatusUnprocessableEntity || !strings.Contains(text, "another browser holds the jig") {
			t.Errorf("%s: status %d: %.3000s", path, status, text)
		}
	}
	if status, text := at.post("/capture/start", startForm()); status != http.StatusUnprocessableEntity || !strings.Contains(text, "running: pause it first") {
		t.Errorf("status %d: %.3000s", status, text)
	}
	if status, _ := other.post("/capture/take-over", nil); status != http.StatusOK {
		t.Errorf("take over: status %d", status)
	}
	if status, _ := at.post("/capture/pause", nil); status != http.StatusUnprocessableEntity {
		t.Errorf("who held it before: status %d", status)
	}
	other.post("/capture/pause", nil)
	other.watch(in(paused))
}

func TestWhatCannotBeStarted(t *testing.T) {
	s, open := served(t, startJig(t, sim.Config{}, nil))
	at := open()
	for _, c := range []struct{ key, value, says string }{
		{"port", "/etc/passwd", "port: expected one such as"},
		{"port", "/dev/../etc/passwd", "port: expected one such as"},
		{"port", "../jig", "port: expected one such as"},
		{"purpose", "<script>", "&lt;script&gt;"},
		{"takes", "none", "takes: expected a number"},
		{"takes", "0", "takes: expected a number"},
		{"operator", "Bo\nAnn", "operator: expected a name on one line"},
		{"mount", "../secret", "no mount of the shop"},
		{"text", `pickup = "<script>` + "\n", "mount:1:"},
		{"text", strings.Replace(workshop.FlatMount, `pickup = "sim"`, "pickup = '<script>x</script>'\nnonsense = 1", 1), "mount:"},
	} {
		form := startForm()
		form.Set(c.key, c.value)
		status, text := at.post("/capture/start", form)
		if status < 400 || status >= 500 || !strings.Contains(text, c.says) || strings.Contains(text, "<script>") {
			t.Errorf("%s %q: status %d: %.1500s", c.key, c.value, status, text)
		}
	}
	if _, err := os.Stat(s.shop.ReadingsFile()); err == nil {
		t.Error("the shop has a record")
	}
	if now := s.bench.shown(""); now.State != idle {
		t.Errorf("%+v", now)
	}
}

func TestWhatAFormCannotSay(t *testing.T) {
	for want, f := range map[string]captureForm{
		`purpose: expected one of [model batch check repeat], got "play"`:               {Purpose: "play"},
		`takes: expected a number from 1, got "0"`:                                      {Purpose: "model", Takes: "0"},
		`until: expected a standard error of more than 0 up to 10 dB, got "often"`:      {Purpose: "model", Until: "often"},
		`until: expected a standard error of more than 0 up to 10 dB, got "0"`:          {Purpose: "model", Until: "0"},
		`until: expected a standard error of more than 0 up to 10 dB, got 11`:           {Purpose: "model", Until: "11"},
		`until: expected a standard error of more than 0 up to 10 dB, got NaN`:          {Purpose: "model", Until: "nan"},
		`takes: expected 3 or more, as the standard error of fewer is not known, got 2`: {Purpose: "model", Takes: "2", Until: "0.1"},
		`operator: expected a name on one line, got "Bo\nAnn"`:                          {Purpose: "model", Operator: "Bo\nAnn"},
	} {
		if _, err := f.options(); err == nil || err.Error() != want || statusOf(err) != http.StatusUnprocessableEntity {
			t.Errorf("got %v, want %s", err, want)
		}
	}
}

// A mount is filled in field by field, as it was last, and what is wrong stands at its field.
func TestAMountIsFilledIn(t *testing.T) {
	s, open := served(t, startJig(t, sim.Config{Scatter: &sim.Scatter{}}, nil))
	at := open()
	form := startForm()
	form.Del("text")
	for path, text := range map[string]string{"pickup": "sim", "batch": "sim", "poles": "rod", "pole_heights": "1 1 1 1 1 1", "string_heights": "0.118 in", "set": "light plain-third 10-46"} {
		form.Set(mountPrefix+path, text)
	}
	status, text := at.post("/capture/start", form)
	if status != http.StatusUnprocessableEntity || !strings.Contains(text, `id="m.string_heights-trouble">string_heights_in: expected 6 values, one a string, got 1<`) {
		t.Errorf("status %d: %.9000s", status, text)
	}
	_, said := at.post("/capture/check", form)
	if !strings.Contains(said, `"at":"m.string_heights"`) {
		t.Error(said)
	}
	form.Set(mountPrefix+"string_heights", "3 3 3 3 3 3 mm")
	if _, said := at.post("/capture/check", form); !strings.Contains(said, "pickup sim: 6 strings") {
		t.Error(said)
	}
	at.post("/capture/start", form)
	at.watch(in(complete))
	if text := at.get("/capture"); !strings.Contains(text, `name="m.string_heights" value="3 3 3 3 3 3 mm"`) {
		t.Errorf("the form does not know the last mount: %.6000s", text)
	}
	if n := keptTakes(t, s); n != 6*(3+3) {
		t.Errorf("%d takes count", n)
	}
}

// A pickup's name that is a script is a text, in pages and events.
func TestAMountsNameIsAText(t *testing.T) {
	_, open := served(t, startJig(t, sim.Config{}, nil))
	at := open()
	form := startForm()
	form.Set("text", strings.Replace(workshop.FlatMount, `pickup = "sim"`, "pickup = '<script>x</script>'", 1))
	at.post("/capture/start", form)
	if now := at.watch(in(complete)); !strings.Contains(now.About, "<script>x</script>") {
		t.Errorf("%+v", now)
	}
	for _, path := range []string{"/capture", "/pickups", "/pickup?id=%3Cscript%3Ex%3C%2Fscript%3E"} {
		if text := at.get(path); strings.Contains(text, "<script>") || !strings.Contains(text, "&lt;script&gt;") {
			t.Errorf("%s: %.3000s", path, text)
		}
	}
}

// Whatever number of pages watch, a bounded number is served, and other pages are, too.
func TestAThousandStreams(t *testing.T) {
	var asked atomic.Int64
	slowly := func() time.Time { return time.Unix(asked.Add(1), 0) } // so that the rate of requests is no matter
	s := serving(t, Options{Loopback: true, Now: slowly})
	ctx, cancel := context.WithCancel(context.Background())
	var all sync.WaitGroup
	statuses := make(chan int, 1000)
	for range 1000 {
		all.Go(func() {
			w := httptest.NewRecorder()
			s.ServeHTTP(w, request(http.MethodGet, "/capture/events", nil).WithContext(ctx))
			statuses <- w.Code
		})
	}
	for range 1000 - mostStreams {
		if code := <-statuses; code != http.StatusServiceUnavailable {
			t.Errorf("status %d", code)
		}
	}
	cancel()
	all.Wait()
	if len(s.bench.watchers) != 0 || len(s.streams) != 0 {
		t.Errorf("%d watchers and %d streams are left", len(s.bench.watchers), len(s.streams))
	}
	wants(t, get(s, "/"), http.StatusOK)
}
