package page

import (
	"bytes"
	"math/rand/v2"
	"mime/multipart"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"evenpole/jig/sim"
	"evenpole/profiles"
	"evenpole/recording/soundtest"
	"evenpole/shop/workshop"

	"github.com/chromedp/chromedp"
)

// plucked is a recording in which each string of a mount is plucked three times.
func plucked(t *testing.T) []byte {
	t.Helper()
	m, err := profiles.ParseMount("mount", []byte(workshop.FlatMount), profiles.Builtin())
	if err != nil {
		t.Fatal(err)
	}
	const rate = 16000
	s := soundtest.Scene{Rate: rate, Hum: 2e-5, Noise: 2e-5}
	at := 1.0
	for range 3 {
		for i, str := range m.Strings {
			hz, err := profiles.Pitch(str.Note)
			if err != nil {
				t.Fatal(err)
			}
			s.Plucks = append(s.Plucks, soundtest.Pluck{At: at, String: i + 1, Freq: hz, Level: 0.2, Place: 0.2, Pickup: 0.15, Stiff: 2e-5, Decay: 0.4, Bright: 0.5, Stop: 0.75})
			at += 0.85
		}
	}
	s.Seconds = at + 0.3
	return soundtest.WAV(s.Sound(rand.New(rand.NewPCG(1, 2))), rate, 16, 1)
}

// sent is a request that sends a recording, as a browser does.
func sent(t *testing.T, name string, sound []byte, fields ...string) *http.Request {
	t.Helper()
	var body bytes.Buffer
	form := multipart.NewWriter(&body)
	for i := 0; i < len(fields); i += 2 {
		if err := form.WriteField(fields[i], fields[i+1]); err != nil {
			t.Fatal(err)
		}
	}
	if part, err := form.CreateFormFile("file", name); err != nil {
		t.Fatal(err)
	} else if _, err := part.Write(sound); err != nil {
		t.Fatal(err)
	}
	if err := form.Close(); err != nil {
		t.Fatal(err)
	}
	r := httptest.NewRequest(http.MethodPost, recordingAddress, &body)
	r.Host = here
	r.Header.Set("Content-Type", form.FormDataContentType())
	r.Header.Set("Origin", "http://"+here)
	return r
}

var heardID = regexp.MustCompile(`name="id" value="([^"]+)"`)

// A recording is shown before anything of it is kept, filed once a person says so, and once.
func TestARecordingIsShownThenFiled(t *testing.T) {
	s := serving(t, Options{Loopback: true})
	wants(t, get(s, "/capture"), http.StatusOK, recordingAddress)
	wants(t, get(s, recordingAddress), http.StatusOK, `type="file"`, `placeholder="`, "pole_heights_mm", "></textarea>")
	sound := plucked(t)
	fields := []string{"purpose", "model", "excite", "travel", "recorder", "desk", "mount", "", "text", workshop.FlatMount}
	for i, want := range []string{"session s001: 18 takes kept", "has this very recording already"} {
		w := answer(s, sent(t, `C:\sound\sim.wav`, sound, fields...))
		if w.Code != http.StatusSeeOther {
			wants(t, w, http.StatusSeeOther)
			return
		}
		page := get(s, w.Header().Get("Location"))
		wants(t, page, http.StatusOK, "sim.wav", "18 plucks", "not filed yet", "File 18 takes", "levels are relative", `value="desk"`)
		if rows, err := os.ReadFile(filepath.Join(s.shop.Dir(), "readings.csv")); i == 0 && err == nil {
			t.Errorf("kept before it was filed: %s", rows)
		}
		id := heardID.FindStringSubmatch(page.Body.String())[1]
		wants(t, get(s, recordingAddress+"/picture?id="+id), http.StatusOK, "<svg")
		for range 2 { // once more adds nothing
			w = answer(s, request(http.MethodPost, recordingAddress+"/file", map[string][]string{"id": {id}}))
			if w.Code != http.StatusSeeOther {
				wants(t, w, http.StatusSeeOther)
			}
			wants(t, get(s, w.Header().Get("Location")), http.StatusOK, want, "/session?id=s001")
		}
	}
	rows, err := os.ReadFile(filepath.Join(s.shop.Dir(), "readings.csv"))
	if n := strings.Count(string(rows), "recording-desk"); err != nil || n != 18 {
		t.Errorf("%d rows, %v", n, err)
	}
}

// What is wrong with a recording or its form is said on the page, with what was filled in.
func TestARecordingThatCannotBe(t *testing.T) {
	s := serving(t, Options{Loopback: true, Now: steady()})
	sound := plucked(t)
	usual := map[string]string{"purpose": "model", "excite": "force", "text": workshop.FlatMount}
	for _, tt := range []struct {
		field, value string
		sound        []byte
		status       int
		want         string
	}{
		{"excite", "", sound, http.StatusUnprocessableEntity, "how the strings were plucked"},
		{"recorder", " \x01", sound, http.StatusUnprocessableEntity, "recorder: expected"},
		{"string", "7", sound, http.StatusUnprocessableEntity, "string: expected 1 to 6, got 7"},
		{"channel", "none", sound, http.StatusUnprocessableEntity, "channel: expected 1 or more"},
		{"text", "poles = 7", sound, http.StatusUnprocessableEntity, "poles"},
		{"mount", "../x.toml", sound, http.StatusNotFound, "x.toml"},
		{"text", strings.Repeat("#", largestBody+1), sound, http.StatusRequestEntityTooLarge, "too large"},
		{"", "", []byte("no sound"), http.StatusUnprocessableEntity, "sim.wav"},
		{"", "", sound[:20], http.StatusUnprocessableEntity, "sim.wav"},
		{"", "", soundtest.WAV(make([]float64, 32000), 16000, 16, 1), http.StatusUnprocessableEntity, "no pluck was heard"},
	} {
		var fields []string
		for name, value := range usual {
			if name != tt.field {
				fields = append(fields, name, value)
			}
		}
		wants(t, answer(s, sent(t, "sim.wav", tt.sound, append(fields, tt.field, tt.value)...)), tt.status, `role="alert"`, tt.want)
	}
	r := request(http.MethodPost, recordingAddress, map[string][]string{"excite": {"travel"}})
	wants(t, answer(s, r), http.StatusUnprocessableEntity, "expected a form with a file")
	wants(t, get(s, recordingAddress+"?id=gone"), http.StatusNotFound, "choose its file again")
	wants(t, answer(s, request(http.MethodPost, recordingAddress+"/file", map[string][]string{"id": {""}})), http.StatusNotFound, "choose its file again")
	s.hearing <- struct{}{}
	wants(t, answer(s, sent(t, "sim.wav", sound, "purpose", "model", "excite", "force", "text", workshop.FlatMount)), http.StatusUnprocessableEntity, "another recording is being heard")
	if entries, err := os.ReadDir(s.shop.Dir()); err != nil || len(entries) > 0 {
		t.Errorf("%v, %v", entries, err)
	}
}

// While a capture runs it is said to be paused first, and the recording stays to be filed.
func TestARecordingWaitsForACapture(t *testing.T) {
	s, open := served(t, startJig(t, sim.Config{Scatter: &sim.Scatter{}, Speed: 5}, nil)) // slow enough that the capture is still running
	w := answer(s, sent(t, "sim.wav", plucked(t), "purpose", "model", "excite", "travel", "text", workshop.FlatMount))
	address := w.Header().Get("Location")
	id := heardID.FindStringSubmatch(get(s, address).Body.String())[1]
	file := func() *httptest.ResponseRecorder {
		return answer(s, request(http.MethodPost, recordingAddress+"/file", map[string][]string{"id": {id}}))
	}
	at := open()
	at.post("/capture/start", startForm())
	at.watch(in(capturing))
	wants(t, file(), http.StatusUnprocessableEntity, "a capture is running: pause it first")
	at.post("/capture/pause", nil)
	at.watch(in(paused))
	wants(t, file(), http.StatusSeeOther)
	wants(t, get(s, address), http.StatusOK, "session s002: 18 takes kept")
}

// In a real browser: a file is chosen, shown and filed.
func TestBrowserFilesARecording(t *testing.T) {
	s := serving(t, Options{Loopback: true})
	b := browse(t, s)
	file := filepath.Join(t.TempDir(), "sim.wav")
	if err := os.WriteFile(file, plucked(t), 0o666); err != nil {
		t.Fatal(err)
	}
	b.open("/capture")
	b.open(recordingAddress)
	ask[bool](b, `document.querySelector("#text").value = `+jsText(workshop.FlatMount)+`, document.querySelector("#excite").value = "travel", true`)
	b.do(chromedp.SetUploadFiles("#file", []string{file}))
	ask[bool](b, `document.querySelector("form button").click(), true`)
	b.shows("main", "not filed yet")
	b.wait(`document.querySelector("figure img")?.naturalWidth > 0`)
	ask[bool](b, `document.querySelector("form button").click(), true`)
	b.shows("main", "session s001: 18 takes kept")
}

// jsText is a text as a script has it.
func jsText(text string) string { return "`" + text + "`" }
