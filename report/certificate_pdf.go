package report

import (
	"io"

	"evenpole/fit/verdict"
)

// A certificate's letters are larger than a sheet's, where there is room.
const certificateScale = 1.3

// WriteCertificatePDF writes the customer's certificate as one page of a PDF, which is read
// and printed without colour. The same papers give the same bytes.
func WriteCertificatePDF(w io.Writer, c Papers, paper Paper) error {
	if err := c.check(); err != nil {
		return err
	}
	d := &diploma{Papers: c}
	title := certificateHeading + ": " + c.Verdict.Pickup + ", " + string(c.Verdict.Verdict)
	return onePageFrom(certificateScale, w, paper, title, c.Verdict.Time, d.fill)
}

// fill lays the certificate out.
func (d *diploma) fill(s *leaf) {
	s.border()
	if d.Shop != "" {
		s.centred(d.Shop, 13, true)
	}
	if d.Address != "" {
		s.centred(d.Address, bodySize, false)
	}
	s.gap(3)
	s.rule(1.5)
	s.gap(3)
	s.flex()
	s.centred(d.Heading(), 16, true)
	s.centred(d.Number(), bodySize, false)
	s.gap(3)
	s.flex()
	s.pairs(1, d.Facts())
	s.gap(3)
	s.flex()
	heavy, double := 1.5, d.Verdict.Verdict == verdict.Conforms
	if d.Verdict.Verdict == verdict.OutOfTolerance {
		heavy = 3
	}
	s.frame(heavy, double, func() {
		s.gap(1)
		s.centred(d.Word(), 13, true)
		s.centred(d.Sentence(), bodySize, false)
		s.gap(1)
	})
	s.gap(4)
	s.flex()
	s.para(d.Caption(), bodySize-1, false)
	chart := d.chart()
	s.picture(chartWidth, 1/certificateScale, func(on canvas) float64 { chart.draw(on); return chartHeight })
	s.flex()
	d.signatures(s)
	s.flex()
	d.end(s)
}

// signatures are lines to sign on.
func (d *diploma) signatures(s *leaf) {
	s.gap(10)
	s.room(2 * s.lineHeight(smallSize))
	left, width := s.left, s.width
	const apart = 8.0 // mm
	quarter := (width - 2*apart) / 4
	top := s.y
	for i, what := range []string{"Date", "Place", "For the maker"} {
		s.left, s.width, s.y = left+float64(i)*(quarter+apart), quarter, top
		if i == 2 {
			s.width = 2 * quarter
		}
		s.rule(0.7)
		s.gap(0.5)
		s.para(what, smallSize, false)
	}
	s.left, s.width = left, width
}

// end is what stands at the foot: cautions, and the code with its text.
func (d *diploma) end(s *leaf) {
	s.gap(2)
	side := 0.0
	units := drawCode(nowhere{}, d.CodeText())
	if units > 0 {
		side = codeSide
	}
	left, width, top := s.left, s.width, s.y
	if units > 0 {
		s.room(side)
		top = s.y
		drawCode(&pdf{doc: s.doc, x: left + width - side, y: top + 1, unit: side / units}, d.CodeText())
		s.width = width - side - 8
	}
	s.list(cautionsHeading, d.Cautions(), smallSize)
	s.width = width
	s.y = max(s.y, top+side+2)
	s.para(d.CodeText(), smallSize-1, false)
}
