package shop

import (
	"errors"
	"fmt"
	"net/url"
	"strconv"
	"strings"
)

// ErrUnknownCode says that what was scanned is of no certificate of the shop; within an
// *InputError.
var ErrUnknownCode = errors.New("this is not of a certificate of this shop")

// Lookup finds what the QR code of a certificate or of a workshop's sheet is of: the number
// of the certificate, or 0 and the pickup where the code names none. The code of a sheet is
// the line that leads back to the record; that of a certificate the check_address of
// shop.toml, or a text.
func (s *Shop) Lookup(code string) (certificate int, pickup string, err error) {
	code = strings.TrimSpace(code)
	if u, err := url.Parse(code); err == nil && u.Scheme == "evenpole" && u.Opaque == "check" {
		return s.lookupLine(u.Query())
	}
	issued, err := s.Certificates()
	if err != nil {
		return 0, "", err
	}
	settings, err := s.Settings()
	if err != nil {
		return 0, "", err
	}
	for _, c := range issued {
		number := strconv.Itoa(c.Certificate)
		said := strings.Contains(code, "no. "+number+",") && strings.Contains(code, "pickup "+c.Pickup+",") && strings.Contains(code, "order "+c.Order+",")
		if code == number || said || settings.CheckAddress != "" && code == settings.CheckedAt(number) {
			return c.Certificate, c.Pickup, nil
		}
	}
	return 0, "", bad("%w: %.80q", ErrUnknownCode, code)
}

// lookupLine finds what the line of a sheet is of.
func (s *Shop) lookupLine(q url.Values) (certificate int, pickup string, err error) {
	name, err := s.Name()
	if err != nil {
		return 0, "", err
	}
	if of := q.Get("shop"); of != name {
		return 0, "", bad("%w: it is of the folder %.60q", ErrUnknownCode, of)
	}
	if text := q.Get("certificate"); text != "" {
		if certificate, err = strconv.Atoi(text); err != nil {
			return 0, "", bad("%w: %s", ErrUnknownCode, fmt.Sprintf("certificate %.40q", text))
		}
	}
	return certificate, q.Get("pickup"), nil
}
