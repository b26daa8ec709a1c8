package page

import (
	"encoding/json"
	"net/http"
	"net/http/httptest"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"evenpole/shop/workshop"
)

// trying is the answer to a trial.
func trying(t *testing.T, s *Server, query string) tried {
	t.Helper()
	w := get(s, "/order/try/now?name=L-012&"+query)
	var out tried
	if err := json.Unmarshal(w.Body.Bytes(), &out); w.Code != http.StatusOK || err != nil {
		t.Fatalf("status %d: %s, %v", w.Code, w.Body, err)
	}
	return out
}

// At the plan's heights a trial says what the plan says; a pole that is raised makes its
// own string louder than the others.
func TestTheBalanceFollowsThePoles(t *testing.T) {
	s := servingShop(t, hostileShop(t), Options{Loopback: true})
	rows := strings.Split(strings.TrimSpace(get(s, "/order?name=L-012&csv=poles").Body.String()), "\r\n")[1:]
	q := url.Values{}
	for _, row := range rows {
		cells := strings.Split(row, ",")
		q.Set("pole"+cells[0], cells[2])
	}
	planned := trying(t, s, q.Encode())
	if planned.Trouble != "" || len(planned.Strings) != 6 {
		t.Fatalf("%+v", planned)
	}
	page := get(s, "/order/try?name=L-012")
	wants(t, page, http.StatusOK, `name="pole6"`, `name="radius"`)
	for i, x := range planned.Strings {
		if cells := strings.Split(rows[i], ","); x.Pole != cells[2] || x.Balance != strings.TrimPrefix(cells[6], "'") || x.Most == "" {
			t.Errorf("%+v is not as planned: %s", x, rows[i])
		}
	}
	q.Set("pole3", "2.4")
	if raised := trying(t, s, q.Encode()); raised.Strings[2].Bar <= planned.Strings[2].Bar || raised.Strings[1].Bar >= planned.Strings[1].Bar {
		t.Errorf("string 3 raised: %+v", raised.Strings)
	}
}

func TestTrialsThatCannotBe(t *testing.T) {
	s := servingShop(t, hostileShop(t), Options{Loopback: true})
	for query, says := range map[string]string{
		"pole1=7.5":           "reaches the string",
		"pole1=NaN":           "pole height:",
		"first=-3":            "string height:",
		"first=Inf":           "string height:",
		"radius=12":           "radius: expected",
		"radius=NaN":          "radius: expected",
		"set=none%3Cscript":   "no string set",
		"set=../strings.toml": "no string set",
	} {
		if got := trying(t, s, query); !strings.Contains(got.Trouble, says) {
			t.Errorf("%s: %+v", query, got)
		}
	}
	wants(t, get(s, "/order/try/now?name=L-012&pole1=%3Cb%3E"), http.StatusUnprocessableEntity, "&lt;b&gt;")
	for _, path := range []string{"/order/try?name=..%2Fsecret", "/order/try/now?name=..%2Fsecret", "/order/write?name=..%2Fsecret"} {
		wants(t, get(s, path), http.StatusNotFound)
	}
}

// checking is what is said of an order as it is typed.
func checking(t *testing.T, s *Server, text string) (v writeView) {
	t.Helper()
	r := httptest.NewRequest(http.MethodPost, "/order/check", strings.NewReader(text))
	r.Host = here
	r.Header.Set("Origin", "http://"+here)
	w := answer(s, r)
	if err := json.Unmarshal(w.Body.Bytes(), &v); w.Code != http.StatusOK || err != nil {
		t.Fatalf("status %d: %s, %v", w.Code, w.Body, err)
	}
	return v
}

func TestOrdersAreWritten(t *testing.T) {
	dir := t.TempDir()
	s := servingShop(t, dir, Options{Loopback: true})
	page := get(s, "/order/write")
	wants(t, page, http.StatusOK, "fretboard_radius_in")
	begin, err := files.ReadFile("look/order.toml")
	if err != nil {
		t.Fatal(err)
	}
	if v := checking(t, s, string(begin)); v.Trouble != "" || v.Fine == "" {
		t.Errorf("the order to begin with: %+v", v)
	}
	slip := strings.Replace(workshop.OrderText, "fretboard_radius_in = 7.25", "fretboard_radius_mm = 7.25", 1)
	if v := checking(t, s, slip); !strings.Contains(v.Trouble, "if that is inches, write fretboard_radius_in") || v.Fine != "" {
		t.Errorf("%+v", v)
	}
	save := func(text string) *httptest.ResponseRecorder {
		return answer(s, request(http.MethodPost, "/order/save", url.Values{"text": {text}}))
	}
	wants(t, save(slip), http.StatusUnprocessableEntity, "if that is inches", "7.25")
	w := save(strings.ReplaceAll(workshop.OrderText, "\n", "\r\n"))
	if at := w.Header().Get("Location"); w.Code != http.StatusSeeOther || at != "/order?name=L-012" {
		t.Errorf("status %d, to %q: %s", w.Code, at, w.Body)
	}
	text, err := os.ReadFile(filepath.Join(dir, "orders", "L-012.toml"))
	if err != nil || string(text) != workshop.OrderText {
		t.Errorf("%v: %q", err, text)
	}
	wants(t, save(workshop.OrderText+"# other\n"), http.StatusUnprocessableEntity, "is there already")
	wants(t, get(s, "/order/write?name=L-012"), http.StatusOK, "Lighthouse")
}

// An id that is a path names a file of the orders' folder all the same.
func TestAnOrdersIDLeavesNoFolder(t *testing.T) {
	dir := t.TempDir()
	s := servingShop(t, dir, Options{Loopback: true})
	for _, id := range []string{"../../out", "..", ".", "/etc/x", `..\\out`, "<script>"} {
		answer(s, request(http.MethodPost, "/order/save", url.Values{"text": {strings.Replace(workshop.OrderText, `"L-012"`, `"`+id+`"`, 1)}}))
	}
	var found []string
	if err := filepath.WalkDir(filepath.Dir(dir), func(path string, d os.DirEntry, err error) error {
		if err == nil && !d.IsDir() {
			rel, _ := filepath.Rel(dir, path)
			found = append(found, filepath.ToSlash(filepath.Dir(rel)))
		}
		return err
	}); err != nil {
		t.Fatal(err)
	}
	for _, at := range found {
		if at != "orders" {
			t.Errorf("a file in %s", at)
		}
	}
	if len(found) == 0 {
		t.Error("no order was saved")
	}
}
