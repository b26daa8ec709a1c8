package profiles

import (
	"errors"
	"io/fs"
	"net/url"
	"path/filepath"
	"strings"
)

// ShopFile is the file in a shop folder that says how the shop wants its papers.
const ShopFile = "shop.toml"

// Shop is what a shop says of itself. "" is not given.
type Shop struct {
	Name         string
	Address      string
	CheckAddress string // where a certificate's QR code leads; %s stands for its number

	Units Units // of lengths where no order says
	Paper Paper
}

// LoadShop reads what the shop in a folder says of itself; nothing when it has no
// shop.toml. A mistake in the file is an [*Error].
func LoadShop(shopDir string) (*Shop, error) {
	path := filepath.Join(shopDir, ShopFile)
	text, err := readText(path)
	if errors.Is(err, fs.ErrNotExist) {
		return &Shop{}, nil
	}
	if err != nil {
		return nil, err
	}
	d, err := parse(path, text)
	if err != nil {
		return nil, err
	}
	s := readShop(d)
	if err := d.err(); err != nil {
		return nil, err
	}
	return s, nil
}

// readShop reads what a shop says of itself; what is wrong with it is noted in the
// document.
func readShop(d *document) *Shop {
	s := &Shop{
		Name: d.top.text("name", optional), Address: d.top.text("address", optional), CheckAddress: d.top.text("check_address", optional),
		Units: oneOf(d.top, "units", optional, AllUnits()...),
		Paper: oneOf(d.top, "paper", optional, Papers()...),
	}
	if u, err := url.Parse(s.CheckedAt("1")); s.CheckAddress != "" && (err != nil || u.Host == "" || u.Scheme != "http" && u.Scheme != "https") {
		d.top.fail("check_address", "expected an address that begins with https:// or http://, got %q", s.CheckAddress)
	}
	return s
}

// CheckedAt is where the certificate of a number can be looked up; "" where the shop does
// not say.
func (s *Shop) CheckedAt(number string) string {
	return strings.ReplaceAll(s.CheckAddress, "%s", number)
}
