package share

import (
	"bufio"
	"bytes"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"iter"
	"os"
	"path"
	"path/filepath"
	"slices"
	"strings"

	"evenpole/capture/record"
	"evenpole/capture/record/disk"
	"evenpole/fit/gain"
	"evenpole/profiles"
	"evenpole/shop"
)

// Documents are the files that are kept whole: mounts, calibrations, orders, the string
// sets and what a person decided of names. An entry of theirs has the cells
//
//	path   where the file stands in the shop, with slashes
//	text   what it says; none when it is gone
//
// and is one version; the last of a path counts. The first entry of all says which shop it
// is: its path is identity, its text a number drawn when the shop joined. So two shops that
// share under one name are found with the first entry.

const (
	identityPath = "identity"
	pathCell     = "path"
	textCell     = "text"
)

// mostDocument is how long a document may be, bytes: more than any order is.
const mostDocument = 200 << 10

// documentDirs are the folders of documents.
func documentDirs() []string { return []string{record.MountsDir, gain.Dir, shop.OrdersDir} }

// isDocument tells whether a path can be that of a document, and so a file's within the
// folder of a bench.
func isDocument(p string) bool {
	if p == profiles.SetsFile || p == namesFile {
		return true
	}
	dir, name := path.Split(p)
	return slices.Contains(documentDirs(), strings.TrimSuffix(dir, "/")) && isFileName(name) && strings.HasSuffix(name, ".toml")
}

// isFileName tells whether a file may be called so on every system.
func isFileName(name string) bool {
	return profiles.IsName(name) && len(name) <= 200 && filepath.IsLocal(name) && !reserved.MatchString(name) &&
		!strings.HasPrefix(name, ".") && !strings.ContainsAny(name, `/\:*?"<>|`)
}

// lines reads a file of entries of documents, a line each; a last line without its end
// was cut off, and is none. There are none where there is no file.
func lines(file string) iter.Seq2[string, error] {
	return func(yield func(string, error) bool) {
		f, err := disk.Open(file)
		if errors.Is(err, fs.ErrNotExist) {
			return
		}
		if err != nil {
			yield("", err)
			return
		}
		defer f.Close()
		in := bufio.NewReaderSize(f, 64<<10)
		for n := 1; ; n++ {
			line, err := readLine(in)
			switch {
			case err == io.EOF:
				return
			case err != nil:
				yield("", fmt.Errorf("%s:%d: %w", file, n, err))
				return
			}
			if !yield(line, nil) {
				return
			}
		}
	}
}

// readLine reads a line of at most MostCells bytes, without its end; io.EOF where it has
// none.
func readLine(in *bufio.Reader) (string, error) {
	var all []byte
	for {
		piece, err := in.ReadSlice('\n')
		all = append(all, piece...)
		switch {
		case len(all) > MostCells+1:
			return "", fmt.Errorf("expected at most %d bytes in a line", MostCells)
		case err == nil:
			return string(all[:len(all)-1]), nil
		case !errors.Is(err, bufio.ErrBufferFull):
			return "", err
		}
	}
}

// ledger is a file of entries of documents.
type ledger struct {
	file string
	last map[string]string // the text of each path; "" when it is gone
	n    int
}

// openLedger reads a ledger, and cuts off a last line that a crash left without its end:
// that one was never shared.
func openLedger(file string) (*ledger, error) {
	if err := cutUnended(file); err != nil {
		return nil, err
	}
	l := &ledger{file: file, last: map[string]string{}}
	for line, err := range lines(file) {
		if err != nil {
			return nil, err
		}
		cells, err := decode(line)
		if err != nil {
			return nil, &InputError{fmt.Sprintf("%s:%d: %v", file, l.n+1, err)}
		}
		l.last[cells[pathCell]] = cells[textCell]
		l.n++
	}
	return l, nil
}

// add adds versions, each a path and a text.
func (l *ledger) add(versions ...[2]string) error {
	var b bytes.Buffer
	for _, v := range versions {
		cells, err := encode(map[string]string{pathCell: v[0], textCell: v[1]})
		if err != nil {
			return fmt.Errorf("%s: %w", v[0], err)
		}
		b.WriteString(cells + "\n")
		l.last[v[0]] = v[1]
		l.n++
	}
	return disk.Append(l.file, b.Bytes())
}

// refresh adds what is new or gone of a shop's documents. passed names those that cannot
// be shared, and why.
func (l *ledger) refresh(dir, identity string) (passed []string, err error) {
	var versions [][2]string
	if l.n == 0 {
		versions = append(versions, [2]string{identityPath, identity})
	}
	found, passed, err := documentsIn(dir)
	if err != nil {
		return nil, err
	}
	for _, d := range found {
		if d[1] != l.last[d[0]] {
			versions = append(versions, d)
		}
		delete(l.last, d[0])
	}
	for p, text := range l.last {
		if p != identityPath && text != "" && !slices.ContainsFunc(passed, func(s string) bool { return strings.HasPrefix(s, p+":") }) {
			versions = append(versions, [2]string{p, ""})
		}
	}
	slices.SortStableFunc(versions, func(a, b [2]string) int {
		switch {
		case a[0] == b[0]:
			return 0
		case a[0] == identityPath:
			return -1
		case b[0] == identityPath:
			return 1
		}
		return strings.Compare(a[0], b[0])
	})
	return passed, l.add(versions...)
}

// documentsIn finds the documents of a shop: paths with their texts.
func documentsIn(dir string) (found [][2]string, passed []string, err error) {
	var paths []string
	for _, d := range documentDirs() {
		entries, err := os.ReadDir(filepath.Join(dir, d))
		if err != nil && !errors.Is(err, fs.ErrNotExist) {
			return nil, nil, err
		}
		for _, e := range entries {
			if p := path.Join(d, e.Name()); e.Type().IsRegular() && isDocument(p) {
				paths = append(paths, p)
			}
		}
	}
	for p, file := range map[string]string{profiles.SetsFile: profiles.SetsFile, namesFile: filepath.Join(shop.SharedDir, namesFile)} {
		if _, err := os.Stat(filepath.Join(dir, file)); err == nil {
			paths = append(paths, p)
		}
	}
	slices.Sort(paths)
	for _, p := range paths {
		text, why, err := readDocument(filepath.Join(dir, fileOf(p)))
		switch {
		case err != nil:
			return nil, nil, err
		case why != "":
			passed = append(passed, p+": not shared: "+why)
		default:
			found = append(found, [2]string{p, text})
		}
	}
	return found, passed, nil
}

// fileOf is where a document stands in the shop that it is of.
func fileOf(p string) string {
	if p == namesFile {
		return filepath.Join(shop.SharedDir, namesFile)
	}
	return filepath.FromSlash(p)
}

// readDocument reads a file whole, or says why it cannot be shared.
func readDocument(file string) (text, why string, err error) {
	b, err := readSmall(file, mostDocument)
	switch large := (*InputError)(nil); {
	case errors.As(err, &large):
		return "", fmt.Sprintf("expected at most %d KiB", mostDocument>>10), nil
	case err != nil:
		return "", "", err
	case len(b) == 0:
		return "", "it is empty", nil
	}
	if _, err := encode(map[string]string{textCell: string(b)}); err != nil {
		return "", err.Error(), nil
	}
	return string(b), "", nil
}

// restore writes the documents of a bench, as their last versions are, as files into its
// folder.
func (l *ledger) restore(dir string) error {
	for p, text := range l.last {
		if !isDocument(p) {
			continue
		}
		file := filepath.Join(dir, filepath.FromSlash(p))
		there, err := disk.ReadFile(file)
		switch {
		case err != nil && !errors.Is(err, fs.ErrNotExist):
			return err
		case text == "" && err == nil:
			if err := os.Remove(file); err != nil {
				return err
			}
		case text != "" && (err != nil || string(there) != text):
			if err := disk.MakeDir(filepath.Dir(file)); err != nil {
				return err
			}
			if err := disk.WriteFile(file, write(text)); err != nil {
				return err
			}
		}
	}
	return nil
}
