package page

import (
	"maps"
	"net/http"
	"net/http/httptest"
	"net/url"
	"path/filepath"
	"strings"
	"testing"

	"evenpole/jig/sim"
	"evenpole/shop/workshop"
)

// A pickup that is captured stands against an order, and no certificate is issued.
func TestACheckWhileItIsCaptured(t *testing.T) {
	s, open := served(t, startJig(t, sim.Config{Scatter: &sim.Scatter{}}, nil))
	at := open()
	at.post("/order/save", url.Values{"text": {workshop.OrderText}})
	at.post("/capture/start", startForm())
	at.watch(in(complete))
	wants(t, get(s, "/pickup?id=sim"), http.StatusOK, "/check?pickup=sim&amp;order=L-012")
	wants(t, get(s, "/check?pickup=sim&order=L-012"), http.StatusOK, "out of tolerance", "Strings against the tolerance", "Beside what is expected", "Issue the certificate")
	if issued, err := s.shop.Certificates(); err != nil || len(issued) != 0 {
		t.Errorf("%d certificates, %v", len(issued), err)
	}
	for _, q := range []string{"pickup=none&order=L-012", "pickup=sim&order=..%2Fsecret", "pickup=..%2Fsim&order=L-012"} {
		if w := get(s, "/check?"+q); w.Code < 400 || w.Code >= 500 {
			t.Errorf("%s: status %d", q, w.Code)
		}
	}
}

// issuing issues the certificate of the pickup on the jig.
func issuing(s *Server, other url.Values) *httptest.ResponseRecorder {
	form := url.Values{"order": {"L-012"}, "pickup": {"sim"}}
	maps.Copy(form, other)
	return answer(s, request(http.MethodPost, "/check/issue", form))
}

// A certificate is issued from the page as 'check' issues one, with its papers.
func TestACertificateIsIssued(t *testing.T) {
	s, open := served(t, startJig(t, sim.Config{Scatter: &sim.Scatter{}}, nil))
	at := open()
	at.post("/order/save", url.Values{"text": {workshop.OrderText}})
	at.post("/capture/start", startForm())
	at.watch(in(complete))
	for _, bad := range []url.Values{{"ohm": {"6.2k"}}, {"ohm": {"6200"}, "celsius": {"warm"}}, {"ohm": {"6.2"}, "celsius": {"20"}}, {"order": {"../secret"}}, {"pickup": {"../sim"}}} {
		if w := issuing(s, bad); w.Code < 400 || w.Code >= 500 {
			t.Errorf("%v: status %d", bad, w.Code)
		}
	}
	if issued, err := s.shop.Certificates(); err != nil || len(issued) != 0 {
		t.Fatalf("%d certificates, %v", len(issued), err)
	}
	for range 2 { // what says the same is not issued again
		w := issuing(s, url.Values{"ohm": {"6200"}, "celsius": {"25"}})
		if to := w.Header().Get("Location"); w.Code != http.StatusSeeOther || to != "/certificate?number=1" {
			t.Fatalf("status %d, to %q: %s", w.Code, to, w.Body)
		}
	}
	wants(t, get(s, "/certificate?number=1"), http.StatusOK, "out of tolerance", "Strings against the tolerance")
	wants(t, get(s, "/certificate/page?number=1&as=html"), http.StatusOK, "L-012", "</html>")
	wants(t, get(s, "/certificate/page?number=1&as=pdf"), http.StatusOK, "%PDF")
	files, err := filepath.Glob(filepath.Join(s.shop.Dir(), "certificates", "0001-*-workshop.*"))
	if err != nil || len(files) != 2 {
		t.Errorf("sheets %q, %v", files, err)
	}
}

// A certificate with letters that PDF pages have not has none, and its page says which, as 'check' does.
func TestACertificateWithoutAPDF(t *testing.T) {
	s, open := served(t, startJig(t, sim.Config{Scatter: &sim.Scatter{}}, nil))
	at := open()
	at.post("/order/save", url.Values{"text": {strings.Replace(workshop.OrderText, `id = "L-012"`, "id = \"L-012\"\ncustomer = \"ไทย\"", 1)}})
	at.post("/capture/start", startForm())
	at.watch(in(complete))
	if w := issuing(s, nil); w.Code != http.StatusSeeOther {
		t.Fatalf("status %d: %s", w.Code, w.Body)
	}
	page := get(s, "/certificate?number=1")
	wants(t, page, http.StatusOK, "PDF pages have no letters for", "ไทย", "The certificate to print")
	if strings.Contains(page.Body.String(), "as=pdf") {
		t.Error("a PDF that is not there is linked")
	}
	wants(t, get(s, "/certificate/page?number=1&as=pdf"), http.StatusUnprocessableEntity, "PDF pages have no letters for")
}

// While a pickup is captured its certificate waits; other pickups' do not.
func TestACertificateWaitsForItsCapture(t *testing.T) {
	s, open := served(t, startJig(t, sim.Config{Scatter: &sim.Scatter{}, Speed: 20}, nil))
	at := open()
	at.post("/order/save", url.Values{"text": {workshop.OrderText}})
	at.post("/capture/start", startForm())
	at.watch(func(b seen) bool { return b.Next == "String 3" })
	wants(t, issuing(s, nil), http.StatusUnprocessableEntity, "is being captured")
	wants(t, get(s, "/check?pickup=sim&order=L-012"), http.StatusOK, "Once its capture is complete", "follow.js")
	at.post("/capture/pause", nil)
	at.watch(in(paused))
	wants(t, get(s, "/check?pickup=sim&order=L-012"), http.StatusOK, "Issue the certificate")
}
