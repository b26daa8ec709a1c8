package table

import (
	"cmp"
	"slices"
)

// A Row is a row as text: a cell for each column, in the order of the table.
type Row []string

// A Layout is what is known of the columns of a file without the type of its values.
type Layout struct {
	Names  []string // in the order of a new file
	Needed []string // columns without which a row says nothing
	ByName []int    // the columns in the order of their names
	Number []bool   // of each column: its cells are decimal numbers

	index map[string]int
}

// Index returns which column has a name; ok is false when none has.
func (l *Layout) Index(name string) (i int, ok bool) {
	i, ok = l.index[name]
	return i, ok
}

// Cell returns the cell of a row in a column that the layout has.
func (l *Layout) Cell(row Row, name string) *string { return &row[l.index[name]] }

// A Table is the list of the columns of a file whose rows are values of type T.
type Table[T any] struct {
	*Layout
	columns []Column[T]
	reset   func(*T) // has a value say what a row says in which every cell is empty
	finish  func(*T, *Cells)
}

// New returns the table of some columns, each of another name.
func New[T any](columns ...Column[T]) *Table[T] {
	t := &Table[T]{Layout: &Layout{index: map[string]int{}}, columns: columns}
	var blank T
	t.reset = func(x *T) { *x = blank }
	for i, c := range columns {
		t.Names, t.Number, t.ByName = append(t.Names, c.name), append(t.Number, c.number), append(t.ByName, i)
		t.index[c.name] = i
		if c.needed {
			t.Needed = append(t.Needed, c.name)
		}
		c.set(&blank, &Cell{})
	}
	slices.SortFunc(t.ByName, func(a, b int) int { return cmp.Compare(t.Names[a], t.Names[b]) })
	return t
}

// Finish has a function look at each value once all cells of its row are read.
func (t *Table[T]) Finish(finish func(*T, *Cells)) *Table[T] {
	t.finish = finish
	return t
}

// Cells are the cells of a row that has been read.
type Cells struct {
	Line int // on which the row starts

	layout *Layout
	row    Row
	cell   Cell
}

// Fail says what was expected in a column.
func (c *Cells) Fail(column, want string) { c.cell.fail(column, want, *c.layout.Cell(c.row, column)) }

// Row returns a value as text.
func (t *Table[T]) Row(x *T) Row {
	row := make(Row, len(t.columns))
	for i := range t.columns {
		row[i] = t.columns[i].get(x)
	}
	return row
}

// Parse turns a row into a value. The error is that of the first cell that is wrong.
func (t *Table[T]) Parse(row Row, at Place) (T, *RowError) { return t.parser(at)(row) }

// parser parses row after row; at tells the place of the one at hand.
func (t *Table[T]) parser(at Place) func(Row) (T, *RowError) {
	x := new(T) // used for row after row, as is c
	c := &Cells{layout: t.Layout, cell: Cell{at: at}}
	return func(row Row) (T, *RowError) {
		t.reset(x)
		c.row, c.cell.err = row, nil
		for i, text := range row {
			if text != "" {
				c.cell.Text, c.cell.column = text, t.Names[i]
				t.columns[i].set(x, &c.cell)
			}
		}
		if t.finish != nil {
			_, c.Line = at("")
			t.finish(x, c)
		}
		return *x, c.cell.err
	}
}
