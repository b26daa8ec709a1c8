package shop

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"path/filepath"

	"evenpole/capture/record/disk"
	"evenpole/fit/verdict"
)

// Certificates are numbered in the order in which a shop issues them. Each is kept as
// the verdict that it states; its pages are drawn from that, and none is ever replaced.

// Issue gives a verdict the next certificate number and keeps it. A verdict that says
// what the last certificate of its order and pickup says gets that one's number.
func (s *Shop) Issue(v *verdict.Verdict) error {
	all, err := s.certificates()
	if err != nil {
		return err
	}
	number := 1
	for _, c := range all {
		number = max(number, c.Certificate+1)
	}
	v.Certificate, v.Supersedes = 0, 0
	if last := latestOf(all, v.Order, v.Pickup); last != nil {
		if same, err := sameVerdict(v, last); same || err != nil {
			v.Certificate, v.Supersedes = last.Certificate, last.Supersedes
			return err
		}
		v.Supersedes = last.Certificate
	}
	if err := disk.MakeDir(s.join(certificatesDir)); err != nil {
		return err
	}
	for ; ; number++ { // another check may take a number meanwhile
		v.Certificate = number
		document, err := json.MarshalIndent(v, "", "  ")
		if err != nil {
			return fmt.Errorf("certificate %d: %w", number, err)
		}
		if err := disk.CreateFile(s.certificate(number), text(append(document, '\n'))); !errors.Is(err, fs.ErrExist) {
			return err
		}
	}
}

// certificates are all that were issued, by number.
func (f folder) certificates() ([]*verdict.Verdict, error) {
	files, err := filepath.Glob(f.join(certificatesDir, certificatePattern))
	if err != nil {
		return nil, err
	}
	var all []*verdict.Verdict
	for _, file := range files {
		document, err := disk.ReadFile(file)
		if err != nil {
			return nil, err
		}
		v := &verdict.Verdict{}
		if err := json.Unmarshal(document, v); err != nil {
			return nil, bad("%s: expected a certificate as it was issued: %w", file, err)
		}
		all = append(all, v)
	}
	return all, nil
}

// latestOf is the certificate of an order's pickup with the highest number; nil
// without any. Ids count as they are written.
func latestOf(all []*verdict.Verdict, order, pickup string) (last *verdict.Verdict) {
	for _, c := range all {
		if c.Order == order && c.Pickup == pickup && (last == nil || c.Certificate > last.Certificate) {
			last = c
		}
	}
	return last
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

// resistanceBefore is the coil's resistance as the last certificate of a verdict's
// pickup states it for the same session, and what to tell of it.
func (s *Shop) resistanceBefore(v *verdict.Verdict) (r *verdict.Measured, notice string, err error) {
	all, err := s.certificates()
	if err != nil {
		return nil, "", err
	}
	last := latestOf(all, v.Order, v.Pickup)
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
