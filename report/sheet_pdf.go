package report

import (
	"fmt"
	"io"
	"strings"

	"evenpole/fit/verdict"
	"evenpole/report/pdf"
)

// WriteSheetPDF writes the workshop's sheet as one page of a PDF, which is read and
// printed without colour. The same papers give the same bytes: their date is the
// measurement's.
func WriteSheetPDF(w io.Writer, c Papers, paper Paper) error {
	p, err := c.sheet()
	if err != nil {
		return err
	}
	title := fmt.Sprintf("Workshop sheet: pickup %s, %s", c.Verdict.Pickup, c.Verdict.Verdict)
	return pdf.OnePage(w, paper.setup(title, c.Verdict.Time), p.fill)
}

// codeSide is that of the QR code on paper, mm.
const codeSide = 24.0

// fill lays the sheet out.
func (p *page) fill(s *pdf.Page) {
	p.head(s)
	double := p.Verdict.Verdict == verdict.Conforms
	heavy := 1.5
	if p.Verdict.Verdict == verdict.OutOfTolerance {
		heavy = 3
	}
	s.Frame(heavy, double, func() {
		s.Para(strings.ToUpper(string(p.Verdict.Verdict)), 12, true)
		s.Para(p.Sentence(), pdf.BodySize, false)
		if p.Verdict.Remedy != "" {
			s.Para("Remedy: "+p.Text(p.Verdict.Remedy)+".", pdf.BodySize, false)
		}
	})
	s.Gap(2)
	p.strings(s)
	s.Gap(2)
	s.Para(p.BalanceCaption(), pdf.BodySize+0.5, true)
	chart := p.balance()
	picture(s, chartWidth, 0.86, func(on canvas) float64 { chart.draw(on); return chartHeight })
	s.Gap(2)
	s.Para(p.PolesCaption(), pdf.BodySize+0.5, true)
	poles := p.poles()
	picture(s, poleWidth, 0.86, poles.draw)
	for _, l := range p.Lists() {
		s.List(l.Heading, l.Points, pdf.BodySize)
	}
	end := p.Ending()
	s.Beside(0.6, 6, func() { s.List(notesHeading, end.Notes, pdf.SmallSize) }, func() { s.List(cautionsHeading, end.Cautions, pdf.SmallSize) })
	p.foot(s)
}

// head is the title, what the certificate is of, and its code.
func (p *page) head(s *pdf.Page) {
	s.Font(14, true)
	s.Write(s.Left, s.Base(14), "start", p.Heading())
	title := s.Doc.TextWidth(p.Heading())
	left, width, top := s.Left, s.Width, s.Y
	s.Font(pdf.BodySize, false)
	for _, line := range s.Wrap(p.Shop, width-title-8) {
		s.Font(pdf.BodySize, false)
		s.Write(left+width, s.Base(pdf.BodySize), "end", line)
		s.Y += s.LineHeight(pdf.BodySize)
	}
	s.Y = max(s.Y, top+s.LineHeight(14))
	s.Rule(1.5)
	s.Gap(1.5)
	top = s.Y
	side := codeSide * s.Scale
	if p.codeUnits > 0 {
		drawCode(&onPDF{doc: s.Doc, x: left + width - side, y: top + 0.5, unit: side / p.codeUnits}, p.Line())
	}
	s.Width = width - side - 6
	s.Pairs(2, p.Facts())
	s.Gap(0.6)
	s.Pairs(1, p.State())
	s.Left, s.Width = left, width
	s.Y = max(s.Y, top+side+2)
	s.Gap(1)
}

// strings is the table.
func (p *page) strings(s *pdf.Page) {
	s.Para("Strings and poles", pdf.BodySize+0.5, true)
	var rows [][]string
	for _, x := range p.Verdict.Strings {
		row := []string{name(x.Number, x.Note), p.Diameter(x.Gauge), p.Diameter(x.Core), wrapWords(x.Wrap), p.Length(x.PoleHeight), p.Gap(x)}
		if p.Verdict.TwoCoils() {
			row = append(row, p.PoleOfSecond(x), p.GapOfSecond(x))
		}
		rows = append(rows, append(row, fmt.Sprint(x.Takes), threeDigits(float64(x.Level)),
			figure("%+.2f", float64(x.Balance)), figure("%+.2f", x.Target), figure("%+.2f", float64(x.Deviation)), figure("%.2f", float64(x.Expanded)), string(x.Verdict)))
	}
	columns := []pdf.Column{{Head: "string", Words: true}, {Head: "gauge\n" + p.Unit()}, {Head: "core\n" + p.Unit()}, {Head: "wrap", Words: true}, {Head: "pole\n" + p.Unit()}, {Head: "gap\n" + p.Unit()}}
	if p.Verdict.TwoCoils() {
		columns = append(columns, pdf.Column{Head: "pole 2\n" + p.Unit()}, pdf.Column{Head: "gap 2\n" + p.Unit()})
	}
	s.Table(append(columns, []pdf.Column{
		{Head: "takes"}, {Head: "level\nmV"}, {Head: "balance\ndB"}, {Head: "target\ndB"}, {Head: "deviation\ndB"}, {Head: "± U\ndB"}, {Head: "verdict", Words: true},
	}...), rows)
}

// foot stands at the foot of the page.
func (p *page) foot(s *pdf.Page) {
	s.Font(pdf.SmallSize, false)
	height := (1.4 + float64(len(s.Wrap(p.Line(), s.Width)))) * s.LineHeight(pdf.SmallSize)
	s.Gap(1)
	s.Room(height)
	s.Y = s.Bottom - height
	s.Rule(0.5)
	s.Gap(0.4)
	s.Write(s.Left, s.Base(pdf.SmallSize), "start", p.Footnote())
	s.Write(s.Left+s.Width, s.Base(pdf.SmallSize), "end", "evenpole "+p.Version)
	s.Y += s.LineHeight(pdf.SmallSize)
	s.Para(p.Line(), pdf.SmallSize, false)
}
