package page

import (
	"context"
	"crypto/rand"
	"errors"
	"fmt"
	"io"
	"mime/multipart"
	"net/http"
	"net/url"
	"path"
	"slices"
	"strconv"
	"strings"
	"sync"
	"time"

	"evenpole/capture"
	"evenpole/capture/record"
	"evenpole/profiles"
	"evenpole/report"
	"evenpole/shop"
)

// recordingAddress is where recordings are sent to.
const recordingAddress = "/capture/recording"

// recorded is the recording that was heard last: shown first, and filed when a person says so.
type recorded struct {
	mu sync.Mutex
	of heardFile
}

// heardFile is a recording as a browser sent it.
type heardFile struct {
	id, file string
	form     url.Values // as it was filled in
	heard    *shop.Heard
	opt      capture.Options
	filed    *capture.Result // nil: not yet
}

// keep keeps a recording in place of the one before, and names it.
func (r *recorded) keep(h *heardFile) string {
	r.mu.Lock()
	defer r.mu.Unlock()
	h.id = rand.Text()
	r.of = *h
	return h.id
}

// get is the recording of that name, if it is still kept.
func (r *recorded) get(id string) (heardFile, error) {
	r.mu.Lock()
	defer r.mu.Unlock()
	if id == "" || r.of.id != id {
		return heardFile{}, &missing{"there is no recording %.40q here any more: choose its file again", id}
	}
	return r.of, nil
}

// recordingView is what the page of recordings shows beside what was heard.
type recordingView struct {
	Form     url.Values // as it was filled in
	Mounts   []string
	Purposes []record.Purpose
	Excites  []profiles.Excitation
	Text     string // the mount as it is written
	Example  string // a mount as it may be written
	Trouble  string
}

// Is tells whether a field of the form holds a value.
func (v *recordingView) Is(field, value string) bool { return v.Form.Get(field) == value }

// recording shows the form to send a recording, and what one holds that was sent.
func (s *Server) recording(w http.ResponseWriter, r *http.Request) error {
	q := r.URL.Query()
	if !q.Has("id") {
		return s.showRecordings(w, r, http.StatusOK, url.Values{"purpose": {string(record.ForModel)}}, nil, "")
	}
	h, err := s.recorded.get(q.Get("id"))
	if err != nil {
		return err
	}
	return s.showRecordings(w, r, http.StatusOK, h.form, heardSections(&h), "")
}

func (s *Server) showRecordings(w http.ResponseWriter, r *http.Request, status int, form url.Values, heard []section, trouble string) error {
	v := &recordingView{Form: form, Trouble: trouble, Purposes: []record.Purpose{record.ForModel, record.ForCheck, record.ForRepeat}, Excites: []profiles.Excitation{profiles.Travel, profiles.Force}}
	var err error
	if v.Mounts, err = s.shop.JigMounts(); err != nil {
		return err
	}
	v.Text = form.Get("text")
	if !form.Has("text") {
		last, err := s.shop.LastCapture()
		if err != nil {
			return err
		}
		v.Text = last.Mount
	}
	if v.Example, err = s.exampleMount(); err != nil {
		return err
	}
	if status == http.StatusOK {
		return s.show(w, r, "recording.html", &view{Title: "A recording", Place: "/capture", Sections: heard, Form: v})
	}
	return render(w, status, "recording.html", &view{Title: "A recording", Place: "/capture", Shop: s.name, Form: v})
}

// exampleMount is a mount as it may be written, in the shop's units.
func (s *Server) exampleMount() (string, error) {
	u, err := s.shop.Units()
	if err != nil {
		return "", err
	}
	var b strings.Builder
	err = profiles.MountFormat.WriteExample(&b, u)
	return b.String(), err
}

// heardSections show what was understood of a recording, and what came of it.
func heardSections(h *heardFile) []section {
	g := &grid{ID: "heard", Caption: "Plucks by string", Heads: append(textHeads("string", "note"), figureHeads("plucks", "good", "dB re full scale", "balance dB", "scatter dB", "± dB")...)}
	for _, x := range h.heard.Strings {
		g.add("", strconv.Itoa(x.String), orDash(x.Note), strconv.Itoa(x.Plucks), strconv.Itoa(x.Good), plus(x.Level), plus(x.Balance), plain(x.Scatter), plain(x.Within))
	}
	out := section{Heading: h.file, Facts: []fact{{"of", orDash(h.opt.Mount.Pickup)}, {"for", string(h.opt.Purpose)}},
		Lines: slices.Concat([]string{h.heard.Sound()}, h.heard.Words(), h.heard.Notices), Table: g,
		Pictures: []picture{{to(recordingAddress+"/picture", "id", h.id), "The sound with every pluck, its string and its level"}}}
	switch {
	case h.filed == nil:
		out.State = "not filed yet"
		out.Act = &act{Address: recordingAddress + "/file", Text: "File " + h.heard.Understood.Takes(), Given: []hidden{{"id", h.id}}}
	case h.filed.Already:
		out.State = "filed before"
		out.Lines = append([]string{fmt.Sprintf("session %s has this very recording already: nothing added", h.filed.Session)}, out.Lines...)
		out.Links = []link{{to("/session", "id", h.filed.Session), "Session " + h.filed.Session}}
	default:
		out.State = "filed"
		said := []string{fmt.Sprintf("session %s: %s kept", h.filed.Session, profiles.Count(h.filed.Kept, "take"))}
		for _, t := range h.filed.Missing() {
			said = append(said, fmt.Sprintf("%v: record more", t))
		}
		out.Lines = append(said, out.Lines...)
		out.Links = []link{{to("/session", "id", h.filed.Session), "Session " + h.filed.Session}, {to("/pickup", "id", h.opt.Mount.Pickup), "Pickup " + h.opt.Mount.Pickup}}
	}
	return []section{out}
}

// recordingPicture draws the sound.
func (s *Server) recordingPicture(w http.ResponseWriter, r *http.Request) error {
	h, err := s.recorded.get(r.URL.Query().Get("id"))
	if err != nil {
		return err
	}
	return sendSVG(w, func(to io.Writer) error { return report.DrawRecording(to, h.heard.Picture(h.file, h.heard.Heard)) })
}

// hear hears a recording that a browser sends, as it comes: it is stored nowhere.
func (s *Server) hear(w http.ResponseWriter, r *http.Request) error {
	c := http.NewResponseController(w)
	_ = c.SetReadDeadline(time.Now().Add(recordingTime)) // where it cannot be set, the connection has its own
	_ = c.SetWriteDeadline(time.Now().Add(recordingTime + answerTime))
	form, sound, err := readRecording(r)
	if err == nil {
		var h heardFile
		if h, err = s.understand(r.Context(), form, sound); err == nil {
			http.Redirect(w, r, to(recordingAddress, "id", s.recorded.keep(&h)), http.StatusSeeOther)
			return nil
		}
	}
	_, _ = io.Copy(io.Discard, r.Body) // a browser reads no answer before it has sent all
	return s.showRecordings(w, r, statusOf(err), form, nil, err.Error())
}

// readRecording reads the fields of the form, which come before its file, up to that.
func readRecording(r *http.Request) (form url.Values, sound *multipart.Part, err error) {
	form = url.Values{}
	parts, err := r.MultipartReader()
	if err != nil {
		return form, nil, &refused{"expected a form with a file"}
	}
	for left := int64(largestBody); ; {
		p, err := parts.NextPart()
		if errors.Is(err, io.EOF) || err == nil && p.FormName() == "file" && p.FileName() == "" {
			return form, nil, &refused{"file: expected a recording, WAV or FLAC, got none"}
		}
		if err != nil || p.FormName() == "file" {
			return form, p, err
		}
		text, err := io.ReadAll(io.LimitReader(p, left))
		if err != nil {
			return form, nil, err
		}
		if left -= int64(len(text)) + int64(len(p.FormName())); left <= 0 {
			return form, nil, &http.MaxBytesError{Limit: largestBody}
		}
		form.Set(p.FormName(), strings.TrimSpace(string(text)))
	}
}

// understand hears a recording of what the form says.
func (s *Server) understand(ctx context.Context, form url.Values, sound *multipart.Part) (h heardFile, err error) {
	f := captureForm{Purpose: form.Get("purpose"), Takes: form.Get("takes"), Operator: form.Get("operator"), Again: form.Has("again")}
	if h.opt, err = f.options(); err != nil {
		return h, err
	}
	if name := form.Get("mount"); name != "" {
		h.opt.Mount, err = s.shop.JigMount(name)
	} else {
		h.opt.Mount, err = s.shop.ParseMount("mount", form.Get("text"))
	}
	if err != nil {
		return h, err
	}
	l := &shop.Listening{Mount: h.opt.Mount, Recorder: form.Get("recorder"), Excite: profiles.Excitation(form.Get("excite"))}
	for name, into := range map[string]*int{"channel": &l.Channel, "string": &l.Only} {
		if text := form.Get(name); text != "" {
			if *into, err = strconv.Atoi(text); err != nil || *into < 1 {
				return h, &refused{fmt.Sprintf("%s: expected 1 or more, got %.20q", name, text)}
			}
		}
	}
	if err := l.Check(); err != nil {
		return h, err
	}
	if !form.Has("same") {
		if err := s.shop.SamePickup(h.opt.Mount, h.opt.Purpose, record.OfReadings, h.opt.Again); err != nil {
			return h, err
		}
	}
	if !s.hearing.tryTake() { // places for work are not held while a browser sends
		return h, &refused{"another recording is being heard: wait until it is shown, then send this one"}
	}
	defer s.hearing.free()
	h.form, h.file = form, path.Base(strings.ReplaceAll(sound.FileName(), `\`, "/"))
	h.heard, err = shop.Listen(ctx, s.shop.Dir(), h.file, sound, l, nil)
	return h, err
}

// fileRecording files the recording that was shown.
func (s *Server) fileRecording(w http.ResponseWriter, r *http.Request) error {
	if err := r.ParseForm(); err != nil {
		return err
	}
	id := r.PostForm.Get("id")
	s.recorded.mu.Lock()
	defer s.recorded.mu.Unlock()
	if id == "" || s.recorded.of.id != id {
		return &missing{"there is no recording %.40q here any more: choose its file again", id}
	}
	h := &s.recorded.of
	if h.filed == nil {
		if s.bench.busy() {
			return errBusy
		}
		out, err := record.OpenWriter(s.shop.Dir())
		if err != nil {
			return err
		}
		result, err := capture.AddRecording(out, h.heard.Recording, h.opt)
		if err = errors.Join(err, out.Close()); err != nil {
			return err
		}
		h.filed = result
	}
	http.Redirect(w, r, to(recordingAddress, "id", id), http.StatusSeeOther)
	return nil
}
