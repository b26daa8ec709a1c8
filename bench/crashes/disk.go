package main

import (
	"fmt"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"strings"
)

// A content is what a file holds, and what of it is safe.
type content struct{ now, synced string }

// after are the texts that a power cut can leave of a file.
func (c *content) after() []string {
	if c.now == c.synced {
		return []string{c.now}
	}
	all := []string{c.now, c.synced}
	if rest, ok := strings.CutPrefix(c.now, c.synced); ok {
		half := c.synced + rest[:len(rest)/2]
		all = append(all, half, half+strings.Repeat("\x00", len(c.now)-len(half)))
	}
	return all
}

// names are the files of a shop by their path in it; a folder has no content.
type names map[string]*content

// A model is a disk under a shop.
type model struct {
	shop        string
	now, synced names
	kept        []string // what was acknowledged so far
	states      []state
	seen        map[string]bool
}

// A state is what can be on the disk after a power cut, and what was acknowledged then.
type state struct {
	files map[string]string // by path; a folder's path ends in a slash
	kept  []string
}

func newModel(shop string) *model {
	return &model{shop: shop, now: names{}, synced: names{}, seen: map[string]bool{}}
}

// play does what a call did.
func (d *model) play(c call) {
	if c.name == "write" && c.at == 2 {
		for line := range strings.Lines(c.text) {
			if strings.HasPrefix(line, "kept ") {
				d.kept = append(d.kept, strings.TrimSuffix(line, "\n"))
			}
		}
	}
	path, err := filepath.Rel(d.shop, c.path)
	if err != nil || strings.HasPrefix(path, "..") {
		return
	}
	to, _ := filepath.Rel(d.shop, c.to)
	d.change(c, path, to)
	d.add()
}

func (d *model) change(c call, path, to string) {
	f := d.now[path]
	switch c.name {
	case "openat":
		if f == nil && c.make {
			d.now[path] = &content{}
		}
	case "mkdirat":
		d.now[path+"/"] = nil
	case "linkat":
		d.now[to] = f
	case "renameat", "renameat2":
		d.now[to] = f
		delete(d.now, path)
	case "unlinkat":
		delete(d.now, path)
	}
	if (c.name == "fsync" || c.name == "fdatasync") && f == nil {
		d.syncFolder(path)
		return
	}
	if f == nil {
		return
	}
	switch c.name {
	case "write":
		f.now += c.text
	case "pwrite64":
		f.now = f.now[:min(int(c.at), len(f.now))] + c.text + f.now[min(int(c.at)+len(c.text), len(f.now)):]
	case "ftruncate":
		f.now = f.now[:min(int(c.at), len(f.now))]
	case "fsync", "fdatasync":
		f.synced = f.now
	}
}

// syncFolder makes the names in a folder safe, and the folder that was made in it.
func (d *model) syncFolder(folder string) {
	in := func(path string, _ *content) bool { return filepath.Dir(strings.TrimSuffix(path, "/")) == folder }
	maps.DeleteFunc(d.synced, in)
	for path, f := range d.now {
		if in(path, f) {
			d.synced[path] = f
		}
	}
}

// add adds the states that a power cut can leave now: each file's texts while all the
// others are as they are, or as they were synced.
func (d *model) add() {
	for _, all := range []names{d.now, d.synced} {
		for _, others := range []func(*content) string{func(c *content) string { return c.now }, func(c *content) string { return c.synced }} {
			files := map[string]string{}
			for path, f := range all {
				if files[path] = ""; f != nil {
					files[path] = others(f)
				}
			}
			d.keep(files)
			for path, f := range all {
				if f == nil {
					continue
				}
				for _, text := range f.after() {
					one := maps.Clone(files)
					one[path] = text
					d.keep(one)
				}
			}
		}
	}
}

// keep adds a state that was not there yet.
func (d *model) keep(files map[string]string) {
	key := fmt.Sprint(len(d.kept))
	for _, path := range slices.Sorted(maps.Keys(files)) {
		key += "\n" + path + "\n" + files[path]
	}
	if !d.seen[key] {
		d.seen[key] = true
		d.states = append(d.states, state{files, slices.Clone(d.kept)})
	}
}

// make writes a state into a folder.
func (s *state) make(dir string) error {
	for path, text := range s.files {
		at := filepath.Join(dir, path)
		if strings.HasSuffix(path, "/") {
			if err := os.MkdirAll(at, 0o755); err != nil {
				return err
			}
			continue
		}
		if err := os.MkdirAll(filepath.Dir(at), 0o755); err != nil {
			return err
		}
		if err := os.WriteFile(at, []byte(text), 0o644); err != nil {
			return err
		}
	}
	return nil
}

// sealed counts the seals of readings that are whole.
func (s *state) sealed() int {
	return max(strings.Count(s.files["readings.seals.csv"], "\r\n")-1, 0)
}
