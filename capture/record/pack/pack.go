// Package pack turns values into bytes and back, for files that the program writes for
// itself and may lose. One function says what belongs to a value, and does both:
// [Coder] calls come in the same order when it is written and when it is read.
//
// Bytes may come from anywhere: what cannot be is [Coder.Damaged], and the values that
// follow are zero. No list takes more memory than some multiple of the bytes that are
// there.
package pack

import (
	"encoding/binary"
	"math"
)

// A Coder writes values or reads them.
type Coder struct {
	bytes   []byte // written so far, or not read yet
	reading bool
	damaged bool
}

// Write returns a coder that writes.
func Write() *Coder { return &Coder{} }

// Read returns a coder that reads what another one wrote. It keeps no part of it.
func Read(bytes []byte) *Coder { return &Coder{bytes: bytes, reading: true} }

// Reading reports whether the coder reads.
func (c *Coder) Reading() bool { return c.reading }

// Bytes are what was written, or what was not read yet.
func (c *Coder) Bytes() []byte { return c.bytes }

// Damaged reports whether something was read that cannot be.
func (c *Coder) Damaged() bool { return c.damaged }

// Check says that what was read cannot be, unless ok.
func (c *Coder) Check(ok bool) {
	if c.reading && !ok {
		c.damaged, c.bytes = true, nil
	}
}

// Whole is a whole number.
func Whole[T ~int | ~int32 | ~int64 | ~uint32 | ~uint8](c *Coder, v *T) {
	if !c.reading {
		c.bytes = binary.AppendVarint(c.bytes, int64(*v))
		return
	}
	*v = 0
	x, n := binary.Varint(c.bytes)
	if c.Check(n > 0 && int64(T(x)) == x); !c.damaged {
		*v, c.bytes = T(x), c.bytes[n:]
	}
}

// Float is a number, to the last bit.
func (c *Coder) Float(v *float64) {
	if !c.reading {
		c.bytes = binary.LittleEndian.AppendUint64(c.bytes, math.Float64bits(*v))
		return
	}
	*v = 0
	if c.Check(len(c.bytes) >= 8); !c.damaged {
		*v, c.bytes = math.Float64frombits(binary.LittleEndian.Uint64(c.bytes)), c.bytes[8:]
	}
}

// Bool is yes or no.
func (c *Coder) Bool(v *bool) {
	n := uint8(0)
	if *v {
		n = 1
	}
	Whole(c, &n)
	c.Check(n <= 1)
	*v = n == 1 && !c.damaged
}

// Text is a text.
func Text[T ~string](c *Coder, v *T) {
	n := len(*v)
	Whole(c, &n)
	if !c.reading {
		c.bytes = append(c.bytes, *v...)
		return
	}
	*v = ""
	if c.Check(0 <= n && n <= len(c.bytes)); !c.damaged {
		*v, c.bytes = T(c.bytes[:n]), c.bytes[n:]
	}
}

// List is a list, of which each value takes a byte or more; one without a value is read
// as nil.
func List[T any](c *Coder, list *[]T, each func(v *T)) {
	n := len(*list)
	Whole(c, &n)
	if !c.reading {
		for i := range *list {
			each(&(*list)[i])
		}
		return
	}
	*list = nil
	if c.Check(0 <= n && n <= len(c.bytes)); n == 0 || c.damaged {
		return
	}
	out := make([]T, 0, min(n, 16+len(c.bytes)/16)) // most values take 16 bytes
	var zero T
	for i := range n {
		out = append(out, zero)
		if each(&out[i]); c.damaged {
			return
		}
	}
	*list = out
}
