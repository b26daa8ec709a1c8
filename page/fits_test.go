package page

import (
	"context"
	"net/http"
	"net/url"
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
	wants(t, get(s, "/check?pickup=sim&order=L-012"), http.StatusOK, "out of tolerance", "Strings against the tolerance", "Beside what is expected", "no certificate was issued")
	if issued, err := s.shop.Certificates(); err != nil || len(issued) != 0 {
		t.Errorf("%d certificates, %v", len(issued), err)
	}
	for _, q := range []string{"pickup=none&order=L-012", "pickup=sim&order=..%2Fsecret", "pickup=..%2Fsim&order=L-012"} {
		if w := get(s, "/check?"+q); w.Code < 400 || w.Code >= 500 {
			t.Errorf("%s: status %d", q, w.Code)
		}
	}
}

// A fit is run, its model kept, another compared with it and accepted.
func TestAFitIsAccepted(t *testing.T) {
	s := servingShop(t, hostileShop(t), Options{Loopback: true, Version: "v"})
	fitted := func() {
		t.Helper()
		w := answer(s, request(http.MethodPost, "/models/fit", nil))
		if w.Code != http.StatusSeeOther {
			t.Fatalf("status %d: %s", w.Code, w.Body)
		}
		<-s.fitter.done
	}
	fitted()
	wants(t, get(s, "/models"), http.StatusOK, "model-001", "a new model was kept; it is the current one", "Fit now")
	fitted()
	wants(t, get(s, "/models"), http.StatusOK, "the shop has this very model already")
	m, err := s.shop.ReadModel("model-001.json")
	if err != nil {
		t.Fatal(err)
	}
	data, err := s.shop.Cells(context.Background())
	if err != nil {
		t.Fatal(err)
	}
	m.Fingerprint = strings.Repeat("0", len(m.Fingerprint)) // as if of another record
	if _, err := s.shop.Keep(m, data, true); err != nil {
		t.Fatal(err)
	}
	wants(t, get(s, "/model?name=model-001"), http.StatusOK, "/model/compare?name=model-001", "Make model-001 the current model", "Balance: measured over predicted")
	wants(t, get(s, "/model/compare?name=model-001"), http.StatusOK, "compared on", "model-002")
	w := answer(s, request(http.MethodPost, "/models/use", url.Values{"name": {"model-001"}}))
	if current, err := s.shop.CurrentModel(); w.Code != http.StatusSeeOther || err != nil || current != "model-001.json" {
		t.Errorf("status %d, current %s, %v", w.Code, current, err)
	}
	for _, name := range []string{"", "../x", "9", "model-001.json/../../x"} {
		if w := answer(s, request(http.MethodPost, "/models/use", url.Values{"name": {name}})); w.Code != http.StatusUnprocessableEntity {
			t.Errorf("%q: status %d", name, w.Code)
		}
	}
}

func TestOneFitAtATime(t *testing.T) {
	var f fitter
	hold := make(chan struct{})
	if err := f.start(func() (string, error) { <-hold; return "done", nil }); err != nil {
		t.Fatal(err)
	}
	if err := f.start(func() (string, error) { return "", nil }); err == nil {
		t.Error("a second fit was started")
	}
	close(hold)
	<-f.done
	if running, words := f.told(); running || words != "done" {
		t.Error(running, words)
	}
}
