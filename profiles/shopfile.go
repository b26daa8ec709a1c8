package profiles

import (
	"errors"
	"io/fs"
	"path/filepath"
)

// ShopFile is the file in a shop folder that says how the shop wants its papers.
const ShopFile = "shop.toml"

// Shop is what a shop says of itself. "" is not given.
type Shop struct {
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
	return &Shop{
		Units: oneOf(d.top, "units", optional, AllUnits()...),
		Paper: oneOf(d.top, "paper", optional, Papers()...),
	}
}
