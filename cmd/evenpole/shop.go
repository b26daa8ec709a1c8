package main

import (
	"cmp"
	"os"

	"evenpole/profiles"
	"evenpole/shop"
)

// shopHere is the shop that a command works on: --shop, or the nearest upwards of
// here; the zero shop where there is none. Lengths are told in the shop's units from then
// on, unless the user asked for others.
func (e *env) shopHere() (*shop.Shop, error) {
	s, err := e.findShop()
	if err != nil {
		return nil, err
	}
	settings, err := s.Settings()
	if err != nil {
		return nil, err
	}
	e.units = cmp.Or(e.units, e.asked, settings.Units)
	return s, nil
}

func (e *env) findShop() (*shop.Shop, error) {
	if e.shop != "" {
		return shop.Open(e.shop)
	}
	if here, err := os.Getwd(); err == nil {
		if s, ok := shop.Find(here); ok {
			return s, nil
		}
	}
	return &shop.Shop{}, nil
}

// readOrder reads an order. Lengths are told in its units from then on, unless the user
// asked for others.
func (e *env) readOrder(s *shop.Shop, path string) (*profiles.Order, error) {
	order, err := s.ReadOrder(path)
	if err == nil {
		e.units = cmp.Or(e.asked, order.Units)
	}
	return order, err
}

// theShop is shopHere for a command that cannot do without one.
func (e *env) theShop() (*shop.Shop, error) {
	s, err := e.shopHere()
	if err != nil {
		return nil, err
	}
	return s, s.Require()
}

// theRecord is theShop for a command that cannot do without a record.
func (e *env) theRecord() (*shop.Shop, error) {
	s, err := e.shopHere()
	if err != nil {
		return nil, err
	}
	return s, s.RequireRecord()
}

// shopToBe is the shop that a capture adds to, and its folder, which becomes a shop
// with its first reading.
func (e *env) shopToBe() (s *shop.Shop, dir string, err error) {
	if e.shop != "" && shop.Missing(e.shop) {
		return &shop.Shop{}, e.shop, nil
	}
	if s, err = e.shopHere(); err != nil {
		return nil, "", err
	}
	return s, cmp.Or(s.Dir(), "."), nil
}
