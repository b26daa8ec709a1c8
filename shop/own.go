package shop

import (
	"path/filepath"
	"slices"
	"strings"

	"evenpole/capture/record"
	"evenpole/capture/record/disk"
	"evenpole/fit/gain"
	"evenpole/fit/repeat"
	"evenpole/profiles"
)

// owns reports whether a path names what belongs to a shop: its record, what it
// describes, its models, calibrations and certificates, or a name that these may have
// some day. Pictures, tables and plans do not.
func (f folder) owns(path string) bool {
	rel, err := filepath.Rel(resolved(string(f)), resolved(path))
	if err != nil || !filepath.IsLocal(rel) {
		return false
	}
	// Capitals do not count: some systems do not tell them apart.
	first := strings.ToLower(strings.Split(rel, string(filepath.Separator))[0])
	switch {
	case slices.Contains([]string{record.MountsDir, ordersDir, jigDir, modelsDir, gain.Dir, certificatesDir, SharedDir}, first),
		slices.Contains([]string{record.ReadingsFile, record.FieldsFile, record.SessionsFile, repeat.OperatorsFile, disk.LockFile, disk.OpenMark}, first),
		filepath.Ext(first) == ".toml":
		return true
	}
	for _, file := range []string{record.ReadingsFile, record.FieldsFile, record.SessionsFile} { // seals, torn lines
		if strings.HasPrefix(first, strings.TrimSuffix(file, ".csv")+".") {
			return true
		}
	}
	return false
}

// describes reports whether a path is where orders and mounts stand: in their folders,
// or in the shop's own under a name that no other of its files has.
func (f folder) describes(path string) bool {
	dir, file := filepath.Split(resolved(path))
	if !strings.EqualFold(filepath.Ext(file), ".toml") {
		return false
	}
	switch filepath.Clean(dir) {
	case resolved(f.join(ordersDir)), resolved(f.join(jigDir)):
		return true
	case resolved(string(f)):
		return !slices.Contains([]string{profiles.SetsFile, profiles.BatchesFile, profiles.ShopFile}, strings.ToLower(file))
	}
	return false
}

// resolved is a path as the system sees it: absolute, with every link followed as far
// as there are files.
func resolved(path string) string {
	path, err := filepath.Abs(path)
	if err != nil {
		return path
	}
	if real, err := filepath.EvalSymlinks(path); err == nil {
		return real
	}
	parent := filepath.Dir(path)
	if parent == path {
		return path
	}
	return filepath.Join(resolved(parent), filepath.Base(path))
}

// ownerOf returns the shop that a path belongs to: this one, or the nearest one above
// the path.
func (s *Shop) ownerOf(path string) (owner folder, ok bool) {
	if s.folder != "" && s.folder.owns(path) {
		return s.folder, true
	}
	dir, found := record.Find(filepath.Dir(resolved(path)))
	return folder(dir), found && folder(dir).owns(path)
}

// IsRecord reports whether files are the shop's own readings and no others.
func (s *Shop) IsRecord(files []string) bool {
	return len(files) == 1 && resolved(files[0]) == resolved(s.folder.ReadingsFile())
}
