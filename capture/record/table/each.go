package table

// Kept is what is kept of a row, see [Each].
type Kept[T, U any] struct {
	Made U
	row  *rowAtHand[T] // that of who reads the rows, used for the next one
}

// rowAtHand is a row that is being read.
type rowAtHand[T any] struct {
	value T
	cells Row
	wrong []bool // by column
	bad   int    // how many of them are
}

func (r *rowAtHand[T]) note(column int, wrong bool) {
	switch was := r.wrong[column]; {
	case wrong && !was:
		r.bad++
	case was && !wrong:
		r.bad--
	}
	r.wrong[column] = wrong
}

// Each returns a table that reads the rows of t and keeps of each what is made of its value
// and of its text: who needs both reads the file once. cells are in the order of t, and line
// is the one on which the row starts. Of a row in which a cell is wrong, bad says what and
// x says nothing; a line that is no row comes as the error of the reader. x and cells are
// good until keep returns, which is called from several goroutines at once. The table writes
// no rows.
func Each[T, U any](t *Table[T], keep func(x *T, cells Row, line int, bad *RowError) U) *Table[Kept[T, U]] {
	each := &Table[Kept[T, U]]{Layout: t.Layout}
	for i, c := range t.columns {
		each.columns = append(each.columns, keptColumn[T, U](c, i))
	}
	each.reset = func(k *Kept[T, U]) {
		if k.row == nil {
			k.row = newRowAtHand[T](len(t.columns))
		}
		t.reset(&k.row.value)
		clear(k.row.cells)
		clear(k.row.wrong)
		k.row.bad = 0
	}
	each.finish = func(k *Kept[T, U], c *Cells) {
		k.Made = keep(&k.row.value, k.row.cells, c.Line, t.ended(k.row, c))
	}
	return each
}

func newRowAtHand[T any](columns int) *rowAtHand[T] {
	return &rowAtHand[T]{cells: make(Row, columns), wrong: make([]bool, columns)}
}

// keptColumn reads the cells of a column into the row at hand. One that is wrong is noted.
func keptColumn[T, U any](c Column[T], i int) Column[Kept[T, U]] {
	kept := Column[Kept[T, U]]{
		name: c.name, number: c.number, needed: c.needed,
		set: func(k *Kept[T, U], cell *Cell) {
			before := cell.err
			cell.err = nil
			k.row.cells[i] = cell.Text
			c.set(&k.row.value, cell)
			k.row.note(i, cell.err != nil)
			cell.err = before
		},
	}
	if c.quick != nil {
		kept.quick = func(k *Kept[T, U], text []byte) bool {
			ok := c.quick(&k.row.value, text)
			if ok {
				k.row.note(i, false)
			}
			return ok
		}
		kept.text = func(k *Kept[T, U], text string) { k.row.cells[i] = text }
	}
	return kept
}

// ended looks at a row all of whose cells were read, and says what is wrong with it.
func (t *Table[T]) ended(r *rowAtHand[T], c *Cells) *RowError {
	at := func(string) (string, int) {
		file, _ := c.cell.at("")
		return file, c.Line
	}
	if r.bad > 0 {
		_, bad := t.Parse(r.cells, at)
		return bad
	}
	if t.finish == nil {
		return nil
	}
	own := Cells{Line: c.Line, layout: t.Layout, row: r.cells, cell: Cell{at: at}}
	t.finish(&r.value, &own)
	return own.cell.err
}
