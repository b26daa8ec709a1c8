package page

import (
	"fmt"
	"net/http"
	"net/url"
	"regexp"
	"strconv"
	"strings"

	"evenpole/capture"
	"evenpole/capture/record"
	"evenpole/profiles"
	"evenpole/shop"
)

// filled reads the fields of a file as they were typed. Names that are no paths of fields
// are of no account: no field has them.
func filled(form url.Values, prefix string) profiles.Filled {
	in := profiles.Filled{Units: profiles.Millimetres, Typed: map[string]string{}}
	if form.Get("units") == string(profiles.Inches) {
		in.Units = profiles.Inches
	}
	for name, values := range form {
		if path, ok := strings.CutPrefix(name, prefix); ok {
			in.Typed[path] = values[0]
		}
	}
	return in
}

// mountPrefix stands before the paths of a mount's fields.
const mountPrefix = "m."

// captureForm is what a person fills in to start a capture.
type captureForm struct {
	Port, Mount, Text, Purpose, Takes, Until, Operator string

	Again, Mounted, Same bool

	typed *profiles.Filled // the mount, where it was typed in fields; Text is what came of it
	paths []string         // of the lines of Text then
}

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

// job is what a person asked to capture.
type job struct {
	form captureForm     // as it was filled in
	opt  capture.Options // what it says; Again is cleared once the new session has begun
}

// portPattern is what a port is called. Anything else is no port, whatever it leads to.
var portPattern = regexp.MustCompile(`^(?:/dev/[A-Za-z0-9][A-Za-z0-9._/-]{0,100}|COM[0-9]{1,3})$`)

// newJob makes a job of what a person filled in.
func newJob(of *shop.Shop, f *captureForm) (*job, error) {
	if !portPattern.MatchString(f.Port) || strings.Contains(f.Port, "..") {
		return nil, &refused{fmt.Sprintf("port: expected one such as /dev/ttyACM0 or COM3, got %.60q", f.Port)}
	}
	opt, err := f.options()
	if err != nil {
		return nil, err
	}
	if f.Mount != "" {
		opt.Mount, err = of.JigMount(f.Mount)
	} else {
		opt.Mount, err = of.ParseMount("mount", f.Text)
	}
	return &job{*f, opt}, err
}
