package report

import (
	"io"

	"evenpole/fit/verdict"
	"evenpole/report/pdf"
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
	of := paper.setup(certificateHeading+": "+c.Verdict.Pickup+", "+string(c.Verdict.Verdict), c.Verdict.Time)
	of.Scale = certificateScale
	return pdf.OnePage(w, of, d.fill)
}

// fill lays the certificate out.
func (d *diploma) fill(s *pdf.Page) {
	s.Border()
	if d.Shop != "" {
		s.Centred(d.Shop, 13, true)
	}
	if d.Address != "" {
		s.Centred(d.Address, pdf.BodySize, false)
	}
	s.Gap(3)
	s.Rule(1.5)
	s.Gap(3)
	s.Flex()
	s.Centred(d.Heading(), 16, true)
	s.Centred(d.Number(), pdf.BodySize, false)
	s.Gap(3)
	s.Flex()
	s.Pairs(1, d.Facts())
	s.Gap(3)
	s.Flex()
	heavy, double := 1.5, d.Verdict.Verdict == verdict.Conforms
	if d.Verdict.Verdict == verdict.OutOfTolerance {
		heavy = 3
	}
	s.Frame(heavy, double, func() {
		s.Gap(1)
		s.Centred(d.Word(), 13, true)
		s.Centred(d.Sentence(), pdf.BodySize, false)
		s.Gap(1)
	})
	s.Gap(4)
	s.Flex()
	s.Para(d.Caption(), pdf.BodySize-1, false)
	chart := d.chart()
	picture(s, chartWidth, 1/certificateScale, func(on canvas) float64 { chart.draw(on); return chartHeight })
	s.Flex()
	d.signatures(s)
	s.Flex()
	d.end(s)
}

// signatures are lines to sign on.
func (d *diploma) signatures(s *pdf.Page) {
	s.Gap(10)
	s.Room(2 * s.LineHeight(pdf.SmallSize))
	left, width := s.Left, s.Width
	const apart = 8.0 // mm
	quarter := (width - 2*apart) / 4
	top := s.Y
	for i, what := range []string{"Date", "Place", "For the maker"} {
		s.Left, s.Width, s.Y = left+float64(i)*(quarter+apart), quarter, top
		if i == 2 {
			s.Width = 2 * quarter
		}
		s.Rule(0.7)
		s.Gap(0.5)
		s.Para(what, pdf.SmallSize, false)
	}
	s.Left, s.Width = left, width
}

// end is what stands at the foot: cautions, and the code with its text.
func (d *diploma) end(s *pdf.Page) {
	s.Gap(2)
	side := 0.0
	units := drawCode(nowhere{}, d.CodeText())
	if units > 0 {
		side = codeSide
	}
	left, width, top := s.Left, s.Width, s.Y
	if units > 0 {
		s.Room(side)
		top = s.Y
		drawCode(&onPDF{doc: s.Doc, x: left + width - side, y: top + 1, unit: side / units}, d.CodeText())
		s.Width = width - side - 8
	}
	s.List(cautionsHeading, d.Cautions(), pdf.SmallSize)
	s.Width = width
	s.Y = max(s.Y, top+side+2)
	s.Para(d.CodeText(), pdf.SmallSize-1, false)
}
