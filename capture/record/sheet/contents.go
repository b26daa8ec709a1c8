package sheet

import (
	"errors"
	"fmt"
	"hash/maphash"
	"io"
)

// ErrChanged says that a file does not say what it said when it was read before.
var ErrChanged = errors.New("was changed while it was read: try again")

// Contents is a file that is read several times and must say the same each time.
type Contents struct {
	from io.ReadSeeker
	name string
	seed maphash.Seed
	size int64
	sum  uint64 // of what it says

	read io.Reader // what is being read, and
	hash maphash.Hash
}

// Read reads a file for the first time, to its end, with Check. name stands for it in
// errors.
func Read(from io.ReadSeeker, name string) (*Contents, error) {
	c := &Contents{from: from, name: name, seed: maphash.MakeSeed(), size: 1<<63 - 1}
	r, err := c.Again()
	if err == nil {
		err = Check(r, name)
	}
	if err != nil {
		return nil, err
	}
	c.sum = c.hash.Sum64()
	c.size, err = from.Seek(0, io.SeekCurrent)
	return c, err
}

// Again reads the file from its beginning, as far as it went the first time: it may be
// the record itself, which grows.
func (c *Contents) Again() (io.Reader, error) {
	if _, err := c.from.Seek(0, io.SeekStart); err != nil {
		return nil, err
	}
	c.hash.SetSeed(c.seed)
	c.read = io.TeeReader(io.LimitReader(c.from, c.size), &c.hash)
	return c.read, nil
}

// Same reads on to the end, and says with ErrChanged that the file says something else
// than the first time.
func (c *Contents) Same() error {
	_, err := io.Copy(io.Discard, c.read)
	if err == nil && c.hash.Sum64() != c.sum {
		err = ErrChanged
	}
	if err != nil {
		return fmt.Errorf("%s: %w", c.name, err)
	}
	return nil
}
