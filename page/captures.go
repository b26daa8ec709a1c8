package page

import (
	"cmp"
	"crypto/rand"
	"encoding/json"
	"fmt"
	"net/http"
	"time"

	"evenpole/capture/record"
	"evenpole/jig"
	"evenpole/profiles"
)

// holderCookie names the browser that holds the jig.
const holderCookie = "evenpole-bench"

// holder is the name of a request's browser; it gets one with the first page of captures.
func holder(w http.ResponseWriter, r *http.Request) string {
	if c, err := r.Cookie(holderCookie); err == nil && c.Value != "" {
		return c.Value
	}
	name := rand.Text()
	http.SetCookie(w, &http.Cookie{Name: holderCookie, Value: name, Path: "/capture", HttpOnly: true, SameSite: http.SameSiteStrictMode})
	return name
}

// benchView is what the page of captures shows.
type benchView struct {
	Seen     seen
	Form     *captureForm
	Ports    []jig.PortInfo
	Mounts   []string
	Purposes []record.Purpose
	Fields   *fieldsView // of the mount; nil where it is written as a text
	Said     written     // what is wrong with what was filled in

	Unfinished string // what to do about a capture that was left before this program began
}

// capture shows the bench.
func (s *Server) capture(w http.ResponseWriter, r *http.Request) error {
	return s.showBench(w, r, http.StatusOK, nil, written{})
}

// showBench shows the bench, with what was filled in and what is wrong with it.
func (s *Server) showBench(w http.ResponseWriter, r *http.Request, status int, f *captureForm, said written) error {
	v := &benchView{Seen: s.bench.shown(holder(w, r)), Form: f, Purposes: record.Purposes(), Said: said}
	var err error
	if v.Mounts, err = s.shop.JigMounts(); err != nil {
		return err
	}
	if v.Ports, err = jig.List(); err != nil {
		v.Ports = nil // a port can be written all the same
	}
	if f == nil {
		if v.Form, v.Unfinished, err = s.lastForm(v.Ports); err != nil {
			return err
		}
	}
	if v.Fields, err = s.mountFields(v.Form, said, r.URL.Query().Get("as") == "text" || f != nil && f.typed == nil); err != nil {
		return err
	}
	return render(w, status, "capture.html", &view{Title: "Capture", Place: "/capture", Shop: s.name, Script: "bench.js", Form: v})
}

// mountFields are the fields of the mount of a form; nil where it is to be written as a text,
// or is one that says more than they hold.
func (s *Server) mountFields(f *captureForm, said written, asText bool) (*fieldsView, error) {
	if asText {
		return nil, nil
	}
	if f.typed != nil {
		return s.fieldsOf(profiles.MountFormat, *f.typed, said, mountPrefix)
	}
	in, whole, err := profiles.MountFormat.Fill("mount", []byte(f.Text))
	if err != nil || !whole {
		return nil, nil // what is wrong is said when it is checked
	}
	if f.Text == "" { // nothing was captured yet: in the shop's units
		if in.Units, err = s.shop.Units(); err != nil {
			return nil, err
		}
	}
	return s.fieldsOf(profiles.MountFormat, in, said, mountPrefix)
}

// checkMount says what is wrong with a mount as it is written, as the commands say it.
func (s *Server) checkMount(w http.ResponseWriter, r *http.Request) error {
	f, err := readCapture(r)
	if err != nil {
		return err
	}
	if f.Mount != "" {
		return sendJSON(w, written{Fine: "mount " + f.Mount})
	}
	m, err := s.shop.ParseMount("mount", f.Text)
	if err != nil {
		return sendJSON(w, mistaken(err, f.paths, mountPrefix))
	}
	return sendJSON(w, written{Fine: fmt.Sprintf("pickup %s: %s", orDash(m.Pickup), profiles.Count(len(m.Strings), "string"))})
}

// lastForm is the form as it was filled in last, or with the mount that was captured last;
// unfinished says how the last capture goes on that was left before its end.
func (s *Server) lastForm(ports []jig.PortInfo) (f *captureForm, unfinished string, err error) {
	if f := s.bench.lastForm(); f != nil {
		return f, "", nil
	}
	last, err := s.shop.LastCapture()
	if err != nil {
		return nil, "", err
	}
	f = &captureForm{Purpose: string(record.ForModel), Text: last.Mount}
	if len(ports) > 0 {
		f.Port = ports[0].Name
	}
	if last.Open {
		f.Purpose = string(last.Purpose)
		unfinished = fmt.Sprintf("Session %s, for %s, of %s, was begun and is not finished: start it as below, with as many takes as it was to have, and it goes on.",
			last.Session, last.Purpose, cmp.Or(last.Pickup, "loose magnets"))
	}
	return f, unfinished, nil
}

// start starts a capture.
func (s *Server) start(w http.ResponseWriter, r *http.Request) error {
	f, err := readCapture(r)
	if err != nil {
		return err
	}
	j, err := newJob(s.shop, f)
	if err == nil {
		err = s.bench.start(j, holder(w, r))
	}
	if err != nil {
		return s.showBench(w, r, statusOf(err), f, mistaken(err, f.paths, mountPrefix))
	}
	return backToBench(w, r, nil)
}

// backToBench leads back to the page of captures after something was done there.
func backToBench(w http.ResponseWriter, r *http.Request, err error) error {
	if err != nil {
		return err
	}
	http.Redirect(w, r, "/capture", http.StatusSeeOther)
	return nil
}

func (s *Server) pause(w http.ResponseWriter, r *http.Request) error {
	return backToBench(w, r, s.bench.pause(holder(w, r)))
}

func (s *Server) goOn(w http.ResponseWriter, r *http.Request) error {
	return backToBench(w, r, s.bench.goOn(holder(w, r)))
}

func (s *Server) takeBack(w http.ResponseWriter, r *http.Request) error {
	return backToBench(w, r, s.bench.takeBack(r.Context(), holder(w, r)))
}

func (s *Server) takeOver(w http.ResponseWriter, r *http.Request) error {
	s.bench.takeOver(holder(w, r))
	return backToBench(w, r, nil)
}

// events sends the bench as it is, and again with every change, until the browser goes
// away.
func (s *Server) events(w http.ResponseWriter, r *http.Request) error {
	if !s.streams.tryTake() {
		w.Header().Set("Retry-After", "10")
		http.Error(w, "too many pages watch already: close one", http.StatusServiceUnavailable)
		return nil
	}
	defer s.streams.free()
	name := holder(w, r)
	w.Header().Set("Content-Type", "text/event-stream")
	_ = http.NewResponseController(w).SetReadDeadline(time.Time{}) // the request has been read; its browser stays
	changed, forget := s.bench.watch()
	defer forget()
	beat := time.NewTicker(heartbeat)
	defer beat.Stop()
	for {
		select {
		case <-r.Context().Done():
			return nil
		case <-s.leaving:
			return nil
		case <-beat.C:
			if send(w, ": still here\n\n") != nil {
				return nil
			}
		case <-changed:
			text, err := json.Marshal(s.bench.shown(name))
			if err != nil || send(w, fmt.Sprintf("data: %s\n\n", text)) != nil {
				return nil
			}
		}
	}
}

// send sends a part of a stream at once. A browser that takes nothing any more is given
// up.
func send(w http.ResponseWriter, text string) error {
	c := http.NewResponseController(w)
	_ = c.SetWriteDeadline(time.Now().Add(streamTime)) // where it cannot be set, the connection has its own
	if _, err := w.Write([]byte(text)); err != nil {
		return err
	}
	return c.Flush()
}
