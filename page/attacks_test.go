package page

import (
	"encoding/csv"
	"net/http"
	"net/url"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"evenpole/jig/sim"
	"evenpole/profiles"
	"evenpole/shop/workshop"
)

// changing is every address that changes something, with what it takes.
var changing = map[string]url.Values{
	"/capture/start":     {"port": {"/dev/ttySIM0"}, "purpose": {"check"}, "takes": {"3"}, "mount": {""}, "text": {workshop.FlatMount}},
	"/capture/check":     {"text": {workshop.FlatMount}},
	"/capture/pause":     nil,
	"/capture/go-on":     nil,
	"/capture/take-back": nil,
	"/capture/take-over": nil,
	"/order/check":       {"text": {workshop.OrderText}},
	"/order/save":        {"text": {workshop.OrderText}},
	"/check/issue":       {"order": {"L-012"}, "pickup": {"P-2"}, "ohm": {""}, "celsius": {"20"}},
	"/models/fit":        nil,
	"/models/use":        {"name": {"1"}},
	"/enter":             {"code": {"K"}},
}

// steady is a clock under which no rate is exceeded.
func steady() func() time.Time {
	now := time.Date(2026, 3, 2, 8, 0, 0, 0, time.UTC)
	return func() time.Time { now = now.Add(time.Second); return now }
}

// files are the names of all files of a shop, with their contents.
func filesOf(t *testing.T, dir string) (all []string) {
	t.Helper()
	if err := filepath.WalkDir(dir, func(path string, d os.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		text, err := os.ReadFile(path)
		all = append(all, path+"\n"+string(text))
		return err
	}); err != nil {
		t.Fatal(err)
	}
	return all
}

// unchanged fails where a shop is not as it was.
func unchanged(t *testing.T, dir string, before []string) {
	t.Helper()
	after := filesOf(t, dir)
	for _, file := range after {
		if !slices.Contains(before, file) {
			t.Errorf("changed: %.300s", file)
		}
	}
	if len(after) != len(before) {
		t.Errorf("%d files, were %d", len(after), len(before))
	}
}

// Whatever another page on the web sends, by whatever name, changes nothing.
func TestNothingChangesFromElsewhere(t *testing.T) {
	dir := hostileShop(t)
	s := servingShop(t, dir, Options{Loopback: true, Now: steady()})
	before := filesOf(t, dir)
	for path, form := range changing {
		for name, disguise := range map[string]func(*http.Request){
			"another host": func(r *http.Request) {
				r.Host = "rebound.example:7420"
				r.Header.Set("Origin", "http://rebound.example:7420")
			},
			"another origin":   func(r *http.Request) { r.Header.Set("Origin", "http://elsewhere.example") },
			"another port":     func(r *http.Request) { r.Header.Set("Origin", "http://127.0.0.1:8080") },
			"no origin":        func(r *http.Request) { r.Header.Del("Origin"); r.Header.Del("Sec-Fetch-Site") },
			"an opaque origin": func(r *http.Request) { r.Header.Set("Origin", "null") },
			"a link of a page": func(r *http.Request) {
				r.Method = http.MethodGet
				r.URL.RawQuery = form.Encode()
				r.Header.Del("Origin")
			},
			"a page of the site": func(r *http.Request) { r.Header.Del("Origin"); r.Header.Set("Sec-Fetch-Site", "same-site") },
		} {
			r := request(http.MethodPost, path, form)
			disguise(r)
			if w := answer(s, r); w.Code < 400 && path != "/enter" {
				t.Errorf("%s, %s: status %d", path, name, w.Code)
			}
		}
	}
	if now := s.bench.shown(""); now.State != idle {
		t.Errorf("%+v", now)
	}
	unchanged(t, dir, before)
}

func TestBodiesAreBoundedEverywhere(t *testing.T) {
	dir := hostileShop(t)
	s := servingShop(t, dir, Options{Loopback: true, Now: steady()})
	before := filesOf(t, dir)
	for path := range changing {
		switch path {
		case "/capture/pause", "/capture/go-on", "/capture/take-back", "/capture/take-over", "/models/fit": // read no body
			continue
		}
		r := request(http.MethodPost, path, url.Values{"text": {strings.Repeat("x", largestBody+1)}})
		wants(t, answer(s, r), http.StatusRequestEntityTooLarge)
	}
	unchanged(t, dir, before)
}

// No parameter of what changes something leads out of the shop, or to another file.
func TestNoParameterLeadsAstray(t *testing.T) {
	dir := hostileShop(t)
	s := servingShop(t, dir, Options{Loopback: true, Now: steady()})
	before := filesOf(t, dir)
	for path, form := range changing {
		for key := range form {
			if key == "code" || key == "celsius" { // of no account without ohm
				continue
			}
			for _, bad := range []string{"../secret", `..\secret`, "../../etc/passwd", "/etc/passwd", "/dev/../etc/passwd", "orders/../../secret", "L-012/../L-012", "..", "\x00", "%2e%2e%2fsecret", strings.Repeat("../", 2000)} {
				odd := url.Values{}
				for k, v := range form {
					odd[k] = v
				}
				odd.Set(key, bad)
				w := answer(s, request(http.MethodPost, path, odd))
				said := w.Code >= 400 && w.Code < 500 || strings.HasSuffix(path, "/check") && (strings.Contains(w.Body.String(), `"trouble":"order:`) || strings.Contains(w.Body.String(), `"trouble":"mount:`))
				if !said || strings.Contains(w.Body.String(), "root:") {
					t.Errorf("%s, %s %.40q: status %d: %.300s", path, key, bad, w.Code, w.Body)
				}
			}
		}
	}
	unchanged(t, dir, before)
}

// hasScript reports whether a page has a script of somebody's name.
func hasScript(text string) bool {
	return strings.Contains(text, "<script src=//") || strings.Contains(text, "<script>")
}

// A script in any field of a mount is a text: on the page that it comes back on, in events,
// and on the pages that show what was captured with it.
func TestScriptsInEveryFieldOfAMount(t *testing.T) {
	in, whole, err := profiles.MountFormat.Fill("mount", []byte(workshop.FlatMount))
	if err != nil || !whole {
		t.Fatal(whole, err)
	}
	in.Typed["string_heights"] = "3, 3, 3, 3, 3, 3"
	captured := 0
	for _, g := range profiles.MountFormat.Form(profiles.Filled{}) {
		for _, x := range g.Rows[0] {
			typed := map[string]string{}
			for path, text := range in.Typed {
				typed[path] = text
			}
			typed[x.Path] = script
			if x.Path == "magnets" {
				typed[x.Path] = strings.Repeat("magnet ,", 5) + script
			}
			text, _ := profiles.MountFormat.File(profiles.Filled{Units: in.Units, Typed: typed})
			s, open := served(t, startJig(t, sim.Config{Scatter: &sim.Scatter{}}, nil))
			at := open()
			form := startForm()
			form.Set("text", text)
			if status, text := at.post("/capture/start", form); hasScript(text) {
				t.Errorf("%s: status %d: %.500s", x.Path, status, text)
			}
			if s.bench.shown("").State == idle {
				continue // refused
			}
			captured++
			at.watch(either(complete, ended))
			for _, path := range []string{"/capture", "/", "/pickups", "/pickup?id=" + url.QueryEscape(typed["pickup"]), "/session?id=s001", "/batches"} {
				if text := at.get(path); hasScript(text) {
					t.Errorf("%s: %s has a script", x.Path, path)
				}
			}
		}
	}
	if captured < 2 {
		t.Errorf("%d mounts with a script were captured", captured)
	}
}

// either is in for either of two states.
func either(one, other string) func(seen) bool {
	return func(b seen) bool { return b.State == one || b.State == other }
}

// A script in any column of the record is a text, or the row is refused with its place.
func TestScriptsInEveryColumnOfTheRecord(t *testing.T) {
	for _, file := range []string{"readings.csv", "fields.csv"} {
		whole, err := os.ReadFile(filepath.Join("..", "testdata", "sample-shop", file))
		if err != nil {
			t.Fatal(err)
		}
		rows, err := csv.NewReader(strings.NewReader(string(whole))).ReadAll()
		if err != nil {
			t.Fatal(err)
		}
		for c, column := range rows[0] {
			dir := t.TempDir()
			var b strings.Builder
			w := csv.NewWriter(&b)
			for i, row := range rows[:min(len(rows), 60)] {
				row = slices.Clone(row)
				if i > 0 {
					row[c] = script
				}
				if err := w.Write(row); err != nil {
					t.Fatal(err)
				}
			}
			w.Flush()
			if err := os.WriteFile(filepath.Join(dir, file), []byte(b.String()), 0o666); err != nil {
				t.Fatal(err)
			}
			s := servingShop(t, dir, Options{Loopback: true, Now: steady()})
			for _, path := range []string{"/", "/pickups", "/batches", "/jig", "/drift", "/models", "/next", "/pickup?id=" + url.QueryEscape(script), "/session?id=" + url.QueryEscape(script), "/batch?name=" + url.QueryEscape(script), "/batch?name=M-01"} {
				page := get(s, path)
				if hasScript(page.Body.String()) || page.Code >= 500 {
					t.Errorf("%s, %s: %s: status %d: %.300s", file, column, path, page.Code, page.Body)
				}
			}
		}
	}
}
