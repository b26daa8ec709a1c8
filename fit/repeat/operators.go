package repeat

import (
	"io"

	"evenpole/capture/record"
)

// WhoFile is the file of a shop that says who sat at the jig. The record has no
// place for it, and stays as it is.
const OperatorsFile = "operators.csv"

// Who says of sessions by whom they were made, and in which sitting and mounting
// where the times of the readings do not tell.
type Operators map[string]Note

// Note is a row of the file. What is empty is worked out: a session is a
// mounting, and a pause of three hours ends a sitting.
type Note struct {
	Operator string
	Sitting  string // sessions of one name are one sitting
	Mounting string // sessions of one name are one mounting: the pickup was not touched between
}

// ReadWho reads such a file: CSV with a header row, columns session, operator,
// sitting and mounting in any order, of which only session is required. A
// mistake is a [*capture.RowError]; name stands for the file in it.
func ReadOperators(r io.Reader, name string) (Operators, error) {
	rows, err := record.ReadList(r, name, "session")
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
