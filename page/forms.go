package page

import (
	"fmt"
	"net/http"
	"strconv"
	"strings"

	"evenpole/capture"
	"evenpole/profiles"
)

// mountPrefix stands before the paths of a mount's fields.
const mountPrefix = "m."

// readCapture reads the form.
func readCapture(r *http.Request) (*captureForm, error) {
	if err := r.ParseForm(); err != nil {
		return nil, err
	}
	v := r.PostForm
	f := &captureForm{
		Port: strings.TrimSpace(v.Get("port")), Mount: v.Get("mount"), Text: v.Get("text"), Purpose: v.Get("purpose"), Takes: strings.TrimSpace(v.Get("takes")),
		Again: v.Has("again"), Mounted: v.Has("mounted"), Same: v.Has("same"),
	}
	if !v.Has("text") {
		in := filled(v, mountPrefix)
		f.typed = &in
		f.Text, f.paths = profiles.MountFormat.File(in)
	}
	if f.Takes == "" {
		f.takes = capture.DefaultTakes
		return f, nil
	}
	var err error
	if f.takes, err = strconv.Atoi(f.Takes); err != nil || f.takes < 1 {
		return f, &refused{fmt.Sprintf("takes: expected a number from 1, got %.20q", f.Takes)}
	}
	return f, nil
}
