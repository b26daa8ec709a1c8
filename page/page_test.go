package page

import (
	"context"
	"io"
	"net"
	"net/http"
	"net/http/httptest"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"evenpole/shop"
)

const here = "127.0.0.1:7420"

// serving serves the pages of an empty shop.
func serving(t *testing.T, o Options) *Server {
	t.Helper()
	return servingShop(t, t.TempDir(), o)
}

func servingShop(t *testing.T, dir string, o Options) *Server {
	t.Helper()
	of, err := shop.Open(dir)
	if err != nil {
		t.Fatal(err)
	}
	s, err := New(of, o)
	if err != nil {
		t.Fatal(err)
	}
	return s
}

// request is a request as a browser at the bench sends it.
func request(method, path string, form url.Values) *http.Request {
	r := httptest.NewRequest(method, path, strings.NewReader(form.Encode()))
	r.Host = here
	if method != http.MethodGet {
		r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
		r.Header.Set("Origin", "http://"+here)
		r.Header.Set("Sec-Fetch-Site", "same-origin")
	}
	return r
}

func answer(s *Server, r *http.Request) *httptest.ResponseRecorder {
	w := httptest.NewRecorder()
	s.ServeHTTP(w, r)
	return w
}

func get(s *Server, path string) *httptest.ResponseRecorder {
	return answer(s, request(http.MethodGet, path, nil))
}

// wants fails unless an answer has a status and all of some texts.
func wants(t *testing.T, w *httptest.ResponseRecorder, status int, texts ...string) {
	t.Helper()
	if w.Code != status {
		t.Errorf("status %d, want %d:\n%.2000s", w.Code, status, w.Body)
	}
	for _, text := range texts {
		if !strings.Contains(w.Body.String(), text) {
			t.Errorf("no %q in:\n%.4000s", text, w.Body)
		}
	}
}

func TestForeignHosts(t *testing.T) {
	loopback, open := serving(t, Options{Loopback: true}), serving(t, Options{Code: "K"})
	for host, want := range map[string][2]int{
		here:                     {200, 401},
		"localhost:7420":         {200, 401},
		"[::1]:7420":             {200, 401},
		"127.0.0.1":              {200, 401},
		"192.168.7.20:7420":      {421, 401},
		"rebound.example:7420":   {421, 421},
		"127.0.0.1.example:7420": {421, 421},
		"localhost.example":      {421, 421},
		"":                       {421, 421},
		"[::1%25x]:7420":         {421, 421},
	} {
		for i, s := range []*Server{loopback, open} {
			r := request(http.MethodGet, "/", nil)
			r.Host = host
			if got := answer(s, r).Code; got != want[i] {
				t.Errorf("host %q, loopback %v: status %d, want %d", host, i == 0, got, want[i])
			}
		}
	}
}

func TestForeignOrigins(t *testing.T) {
	s := serving(t, Options{Loopback: true, Code: "K"})
	for _, c := range []struct {
		method, origin, site, mode, dest string
		refused                          bool
	}{
		{"GET", "", "", "", "", false},
		{"GET", "", "none", "navigate", "document", false},
		{"GET", "", "cross-site", "navigate", "document", false}, // a link
		{"GET", "", "cross-site", "navigate", "iframe", true},
		{"GET", "", "cross-site", "no-cors", "image", true},
		{"GET", "", "same-site", "cors", "empty", true}, // another port of this machine
		{"GET", "http://elsewhere.example", "", "", "", true},
		{"POST", "", "", "", "", true},
		{"POST", "null", "", "", "", true},
		{"POST", "http://elsewhere.example", "", "", "", true},
		{"POST", "http://localhost:7420", "", "", "", true},
		{"POST", "http://127.0.0.1:8080", "same-site", "", "", true},
		{"POST", "https://" + here, "", "", "", true},
		{"POST", "http://" + here, "cross-site", "", "", false},
		{"POST", "", "same-origin", "", "", false},
	} {
		r := request(c.method, "/enter", url.Values{"code": {"K"}})
		for key, value := range map[string]string{"Origin": c.origin, "Sec-Fetch-Site": c.site, "Sec-Fetch-Mode": c.mode, "Sec-Fetch-Dest": c.dest} {
			r.Header.Del(key)
			if value != "" {
				r.Header.Set(key, value)
			}
		}
		if w := answer(s, r); (w.Code == http.StatusForbidden) != c.refused || c.refused && w.Header().Get("Set-Cookie") != "" {
			t.Errorf("%+v: status %d", c, w.Code)
		}
	}
}

func TestAccessCode(t *testing.T) {
	now := time.Date(2026, 3, 2, 8, 0, 0, 0, time.UTC)
	s := serving(t, Options{Code: "ABCDEFGHJKLM", Now: func() time.Time { return now }})
	w := get(s, "/")
	wants(t, w, http.StatusUnauthorized, `action="/enter"`)
	if strings.Contains(w.Body.String(), s.name) {
		t.Error("the shop's name is told before the code is given")
	}
	try := func(code string) *httptest.ResponseRecorder {
		return answer(s, request(http.MethodPost, "/enter", url.Values{"code": {code}}))
	}
	for _, code := range []string{"", "ABCDEFGHJKL", "ABCDEFGHJKLMN"} {
		if w := try(code); w.Code != http.StatusForbidden || w.Header().Get("Set-Cookie") != "" {
			t.Errorf("code %q: status %d", code, w.Code)
		}
	}
	w = try(" abcdef ghjklm ")
	cookies := w.Result().Cookies()
	if w.Code != http.StatusSeeOther || len(cookies) != 1 || !cookies[0].HttpOnly || cookies[0].SameSite != http.SameSiteStrictMode || cookies[0].Value == s.guard.code {
		t.Fatalf("status %d, cookies %v", w.Code, cookies)
	}
	r := request(http.MethodGet, "/", nil)
	r.AddCookie(cookies[0])
	wants(t, answer(s, r), http.StatusOK, s.name)
	r = request(http.MethodGet, "/", nil)
	r.AddCookie(&http.Cookie{Name: cookieName, Value: "ABCDEFGHJKLM"})
	wants(t, answer(s, r), http.StatusUnauthorized)

	for range triesAMinute {
		now = now.Add(100 * time.Millisecond) // one change at a time
		try("WRONG")
	}
	now = now.Add(time.Second)
	wants(t, try("ABCDEFGHJKLM"), http.StatusTooManyRequests)
	now = now.Add(time.Minute)
	wants(t, try("ABCDEFGHJKLM"), http.StatusSeeOther)
}

func TestWithoutACodeNoneIsGiven(t *testing.T) {
	s := serving(t, Options{Loopback: true})
	if w := answer(s, request(http.MethodPost, "/enter", url.Values{"code": {""}})); w.Header().Get("Set-Cookie") != "" {
		t.Error("an empty code was taken for one")
	}
}

func TestHeaders(t *testing.T) {
	s := serving(t, Options{Loopback: true})
	for _, path := range []string{"/", "/look/page.css", "/nothing"} {
		h := get(s, path).Header()
		policy := h.Get("Content-Security-Policy")
		if !strings.Contains(policy, "default-src 'none'") || strings.Contains(policy, "unsafe") || h.Get("X-Content-Type-Options") != "nosniff" {
			t.Errorf("%s: %v", path, h)
		}
	}
}

// The policy lets no script or style within a page run; so no template has any.
func TestTemplatesHaveNothingInline(t *testing.T) {
	files, err := filepath.Glob("look/*.html")
	if err != nil || len(files) == 0 {
		t.Fatal(files, err)
	}
	for _, file := range files {
		text, err := os.ReadFile(file)
		if err != nil {
			t.Fatal(err)
		}
		for _, word := range []string{"<style", " style=", " onclick=", " onload=", "javascript:", "://"} {
			if strings.Contains(string(text), word) {
				t.Errorf("%s has %q", file, word)
			}
		}
	}
}

func TestBodiesAreBounded(t *testing.T) {
	s := serving(t, Options{Code: "K"})
	r := request(http.MethodPost, "/enter", url.Values{"code": {strings.Repeat("K", largestBody+1)}})
	wants(t, answer(s, r), http.StatusRequestEntityTooLarge)
}

func TestRatesAreBounded(t *testing.T) {
	now := time.Date(2026, 3, 2, 8, 0, 0, 0, time.UTC)
	s := serving(t, Options{Loopback: true, Now: func() time.Time { return now }})
	refused := 0
	for range 2 * requestsASec {
		if get(s, "/").Code == http.StatusTooManyRequests {
			refused++
		}
	}
	if refused != requestsASec {
		t.Errorf("%d requests refused, want %d", refused, requestsASec)
	}
	now = now.Add(time.Second)
	wants(t, get(s, "/"), http.StatusOK)
	for range changesASec {
		answer(s, request(http.MethodPost, "/enter", nil))
	}
	wants(t, answer(s, request(http.MethodPost, "/enter", nil)), http.StatusTooManyRequests)
}

// What changes something has the method POST, and a POST nowhere else does anything.
func TestNothingChangesByGET(t *testing.T) {
	s := serving(t, Options{Loopback: true})
	for _, method := range []string{"POST", "PUT", "DELETE", "PATCH"} {
		if w := answer(s, request(method, "/", nil)); w.Code < 400 {
			t.Errorf("%s /: status %d", method, w.Code)
		}
	}
}

func TestAssetsAreTheProgramsOwn(t *testing.T) {
	s := serving(t, Options{Loopback: true})
	wants(t, get(s, "/look/page.css"), http.StatusOK, "prefers-color-scheme")
	for _, path := range []string{"/look/page.html", "/look/..%2fpage.go", "/look/%2e%2e%2f%2e%2e%2fetc%2fpasswd", "/look/", "/look/none.css", "/look/..%5cpage.go"} {
		if w := get(s, path); w.Code == http.StatusOK {
			t.Errorf("%s: %d %.100s", path, w.Code, w.Body)
		}
	}
}

func TestServeEndsWithItsContext(t *testing.T) {
	s := serving(t, Options{Loopback: true})
	l, loopback, err := Listen("127.0.0.1:0")
	if err != nil || !loopback {
		t.Fatal(loopback, err)
	}
	ctx, cancel := context.WithCancel(context.Background())
	served := make(chan error, 1)
	go func() { served <- s.Serve(ctx, l) }()
	resp, err := http.Get(Addresses(l)[0])
	if err != nil {
		t.Fatal(err)
	}
	body, err := io.ReadAll(resp.Body)
	resp.Body.Close()
	if err != nil || resp.StatusCode != http.StatusOK || !strings.Contains(string(body), s.name) {
		t.Errorf("status %d, %v", resp.StatusCode, err)
	}
	cancel()
	if err := <-served; err != nil {
		t.Error(err)
	}
	if c, err := net.Dial("tcp", l.Addr().String()); err == nil {
		c.Close()
		t.Error("still listens")
	}
}
