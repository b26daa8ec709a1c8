package page

import (
	"flag"
	"fmt"
	"net/http"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"evenpole/jig/sim"
	"evenpole/profiles"
	"evenpole/shop/workshop"

	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/chromedp"
)

// shots is where pictures of all pages go.
var shots = flag.String("shots", "", "write pictures of all pages into this `folder`")

// axeVariable names the script of axe-core: https://github.com/dequelabs/axe-core.
const axeVariable = "EVENPOLE_AXE"

// looks are how pages are looked at. Colours are the same at every width, so that axe-core
// is asked twice a page.
var looks = []struct {
	scheme string
	width  int64
	axe    bool
}{{"light", 360, false}, {"dark", 360, true}, {"light", 1024, true}, {"dark", 1024, false}, {"light", 1920, false}, {"dark", 1920, false}}

// fullShop serves a shop that has something of everything: the sample shop's record and a
// model of it, a pickup that was captured, its certificate, and a slip in an order.
// Its order and its mount are in units.
func fullShop(t *testing.T, dir string, u profiles.Units) (s *Server, pages []string) {
	t.Helper()
	jig := startJig(t, sim.Config{}, nil)
	s = servingShop(t, dir, Options{Loopback: true, Open: jig.open, Version: "v"})
	post := func(path string, form url.Values) {
		t.Helper()
		if w := answer(s, request(http.MethodPost, path, form)); w.Code != http.StatusSeeOther {
			t.Fatalf("%s: status %d: %s", path, w.Code, w.Body)
		}
	}
	post("/models/fit", nil)
	<-s.fitter.done
	keepAnother(t, s)
	if _, err := s.shop.UseModel("model-001.json", "for the test"); err != nil {
		t.Fatal(err)
	}
	post("/order/save", asText(profiles.Sample{Text: workshop.OrderText}.In(u)))
	form := startForm()
	form.Set("text", profiles.Sample{Text: form.Get("text")}.In(u))
	post("/capture/start", form)
	s.bench.mu.Lock()
	captured := s.bench.done
	s.bench.mu.Unlock()
	<-captured
	post("/check/issue", url.Values{"order": {"L-012"}, "pickup": {"sim"}})
	if err := os.WriteFile(filepath.Join(dir, "orders", "slip.toml"), []byte("id = 7\n"), 0o666); err != nil {
		t.Fatal(err)
	}
	return s, []string{
		"/", "/capture", "/capture/recording", "/orders", "/order?name=L-012", "/order/try?name=L-012", "/order/write", "/order/write?as=text", "/pickups", "/pickup?id=P1", "/session?id=s001",
		"/check?pickup=sim&order=L-012", "/certificate?number=1", "/batches", "/batch?name=M-01", "/models", "/model?name=001", "/model/compare?name=002", "/next", "/jig", "/drift",
		"/enter", "/nothing", "/order?name=slip",
	}
}

// TestPagesAreForEveryone: axe-core finds nothing wrong with any page, light or dark, and
// none is wider than the screen.
func TestPagesAreForEveryone(t *testing.T) {
	axe := os.Getenv(axeVariable)
	script, err := os.ReadFile(axe)
	if err != nil && *shots == "" {
		t.Skipf("no axe-core: %s names no script of it (npm has it), so accessibility is not tested", axeVariable)
	}
	s, pages := fullShop(t, sampleShop(t, t.TempDir()), profiles.Millimetres)
	papers, err := filepath.Glob(filepath.Join(s.shop.Dir(), "certificates", "*.html"))
	if err != nil || len(papers) != 2 {
		t.Fatal(papers, err)
	}
	for _, paper := range papers { // in their sandbox no script runs, axe-core neither
		pages = append(pages, "file://"+filepath.ToSlash(paper))
	}
	b := browse(t, s)
	for i, path := range pages {
		for _, look := range looks {
			if look.scheme == "dark" && !look.axe && *shots == "" {
				continue
			}
			b.look(look.scheme, look.width)
			b.open(path)
			if wide := ask[int](b, "document.documentElement.scrollWidth - document.documentElement.clientWidth"); wide > 0 {
				t.Errorf("%s at %d: %d px wider than the screen", path, look.width, wide)
			}
			if *shots != "" {
				b.shoot(fmt.Sprintf("%02d-%s-%d.png", i, look.scheme, look.width))
			}
			if axe == "" || !look.axe {
				continue
			}
			ask[bool](b, string(script)+";true")
			found, err := chromedp.Run(b.ctx, chromedp.Evaluate[[]string](
				`axe.run().then((r) => r.violations.flatMap((v) => v.nodes.map((n) => v.id + ": " + n.html.slice(0, 200) + " " + n.failureSummary)))`, chromedp.EvalAwaitPromise))
			if err != nil || len(found) > 0 {
				t.Errorf("%s, %s, %d px: %v\n%s", path, look.scheme, look.width, err, strings.Join(found, "\n"))
			}
		}
	}
}

// look sets how wide the screen is, and which colours a person wants.
func (b *inBrowser) look(scheme string, width int64) {
	b.t.Helper()
	b.do(chromedp.EmulateViewport(width, 900))
	if _, err := chromedp.Call(b.ctx, emulation.SetEmulatedMedia, emulation.SetEmulatedMediaParams{
		Features: []*emulation.MediaFeature{{Name: "prefers-color-scheme", Value: scheme}, {Name: "prefers-reduced-motion", Value: "reduce"}},
	}); err != nil {
		b.t.Fatal(err)
	}
}

// shoot writes a picture of the whole page.
func (b *inBrowser) shoot(name string) {
	b.t.Helper()
	ask[bool](b, "document.querySelectorAll('img').forEach((i) => { i.loading = 'eager'; }), true")
	b.wait("[...document.images].every((i) => i.complete)")
	picture, err := chromedp.Run(b.ctx, chromedp.FullScreenshot(100))
	if err != nil {
		b.t.Fatal(err)
	}
	if err := os.WriteFile(filepath.Join(*shots, name), picture, 0o666); err != nil {
		b.t.Fatal(err)
	}
}
