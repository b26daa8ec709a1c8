package shop

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"

	"evenpole/capture/record/disk"
	"evenpole/fit/verdict"
)

// Certificates are numbered in the order in which a shop issues them. Each is kept as
// the verdict that it states; its pages are drawn from that, and none is ever replaced.

// Certificates are those that a shop has issued, by number.
type Certificates []*Certificate

// Issue gives a verdict the next certificate number and keeps it with the names of its
// papers. One that says what the last certificate of its order and pickup says gets that
// one's number. before are the certificates as they were read last; where another check
// has issued one since, they are read again. changed is what differs from the certificate
// whose place this one takes.
func (s *Shop) Issue(v *verdict.Verdict, names Names, before Certificates) (changed []string, err error) {
	if err := disk.MakeDir(s.join(certificatesDir)); err != nil {
		return nil, err
	}
	for number := 1; ; number++ {
		last := before.latestOf(v.Order, v.Pickup)
		v.Certificate, v.Supersedes = 0, 0
		if last != nil {
			if same, err := sameVerdict(v, &last.Verdict); same && names == last.Names || err != nil {
				v.Certificate, v.Supersedes = last.Certificate, last.Supersedes
				return changes(before.numbered(last.Supersedes), &Certificate{*v, names}), err
			}
			v.Supersedes = last.Certificate
		}
		number = max(number, before.next())
		for s.leftPages(number) {
			number++
		}
		v.Certificate = number
		document, err := json.MarshalIndent(&Certificate{*v, names}, "", "  ")
		if err != nil {
			return nil, fmt.Errorf("certificate %d: %w", number, err)
		}
		if err := disk.CreateFile(s.certificate(number), text(append(document, '\n'))); !errors.Is(err, fs.ErrExist) {
			return changes(last, &Certificate{*v, names}), err
		}
		if before, err = s.Certificates(); err != nil {
			return nil, err
		}
	}
}

// next is the number after all of them.
func (all Certificates) next() int {
	number := 1
	for _, c := range all {
		number = max(number, c.Certificate+1)
	}
	return number
}

// leftPages reports whether there are pages under a number whose certificate is gone, as a
// person moved it away: a certificate of another pickup would get these pages.
func (s *Shop) leftPages(number int) bool {
	pages, err := disk.Matching(s.join(certificatesDir), fmt.Sprintf("%04d-*", number))
	return err == nil && len(pages) > 0 && Missing(s.certificate(number))
}

// Certificates reads all that were issued.
func (s *Shop) Certificates() (Certificates, error) {
	files, err := disk.Matching(s.join(certificatesDir), certificatePattern)
	if err != nil {
		return nil, err
	}
	var all Certificates
	for _, file := range files {
		document, err := disk.ReadFile(file)
		if err != nil {
			return nil, err
		}
		v := &Certificate{}
		if err := json.Unmarshal(document, v); err != nil {
			return nil, bad("%s: %w: %w", file, ErrCertificate, err)
		}
		all = append(all, v)
	}
	return all, nil
}

// latestOf is the certificate of an order's pickup with the highest number; nil
// without any. Ids count as they are written.
func (all Certificates) latestOf(order, pickup string) (last *Certificate) {
	for _, c := range all {
		if c.Order == order && c.Pickup == pickup && (last == nil || c.Certificate > last.Certificate) {
			last = c
		}
	}
	return last
}

// numbered is the certificate of a number; nil without one.
func (all Certificates) numbered(number int) *Certificate {
	for _, c := range all {
		if c.Certificate == number {
			return c
		}
	}
	return nil
}

// sameVerdict reports whether two verdicts say the same but for their numbers.
func sameVerdict(a, b *verdict.Verdict) (bool, error) {
	var documents [2][]byte
	for i, v := range []*verdict.Verdict{a, b} {
		unnumbered := *v
		unnumbered.Certificate, unnumbered.Supersedes = 0, 0
		document, err := json.Marshal(unnumbered)
		if err != nil {
			return false, err
		}
		documents[i] = document
	}
	return bytes.Equal(documents[0], documents[1]), nil
}

// WriteCertificate writes a page of a certificate into the shop. One that was written
// before stays as it is.
func (s *Shop) WriteCertificate(path string, write func(io.Writer) error) error {
	if err := disk.CreateFile(path, write); !errors.Is(err, fs.ErrExist) {
		return err
	}
	return nil
}

// resistanceOf is the coil's resistance as the last certificate of a verdict's
// pickup states it for the same session, and what to tell of it.
func (s *Shop) resistanceOf(before Certificates, v *verdict.Verdict) (r *verdict.Measured, notice string, err error) {
	last := before.latestOf(v.Order, v.Pickup)
	switch {
	case last == nil || last.Resistance == nil:
		return nil, "", nil
	case last.Session != v.Session:
		return nil, fmt.Sprintf("certificate %d states the coil's resistance, of session %s; this one does not, without --resistance-ohm", last.Certificate, last.Session), nil
	}
	r = &verdict.Measured{Ohm: last.Resistance.Ohm, Celsius: last.Resistance.Celsius}
	if err := r.Valid(); err != nil {
		return nil, "", bad("%s: %w", s.certificate(last.Certificate), err)
	}
	return r, fmt.Sprintf("the coil's resistance is taken from certificate %d", last.Certificate), nil
}
