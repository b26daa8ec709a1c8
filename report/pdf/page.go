package pdf

import (
	"cmp"
	"io"
	"strings"
	"time"
)

// A Page is one that is filled from top to bottom. Letters and the space
// between lines are those asked for times a scale, by which a long text is made
// to fit.
type Page struct {
	Doc         *Document
	Scale       float64
	Left, Width float64 // mm, of the column being filled
	Y, Bottom   float64 // mm
	pages       int

	flexes  int     // places at which what is left of the page may be
	stretch float64 // mm, that each of them has of it
}

// The margins of a sheet, mm, and its letters, points.
const (
	sideMargin = 14.0
	topMargin  = 10.0
	BodySize   = 8.5
	SmallSize  = 7.0
	leading    = 1.22
)

// Scales at which a sheet is tried, until all of it is on one page.
const (
	scaleStep  = 0.04
	leastScale = 0.6
)

// Setup is what a document is set up for.
type Setup struct {
	Width, Height float64 // mm, of its paper
	Title         string
	Date          time.Time // the same date gives the same bytes
	Scale         float64   // letters are so many times as large at first; 0 counts as 1
}

// OnePage writes a document by fill, which is called again with smaller letters until all is
// on one page, or letters are as small as can be read. A [*LettersError] says that it has
// letters that no font has.
func OnePage(w io.Writer, of Setup, fill func(*Page)) error {
	filled := func(scale, stretch float64) *Page {
		s := &Page{
			Doc: NewDocument(of.Width, of.Height, printable(of.Title), of.Date), Scale: scale, pages: 1, stretch: stretch,
			Left: sideMargin, Width: of.Width - 2*sideMargin, Y: topMargin, Bottom: of.Height - topMargin,
		}
		fill(s)
		return s
	}
	for scale := cmp.Or(of.Scale, 1); ; scale -= scaleStep {
		s := filled(scale, 0)
		if s.pages > 1 && scale >= leastScale {
			continue
		}
		if spare := s.Bottom - s.Y; s.pages == 1 && s.flexes > 0 && spare > 1 {
			if whole := filled(scale, (spare-0.5)/float64(s.flexes)); whole.pages == 1 {
				s = whole
			}
		}
		return s.Doc.Write(w)
	}
}

// Flex is a place at which what is left of a page may be, a share of it.
func (s *Page) Flex() {
	s.flexes++
	s.Y += s.stretch
}

// Border draws a double line round the page, and leaves room within.
func (s *Page) Border() {
	const outer, apart, within = 8.0, 1.2, 5.0 // mm
	width, height := s.Doc.GetPageSize()
	s.Doc.SetDrawColor(0, 0, 0)
	s.Doc.SetDashPattern([]float64{}, 0)
	for i, points := range []float64{1.5, 0.5} {
		in := outer + float64(i)*apart
		s.Doc.SetLineWidth(points * 25.4 / 72)
		s.Doc.Rect(in, in, width-2*in, height-2*in, "D")
	}
	inner := outer + apart + within
	s.Left, s.Width = inner, width-2*inner
	s.Y, s.Bottom = inner-1, height-inner+1
}

// Font chooses letters, in points before they are scaled.
func (s *Page) Font(points float64, bold bool) {
	s.Doc.SetLetters(points*s.Scale, bold)
}

// LineHeight of letters of so many points, mm.
func (s *Page) LineHeight(points float64) float64 { return points * s.Scale * leading * 25.4 / 72 }

// Room goes to a new page when there is no room for so many mm.
func (s *Page) Room(height float64) {
	if s.Y+height <= s.Bottom {
		return
	}
	s.Doc.AddPage()
	s.pages++
	s.Y = topMargin
}

// Gap leaves some mm free.
func (s *Page) Gap(mm float64) { s.Y += mm * s.Scale }

// Wrap breaks text into lines of a width in mm, in the letters chosen.
func (s *Page) Wrap(text string, width float64) []string {
	lines := s.Doc.lines(s.Doc.Printable(text), width)
	if len(lines) == 0 {
		return []string{""}
	}
	return lines
}

// Write puts one line at x from the left of the column, its base at the foot of
// so many points' line; align is "start", "mid" or "end" about x.
func (s *Page) Write(x, y float64, align, text string) {
	text = s.Doc.Printable(text)
	width := s.Doc.TextWidth(text)
	switch align {
	case "mid":
		x -= width / 2
	case "end":
		x -= width
	}
	s.Doc.Put(x, y, text)
}

// Base is where letters of so many points stand in a line that begins at y.
func (s *Page) Base(points float64) float64 { return s.Y + 0.8*s.LineHeight(points) }

// Para writes text over the column's width.
func (s *Page) Para(text string, points float64, bold bool) {
	s.Hanging("", text, points, bold)
}

// Hanging writes text with a mark before its first line.
func (s *Page) Hanging(mark, text string, points float64, bold bool) {
	s.Font(points, bold)
	indent := 0.0
	if mark != "" {
		indent = 2.6 * s.Scale
	}
	for i, line := range s.Wrap(text, s.Width-indent) {
		s.Room(s.LineHeight(points))
		s.Font(points, bold)
		if i == 0 && mark != "" {
			s.Write(s.Left, s.Base(points), "start", mark)
		}
		s.Write(s.Left+indent, s.Base(points), "start", line)
		s.Y += s.LineHeight(points)
	}
}

// List writes a heading and its points; nothing when there are none.
func (s *Page) List(heading string, points []string, size float64) {
	if len(points) == 0 {
		return
	}
	s.Gap(1.5)
	s.Room(2 * s.LineHeight(BodySize))
	s.Para(heading, BodySize+0.5, true)
	for _, p := range points {
		s.Hanging("•", p, size, false)
	}
}

// Centred writes text about the middle of the column.
func (s *Page) Centred(text string, points float64, bold bool) {
	s.Font(points, bold)
	for _, line := range s.Wrap(text, s.Width) {
		s.Room(s.LineHeight(points))
		s.Font(points, bold)
		s.Write(s.Left+s.Width/2, s.Base(points), "mid", line)
		s.Y += s.LineHeight(points)
	}
}

// Beside fills two columns, the first so wide a share of the whole.
func (s *Page) Beside(share, between float64, first, second func()) {
	left, width, top := s.Left, s.Width, s.Y
	s.Width = share*width - between/2
	first()
	end := s.Y
	s.Left, s.Width, s.Y = left+share*width+between/2, (1-share)*width-between/2, top
	second()
	s.Left, s.Width, s.Y = left, width, max(end, s.Y)
}

// Rule draws a line across the column.
func (s *Page) Rule(points float64) {
	s.Doc.SetDrawColor(0, 0, 0)
	s.Doc.SetDashPattern([]float64{}, 0)
	s.Doc.SetLineWidth(points * 25.4 / 72)
	s.Doc.Line(s.Left, s.Y, s.Left+s.Width, s.Y)
}

// Frame draws a box round what fill writes; a heavy one, or a double one.
func (s *Page) Frame(points float64, double bool, fill func()) {
	const pad = 2.5 // mm
	top, left, width, page := s.Y, s.Left, s.Width, s.pages
	s.Left, s.Width = left+pad, width-2*pad
	s.Gap(1.5)
	fill()
	s.Gap(1.5)
	s.Left, s.Width = left, width
	if s.pages != page { // the box was broken by the end of the page
		return
	}
	s.Doc.SetDrawColor(0, 0, 0)
	s.Doc.SetDashPattern([]float64{}, 0)
	s.Doc.SetLineWidth(points * 25.4 / 72)
	s.Doc.Rect(left, top, width, s.Y-top, "D")
	if double {
		const in = 0.9 // mm
		s.Doc.Rect(left+in, top+in, width-2*in, s.Y-top-2*in, "D")
	}
}

// Column is one of a table.
type Column struct {
	Head  string // "\n" begins its second line
	Words bool   // to the left; else figures, to the right
	width float64
}

// Table writes rows of cells under a head. Columns are as wide as they need to
// be; what is left goes between them.
func (s *Page) Table(columns []Column, rows [][]string) {
	size, spare := s.fit(columns, rows)
	pad := min(1.2, spare/2) // mm from a column's edge
	write := func(cell func(i int) string) {
		at := s.Left
		for i := range columns {
			c := &columns[i]
			if c.Words {
				s.Write(at+pad, s.Base(BodySize), "start", cell(i))
			} else {
				s.Write(at+c.width+spare-pad, s.Base(BodySize), "end", cell(i))
			}
			at += c.width + spare
		}
		s.Y += s.LineHeight(BodySize)
	}
	s.Room(float64(len(rows)+2) * s.LineHeight(BodySize))
	s.Font(size-0.5, false)
	for k := range 2 {
		write(func(i int) string { return columns[i].headLine(k) })
	}
	s.Rule(1)
	s.Font(size, false)
	for _, r := range rows {
		s.Gap(0.25)
		write(func(i int) string { return r[i] })
		s.Rule(0.3)
	}
}

// fit makes columns as wide as what is in them, in letters of a size, points, that
// leaves some mm to spare for each where it can be read.
func (s *Page) fit(columns []Column, rows [][]string) (size, spare float64) {
	const least, apart = 5, 1.5 // points, mm
	for size = BodySize; ; size -= 0.5 {
		s.Font(size, true)
		spare = s.Width / float64(len(columns))
		for i := range columns {
			columns[i].width = s.widest(i, columns[i].Head, rows)
			spare -= columns[i].width / float64(len(columns))
		}
		if spare >= apart || size <= least {
			return size, spare
		}
	}
}

// widest is the width of the widest of a head's lines and column i's cells, mm.
func (s *Page) widest(i int, head string, rows [][]string) float64 {
	var width float64
	for _, line := range strings.Split(head, "\n") {
		width = max(width, s.Doc.TextWidth(printable(line)))
	}
	for _, r := range rows {
		width = max(width, s.Doc.TextWidth(printable(r[i])))
	}
	return width
}

// headLine is line k, 0 or 1, of a head; heads of one line stand on the second.
func (c *Column) headLine(k int) string {
	above, below, two := strings.Cut(c.Head, "\n")
	if !two {
		above, below = "", above
	}
	return [2]string{above, below}[k]
}

// Pairs writes terms and what they are, two to a line where columns is 2.
func (s *Page) Pairs(columns int, pairs [][2]string) {
	s.Font(BodySize, false)
	var term float64
	for _, p := range pairs {
		term = max(term, s.Doc.TextWidth(p[0]))
	}
	term += 2 * s.Scale
	left, width := s.Left, s.Width/float64(columns)
	for k := 0; k < len(pairs); k += columns {
		top, low := s.Y, s.Y
		for i := k; i < min(k+columns, len(pairs)); i++ {
			x := left + float64(i-k)*width
			s.Y = top
			s.Font(BodySize, false)
			s.Doc.SetTextColor(70, 70, 70)
			s.Write(x, s.Base(BodySize), "start", pairs[i][0])
			s.Doc.SetTextColor(0, 0, 0)
			for _, line := range s.Wrap(pairs[i][1], width-term-2*s.Scale) {
				s.Write(x+term, s.Base(BodySize), "start", line)
				s.Y += s.LineHeight(BodySize)
			}
			low = max(low, s.Y)
		}
		s.Y = low
	}
}
