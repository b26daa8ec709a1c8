package table

// A Place tells where the cell of a column is in the row at hand; column "" stands
// for the row itself.
type Place func(column string) (file string, line int)

// Expected returns the error of a cell: what was expected there, and what was found.
func (at Place) Expected(column, want, got string) *RowError {
	file, line := at(column)
	return Errorf(file, line, column, "expected %s, got %q", want, shown(got))
}

// A Cell is a cell of a row that is being read. Of the cells of a row that are wrong,
// the first one is told.
type Cell struct {
	Text string // as it stands in the file

	column string
	at     Place
	err    *RowError // of the row
}

// Fail says what was expected instead of the cell's text.
func (c *Cell) Fail(want string) { c.fail(c.column, want, c.Text) }

func (c *Cell) fail(column, want, got string) {
	if c.err == nil {
		c.err = c.at.Expected(column, want, got)
	}
}
