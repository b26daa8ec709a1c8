package page

import (
	"context"
	"encoding/csv"
	"fmt"
	"html"
	"net/http"
	"net/url"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"

	"evenpole/fit/verdict"
	"evenpole/shop"
	"evenpole/shop/workshop"
)

// script is what somebody may put where a name belongs.
const script = `<script src=//x.example></script>"'&amp;`

// readings is a record of two pickups, whose names are scripts.
func readings() string {
	var b strings.Builder
	w := csv.NewWriter(&b)
	rows := [][]string{{"time", "session", "purpose", "jig", "pickup", "batch", "string", "string_set", "core_mm", "pole_height_mm", "string_height_mm", "rms_mv"}}
	for _, pickup := range []string{"P-1" + script, "P-2"} {
		for n, level := range []string{"92.1", "97.4", "88.3", "93.0", "99.2", "95.5"} {
			number := string(rune('1' + n))
			if n == 2 && pickup == "P-2" {
				level = "90.4"
			}
			for range 3 {
				rows = append(rows, []string{"2026-03-02T08:00:00Z", "s1" + script, "check", "lamp" + script, pickup, "gale" + script, number, "light" + script, "0.4", "1.0", "3.0", level})
			}
		}
	}
	if err := w.WriteAll(rows); err != nil {
		panic(err)
	}
	return b.String()
}

// hostileShop is a shop in which every name is a script, beside the workshop's order.
func hostileShop(t *testing.T) string {
	t.Helper()
	dir := t.TempDir()
	order := strings.Replace(workshop.OrderText, `id = "L-012"`, `id = '<b onclick=x>L-013</b>'`, 1)
	for file, text := range map[string]string{
		"readings.csv":        readings(),
		"orders/L-012.toml":   workshop.OrderText,
		"orders/<b>name.toml": order,
		"orders/broken.toml":  "id = \"<script>\"\nset = 7\n",
		"batches.toml":        "[[batch]]\nname = \"gale<script>\"\n",
		"secret.toml":         workshop.OrderText,
	} {
		path := filepath.Join(dir, filepath.FromSlash(file))
		if err := os.MkdirAll(filepath.Dir(path), 0o777); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(path, []byte(text), 0o666); err != nil {
			t.Fatal(err)
		}
	}
	of, err := shop.Open(dir)
	if err != nil {
		t.Fatal(err)
	}
	o, err := of.Order("L-012")
	if err != nil {
		t.Fatal(err)
	}
	v, _, err := of.Check(context.Background(), o, "P-2", verdict.Options{}, nil)
	if err != nil {
		t.Fatal(err)
	}
	v.Pickup, v.Warnings = "P-1"+script, append(v.Warnings, script)
	if _, err := of.Issue(v, shop.Names{}, nil); err != nil {
		t.Fatal(err)
	}
	for _, file := range of.CertificateFiles(1, v.Order, v.Pickup) {
		if err := os.WriteFile(file, []byte("as issued: "+filepath.Ext(file)), 0o666); err != nil {
			t.Fatal(err)
		}
	}
	return dir
}

// every is every page of hostileShop.
var every = []string{
	"/", "/orders", "/order?name=L-012", "/order/try?name=L-012", "/order/write?name=L-012", "/order?name=" + url.QueryEscape("<b>name"), "/pickups", "/pickup?id=P-2", "/pickup?id=" + url.QueryEscape("P-1"+script),
	"/certificate?number=1", "/batches", "/models", "/jig", "/drift", "/next", "/next?order=L-012", "/session?id=" + url.QueryEscape("s1"+script), "/check?pickup=P-2&order=L-012",
}

func TestPagesShowTheShop(t *testing.T) {
	s := servingShop(t, hostileShop(t), Options{Loopback: true, Version: "v"})
	for path, texts := range map[string][]string{
		"/":                     {"L-012", "/order?name=L-012", "none yet", "/certificate?number=1", "/pickup?id=P-2", "Batches", "Models", "The jig", "Calibrations", "Repeatability: ", "cannot tell yet"},
		"/orders":               {"gale", "light plain-third 10-46", "broken.toml:"},
		"/order?name=L-012":     {"handbook prior", "flat tops", "the pattern on the wall", "Planned poles", `download`},
		"/pickups":              {"/pickup?id=P-2", "2026-03-02 08:00", "check"},
		"/pickup?id=P-2":        {"s1", ">18<"},
		"/certificate?number=1": {"U", "conforms", "/certificate/page?number=1&amp;as=pdf"},
		"/batches":              {"gale"},
		"/models":               {"none yet"},
		"/jig":                  {"Gain", "none yet"},
		"/drift":                {"cannot tell yet"},
		"/next":                 {"broken.toml:"},
	} {
		wants(t, get(s, path), http.StatusOK, texts...)
	}
}

// Wherever a page says how tall a pole is to be, or what to do about one, cautions stand beside.
func TestCautionsStandBesideHeights(t *testing.T) {
	s := servingShop(t, hostileShop(t), Options{Loopback: true})
	for _, path := range []string{"/order?name=L-012", "/order/try?name=L-012", "/check?pickup=P-2&order=L-012"} {
		wants(t, get(s, path), http.StatusOK, ">Cautions<", "never press, pull or hammer a pole of a wound coil", "pacemakers")
	}
}

// A capture that was cut short by a power cut is told when the page is there again, and the form
// begins as it was.
func TestCaptureThatWasLeftIsTold(t *testing.T) {
	dir := t.TempDir()
	const sessions = "time,session,purpose,kind,jig,boot,after_seq,pickup,mount,operator\n2026-03-02T08:00:00Z,s001,check,readings,j,0000000A,0,P-1,P-1-00000000.toml,Bo\n"
	if err := os.WriteFile(filepath.Join(dir, "sessions.csv"), []byte(sessions), 0o666); err != nil {
		t.Fatal(err)
	}
	s := servingShop(t, dir, Options{Loopback: true})
	const told = "Session s001, for check, of P-1, was begun and is not finished"
	wants(t, get(s, "/capture"), http.StatusOK, told, "<option selected>check</option>")
	if err := os.WriteFile(filepath.Join(dir, "sessions.csv"), []byte(sessions+"2026-03-02T08:09:00Z,,,,j,0000000A,9,,,\n"), 0o666); err != nil {
		t.Fatal(err)
	}
	w := get(s, "/capture")
	wants(t, w, http.StatusOK, "<option selected>model</option>")
	if strings.Contains(w.Body.String(), "not finished") {
		t.Error("a whole capture is told as unfinished")
	}
}

// A session that was filed anew, as its mount was wrong, is shown as it is filed now.
func TestSessionThatWasAmended(t *testing.T) {
	dir := t.TempDir()
	const row = "2026-03-02T08:00:00Z,s001,model,j,0000000A,1,"
	text := "time,session,purpose,jig,boot,seq,pickup,batch,string,string_set,core_mm,pole_height_mm,string_height_mm,rms_mv,status\n" +
		row + "P-1,gale,1,heavy,0.5,1,3,92,ok\n" + row + "P-1,gale,1,heavy,0.5,1,3,92,retracted\n" + row + "P-2,gale,1,light,0.4,1,3,92,ok\n"
	if err := os.WriteFile(filepath.Join(dir, "readings.csv"), []byte(text), 0o666); err != nil {
		t.Fatal(err)
	}
	w := get(servingShop(t, dir, Options{Loopback: true}), "/session?id=s001")
	wants(t, w, http.StatusOK, "light", "/pickup?id=P-2")
	if strings.Contains(w.Body.String(), "heavy") || strings.Contains(w.Body.String(), "P-1") {
		t.Error("it is shown as it was filed first")
	}
}

// A name that is a script is shown as a text, on every page.
func TestNamesAreTexts(t *testing.T) {
	s := servingShop(t, hostileShop(t), Options{Loopback: true})
	for _, path := range every {
		w := get(s, path)
		wants(t, w, http.StatusOK)
		for _, tag := range []string{"<script>", "<script src=//", "<b>", "<b onclick"} {
			if strings.Contains(w.Body.String(), tag) {
				t.Errorf("%s has %s", path, tag)
			}
		}
	}
	wants(t, get(s, "/pickup?id="+url.QueryEscape(script)), http.StatusNotFound, "&lt;script")
}

// Every table downloads, and no cell of it is a formula.
func TestTablesDownload(t *testing.T) {
	s := servingShop(t, hostileShop(t), Options{Loopback: true})
	found := 0
	for _, path := range every {
		for _, part := range strings.Split(get(s, path).Body.String(), `<p class="tools"><a href="`)[1:] {
			at, _, _ := strings.Cut(part, `"`)
			w := get(s, html.UnescapeString(at))
			rows, err := csv.NewReader(w.Body).ReadAll()
			if w.Code != http.StatusOK || err != nil || len(rows) == 0 || !strings.HasPrefix(w.Header().Get("Content-Type"), "text/csv") {
				t.Errorf("%s: status %d, %d rows, %v", at, w.Code, len(rows), err)
			}
			found++
		}
	}
	if found < 15 {
		t.Errorf("%d tables", found)
	}
	wants(t, get(s, "/order?name=L-012&csv=poles"), http.StatusOK, "height mm", "\r\n1,E4,")
	wants(t, get(s, "/order?name=L-012&csv=../poles"), http.StatusNotFound)
}

func TestPicturesAreDrawn(t *testing.T) {
	s := servingShop(t, hostileShop(t), Options{Loopback: true})
	for _, path := range []string{"/order/picture?name=L-012&kind=poles", "/order/picture?name=L-012&kind=causes"} {
		w := get(s, path)
		wants(t, w, http.StatusOK, "<svg")
		if w.Header().Get("Content-Type") != "image/svg+xml" || strings.Contains(w.Header().Get("Content-Security-Policy"), "script-src") {
			t.Errorf("%s: %v", path, w.Header())
		}
	}
	wants(t, get(s, "/certificate/page?number=1&as=html"), http.StatusOK, "as issued: .html")
	pdf := get(s, "/certificate/page?number=1&as=pdf")
	wants(t, pdf, http.StatusOK, "as issued: .pdf")
	if got := pdf.Header().Get("Content-Disposition"); got != `attachment; filename="certificate-1.pdf"` {
		t.Errorf("a browser does not show a PDF in a sandbox, and is not told to save it: %q", got)
	}
}

// No parameter leads to a file that is not what it names.
func TestPathsStayInTheShop(t *testing.T) {
	dir := hostileShop(t)
	if err := os.Symlink(filepath.Join(dir, "secret.toml"), filepath.Join(dir, "orders", "link.toml")); err != nil {
		t.Log("no links here:", err)
	}
	s := servingShop(t, dir, Options{Loopback: true})
	for _, at := range []string{
		"/order?name=", "/order/picture?kind=poles&name=", "/order/picture?name=L-012&kind=", "/order/gauge?as=pdf&name=", "/order/gauge?name=L-012&as=", "/pickup?id=", "/pickup/causes?id=", "/certificate?number=",
		"/certificate/page?as=html&number=", "/certificate/page?number=1&as=", "/batch?name=", "/batch/picture?name=", "/model?name=",
		"/model/picture?picture=falloff.svg&name=", "/drift?reference=", "/drift/picture?reference=", "/find?line=", "/next?order=", "/session?id=", "/check?pickup=P-2&order=", "/check?order=L-012&pickup=", "/order/try?name=", "/order/try/now?name=", "/model/compare?name=",
	} {
		for _, name := range []string{
			"../secret", "..\\secret", "../../etc/passwd", "/etc/passwd", "orders/../../secret", "link", "L-012.toml", "L-012/../L-012", "", ".", "..", "\x00",
			"L-012\x00", "%2e%2e%2fsecret", strings.Repeat("../", 2000), "-1", "1e0", "99999999999999999999",
		} {
			if name == "" && strings.HasPrefix(at, "/drift") { // the pickups that were checked
				continue
			}
			if w := get(s, at+url.QueryEscape(name)); w.Code < 400 || w.Code >= 500 {
				t.Errorf("%s%q: status %d: %.300s", at, name, w.Code, w.Body)
			}
		}
	}
}

func TestTheCodeOfACertificateLeadsToIt(t *testing.T) {
	dir := hostileShop(t)
	if err := os.WriteFile(filepath.Join(dir, "shop.toml"), []byte("check_address = \"http://127.0.0.1:7420/certificate?number=%s\"\n"), 0o666); err != nil {
		t.Fatal(err)
	}
	s := servingShop(t, dir, Options{Loopback: true})
	settings, err := s.shop.Settings()
	if err != nil {
		t.Fatal(err)
	}
	led := func(line string) string { return get(s, "/find?line="+url.QueryEscape(line)).Header().Get("Location") }
	for _, line := range []string{
		"evenpole:check?shop=" + url.QueryEscape(s.name) + "&pickup=P-2&session=s1&certificate=1&first=lamp/0/1", "1", " 1\r\n", settings.CheckedAt("1"),
		"Certificate of balance no. 1, the shop, pickup P-1" + script + ", order L-012, 2 March 2026, conforms",
	} {
		if at := led(line); at != "/certificate?number=1" {
			t.Errorf("%s leads to %q", line, at)
		}
	}
	wants(t, get(s, strings.TrimPrefix(settings.CheckedAt("1"), "http://"+here)), http.StatusOK, "Strings against the tolerance")
	if at := led("evenpole:check?shop=" + url.QueryEscape(s.name) + "&pickup=P-2"); at != "/pickup?id=P-2" {
		t.Errorf("leads to %q", at)
	}
	for _, other := range []string{"https://elsewhere.example/", "javascript:alert(1)", "//elsewhere.example", "evenpole:check?shop=other&pickup=P-2", "evenpole:", "2", ""} {
		if w := get(s, "/find?line="+url.QueryEscape(other)); w.Code != http.StatusNotFound || w.Header().Get("Location") != "" {
			t.Errorf("%s: status %d, to %q", other, w.Code, w.Header().Get("Location"))
		}
	}
}

// What is told of a batch is in the shop's units, as the command tells it.
func TestABatchInInches(t *testing.T) {
	dir := sampleShop(t, t.TempDir())
	if err := os.WriteFile(filepath.Join(dir, "shop.toml"), []byte("units = \"in\"\n"), 0o666); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(filepath.Join(dir, "batches.toml"), []byte("[[batch]]\nname = \"M-01\"\nprobe_gap_mm = 0.5\n"), 0o666); err != nil {
		t.Fatal(err)
	}
	s := servingShop(t, dir, Options{Loopback: true})
	wants(t, get(s, "/batches"), http.StatusOK, "probe gap in", ">0.020<")
	wants(t, get(s, "/batch?name=M-01"), http.StatusOK, "0.020 in (0.50 mm)", " mT (2358 G)")
}

// An order's page has the heights side by side, and its gauge prints.
func TestHeightsSideBySide(t *testing.T) {
	s := servingShop(t, hostileShop(t), Options{Loopback: true})
	rows, err := csv.NewReader(get(s, "/order?name=L-012&csv=heights").Body).ReadAll()
	if err != nil || len(rows) < 4 || len(rows[0]) != 7 {
		t.Fatal(rows, err)
	}
	var names []string
	for _, row := range rows[1:] {
		names = append(names, row[0])
	}
	if !slices.Contains(names, "plan") || !slices.Contains(names, "flat tops") || !slices.Contains(names, "the pattern on the wall") {
		t.Errorf("%q", names)
	}
	wants(t, get(s, "/order/gauge?name=L-012&as=pdf"), http.StatusOK, "%PDF")
	wants(t, get(s, "/order/gauge?name=L-012&as=svg"), http.StatusOK, "<svg", "mm")
	wants(t, get(s, "/order/gauge?name=L-012&as=../x"), http.StatusNotFound)
}

// Of more orders than are looked at, the earlier ones are left out, and it is said.
func TestWhatToMeasureNextOfManyOrders(t *testing.T) {
	dir := t.TempDir()
	if err := os.Mkdir(filepath.Join(dir, "orders"), 0o777); err != nil {
		t.Fatal(err)
	}
	for i := range mostOrders + 2 {
		id := fmt.Sprint("N-", i)
		if err := os.WriteFile(filepath.Join(dir, "orders", id+".toml"), []byte(strings.ReplaceAll(workshop.OrderText, "L-012", id)), 0o666); err != nil {
			t.Fatal(err)
		}
	}
	s := servingShop(t, dir, Options{Loopback: true})
	wants(t, get(s, "/next"), http.StatusOK, "Left out: 2 orders that were changed earlier", "wind a test pickup")
}

// What to measure next is what 'next' proposes, for one order or for all.
func TestWhatToMeasureNext(t *testing.T) {
	s := serving(t, Options{Loopback: true})
	wants(t, get(s, "/next"), http.StatusOK, "no order yet")
	saving(s, asText(workshop.OrderText))
	for _, at := range []string{"/next", "/next?order=L-012"} {
		wants(t, get(s, at), http.StatusOK, "rms over strings", "wind a test pickup with poles at")
		rows, err := csv.NewReader(get(s, at+map[bool]string{true: "&", false: "?"}[strings.Contains(at, "?")]+"csv=next").Body).ReadAll()
		if err != nil || len(rows) != 1+mostNext || len(rows[1]) != 4 {
			t.Errorf("%q, %v", rows, err)
		}
	}
	blade := strings.NewReplacer(`poles = "rod"`, `poles = "blade"`+"\npole_heights_fixed_mm = [0.5]", "L-012", "L-013").Replace(workshop.OrderText)
	for _, key := range []string{"pole_height_min_mm", "pole_height_max_mm", "pole_height_step_mm"} {
		blade = regexp.MustCompile(`(?m)^`+key+`.*$`).ReplaceAllString(blade, "")
	}
	saving(s, asText(blade))
	wants(t, get(s, "/next?order=L-013"), http.StatusOK, "no pickup with a blade was measured")
}
