package main

import (
	"errors"
	"strings"
	"testing"
)

func TestRun(t *testing.T) {
	var out strings.Builder
	err := run(&out, options{states: 20})
	if errors.Is(err, errors.ErrUnsupported) {
		t.Skip(err)
	}
	if err != nil {
		t.Error(err)
	}
	t.Log("\n" + out.String())
}

// A power cut keeps what was synced, and of the rest anything.
func TestModel(t *testing.T) {
	d := newModel("/shop")
	for _, c := range []call{
		{name: "openat", path: "/shop/a", make: true}, {name: "write", path: "/shop/a", at: 7, text: "one\n"},
		{name: "fsync", path: "/shop/a"}, {name: "fsync", path: "/shop"}, {name: "write", path: "/shop/a", at: 7, text: "two\n"},
		{name: "write", path: "/dev/tty", at: 2, text: "kept string 1: 1.000 mV\n"},
	} {
		d.play(c)
	}
	found := map[string]bool{}
	for _, s := range d.states {
		text, there := s.files["a"]
		if !there {
			text = "no file"
		}
		found[text] = true
	}
	for _, want := range []string{"no file", "", "on", "on\x00\x00", "one\n", "one\ntw", "one\ntw\x00\x00", "one\ntwo\n"} {
		if !found[want] {
			t.Errorf("no state with %q", want)
		}
	}
	if len(d.kept) != 1 || len(found) != 8 {
		t.Errorf("kept %q, states %v", d.kept, found)
	}
}

func TestParseCall(t *testing.T) {
	c, ok := parseCall(`pwrite64(7<\x2f\x61>, "\x68\x69\x0a", 3, 40) = 3`)
	if want := (call{name: "pwrite64", path: "/a", text: "hi\n", at: 40}); !ok || c != want {
		t.Errorf("%+v, %v", c, ok)
	}
	if c, ok := parseCall(`openat(AT_FDCWD, "\x2f\x61", O_RDWR|O_CREAT|O_CLOEXEC, 0644) = -1 ENOENT (No such file)`); ok {
		t.Errorf("a call that failed: %+v", c)
	}
}
