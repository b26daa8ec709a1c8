package page

import (
	"net/http"
	"net/url"
	"strings"
	"testing"
)

// keepAnother keeps the first model of a shop once more, as if of another record.
func keepAnother(t *testing.T, s *Server) {
	t.Helper()
	m, err := s.shop.ReadModel("model-001.json")
	if err != nil {
		t.Fatal(err)
	}
	data, err := s.shop.Cells(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	m.Fingerprint = strings.Repeat("0", len(m.Fingerprint))
	if _, err := s.shop.Keep(m, data, true); err != nil {
		t.Fatal(err)
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
	keepAnother(t, s)
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
