package report

import "slices"

// A QR code by ISO/IEC 18004 (Information technology: automatic identification and
// data capture techniques: QR code bar code symbology specification), its tables
// from memory: bytes as they are, error correction level M, of which some 15 %
// may be spoilt, in the smallest version that holds them.

// mostVersion is the largest version that is made: 666 bytes, as small as a page
// can print on the side of a stamp.
const mostVersion = 20

// qrCheck is how many bytes of error correction each block of a version has at
// level M, qrBlocks how many blocks; version 1 first.
var (
	qrCheck  = [mostVersion]int{10, 16, 26, 18, 24, 16, 18, 22, 22, 26, 30, 22, 22, 24, 24, 28, 28, 26, 26, 26}
	qrBlocks = [mostVersion]int{1, 1, 1, 2, 2, 4, 4, 4, 5, 5, 5, 8, 9, 9, 10, 10, 11, 13, 14, 16}
)

// qrSymbol is a symbol in the making; rows first.
type qrSymbol struct {
	version, size int
	dark          [][]bool
	fixed         [][]bool // part of a pattern, not of the data
}

// qrModules returns the modules of a text, dark ones true, row by row; false when
// it is too long.
func qrModules(text string) ([][]bool, bool) {
	for version := 1; version <= mostVersion; version++ {
		if len(text)+qrOverhead(version) <= qrCapacity(version) {
			q := newQRSymbol(version)
			q.data(qrBytes(text, version))
			q.mask()
			return q.dark, true
		}
	}
	return nil, false
}

// qrOverhead is how many bytes stand round a text: mode, length, end.
func qrOverhead(version int) int {
	if version < 10 {
		return 2
	}
	return 3
}

// qrTotal is how many whole bytes a version's modules hold beside its patterns.
func qrTotal(version int) int {
	n := (16*version+128)*version + 64
	if version > 1 {
		a := version/7 + 2
		n -= (25*a-10)*a - 55
	}
	if version > 6 {
		n -= 36
	}
	return n / 8
}

// qrCapacity is how many of them are not error correction.
func qrCapacity(version int) int {
	return qrTotal(version) - qrCheck[version-1]*qrBlocks[version-1]
}

// qrBytes is the whole message: the text in byte mode, padded, in blocks with
// their error correction, interleaved.
func qrBytes(text string, version int) []byte {
	// 4 bits of mode, then the length: what follows is shifted by half a byte.
	nibbles := []byte{4}
	put := func(b byte) { nibbles = append(nibbles, b>>4, b&15) }
	if version >= 10 {
		put(byte(len(text) >> 8))
	}
	put(byte(len(text)))
	for _, b := range []byte(text) {
		put(b)
	}
	nibbles = append(nibbles, 0)
	var data []byte
	for i := 0; i < len(nibbles); i += 2 {
		data = append(data, nibbles[i]<<4|nibbles[i+1])
	}
	for pad := byte(0xec); len(data) < qrCapacity(version); pad ^= 0xec ^ 0x11 {
		data = append(data, pad)
	}

	blocks, check := qrBlocks[version-1], qrCheck[version-1]
	short := len(data) / blocks // bytes of the first blocks; the last have one more
	long := len(data) % blocks
	var parts, checks [][]byte
	for b := range blocks {
		n := short
		if b >= blocks-long {
			n++
		}
		parts = append(parts, data[:n])
		checks = append(checks, reedSolomon(data[:n], check))
		data = data[n:]
	}
	var out []byte
	for _, list := range [][][]byte{parts, checks} {
		for i := range slices.MaxFunc(list, func(a, b []byte) int { return len(a) - len(b) }) {
			for _, p := range list {
				if i < len(p) {
					out = append(out, p[i])
				}
			}
		}
	}
	return out
}

// reedSolomon returns the check bytes of data: the remainder by the product of
// (x - 2^i), i from 0, over the field of 256 elements modulo x^8+x^4+x^3+x^2+1.
func reedSolomon(data []byte, check int) []byte {
	generator := make([]byte, check) // without its leading 1
	generator[check-1] = 1
	root := byte(1)
	for range check {
		for j := range generator {
			generator[j] = times(generator[j], root)
			if j+1 < check {
				generator[j] ^= generator[j+1]
			}
		}
		root = times(root, 2)
	}
	rest := make([]byte, check)
	for _, b := range data {
		factor := b ^ rest[0]
		rest = append(rest[1:], 0)
		for j := range rest {
			rest[j] ^= times(generator[j], factor)
		}
	}
	return rest
}

// times multiplies in that field.
func times(a, b byte) byte {
	var z byte
	for i := 7; i >= 0; i-- {
		carry := z >> 7
		z = z<<1 ^ carry*0x1d ^ (b>>i&1)*a
	}
	return z
}

// newQRSymbol draws the patterns.
func newQRSymbol(version int) *qrSymbol {
	q := &qrSymbol{version: version, size: 17 + 4*version}
	for range q.size {
		q.dark = append(q.dark, make([]bool, q.size))
		q.fixed = append(q.fixed, make([]bool, q.size))
	}
	for i := range q.size {
		q.set(6, i, i%2 == 0)
		q.set(i, 6, i%2 == 0)
	}
	last := q.size - 4
	for _, at := range [][2]int{{3, 3}, {last, 3}, {3, last}} {
		q.rings(at[0], at[1], 4, 2, 4)
	}
	places := q.alignments()
	for i, x := range places {
		for j, y := range places {
			corner := i == 0 && j == 0 || i == 0 && j == len(places)-1 || i == len(places)-1 && j == 0
			if !corner {
				q.rings(x, y, 2, 1)
			}
		}
	}
	q.format(0)
	q.versionBits()
	return q
}

// set fixes a module.
func (q *qrSymbol) set(x, y int, dark bool) {
	q.dark[y][x], q.fixed[y][x] = dark, true
}

// rings draws squares round a centre, dark but for those at the light distances.
func (q *qrSymbol) rings(x, y, radius int, light ...int) {
	for dy := -radius; dy <= radius; dy++ {
		for dx := -radius; dx <= radius; dx++ {
			if x+dx >= 0 && x+dx < q.size && y+dy >= 0 && y+dy < q.size {
				q.set(x+dx, y+dy, !slices.Contains(light, max(dx, -dx, dy, -dy)))
			}
		}
	}
}

// alignments is where the centres of the alignment patterns lie, either way.
func (q *qrSymbol) alignments() []int {
	if q.version == 1 {
		return nil
	}
	n := q.version/7 + 2
	step := (q.version*4 + n*2 + 1) / (n*2 - 2) * 2
	out := []int{6}
	for i := n - 2; i >= 0; i-- {
		out = append(out, q.size-7-i*step)
	}
	return out
}

// format writes level M and a mask, twice, in a BCH code.
func (q *qrSymbol) format(mask int) {
	rest := mask // level M is 0
	for range 10 {
		rest = rest<<1 ^ rest>>9*0x537
	}
	bits := (mask<<10 | rest) ^ 0x5412
	bit := func(i int) bool { return bits>>i&1 == 1 }
	for i := range 6 {
		q.set(8, i, bit(i))
		q.set(5-i, 8, bit(9+i))
	}
	q.set(8, 7, bit(6))
	q.set(8, 8, bit(7))
	q.set(7, 8, bit(8))
	for i := range 8 {
		q.set(q.size-1-i, 8, bit(i))
	}
	for i := 8; i < 15; i++ {
		q.set(8, q.size-15+i, bit(i))
	}
	q.set(8, q.size-8, true)
}

// versionBits writes the version, twice, from 7 on.
func (q *qrSymbol) versionBits() {
	if q.version < 7 {
		return
	}
	rest := q.version
	for range 12 {
		rest = rest<<1 ^ rest>>11*0x1f25
	}
	bits := q.version<<12 | rest
	for i := range 18 {
		dark := bits>>i&1 == 1
		a, b := q.size-11+i%3, i/3
		q.set(a, b, dark)
		q.set(b, a, dark)
	}
}

// data fills what the patterns leave: upwards and downwards in turn, in columns of
// two from the right.
func (q *qrSymbol) data(message []byte) {
	i := 0
	for right := q.size - 1; right > 0; right -= 2 {
		if right == 6 { // the column of the timing pattern
			right--
		}
		for k := range q.size {
			y := k
			if (right+1)&2 == 0 {
				y = q.size - 1 - k
			}
			for x := right; x > right-2; x-- {
				if !q.fixed[y][x] && i < 8*len(message) {
					q.dark[y][x] = message[i/8]>>(7-i%8)&1 == 1
					i++
				}
			}
		}
	}
}

// masks are the patterns by which data are turned over, so that a symbol has
// neither large patches nor what looks like its own corners.
var masks = []func(x, y int) bool{
	func(x, y int) bool { return (x+y)%2 == 0 },
	func(_, y int) bool { return y%2 == 0 },
	func(x, _ int) bool { return x%3 == 0 },
	func(x, y int) bool { return (x+y)%3 == 0 },
	func(x, y int) bool { return (x/3+y/2)%2 == 0 },
	func(x, y int) bool { return x*y%2+x*y%3 == 0 },
	func(x, y int) bool { return (x*y%2+x*y%3)%2 == 0 },
	func(x, y int) bool { return ((x+y)%2+x*y%3)%2 == 0 },
}

// mask applies the mask with the least penalty.
func (q *qrSymbol) mask() {
	best, least := 0, -1
	for m := range masks {
		q.turn(m)
		q.format(m)
		if p := q.penalty(); least < 0 || p < least {
			best, least = m, p
		}
		q.turn(m)
	}
	q.turn(best)
	q.format(best)
}

// turn applies a mask, or takes it off again.
func (q *qrSymbol) turn(mask int) {
	for y, row := range q.dark {
		for x := range row {
			if !q.fixed[y][x] && masks[mask](x, y) {
				row[x] = !row[x]
			}
		}
	}
}

// penalty adds up the four faults of a symbol.
func (q *qrSymbol) penalty() int {
	sum, dark := 0, 0
	for a := range q.size {
		sum += lineFaults(q.size, func(b int) bool { return q.dark[a][b] })
		sum += lineFaults(q.size, func(b int) bool { return q.dark[b][a] })
		for b := range q.size {
			if q.dark[a][b] {
				dark++
			}
			if a > 0 && b > 0 && q.dark[a][b] == q.dark[a-1][b] && q.dark[a][b] == q.dark[a][b-1] && q.dark[a][b] == q.dark[a-1][b-1] {
				sum += 3
			}
		}
	}
	total := q.size * q.size
	return sum + 10*(max(20*dark-10*total, 10*total-20*dark)/total)
}

// lineFaults are the runs of five and more in a row or column, and what looks
// like a corner pattern with four light modules beside it.
func lineFaults(n int, dark func(i int) bool) int {
	sum, run := 0, 0
	window := 0 // of the last eleven modules
	for i := range n {
		if i > 0 && dark(i) == dark(i-1) {
			run++
		} else {
			run = 1
		}
		switch {
		case run == 5:
			sum += 3
		case run > 5:
			sum++
		}
		window = window << 1 & 0x7ff
		if dark(i) {
			window |= 1
		}
		if i >= 10 && (window == 0b10111010000 || window == 0b00001011101) {
			sum += 40
		}
	}
	return sum
}
