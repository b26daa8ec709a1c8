package shop

import (
	"cmp"
	"errors"
	"fmt"
	"io"
	"path/filepath"

	"evenpole/fit/verdict"
	"evenpole/profiles"
	"evenpole/report"
)

// ErrLetters says that PDF pages have no letters for a name; within an *InputError.
var ErrLetters = errors.New("PDF pages have no letters for it")

// Paperwork says how the papers of a pickup are written.
type Paperwork struct {
	Units   profiles.Units // of lengths
	Paper   report.Paper   // of PDF pages
	Version string         // of the program
	Copy    string         // file for a copy of the certificate, .html or .pdf; "" is none
	Replace bool           // a copy that is there
}

// Paper is the paper that the shop prints on.
func (s *Shop) Paper() (report.Paper, error) {
	settings, err := s.Settings()
	if err != nil {
		return report.A4, err
	}
	return report.ParsePaper(string(cmp.Or(settings.Paper, profiles.A4)))
}

// Units are those in which lengths of the shop are told where no order says.
func (s *Shop) Units() (profiles.Units, error) {
	settings, err := s.Settings()
	if err != nil {
		return profiles.Millimetres, err
	}
	return cmp.Or(settings.Units, profiles.Millimetres), nil
}

// IssuePapers issues the certificate of a verdict (see [Shop.Issue]) and writes it and the
// workshop's sheet into the shop, as HTML and PDF. written are the files; notices say which
// PDF was left out, and why. Nothing is issued where the copy could not have all letters.
func (s *Shop) IssuePapers(v *verdict.Verdict, o *profiles.Order, before Certificates, w Paperwork) (written, notices []string, err error) {
	settings, err := s.Settings()
	if err != nil {
		return nil, nil, err
	}
	name, err := s.Name()
	if err != nil {
		return nil, nil, err
	}
	p := report.Papers{Verdict: v, Order: o, Shop: settings.Name, Address: settings.Address, Units: w.Units, Folder: name, Version: w.Version}
	if err := printable(w.Copy, certificatePages(p)); err != nil {
		return nil, nil, err
	}
	if p.Changed, err = s.Issue(v, NamesOf(settings, o, w.Units), before); err != nil {
		return nil, nil, err
	}
	p.Check = settings.CheckedAt(fmt.Sprint(v.Certificate))
	if v.Diagnosis != nil {
		for _, x := range v.Diagnosis.Strings {
			p.Predicted = append(p.Predicted, float64(x.Balance))
		}
	}
	all := paperWriter{shop: s, how: w}
	if err := all.write(s.CertificateFiles(v.Certificate, o.ID, v.Pickup), w.Copy, certificatePages(p)); err != nil {
		return nil, nil, err
	}
	err = all.write(s.SheetFiles(v.Certificate, o.ID, v.Pickup), "", sheetPages(p))
	return all.written, all.notices, err
}

// pages write a paper as HTML and as PDF.
type pages struct {
	html func(io.Writer) error
	pdf  func(io.Writer, report.Paper) error
}

func certificatePages(p report.Papers) pages {
	return pages{
		func(f io.Writer) error { return report.WriteCertificate(f, p) },
		func(f io.Writer, paper report.Paper) error { return report.WriteCertificatePDF(f, p, paper) },
	}
}

func sheetPages(p report.Papers) pages {
	return pages{
		func(f io.Writer) error { return report.WriteSheet(f, p) },
		func(f io.Writer, paper report.Paper) error { return report.WriteSheetPDF(f, p, paper) },
	}
}

// printable refuses a copy as PDF that would lack letters, before anything is issued.
func printable(copied string, p pages) error {
	if !report.IsPDF(copied) {
		return nil
	}
	lacking, err := report.Unprintable(p.html)
	if err != nil || lacking == "" {
		return err
	}
	return &InputError{&lettersError{copied, lacking}}
}

// lettersError is an ErrLetters of a file.
type lettersError struct{ file, letters string }

func (e *lettersError) Error() string {
	return fmt.Sprintf("%s: PDF pages have no letters for %q", e.file, e.letters)
}

func (e *lettersError) Unwrap() error { return ErrLetters }

// notWritten says which PDF is not there for which letters, and what to print in its place.
func notWritten(file, instead, lacking string) string {
	return fmt.Sprintf("%s is not written: PDF pages have no letters for %q (theirs are Latin, Greek, Cyrillic, Chinese, Japanese and Korean); print %s instead", filepath.Base(file), lacking, filepath.Base(instead))
}

// WithoutPDF says why a certificate has no PDF, "" where it has one.
func (s *Shop) WithoutPDF(v *verdict.Verdict) (notice string, err error) {
	page, err := s.CertificatePage(v, "html")
	if err != nil {
		return "", err
	}
	lacking, err := report.Unprintable(func(w io.Writer) error { _, err := w.Write(page); return err })
	if err != nil || lacking == "" {
		return "", err
	}
	files := s.CertificateFiles(v.Certificate, v.Order, v.Pickup)
	return notWritten(files[1], files[0], lacking), nil
}

// paperWriter writes pages, and has written.
type paperWriter struct {
	shop             *Shop
	how              Paperwork
	written, notices []string
}

// write writes a paper into the shop's files, and into a copy. A PDF that would lack
// letters is not written, and that is said.
func (w *paperWriter) write(files []string, copied string, p pages) error {
	lacking, err := report.Unprintable(p.html)
	if err != nil {
		return err
	}
	page := func(file string) func(io.Writer) error {
		if report.IsPDF(file) {
			return func(f io.Writer) error { return p.pdf(f, w.how.Paper) }
		}
		return p.html
	}
	for _, file := range files {
		if report.IsPDF(file) && lacking != "" {
			w.notices = append(w.notices, notWritten(file, files[0], lacking))
			continue
		}
		if err := w.shop.WriteCertificate(file, page(file)); err != nil {
			return err
		}
		w.written = append(w.written, file)
	}
	if copied == "" {
		return nil
	}
	w.written = append(w.written, copied)
	return w.shop.WriteFile(copied, w.how.Replace, page(copied))
}
