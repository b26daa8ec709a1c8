package report

import (
	"fmt"
	"io"
	"strings"
	"time"
)

// Paper is the size of a page, mm.
type Paper struct{ Width, Height float64 }

// The papers that documents are made for.
var (
	A4     = Paper{210, 297}
	Letter = Paper{215.9, 279.4}
)

// ParsePaper reads the name of a paper: a4 or letter.
func ParsePaper(name string) (Paper, error) {
	switch strings.ToLower(name) {
	case "a4":
		return A4, nil
	case "letter":
		return Letter, nil
	}
	return Paper{}, fmt.Errorf("expected a4 or letter, got %q", name)
}

// leaf is a page that is filled from top to bottom. Letters and the space
// between lines are those asked for times a scale, by which a long text is made
// to fit.
type leaf struct {
	doc         *document
	scale       float64
	left, width float64 // mm, of the column being filled
	y, bottom   float64 // mm
	pages       int

	flexes  int     // places at which what is left of the page may be
	stretch float64 // mm, that each of them has of it
}

// The margins of a sheet, mm, and its letters, points.
const (
	sideMargin = 14.0
	topMargin  = 10.0
	bodySize   = 8.5
	smallSize  = 7.0
	leading    = 1.22
)

// Scales at which a sheet is tried, until all of it is on one page.
const (
	scaleStep  = 0.04
	leastScale = 0.6
)

// onePage writes a document by fill, which is called again with smaller letters
// until all is on one page, or letters are as small as can be read.
func onePage(w io.Writer, paper Paper, title string, date time.Time, fill func(*leaf)) error {
	return onePageFrom(1, w, paper, title, date, fill)
}

// onePageFrom is onePage with letters so many times as large at first.
func onePageFrom(scale float64, w io.Writer, paper Paper, title string, date time.Time, fill func(*leaf)) error {
	filled := func(stretch float64) *leaf {
		s := &leaf{
			doc: newDocument(paper.Width, paper.Height, printable(title), date), scale: scale, pages: 1, stretch: stretch,
			left: sideMargin, width: paper.Width - 2*sideMargin, y: topMargin, bottom: paper.Height - topMargin,
		}
		fill(s)
		return s
	}
	for ; ; scale -= scaleStep {
		s := filled(0)
		if s.pages > 1 && scale >= leastScale {
			continue
		}
		if spare := s.bottom - s.y; s.pages == 1 && s.flexes > 0 && spare > 1 {
			if whole := filled((spare - 0.5) / float64(s.flexes)); whole.pages == 1 {
				s = whole
			}
		}
		return s.doc.write(w)
	}
}

// flex is a place at which what is left of a page may be, a share of it.
func (s *leaf) flex() {
	s.flexes++
	s.y += s.stretch
}

// border draws a double line round the page, and leaves room within.
func (s *leaf) border() {
	const outer, apart, within = 8.0, 1.2, 5.0 // mm
	width, height := s.doc.GetPageSize()
	s.doc.SetDrawColor(0, 0, 0)
	s.doc.SetDashPattern([]float64{}, 0)
	for i, points := range []float64{1.5, 0.5} {
		in := outer + float64(i)*apart
		s.doc.SetLineWidth(points * 25.4 / 72)
		s.doc.Rect(in, in, width-2*in, height-2*in, "D")
	}
	inner := outer + apart + within
	s.left, s.width = inner, width-2*inner
	s.y, s.bottom = inner-1, height-inner+1
}

// font chooses letters, in points before they are scaled.
func (s *leaf) font(points float64, bold bool) {
	s.doc.letters(points*s.scale, bold)
}

// lineHeight of letters of so many points, mm.
func (s *leaf) lineHeight(points float64) float64 { return points * s.scale * leading * 25.4 / 72 }

// room goes to a new page when there is no room for so many mm.
func (s *leaf) room(height float64) {
	if s.y+height <= s.bottom {
		return
	}
	s.doc.AddPage()
	s.pages++
	s.y = topMargin
}

// gap leaves some mm free.
func (s *leaf) gap(mm float64) { s.y += mm * s.scale }

// wrap breaks text into lines of a width in mm, in the letters chosen.
func (s *leaf) wrap(text string, width float64) []string {
	lines := s.doc.lines(s.doc.printable(text), width)
	if len(lines) == 0 {
		return []string{""}
	}
	return lines
}

// write puts one line at x from the left of the column, its base at the foot of
// so many points' line; align is "start", "mid" or "end" about x.
func (s *leaf) write(x, y float64, align, text string) {
	text = s.doc.printable(text)
	width := s.doc.width(text)
	switch align {
	case "mid":
		x -= width / 2
	case "end":
		x -= width
	}
	s.doc.put(x, y, text)
}

// base is where letters of so many points stand in a line that begins at y.
func (s *leaf) base(points float64) float64 { return s.y + 0.8*s.lineHeight(points) }

// para writes text over the column's width.
func (s *leaf) para(text string, points float64, bold bool) {
	s.hanging("", text, points, bold)
}

// hanging writes text with a mark before its first line.
func (s *leaf) hanging(mark, text string, points float64, bold bool) {
	s.font(points, bold)
	indent := 0.0
	if mark != "" {
		indent = 2.6 * s.scale
	}
	for i, line := range s.wrap(text, s.width-indent) {
		s.room(s.lineHeight(points))
		s.font(points, bold)
		if i == 0 && mark != "" {
			s.write(s.left, s.base(points), "start", mark)
		}
		s.write(s.left+indent, s.base(points), "start", line)
		s.y += s.lineHeight(points)
	}
}

// list writes a heading and its points; nothing when there are none.
func (s *leaf) list(heading string, points []string, size float64) {
	if len(points) == 0 {
		return
	}
	s.gap(1.5)
	s.room(2 * s.lineHeight(bodySize))
	s.para(heading, bodySize+0.5, true)
	for _, p := range points {
		s.hanging("•", p, size, false)
	}
}

// centred writes text about the middle of the column.
func (s *leaf) centred(text string, points float64, bold bool) {
	s.font(points, bold)
	for _, line := range s.wrap(text, s.width) {
		s.room(s.lineHeight(points))
		s.font(points, bold)
		s.write(s.left+s.width/2, s.base(points), "mid", line)
		s.y += s.lineHeight(points)
	}
}

// beside fills two columns, the first so wide a share of the whole.
func (s *leaf) beside(share, between float64, first, second func()) {
	left, width, top := s.left, s.width, s.y
	s.width = share*width - between/2
	first()
	end := s.y
	s.left, s.width, s.y = left+share*width+between/2, (1-share)*width-between/2, top
	second()
	s.left, s.width, s.y = left, width, max(end, s.y)
}

// rule draws a line across the column.
func (s *leaf) rule(points float64) {
	s.doc.SetDrawColor(0, 0, 0)
	s.doc.SetDashPattern([]float64{}, 0)
	s.doc.SetLineWidth(points * 25.4 / 72)
	s.doc.Line(s.left, s.y, s.left+s.width, s.y)
}

// frame draws a box round what fill writes; a heavy one, or a double one.
func (s *leaf) frame(points float64, double bool, fill func()) {
	const pad = 2.5 // mm
	top, left, width, page := s.y, s.left, s.width, s.pages
	s.left, s.width = left+pad, width-2*pad
	s.gap(1.5)
	fill()
	s.gap(1.5)
	s.left, s.width = left, width
	if s.pages != page { // the box was broken by the end of the page
		return
	}
	s.doc.SetDrawColor(0, 0, 0)
	s.doc.SetDashPattern([]float64{}, 0)
	s.doc.SetLineWidth(points * 25.4 / 72)
	s.doc.Rect(left, top, width, s.y-top, "D")
	if double {
		const in = 0.9 // mm
		s.doc.Rect(left+in, top+in, width-2*in, s.y-top-2*in, "D")
	}
}

// picture draws on a canvas of so many user units across, as wide as a share of
// the column, and returns its height from draw.
func (s *leaf) picture(units, share float64, draw func(canvas) float64) {
	width := s.width * share * s.scale
	unit := width / units
	s.room(draw(nowhere{}) * unit)
	p := &pdf{doc: s.doc, x: s.left + (s.width-width)/2, y: s.y, unit: unit}
	s.y += draw(p) * unit
}

// column is one of a table.
type column struct {
	head  string // "\n" begins its second line
	words bool   // to the left; else figures, to the right
	width float64
}

// table writes rows of cells under a head. Columns are as wide as they need to
// be; what is left goes between them.
func (s *leaf) table(columns []column, rows [][]string) {
	size, spare := s.fit(columns, rows)
	pad := min(1.2, spare/2) // mm from a column's edge
	write := func(cell func(i int) string) {
		at := s.left
		for i := range columns {
			c := &columns[i]
			if c.words {
				s.write(at+pad, s.base(bodySize), "start", cell(i))
			} else {
				s.write(at+c.width+spare-pad, s.base(bodySize), "end", cell(i))
			}
			at += c.width + spare
		}
		s.y += s.lineHeight(bodySize)
	}
	s.room(float64(len(rows)+2) * s.lineHeight(bodySize))
	s.font(size-0.5, false)
	for k := range 2 {
		write(func(i int) string { return columns[i].headLine(k) })
	}
	s.rule(1)
	s.font(size, false)
	for _, r := range rows {
		s.gap(0.25)
		write(func(i int) string { return r[i] })
		s.rule(0.3)
	}
}

// fit makes columns as wide as what is in them, in letters of a size, points, that
// leaves some mm to spare for each where it can be read.
func (s *leaf) fit(columns []column, rows [][]string) (size, spare float64) {
	const least, apart = 5, 1.5 // points, mm
	for size = bodySize; ; size -= 0.5 {
		s.font(size, true)
		spare = s.width / float64(len(columns))
		for i := range columns {
			columns[i].width = s.widest(i, columns[i].head, rows)
			spare -= columns[i].width / float64(len(columns))
		}
		if spare >= apart || size <= least {
			return size, spare
		}
	}
}

// widest is the width of the widest of a head's lines and column i's cells, mm.
func (s *leaf) widest(i int, head string, rows [][]string) float64 {
	var width float64
	for _, line := range strings.Split(head, "\n") {
		width = max(width, s.doc.width(printable(line)))
	}
	for _, r := range rows {
		width = max(width, s.doc.width(printable(r[i])))
	}
	return width
}

// headLine is line k, 0 or 1, of a head; heads of one line stand on the second.
func (c *column) headLine(k int) string {
	above, below, two := strings.Cut(c.head, "\n")
	if !two {
		above, below = "", above
	}
	return [2]string{above, below}[k]
}

// pairs writes terms and what they are, two to a line where columns is 2.
func (s *leaf) pairs(columns int, pairs [][2]string) {
	s.font(bodySize, false)
	var term float64
	for _, p := range pairs {
		term = max(term, s.doc.width(p[0]))
	}
	term += 2 * s.scale
	left, width := s.left, s.width/float64(columns)
	for k := 0; k < len(pairs); k += columns {
		top, low := s.y, s.y
		for i := k; i < min(k+columns, len(pairs)); i++ {
			x := left + float64(i-k)*width
			s.y = top
			s.font(bodySize, false)
			s.doc.SetTextColor(70, 70, 70)
			s.write(x, s.base(bodySize), "start", pairs[i][0])
			s.doc.SetTextColor(0, 0, 0)
			for _, line := range s.wrap(pairs[i][1], width-term-2*s.scale) {
				s.write(x+term, s.base(bodySize), "start", line)
				s.y += s.lineHeight(bodySize)
			}
			low = max(low, s.y)
		}
		s.y = low
	}
}
