package page

import (
	"fmt"
	"net/http"

	"evenpole/capture/record/table"
)

// grid is a table of a page. The same cells are shown and downloaded.
type grid struct {
	ID      string // its name in addresses, unlike that of other tables of the page
	Caption string
	Heads   []head
	Rows    [][]cell
}

// head is the head of a column.
type head struct {
	Text   string
	Figure bool // its cells are figures, and stand to the right
}

// cell is a text, which may lead to a page.
type cell struct {
	Text, Link string
	Figure     bool
}

// longText is how many letters stay on one line.
const longText = 30

// Class is the cell's class in the style sheet.
func (c cell) Class() string {
	switch {
	case c.Figure:
		return "figure"
	case len(c.Text) > longText:
		return "words"
	}
	return ""
}

// textHeads and figureHeads are heads of columns.
func textHeads(names ...string) []head   { return headsOf(false, names) }
func figureHeads(names ...string) []head { return headsOf(true, names) }

func headsOf(figure bool, names []string) (out []head) {
	for _, name := range names {
		out = append(out, head{name, figure})
	}
	return out
}

// add adds a row of texts. link is where the first of them leads; "" is nowhere.
func (g *grid) add(link string, texts ...string) {
	row := make([]cell, len(texts))
	for i, text := range texts {
		row[i] = cell{Text: text, Figure: g.Heads[i].Figure}
	}
	row[0].Link = link
	g.Rows = append(g.Rows, row)
}

// writeCSV sends the table as a file for a spreadsheet.
func (g *grid) writeCSV(w http.ResponseWriter) error {
	lines := [][]string{{}}
	for _, h := range g.Heads {
		lines[0] = append(lines[0], h.Text)
	}
	for _, row := range g.Rows {
		var line []string
		for _, c := range row {
			line = append(line, c.Text)
		}
		lines = append(lines, line)
	}
	w.Header().Set("Content-Type", "text/csv; charset=utf-8")
	w.Header().Set("Content-Disposition", `attachment; filename="`+g.ID+`.csv"`)
	return table.WriteLines(w, false, lines...)
}

// perString is columns with a string's name first.
func perString(others ...string) []head {
	return append(textHeads("string", "note"), figureHeads(others...)...)
}

// byString is the heads of a table with a column a string.
func byString(first string, n int) []head {
	heads := textHeads(first)
	for i := range n {
		heads = append(heads, head{fmt.Sprint(i + 1), true})
	}
	return heads
}
