package page

import (
	"encoding/json"
	"fmt"
	"maps"
	"net/http"
	"net/http/httptest"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"evenpole/profiles"
	"evenpole/shop"
	"evenpole/shop/workshop"
)

// checking is what is said of an order as it is typed.
func checking(t *testing.T, s *Server, form url.Values) (said written) {
	t.Helper()
	w := answer(s, request(http.MethodPost, "/order/check", form))
	if err := json.Unmarshal(w.Body.Bytes(), &said); w.Code != http.StatusOK || err != nil {
		t.Fatalf("status %d: %s, %v", w.Code, w.Body, err)
	}
	return said
}

func asText(text string) url.Values { return url.Values{"text": {text}} }

func saving(s *Server, form url.Values) *httptest.ResponseRecorder {
	return answer(s, request(http.MethodPost, "/order/save", form))
}

func TestOrdersAreWrittenAsTexts(t *testing.T) {
	dir := t.TempDir()
	s := servingShop(t, dir, Options{Loopback: true})
	wants(t, get(s, "/order/write?as=text"), http.StatusOK, "fretboard_radius_in")
	begin, err := files.ReadFile("look/order.toml")
	if err != nil {
		t.Fatal(err)
	}
	if said := checking(t, s, asText(string(begin))); said.Trouble != "" || said.Fine == "" {
		t.Errorf("the order to begin with: %+v", said)
	}
	slip := strings.Replace(workshop.OrderText, "fretboard_radius_in = 7.25", "fretboard_radius_mm = 7.25", 1)
	if said := checking(t, s, asText(slip)); !strings.Contains(said.Trouble, "if that is inches, write fretboard_radius_in") || said.Fine != "" {
		t.Errorf("%+v", said)
	}
	wants(t, saving(s, asText(slip)), http.StatusUnprocessableEntity, "if that is inches", "7.25")
	w := saving(s, asText(strings.ReplaceAll(workshop.OrderText, "\n", "\r\n")))
	if at := w.Header().Get("Location"); w.Code != http.StatusSeeOther || at != "/order?name=L-012" {
		t.Errorf("status %d, to %q: %s", w.Code, at, w.Body)
	}
	text, err := os.ReadFile(filepath.Join(dir, "orders", "L-012.toml"))
	if err != nil || string(text) != workshop.OrderText {
		t.Errorf("%v: %q", err, text)
	}
	wants(t, saving(s, asText(workshop.OrderText+"# other\n")), http.StatusUnprocessableEntity, "is there already")
	wants(t, get(s, "/order/write?as=text&name=L-012"), http.StatusOK, "Lighthouse")
}

// fieldsOf are the workshop's order as it is typed in fields.
func fieldsOf(t *testing.T) url.Values {
	t.Helper()
	in, whole, err := profiles.OrderFormat.Fill("order", []byte(workshop.OrderText))
	if err != nil || !whole {
		t.Fatal(whole, err)
	}
	form := url.Values{"units": {string(in.Units)}}
	for path, typed := range in.Typed {
		form.Set(path, typed)
	}
	return form
}

// An order that is typed in fields is checked and saved as a file with the same content.
func TestOrdersAreWrittenInFields(t *testing.T) {
	dir := t.TempDir()
	s := servingShop(t, dir, Options{Loopback: true})
	wants(t, get(s, "/order/write"), http.StatusOK, `name="instrument.fretboard_radius"`, `name="string.11.gauge"`, `name="compare.1.heights"`, "extra light 9-42")
	form := fieldsOf(t)
	slip := maps.Clone(form)
	slip.Set("instrument.fretboard_radius", "7.25 mm")
	said := checking(t, s, slip)
	if said.At != "instrument.fretboard_radius" || !strings.Contains(said.Trouble, "if that is inches, write fretboard_radius_in") {
		t.Errorf("%+v", said)
	}
	_, err := s.shop.ParseOrder("order", strings.Replace(workshop.OrderText, "fretboard_radius_in = 7.25", "fretboard_radius_mm = 7.25", 1))
	if err == nil || !strings.HasSuffix(err.Error(), said.Trouble) {
		t.Errorf("said %q; the command says %v", said.Trouble, err)
	}
	wants(t, saving(s, slip), http.StatusUnprocessableEntity, `value="7.25 mm"`, `aria-invalid="true"`, "if that is inches")
	if said := checking(t, s, form); said.Trouble != "" || !strings.Contains(said.Fine, "order L-012: 6 strings") {
		t.Errorf("%+v", said)
	}
	if w := saving(s, form); w.Code != http.StatusSeeOther || w.Header().Get("Location") != "/order?name=L-012" {
		t.Fatalf("status %d: %s", w.Code, w.Body)
	}
	wants(t, saving(s, form), http.StatusUnprocessableEntity, "is there already")
	typed, err := s.shop.Order("L-012")
	if err != nil {
		t.Fatal(err)
	}
	want, err := s.shop.ParseOrder(typed.File, workshop.OrderText)
	if err != nil || fmt.Sprintf("%+v", typed) != fmt.Sprintf("%+v", want) {
		t.Errorf("got %+v\nwant %+v, %v", typed, want, err)
	}
	again := get(s, "/order/write?name=L-012")
	wants(t, again, http.StatusOK, `value="7.25 in"`, "the pattern on the wall")
	if strings.Contains(again.Body.String(), `value="L-012"`) {
		t.Error("an order like another has its id")
	}
}

// What was tried on an order is filled in for another one: heights where the pickup then
// stands, strings, and the poles as a stagger to compare.
func TestAnOrderIsWrittenAsTried(t *testing.T) {
	s := serving(t, Options{Loopback: true})
	saving(s, asText(workshop.OrderText))
	at := "/order/write?name=L-012&tried=yes&radius=254&first=3.2&last=3.6&raise=0.5&tilt=0.4&set=medium+11-49"
	for i := range 6 {
		at += fmt.Sprintf("&pole%d=%d.25", i+1, i%3)
	}
	wants(t, get(s, at), http.StatusOK, `value="254.00 mm"`, `value="2.90 mm"`, "<option selected>medium 11-49</option>", `value="as tried"`, `value="0.25, 1.25, 2.25, 0.25, 1.25, 2.25 mm"`)
	wants(t, get(s, "/order/write?name=..%2Fsecret&tried=yes"), http.StatusNotFound)
	wants(t, get(s, strings.Replace(at, "radius=254", "radius=%3Cb%3E", 1)), http.StatusUnprocessableEntity, "&lt;b&gt;")
}

// An order that says more than the fields hold is written as a text.
func TestOrdersBeyondTheFields(t *testing.T) {
	dir := t.TempDir()
	s := servingShop(t, dir, Options{Loopback: true})
	more := workshop.OrderText + "[[alternative]]\nname = \"x\"\n" + strings.Repeat("[[alternative.string]]\ngauge_in = 0.011\nwrap = \"plain\"\n", 6)
	if w := saving(s, asText(more)); w.Code != http.StatusSeeOther {
		t.Fatalf("status %d: %s", w.Code, w.Body)
	}
	wants(t, get(s, "/order/write?name=L-012"), http.StatusOK, "more than the fields hold", "[[alternative.string]]")
}

// A script in any field is a text, on the page that it comes back on and on all others.
func TestScriptsInEveryFieldOfAnOrder(t *testing.T) {
	now := time.Now()
	dir := t.TempDir()
	s := servingShop(t, dir, Options{Loopback: true, Now: func() time.Time { now = now.Add(time.Second); return now }})
	n := 0
	for _, g := range profiles.OrderFormat.Form(profiles.Filled{}) {
		for _, x := range g.Rows[0] {
			form := fieldsOf(t)
			form.Set(x.Path, script)
			w := saving(s, form)
			if strings.Contains(w.Body.String(), "<script src=//") || w.Code != http.StatusSeeOther && w.Code != http.StatusUnprocessableEntity {
				t.Errorf("%s: status %d: %.300s", x.Path, w.Code, w.Body)
			}
			if at := w.Header().Get("Location"); at != "" {
				n++
				for _, page := range []string{at, "/orders", "/", strings.Replace(at, "/order?", "/order/try?", 1), strings.Replace(at, "/order?", "/order/write?", 1), strings.Replace(at, "/order?", "/order/picture?kind=poles&", 1)} {
					page := get(s, page)
					wants(t, page, http.StatusOK)
					if strings.Contains(page.Body.String(), "<script src=//") {
						t.Errorf("%s: %s has a script", x.Path, page.Body)
					}
				}
				name, err := url.Parse(at)
				if err != nil {
					t.Fatal(err)
				}
				if err := os.Remove(filepath.Join(dir, "orders", name.Query().Get("name")+".toml")); err != nil {
					t.Fatal(err)
				}
			}
		}
	}
	if n < 6 {
		t.Errorf("%d orders with a script were saved", n)
	}
	if _, err := shop.Open(dir); err != nil {
		t.Error(err)
	}
}

// An id that is a path names a file of the orders' folder all the same.
func TestAnOrdersIDLeavesNoFolder(t *testing.T) {
	dir := t.TempDir()
	s := servingShop(t, dir, Options{Loopback: true})
	for _, id := range []string{"../../out", "..", ".", "/etc/x", `..\\out`, "<script>"} {
		saving(s, asText(strings.Replace(workshop.OrderText, `"L-012"`, `"`+id+`"`, 1)))
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
