package main

import (
	"errors"
	"io/fs"
	"os"
	"path/filepath"

	"evenpole/capture/record"
	"evenpole/profiles"
)

// shopDir is the folder that a command works on: --shop, or the nearest shop
// upwards of here.
func (e *env) shopDir() (string, error) {
	if e.shop != "" {
		return e.shop, e.shopExists()
	}
	dir, ok := e.findShop()
	if !ok {
		return "", withHint(badInput("this folder is not a shop, nor is any above it"),
			"name one with --shop; 'evenpole capture' makes it a shop with its first reading")
	}
	return dir, nil
}

// findShop is the shop without asking for one.
func (e *env) findShop() (string, bool) {
	if e.shop != "" {
		return e.shop, true
	}
	here, err := os.Getwd()
	if err != nil {
		return "", false
	}
	return record.Find(here)
}

// shopExists refuses a --shop that is not there: a typing slip would go
// unnoticed.
func (e *env) shopExists() error {
	if e.shop != "" && missing(e.shop) {
		return badInput("shop %s: no such folder", e.shop)
	}
	return nil
}

// library is the string sets at hand: built in, and the shop's own if there is
// a shop.
func (e *env) library() (*profiles.Library, error) {
	if err := e.shopExists(); err != nil {
		return nil, err
	}
	if dir, ok := e.findShop(); ok {
		return profiles.LoadLibrary(dir)
	}
	return profiles.Builtin(), nil
}

// readOrder reads an order with the string sets at hand.
func (e *env) readOrder(path string) (*profiles.Order, error) {
	lib, err := e.library()
	if err != nil {
		return nil, err
	}
	return profiles.ReadOrder(path, lib)
}

// writeFile writes a document under a temporary name and renames it, so that
// no one ever sees half of it.
func writeFile(path string, write func(*os.File) error) (err error) {
	if info, err := os.Stat(path); err == nil && info.IsDir() {
		return badInput("%s: expected a file to write, got a folder", path)
	}
	dir := filepath.Dir(path)
	if err := os.MkdirAll(dir, 0o777); err != nil {
		return err
	}
	f, err := os.CreateTemp(dir, "."+filepath.Base(path)+"-*")
	if err != nil {
		return err
	}
	defer func() {
		if err != nil {
			os.Remove(f.Name())
		}
	}()
	if err := errors.Join(write(f), f.Sync(), f.Close()); err != nil {
		return err
	}
	if err := os.Chmod(f.Name(), 0o644); err != nil {
		return err
	}
	return os.Rename(f.Name(), path)
}

// missing reports whether a file is not there.
func missing(path string) bool {
	_, err := os.Stat(path)
	return errors.Is(err, fs.ErrNotExist)
}
