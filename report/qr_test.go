package report

import (
	"bytes"
	"strings"
	"testing"
)

// The worked example of ISO/IEC 18004, annex I (version 1-M, "01234567"), from
// memory: data and its check bytes.
func TestReedSolomon(t *testing.T) {
	data := []byte{0x10, 0x20, 0x0c, 0x56, 0x61, 0x80, 0xec, 0x11, 0xec, 0x11, 0xec, 0x11, 0xec, 0x11, 0xec, 0x11}
	want := []byte{0xa5, 0x24, 0xd4, 0xc1, 0xed, 0x36, 0xc7, 0x87, 0x2c, 0x55}
	if got := reedSolomon(data, 10); !bytes.Equal(got, want) {
		t.Errorf("got %x, want %x", got, want)
	}
}

// The standard's examples, from memory: level M with mask 5 (annex C), version 7
// (annex D), and where version 7 has its alignment patterns (annex E).
func TestPatternsOfQR(t *testing.T) {
	q := newQRSymbol(7)
	q.format(5)
	for i, want := range "100000011001110" { // bit 14 first
		x, y := 8, q.size-1-i
		if i >= 7 {
			x, y = q.size-15+i, 8
		}
		if q.dark[y][x] != (want == '1') {
			t.Errorf("format bit %d: got %v", 14-i, q.dark[y][x])
		}
	}
	for i, want := range "000111110010010100" { // bit 17 first
		k := 17 - i
		if got := q.dark[q.size-11+k%3][k/3]; got != (want == '1') {
			t.Errorf("version bit %d: got %v", k, got)
		}
	}
	if got := q.alignments(); len(got) != 3 || got[0] != 6 || got[1] != 22 || got[2] != 38 {
		t.Errorf("alignment: got %v", got)
	}
}

// What a reader does: the mask off, the path followed, blocks taken apart, no
// block with a fault, and the text is there. (A camera's reader, too, has read
// texts of 1 to 659 bytes from these modules.)
func TestQRReadsBack(t *testing.T) {
	for n := 1; n <= 660; n += 13 {
		text := strings.Repeat("evenpole:check?shop=a%20b&pickup=T-004/7 ü", 20)[:n]
		dark, ok := qrModules(text)
		if !ok {
			t.Fatalf("%d bytes: no code", n)
		}
		if got := readQR(t, dark); got != text {
			t.Errorf("%d bytes: got %q", n, got)
		}
	}
	if _, ok := qrModules(strings.Repeat("x", 670)); ok {
		t.Error("670 bytes fit into version 20")
	}
}

func readQR(t *testing.T, dark [][]bool) string {
	t.Helper()
	size := len(dark)
	version := (size - 17) / 4
	q := newQRSymbol(version)
	mask := 0
	for i, bit := range []int{12, 11, 10} { // of the format, by the standard's figure: beside the lower left corner
		if dark[size-1-(14-bit)][8] {
			mask |= 4 >> i
		}
	}
	mask ^= 5 // what format bits are turned over by: 10101...
	var bits []byte
	up := false
	for right := size - 1; right > 0; right -= 2 {
		if right == 6 {
			right = 5
		}
		up = !up
		for k := range size {
			y := k
			if up {
				y = size - 1 - k
			}
			for _, x := range []int{right, right - 1} {
				if !q.fixed[y][x] {
					bit := dark[y][x] != masks[mask](x, y)
					bits = append(bits, map[bool]byte{true: 1}[bit])
				}
			}
		}
	}
	var message []byte
	for i := 0; i+8 <= len(bits); i += 8 {
		var b byte
		for _, bit := range bits[i : i+8] {
			b = b<<1 | bit
		}
		message = append(message, b)
	}
	return textOf(t, message, version)
}

// textOf takes a message's blocks apart and reads the text.
func textOf(t *testing.T, message []byte, version int) string {
	t.Helper()
	blocks, check := qrBlocks[version-1], qrCheck[version-1]
	length := len(message)/blocks - check
	list := make([][]byte, blocks)
	for i := range length + 1 {
		for b := range list {
			if i < length || b >= blocks-len(message)%blocks {
				list[b], message = append(list[b], message[0]), message[1:]
			}
		}
	}
	for range check {
		for b := range list {
			list[b], message = append(list[b], message[0]), message[1:]
		}
	}
	var data []byte
	for _, block := range list {
		root := byte(1)
		for range check {
			var value byte // of the block's polynomial at a root of the generator
			for _, c := range block {
				value = times(value, root) ^ c
			}
			if value != 0 {
				t.Fatal("a block is at fault")
			}
			root = times(root, 2)
		}
		data = append(data, block[:len(block)-check]...)
	}
	nibble := func(i int) int { return int(data[i/2]) >> (4 - 4*(i%2)) & 15 }
	n, at := nibble(1)<<4|nibble(2), 3
	if version >= 10 {
		n, at = n<<8|nibble(3)<<4|nibble(4), 5
	}
	var out []byte
	for i := range n {
		out = append(out, byte(nibble(at+2*i)<<4|nibble(at+2*i+1)))
	}
	return string(out)
}
