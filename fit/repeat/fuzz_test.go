package repeat

import (
	"encoding/csv"
	"errors"
	"maps"
	"slices"
	"strings"
	"testing"

	"evenpole/capture/record"
	"evenpole/profiles"
)

// FuzzOperators: a list of operators is refused with a place, or it is names that are
// written so that they read the same.
func FuzzOperators(f *testing.F) {
	for _, s := range []string{
		"session,operator\ns001,Ann\ns002,Bo\n",
		"mounting, sitting ,operator,session\n1,a,\"O'B, \"\"jr\"\"\",s001\n,,,s002\n",
		"\xef\xbb\xbfsession,remark,session\r\ns001,x,s002\r\n",
		"session,operator\ns001,Ann\ns001,Bo\n",
		"session;operator\n\"s001",
	} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, file string) {
		who, err := ReadOperators(strings.NewReader(file), "o.csv")
		if err != nil {
			var row *record.RowError
			if !errors.As(err, &row) || row.File != "o.csv" || row.Line < 1 || row.Msg == "" {
				t.Fatalf("%T: %v", err, err)
			}
			return
		}
		var b strings.Builder
		w := csv.NewWriter(&b)
		w.Write([]string{"session", "operator", "sitting", "mounting"})
		for _, id := range slices.Sorted(maps.Keys(who)) {
			n := who[id]
			for _, text := range []string{id, n.Operator, n.Sitting, n.Mounting} {
				if !profiles.IsName(text) {
					t.Errorf("%q is no name", text)
				}
			}
			w.Write([]string{id, n.Operator, n.Sitting, n.Mounting})
		}
		w.Flush()
		if again, err := ReadOperators(strings.NewReader(b.String()), "o.csv"); err != nil || !maps.Equal(again, who) {
			t.Errorf("%v became %v, %v", who, again, err)
		}
		who.strangers(map[string]string{})
	})
}
