package repeat

import (
	"fmt"
	"io"
	"maps"
	"slices"
	"strings"

	"evenpole/capture/record/sheet"
)

// OperatorsFile is the file of a shop that says who made which session, where the record
// does not, or not rightly.
const OperatorsFile = "operators.csv"

// Operators says by session who made it, and in which sitting and mounting when the
// times of the readings do not show it.
type Operators map[string]Note

// Note is a row of the file. An empty sitting or mounting is worked out: a session is
// a mounting, and a pause of three hours ends a sitting.
type Note struct {
	Operator string
	Sitting  string // sessions of one name are one sitting
	Mounting string // sessions of one name are one mounting: the pickup was not touched between
}

// ReadOperators reads such a file: CSV with a header row, columns session, operator,
// sitting and mounting in any order, of which only session is required. A
// mistake is a [*record.RowError]; name stands for the file in it.
func ReadOperators(r io.Reader, name string) (Operators, error) {
	rows, err := sheet.ReadList(r, name, "session")
	if err != nil {
		return nil, err
	}
	who := Operators{}
	for i := range rows {
		row := &rows[i]
		id := row.Cell("session")
		if _, twice := who[id]; twice || id == "" {
			return nil, row.Wrong("session", "expected each session once, got %q again", id)
		}
		who[id] = Note{row.Cell("operator"), row.Cell("sitting"), row.Cell("mounting")}
	}
	return who, nil
}

// strangers warns of sessions that the record does not have: their names were mistyped.
func (who Operators) strangers(sessions map[string]string) []string {
	var names []string
	for _, name := range slices.Sorted(maps.Keys(who)) {
		if _, known := sessions[name]; !known {
			names = append(names, name)
		}
	}
	if len(names) == 0 {
		return nil
	}
	return []string{fmt.Sprintf("the list of operators names sessions that are not in the record: %s", strings.Join(names, ", "))}
}
