package record

import (
	"context"
	"encoding/json"
	"maps"
	"path/filepath"
	"slices"
	"testing"

	"evenpole/capture/record/table"
)

// sealVector is what another program works out of a row and its seal.
type sealVector struct {
	File   string `json:"file"`
	Row    int    `json:"row"`
	Text   string `json:"text"`
	Digest string `json:"digest"`
	Chain  string `json:"chain"` // "" where the row was never sealed
	Remark string `json:"remark"`
}

// The vectors by which others check the format of seals hold for the record's own code:
// the text of each row, its digest and the chain; the seals, as Verify reads them; and
// those that a writer adds to a record without any.
func TestSealVectors(t *testing.T) {
	dir := filepath.Join("testdata", "seals")
	var vectors []sealVector
	if err := json.Unmarshal([]byte(text(t, filepath.Join(dir, "vectors.json"))), &vectors); err != nil {
		t.Fatal(err)
	}
	want := map[string][]sealVector{}
	for _, v := range vectors {
		want[v.File] = append(want[v.File], v)
	}
	layouts := map[string]*table.Layout{ReadingsFile: readingColumns.Layout, FieldsFile: fieldColumns.Layout}
	if files := slices.Sorted(maps.Keys(want)); !slices.Equal(files, []string{FieldsFile, ReadingsFile}) {
		t.Fatalf("vectors of %q", files)
	}
	shop := map[string]string{}
	for name, l := range layouts {
		var rows []sealVector
		err := scanFile(filepath.Join(dir, name), l, func(row table.Row, _ table.Place, _ *RowError) {
			v := want[name][len(rows)]
			rows = append(rows, sealVector{name, len(rows) + 1, string(sealedText(l, row)), rowDigest(l, row), v.Chain, v.Remark})
		})
		if err != nil || !slices.Equal(rows, want[name]) {
			t.Errorf("%s: got %+v, %v\nexpected %+v", name, rows, err, want[name])
		}
		checkChain(t, name, want[name])
		for _, file := range []string{name, filepath.Base(sealsPath(name))} {
			shop[file] = text(t, filepath.Join(dir, file))
		}
	}
	s := mustShop(t, shop)
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	noFaults(t, s.Dir, "the vectors")
	audit, err := Verify(context.Background(), s.Dir, func(Finding) {})
	if err != nil || audit.Files[0].Sealed != 4 || audit.Files[1].Sealed != 2 {
		t.Errorf("%+v, %v", audit, err)
	}
	for name := range layouts {
		if got := digestsIn(t, filepath.Join(s.Dir, sealsPath(name))); len(got) != len(want[name]) {
			t.Errorf("%s: a writer added seals: %q", name, got)
		}
	}
}

// checkChain compares the chain with that of the record's own code.
func checkChain(t *testing.T, name string, rows []sealVector) {
	t.Helper()
	var last seal
	sealed := 0
	for i, v := range rows {
		if v.Chain == "" {
			last = seal{row: i + 1, remark: neverSealed}.after(seal{})
			continue
		}
		last = seal{row: v.Row, digest: v.Digest, remark: v.Remark}.after(last)
		if sealed++; last.chain != v.Chain {
			t.Errorf("%s, row %d: chain %s, expected %s", name, v.Row, last.chain, v.Chain)
		}
	}
	if sealed == 0 {
		t.Errorf("%s: no row is sealed", name)
	}
}
