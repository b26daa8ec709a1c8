package page

import (
	"context"
	"fmt"
	"io"
	"net/url"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"evenpole/capture/record"
	"evenpole/jig"
	"evenpole/jig/sim"
	"evenpole/shop"
	"evenpole/shop/workshop"

	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"
)

// chromium is the path of the browser. Without one a test is skipped.
func chromium(t *testing.T) string {
	t.Helper()
	for _, name := range []string{"chromium", "chromium-browser", "google-chrome"} {
		if path, err := exec.LookPath(name); err == nil {
			return path
		}
	}
	t.Skip("no Chromium here: what is tested in a real browser is skipped")
	return ""
}

// inBrowser is a tab of a real browser.
type inBrowser struct {
	t   *testing.T
	ctx context.Context
	at  string // address of the server
}

// browse serves a shop and opens a real browser. The test ends with both.
func browse(t *testing.T, s *Server) *inBrowser {
	t.Helper()
	path := chromium(t)
	l, _, err := Listen("127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	serving, stop := context.WithCancel(context.Background())
	ended := make(chan error, 1)
	go func() { ended <- s.Serve(serving, l) }()
	t.Cleanup(func() {
		stop()
		if err := <-ended; err != nil {
			t.Error(err)
		}
	})
	ctx, cancel := context.WithTimeout(context.Background(), 10*time.Minute) // it hangs
	t.Cleanup(cancel)
	ctx, cancel = chromedp.NewExecAllocator(ctx, append(chromedp.DefaultExecAllocatorOptions[:], chromedp.ExecPath(path), chromedp.NoSandbox)...)
	t.Cleanup(cancel)
	ctx, cancel = chromedp.NewContext(ctx)
	t.Cleanup(cancel)
	return &inBrowser{t, ctx, strings.TrimSuffix(Addresses(l)[0], "/")}
}

// do does things in the tab.
func (b *inBrowser) do(actions ...chromedp.Action[chromedp.Void]) {
	b.t.Helper()
	if err := chromedp.Do(b.ctx, actions...); err != nil {
		b.t.Fatal(err)
	}
}

// open opens a page.
func (b *inBrowser) open(path string) {
	b.t.Helper()
	if strings.HasPrefix(path, "/") {
		path = b.at + path
	}
	b.do(chromedp.Navigate(path))
}

// ask is what a script says.
func ask[T any](b *inBrowser, script string) T {
	b.t.Helper()
	said, err := chromedp.Run(b.ctx, chromedp.Evaluate[T](script))
	if err != nil {
		b.t.Fatalf("%s: %v", script, err)
	}
	return said
}

// wait waits until a script says true.
func (b *inBrowser) wait(script string) {
	b.t.Helper()
	for {
		is, err := chromedp.Run(b.ctx, chromedp.Evaluate[bool]("!!("+script+")"))
		if is {
			return
		}
		if b.ctx.Err() != nil {
			b.t.Fatalf("%s never came true: %v", script, err)
		}
		time.Sleep(10 * time.Millisecond) // errors too: a page is being loaded
	}
}

// shows waits until a text is seen in an element.
func (b *inBrowser) shows(element, text string) {
	b.t.Helper()
	b.wait(fmt.Sprintf("document.querySelector(%q)?.innerText.includes(%q)", element, text))
}

// tabTo goes to an element by the keyboard.
func (b *inBrowser) tabTo(element string) {
	b.t.Helper()
	for range 200 {
		if ask[bool](b, fmt.Sprintf("document.activeElement.matches(%q)", element)) {
			return
		}
		b.press(kb.Tab)
	}
	b.t.Fatalf("no key leads to %s", element)
}

// press presses keys, wherever the keyboard's place is.
func (b *inBrowser) press(keys string) {
	b.t.Helper()
	b.do(chromedp.KeyEvent(keys))
}

// fillIn goes to a field by the keyboard and types a text in place of what is there.
func (b *inBrowser) fillIn(element, text string) {
	b.t.Helper()
	b.tabTo(element)
	ask[bool](b, "document.activeElement.select(), true")
	b.press(kb.Delete)
	if text != "" {
		b.press(text)
	}
}

// ptyBench is a simulated jig on a pseudo-terminal, which may be lost and come back on
// another one under the name that the bench knows it by.
type ptyBench struct {
	mu   sync.Mutex
	path string // "" while it is lost
}

func (p *ptyBench) at(path string) {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.path = path
}

// open opens the port as the program does.
func (p *ptyBench) open(port string) (io.ReadWriteCloser, error) {
	p.mu.Lock()
	path := p.path
	p.mu.Unlock()
	if path == "" {
		return nil, &jig.PortError{Port: port, Err: jig.ErrNoPort}
	}
	return jig.Open(path, jig.DefaultBaud)
}

// startOnTerminal runs a simulated jig with the workshop's flat pickup on it. Where it hangs
// up it stays away until back is closed.
func startOnTerminal(t *testing.T, c sim.Config, back chan struct{}) *ptyBench {
	t.Helper()
	term, err := sim.Terminal()
	if err != nil {
		t.Skip(err)
	}
	j, p := flatJig(t, c), &ptyBench{}
	p.at(term.Name)
	ctx, cancel := context.WithCancel(context.Background())
	ended := make(chan struct{})
	go func() {
		defer close(ended)
		j.Serve(ctx, term.Port) // how it ends is what the pages are to show
		p.at("")
		term.Close()
		select {
		case <-back:
		case <-ctx.Done():
			return
		}
		term, err := sim.Terminal()
		if err != nil {
			t.Error(err)
			return
		}
		p.at(term.Name)
		j.Serve(ctx, term.Port)
		term.Close()
	}()
	t.Cleanup(func() {
		cancel()
		<-ended
	})
	return p
}

// atBench serves a fresh shop, which has the workshop's order, with a jig.
func atBench(t *testing.T, p *ptyBench) (*Server, *inBrowser) {
	t.Helper()
	s := servingShop(t, t.TempDir(), Options{Loopback: true, Open: p.open, Wait: 10 * time.Millisecond, Version: "v"})
	if _, err := s.shop.SaveOrder(workshop.OrderText); err != nil {
		t.Fatal(err)
	}
	return s, browse(t, s)
}

// startByKeys fills in the form of a capture and starts it, by the keyboard alone.
func (b *inBrowser) startByKeys(purpose string) {
	b.t.Helper()
	b.open("/capture")
	b.tabTo("#keys")
	if !ask[bool](b, "document.activeElement.checked") {
		b.press(" ")
	}
	b.fillIn("#port", "/dev/ttySIM0")
	b.tabTo("#purpose")
	b.press(purpose[:2]) // a menu goes to what begins so
	b.fillIn("#takes-wanted", "3")
	b.fillIn("#until", "0.5") // which no fewer takes can show
	b.fillIn("#operator", "Bo")
	for path, text := range map[string]string{"pickup": "sim", "batch": "sim", "pole_heights": "1 1 1 1 1 1", "string_heights": "3,3,3,3,3,3 mm"} {
		b.fillIn("[id='m."+path+"']", text)
	}
	b.tabTo("[id='m.poles']")
	b.press("rod")
	b.tabTo("[id='m.set']")
	b.press("light p")
	b.shows("#fine", "pickup sim: 6 strings")
	b.tabTo("form[action='/capture/start'] button")
	b.press(kb.Enter)
	b.wait("location.pathname === '/capture' && document.getElementById('about').innerText.includes('for " + purpose + "')")
	b.shows("#about", "operator Bo")
}

// state waits until the page of captures shows a state.
func (b *inBrowser) state(state string) {
	b.t.Helper()
	b.wait(fmt.Sprintf("document.getElementById('state-words')?.innerText === %q", state))
}

func TestBrowserCapturesByTheKeyboard(t *testing.T) {
	s, b := atBench(t, startOnTerminal(t, sim.Config{Scatter: &sim.Scatter{}, Speed: 20}, nil))
	b.startByKeys("model")
	b.shows("#next", "String 2")
	b.shows("#takes li", "kept")
	b.press(" ")
	b.state(paused)
	before := keptTakes(t, s)
	b.press(kb.Backspace)
	b.shows("#takes li", "refused: taken back")
	if n := keptTakes(t, s); n != before-1 {
		t.Errorf("%d takes count, want one less than %d", n, before)
	}
	b.press(kb.PageDown) // as a foot pedal does
	b.state(complete)
	b.shows("#next", "Done")
	b.shows("#left", "0 takes left")
	if n := keptTakes(t, s); n != 6*(3+3) {
		t.Errorf("%d takes count", n)
	}
	for i := range 6 {
		row := fmt.Sprintf("#strings tr:nth-child(%d)", i+1)
		b.shows(row, "3 of 3")
		b.shows(row, "at its note")
		if width := ask[string](b, fmt.Sprintf("document.querySelector('%s .bar').style.width", row)); width == "" || width == "0%" {
			t.Errorf("string %d: no bar", i+1)
		}
	}
}

func TestBrowserSeesALostJigComeBack(t *testing.T) {
	back := make(chan struct{})
	s, b := atBench(t, startOnTerminal(t, sim.Config{Scatter: &sim.Scatter{}, Speed: 100, Faults: sim.Faults{HangUpAfter: 10}}, back))
	b.startByKeys("model")
	b.state(lost)
	b.wait("document.getElementById('words').innerText !== ''")
	close(back)
	b.state(complete)
	if n := keptTakes(t, s); n != 6*(3+3) {
		t.Errorf("%d takes count", n)
	}
}

func TestBrowserWritesAnOrderAndTriesIt(t *testing.T) {
	s := serving(t, Options{Loopback: true})
	b := browse(t, s)
	b.open("/order/write")
	b.fillIn("[id='id']", "B-7")
	b.fillIn("[id='pickup.min_gap']", "60")
	b.shows("[id='pickup.min_gap-trouble']", "min_gap_mm: expected 0 or 0.2 to 10 mm, got 60")
	if !ask[bool](b, "document.activeElement.getAttribute('aria-invalid') === 'true'") {
		t.Error("the field is not marked")
	}
	b.fillIn("[id='pickup.min_gap']", "0.05 in")
	b.wait("document.getElementById('pickup.min_gap-trouble').innerText === ''")
	b.shows("#fine", "order B-7: 6 strings")
	b.tabTo("#write button")
	b.press(kb.Enter)
	b.wait("location.pathname === '/order'")
	o, err := s.shop.Order("B-7")
	if err != nil || o.MinGap != 1.27 {
		t.Fatalf("%+v, %v", o, err)
	}
	b.open("/order/try?name=B-7")
	balance := "document.querySelector('#strings tr:nth-child(3) td:nth-child(3)').innerText"
	b.wait("window.performance.getEntriesByType('resource').some((r) => r.name.includes('/order/try/now'))")
	was := ask[string](b, balance)
	for _, slider := range []string{"#tilt", "#pole3", "#radius"} {
		b.tabTo(slider)
		b.press(strings.Repeat(kb.PageUp, 3))
		b.wait(balance + " !== " + fmt.Sprintf("%q", was))
		was = ask[string](b, balance)
	}
	b.tabTo("#set")
	b.press("bas") // a bass has four strings, and so is not in the menu
	if set := ask[string](b, "document.getElementById('set').value"); strings.HasPrefix(set, "bass") {
		t.Error("a set with another number of strings is in the menu")
	}
	b.press("med")
	b.wait(balance + " !== " + fmt.Sprintf("%q", was))
}

func TestBrowserChecksAPickupToItsCertificate(t *testing.T) {
	s, b := atBench(t, startOnTerminal(t, sim.Config{Scatter: &sim.Scatter{}, Speed: 50}, nil))
	b.startByKeys("check")
	b.shows("#next", "String 3")
	b.open("/check?pickup=sim&order=L-012") // the page of the capture goes away
	b.shows("main", "Once its capture is complete")
	b.shows("tbody tr:nth-child(6)", "E2")
	b.shows("main", "Issue the certificate") // the page follows the capture to its end
	b.shows("main", "out of tolerance")
	b.tabTo("#ohm")
	b.press("6200")
	b.tabTo("form[action='/check/issue'] button")
	b.press(kb.Enter)
	b.wait("location.pathname === '/certificate'")
	b.shows("main", "out of tolerance")
	line := "evenpole:check?shop=" + url.QueryEscape(s.name) + "&pickup=sim&certificate=1"
	b.open("/")
	b.tabTo("#line")
	b.press(line + "\r") // as a scanner types it
	b.wait("location.pathname === '/certificate' && location.search === '?number=1'")
	issued, err := s.shop.Certificates()
	if err != nil || len(issued) != 1 || issued[0].Resistance == nil {
		t.Errorf("%d certificates, %v", len(issued), err)
	}
}

func TestBrowserAcceptsAFit(t *testing.T) {
	dir := t.TempDir()
	s := servingShop(t, sampleShop(t, dir), Options{Loopback: true, Version: "v"})
	b := browse(t, s)
	b.open("/models")
	b.tabTo("form[action='/models/fit'] button")
	b.press(kb.Enter)
	b.shows("main", "a new model was kept; it is the current one")
	keepAnother(t, s)
	b.open("/models")
	b.do(chromedp.Click("//a[text()='model-001']"))
	b.shows("main", "predicted")
	b.do(chromedp.Click("//a[text()='Compare with the current model']"))
	b.shows("main", "compared on")
	b.tabTo("form[action='/models/use'] button")
	b.press(kb.Enter)
	b.wait("location.pathname === '/models'")
	if current, err := s.shop.CurrentModel(); err != nil || current != "model-001.json" {
		t.Errorf("current %s, %v", current, err)
	}
}

// sampleShop copies the sample shop.
func sampleShop(t *testing.T, dir string) string {
	t.Helper()
	if err := os.CopyFS(dir, os.DirFS(filepath.Join("..", "testdata", "sample-shop"))); err != nil {
		t.Fatal(err)
	}
	if !shop.HasRecord(dir) {
		t.Fatal("no record", record.ReadingsFile)
	}
	return dir
}
