package folder

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"maps"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"evenpole/capture/record"
	"evenpole/share"
	"evenpole/share/sharetest"
)

func open1(t testing.TB, dir string) *Folder {
	t.Helper()
	f, err := Open(dir)
	if err != nil {
		t.Fatal(err)
	}
	return f
}

// sealed writes a bundle whose last line stands for what it says, whatever that is.
func sealed(t testing.TB, path, text string) {
	t.Helper()
	if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
		t.Fatal(err)
	}
	sum := sha256.Sum256([]byte(text))
	if err := os.WriteFile(path, append([]byte(text), mustJSON(end{hex.EncodeToString(sum[:])})...), 0o644); err != nil {
		t.Fatal(err)
	}
}

// bundleOf is the text, but for the last line, of a bundle with entries that follow from
// nothing, as their cells say.
func bundleOf(bench string, s share.Stream, cells ...string) string {
	at := share.Start(bench, s)
	var lines strings.Builder
	for _, c := range cells {
		e := at.Entry(s, c)
		at = share.Head{N: e.N, Chain: e.Chain}
		lines.Write(mustJSON(e))
	}
	h := head{Mark: bundleMark, Format: bundleFormat, Bench: bench, Number: 1, Entries: len(cells), Heads: share.Heads{s: at}}
	return string(mustJSON(h)) + lines.String()
}

const identity = `{"path":"identity","text":"00"}`

// TestHostileBundles: each is refused and named; what a shop has, and what is around it,
// stays as it was, and other benches' bundles are pulled all the same.
func TestHostileBundles(t *testing.T) {
	doc := func(path string) string { return `{"path":"` + path + `","text":"got = \"in\"\n"}` }
	texts := map[string]string{
		"a path upwards":              bundleOf("evil", share.Documents, identity, doc("../../../escaped.toml")),
		"a path upwards in a folder":  bundleOf("evil", share.Documents, identity, doc("mounts/../../escaped.toml")),
		"an absolute path":            bundleOf("evil", share.Documents, identity, doc("/tmp/escaped.toml")),
		"a path with backslashes":     bundleOf("evil", share.Documents, identity, doc(`mounts/..\\..\\escaped.toml`)),
		"a drive":                     bundleOf("evil", share.Documents, identity, doc("mounts/C:escaped.toml")),
		"a device":                    bundleOf("evil", share.Documents, identity, doc("mounts/con.toml")),
		"a hidden file":               bundleOf("evil", share.Documents, identity, doc("mounts/.escaped.toml")),
		"another folder":              bundleOf("evil", share.Documents, identity, doc("models/model-001.toml")),
		"no toml":                     bundleOf("evil", share.Documents, identity, doc("mounts/run.exe")),
		"the readings as a document":  bundleOf("evil", share.Documents, identity, doc("readings.csv")),
		"identity twice":              bundleOf("evil", share.Documents, identity, identity),
		"a huge document":             bundleOf("evil", share.Documents, identity, `{"path":"mounts/a.toml","text":"`+strings.Repeat("a", 300<<10)+`"}`),
		"cells that are no object":    bundleOf("evil", share.Readings, `[]`),
		"cells with a name twice":     bundleOf("evil", share.Readings, `{"rms_mv":"1","rms_mv":"2"}`),
		"cells with spaces":           bundleOf("evil", share.Readings, `{ "rms_mv": "1" }`),
		"a column that nobody knows":  bundleOf("evil", share.Readings, `{"rms_mw":"1"}`),
		"a number that is none":       bundleOf("evil", share.Readings, `{"rms_mv":"loud"}`),
		"a name with a line end":      bundleOf("evil", share.Readings, `{"pickup":"a\u000ab"}`),
		"a huge row":                  bundleOf("evil", share.Readings, `{"note":"`+strings.Repeat("a", 200<<10)+`"}`),
		"a number of a file of seals": bundleOf("evil", share.ReadingSeals, `{"chain":"0123456789abcdef","digest":"0123456789abcdef","file":"../../x","row":"1"}`),
		"a seal that is none":         bundleOf("evil", share.ReadingSeals, `{"chain":"x","digest":"0123456789abcdef","row":"1"}`),
		"another bench's":             bundleOf("north", share.Documents, identity),
		"another number":              strings.Replace(bundleOf("evil", share.Documents, identity), `"number":1`, `"number":2`, 1),
		"a later format":              strings.Replace(bundleOf("evil", share.Documents, identity), `"format":1`, `"format":2`, 1),
		"more entries than it has":    strings.Replace(bundleOf("evil", share.Documents, identity), `"entries":1`, `"entries":1000000`, 1),
		"fewer entries than none":     strings.Replace(bundleOf("evil", share.Documents, identity), `"entries":1`, `"entries":-1`, 1),
		"a stream that nobody knows":  bundleOf("evil", "passwords", identity),
		"heads beyond all numbers":    strings.Replace(bundleOf("evil", share.Documents, identity), `"n":1`, `"n":9223372036854775807`, 1),
		"a chain that is none":        strings.Replace(bundleOf("evil", share.Documents, identity), `"chain":"`, `"chain":"zz`, 1),
		"an entry that was altered":   strings.Replace(bundleOf("evil", share.Documents, identity), `00\"}`, `11\"}`, 1),
		"no line end":                 `{"evenpole":"bundle"`,
		"a line without end":          strings.Repeat("a", mostLine+2),
		"nothing":                     "",
		"another file":                "time,session\n",
		"too deep":                    strings.Repeat("[", 100000) + "\n",
	}
	for what, text := range texts {
		t.Run(what, func(t *testing.T) { refused(t, func(path string) { sealed(t, path, text) }) })
	}
	whole := bundleOf("evil", share.Documents, identity)
	t.Run("cut short", func(t *testing.T) {
		refused(t, func(path string) {
			sealed(t, path, whole)
			if err := os.Truncate(path, int64(len(whole)+10)); err != nil {
				t.Fatal(err)
			}
		})
	})
	t.Run("altered", func(t *testing.T) {
		refused(t, func(path string) {
			sealed(t, path, whole)
			text, err := os.ReadFile(path)
			if err != nil {
				t.Fatal(err)
			}
			if err := os.WriteFile(path, []byte(strings.Replace(string(text), "00", "11", 1)), 0o644); err != nil {
				t.Fatal(err)
			}
		})
	})
	t.Run("too large", func(t *testing.T) {
		refused(t, func(path string) {
			sealed(t, path, whole)
			if err := os.Truncate(path, mostBytes+1); err != nil {
				t.Fatal(err)
			}
		})
	})
	t.Run("a link", func(t *testing.T) {
		refused(t, func(path string) {
			sealed(t, path+".elsewhere", whole)
			if err := os.Symlink(path+".elsewhere", path); err != nil {
				t.Skip(err)
			}
		})
	})
	t.Run("a folder", func(t *testing.T) {
		refused(t, func(path string) {
			if err := os.MkdirAll(path, 0o755); err != nil {
				t.Fatal(err)
			}
		})
	})
	t.Run("a bundle missing before it", func(t *testing.T) {
		refused(t, func(path string) { sealed(t, filepath.Join(filepath.Dir(path), "000002.bundle"), whole) })
	})
}

func refused(t *testing.T, make func(path string)) {
	t.Helper()
	dir := t.TempDir()
	a, b := sharetest.Shop(t, "north", 3), sharetest.Shop(t, "south", 2)
	north, south := sharetest.Join(t, a, "north", dir), sharetest.Join(t, b, "south", dir)
	if _, err := south.Exchange(context.Background(), open1(t, dir)); err != nil {
		t.Fatal(err)
	}
	if err := os.MkdirAll(filepath.Join(dir, "evil"), 0o755); err != nil {
		t.Fatal(err)
	}
	make(filepath.Join(dir, "evil", "000001.bundle"))
	before, around := sharetest.Own(t, a.Dir()), sharetest.Own(t, filepath.Dir(a.Dir()))
	r, err := north.Exchange(context.Background(), open1(t, dir))
	if err != nil {
		t.Fatal(err)
	}
	if len(r.Faults) == 0 || r.Faults[0].Bench != "evil" {
		t.Errorf("faults %v", r.Faults)
	}
	sharetest.SameRows(t, b.Dir(), a.Dir(), "south", record.ReadingsFile)
	if after := sharetest.Own(t, a.Dir()); !maps.Equal(before, after) {
		t.Error("the shop's own files were touched")
	}
	if after := sharetest.Own(t, filepath.Dir(a.Dir())); !maps.Equal(around, after) {
		t.Error("files around the shop were touched")
	}
	if _, err := os.Stat("/tmp/escaped.toml"); err == nil {
		t.Error("a file was written elsewhere")
	}
	for _, file := range []string{record.ReadingsFile, "escaped.toml", "mounts"} {
		if _, err := os.Stat(filepath.Join(a.Dir(), "shared", "benches", "evil", file)); err == nil {
			t.Errorf("%s was written", file)
		}
	}
}

// TestNamesThatAreNoBundles are passed over, as what services that synchronise leave.
func TestNamesThatAreNoBundles(t *testing.T) {
	dir := t.TempDir()
	a := sharetest.Shop(t, "north", 3)
	north := sharetest.Join(t, a, "north", dir)
	if _, err := north.Exchange(context.Background(), open1(t, dir)); err != nil {
		t.Fatal(err)
	}
	for _, name := range []string{"north/000001 (conflicted copy).bundle", "north/.000002.bundle.part", "north/7.bundle", "readme.txt", "Évil/000001.bundle", ".stversions/north/000001.bundle", "UPPER/000001.bundle"} {
		sealed(t, filepath.Join(dir, filepath.FromSlash(name)), "rubbish")
	}
	r, err := north.Exchange(context.Background(), open1(t, dir))
	if err != nil || len(r.Faults) > 0 || len(r.Pulled) > 0 {
		t.Errorf("faults %v, pulled %v, %v", r.Faults, r.Pulled, err)
	}
}

// TestABundleThatArrivesLater: what has not arrived is waited for, byte by byte, and then
// pulled.
func TestABundleThatArrivesLater(t *testing.T) {
	from, to := t.TempDir(), t.TempDir()
	a, b := sharetest.Shop(t, "north", 2), sharetest.Shop(t, "south", 1)
	north, south := sharetest.Join(t, a, "north", from), sharetest.Join(t, b, "south", to)
	if _, err := north.Exchange(context.Background(), open1(t, from)); err != nil {
		t.Fatal(err)
	}
	list, err := filepath.Glob(filepath.Join(from, "north", "*.bundle"))
	if err != nil || len(list) == 0 {
		t.Fatal(list, err)
	}
	if err := os.MkdirAll(filepath.Join(to, "north"), 0o755); err != nil {
		t.Fatal(err)
	}
	for _, path := range list {
		text, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		there := filepath.Join(to, "north", filepath.Base(path))
		for size := 0; size < len(text); size += 1 + len(text)/40 {
			if err := os.WriteFile(there, text[:size], 0o644); err != nil {
				t.Fatal(err)
			}
			r, err := south.Exchange(context.Background(), open1(t, to))
			if err != nil || len(r.Faults) == 0 {
				t.Fatalf("%d of %d bytes: faults %v, %v", size, len(text), r.Faults, err)
			}
		}
		if err := os.WriteFile(there, text, 0o644); err != nil {
			t.Fatal(err)
		}
	}
	r, err := south.Exchange(context.Background(), open1(t, to))
	if err != nil || len(r.Faults) > 0 {
		t.Errorf("faults %v, %v", r.Faults, err)
	}
	sharetest.SameRows(t, a.Dir(), b.Dir(), "north", record.ReadingsFile)
	// An own bundle that was altered stops the push until it is put right; taken away, it is
	// written again.
	if err := os.Truncate(list[len(list)-1], 100); err != nil {
		t.Fatal(err)
	}
	sharetest.Add(t, a.Dir(), sharetest.Row("north", 3))
	if _, err := north.Exchange(context.Background(), open1(t, from)); err == nil {
		t.Error("it pushes behind a bundle that was cut short")
	}
	if err := os.Remove(list[len(list)-1]); err != nil {
		t.Fatal(err)
	}
	if _, err := north.Exchange(context.Background(), open1(t, from)); err != nil {
		t.Error(err)
	}
}

// TestAStickThatIsNotThere is no empty record.
func TestAStickThatIsNotThere(t *testing.T) {
	_, err := Open(filepath.Join(t.TempDir(), "stick"))
	if bad := (*share.InputError)(nil); !errors.As(err, &bad) {
		t.Error(err)
	}
}
