package page

import (
	"fmt"
	"net/http"
	"strconv"
	"strings"

	"evenpole/capture"
	"evenpole/capture/record"
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
	typed := func(name string) string { return strings.TrimSpace(v.Get(name)) }
	f := &captureForm{
		Port: typed("port"), Mount: v.Get("mount"), Text: v.Get("text"), Purpose: v.Get("purpose"), Takes: typed("takes"), Until: typed("until"), Operator: typed("operator"),
		Again: v.Has("again"), Mounted: v.Has("mounted"), Same: v.Has("same"),
	}
	if !v.Has("text") {
		in := filled(v, mountPrefix)
		f.typed = &in
		f.Text, f.paths = profiles.MountFormat.File(in)
	}
	return f, nil
}

// options is what the form says, but for the mount.
func (f *captureForm) options() (opt capture.Options, err error) {
	opt = capture.Options{Purpose: record.Purpose(f.Purpose), Again: f.Again, AsMounted: f.Mounted, Operator: f.Operator}
	if f.Takes != "" {
		if opt.Takes, err = strconv.Atoi(f.Takes); err != nil || opt.Takes < 1 {
			return opt, &refused{fmt.Sprintf("takes: expected a number from 1, got %.20q", f.Takes)}
		}
	}
	if f.Until != "" {
		if opt.Until, err = strconv.ParseFloat(f.Until, 64); err != nil || opt.Until == 0 {
			return opt, &refused{fmt.Sprintf("until: expected a standard error of more than 0 up to 10 dB, got %.20q", f.Until)}
		}
	}
	return opt, opt.Check()
}
