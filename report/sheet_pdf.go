package report

import (
	"fmt"
	"io"
	"strings"

	"evenpole/fit/verdict"
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
	return onePage(w, paper, title, c.Verdict.Time, func(s *leaf) { p.fill(s) })
}

// codeSide is that of the QR code on paper, mm.
const codeSide = 24.0

// fill lays the sheet out.
func (p *page) fill(s *leaf) {
	p.head(s)
	double := p.Verdict.Verdict == verdict.Conforms
	heavy := 1.5
	if p.Verdict.Verdict == verdict.OutOfTolerance {
		heavy = 3
	}
	s.frame(heavy, double, func() {
		s.para(strings.ToUpper(string(p.Verdict.Verdict)), 12, true)
		s.para(p.Sentence(), bodySize, false)
		if p.Verdict.Remedy != "" {
			s.para("Remedy: "+p.Text(p.Verdict.Remedy)+".", bodySize, false)
		}
	})
	s.gap(2)
	p.strings(s)
	s.gap(2)
	s.para(p.BalanceCaption(), bodySize+0.5, true)
	chart := p.balance()
	s.picture(chartWidth, 0.86, func(on canvas) float64 { chart.draw(on); return chartHeight })
	s.gap(2)
	s.para(p.PolesCaption(), bodySize+0.5, true)
	poles := p.poles()
	s.picture(poleWidth, 0.86, poles.draw)
	for _, l := range p.Lists() {
		s.list(l.Heading, l.Points, bodySize)
	}
	end := p.Ending()
	s.beside(0.6, 6, func() { s.list(notesHeading, end.Notes, smallSize) }, func() { s.list(cautionsHeading, end.Cautions, smallSize) })
	p.foot(s)
}

// head is the title, what the certificate is of, and its code.
func (p *page) head(s *leaf) {
	s.font(14, true)
	s.write(s.left, s.base(14), "start", p.Heading())
	title := s.doc.width(p.Heading())
	left, width, top := s.left, s.width, s.y
	s.font(bodySize, false)
	for _, line := range s.wrap(p.Shop, width-title-8) {
		s.font(bodySize, false)
		s.write(left+width, s.base(bodySize), "end", line)
		s.y += s.lineHeight(bodySize)
	}
	s.y = max(s.y, top+s.lineHeight(14))
	s.rule(1.5)
	s.gap(1.5)
	top = s.y
	side := codeSide * s.scale
	if p.codeUnits > 0 {
		drawCode(&pdf{doc: s.doc, x: left + width - side, y: top + 0.5, unit: side / p.codeUnits}, p.Line())
	}
	s.width = width - side - 6
	s.pairs(2, p.Facts())
	s.gap(0.6)
	s.pairs(1, p.State())
	s.left, s.width = left, width
	s.y = max(s.y, top+side+2)
	s.gap(1)
}

// strings is the table.
func (p *page) strings(s *leaf) {
	s.para("Strings and poles", bodySize+0.5, true)
	var rows [][]string
	for _, x := range p.Verdict.Strings {
		rows = append(rows, []string{
			name(x.Number, x.Note), p.Diameter(x.Gauge), p.Diameter(x.Core), wrapWords(x.Wrap),
			p.Length(x.PoleHeight), p.Gap(x), fmt.Sprint(x.Takes), threeDigits(float64(x.Level)),
			figure("%+.2f", float64(x.Balance)), figure("%+.2f", x.Target), figure("%+.2f", float64(x.Deviation)), figure("%.2f", float64(x.Expanded)), string(x.Verdict),
		})
	}
	s.table([]column{
		{head: "string", words: true}, {head: "gauge\n" + p.Unit()}, {head: "core\n" + p.Unit()}, {head: "wrap", words: true}, {head: "pole\n" + p.Unit()}, {head: "gap\n" + p.Unit()},
		{head: "takes"}, {head: "level\nmV"}, {head: "balance\ndB"}, {head: "target\ndB"}, {head: "off by\ndB"}, {head: "± U\ndB"}, {head: "verdict", words: true},
	}, rows)
}

// foot stands at the foot of the page.
func (p *page) foot(s *leaf) {
	s.font(smallSize, false)
	height := (1.4 + float64(len(s.wrap(p.Line(), s.width)))) * s.lineHeight(smallSize)
	s.gap(1)
	s.room(height)
	s.y = s.bottom - height
	s.rule(0.5)
	s.gap(0.4)
	s.write(s.left, s.base(smallSize), "start", p.Footnote())
	s.write(s.left+s.width, s.base(smallSize), "end", "evenpole "+p.Version)
	s.y += s.lineHeight(smallSize)
	s.para(p.Line(), smallSize, false)
}
