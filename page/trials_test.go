package page

import (
	"encoding/json"
	"fmt"
	"net/http"
	"net/url"
	"os"
	"path/filepath"
	"strconv"
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
	wants(t, page, http.StatusOK, `name="pole6"`, `name="radius"`, `name="raise"`, `name="tilt"`)
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
		"raise=2.9":           "string height:",
		"tilt=NaN":            "string height:",
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

// A pickup that is tilted towards the last string makes that louder against the first; an
// order in inches is tried in inches.
func TestTheBalanceFollowsTheTilt(t *testing.T) {
	dir := hostileShop(t)
	inches := workshop.OrderText
	for _, key := range []string{"string_height_first_mm = 3.0", "string_height_last_mm = 3.4", "min_gap_mm = 1.2", "pole_height_max_mm = 3.0", "pole_height_step_mm = 0.05", "string_spread_mm = 52.0"} {
		name, mm, _ := strings.Cut(key, "_mm = ")
		v, err := strconv.ParseFloat(mm, 64)
		if err != nil {
			t.Fatal(err)
		}
		inches = strings.Replace(inches, key, fmt.Sprintf("%s_in = %.5f", name, v/25.4), 1)
	}
	if err := os.WriteFile(filepath.Join(dir, "orders", "inches.toml"), []byte(inches), 0o666); err != nil {
		t.Fatal(err)
	}
	s := servingShop(t, dir, Options{Loopback: true})
	level, tilted := trying(t, s, "tilt=0"), trying(t, s, "tilt=1")
	if tilted.Strings[5].Bar <= level.Strings[5].Bar || tilted.Strings[0].Bar >= level.Strings[0].Bar {
		t.Errorf("level %+v\ntilted %+v", level.Strings, tilted.Strings)
	}
	wants(t, get(s, "/order/try?name=inches"), http.StatusOK, "radius, in", "pole in")
	var out tried
	w := get(s, "/order/try/now?name=inches&pole1=0.05&first=0.125")
	if err := json.Unmarshal(w.Body.Bytes(), &out); err != nil || len(out.Strings) != 6 || out.Strings[0].Pole != "0.050" || out.Strings[0].Height != "0.125" {
		t.Errorf("%s, %v", w.Body, err)
	}
}
