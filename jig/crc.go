package jig

import "hash/crc32"

// CRC returns the CRC-32/ISO-HDLC of a line's body: reflected polynomial
// 0x04C11DB7, initial value and final XOR 0xFFFFFFFF; 0xCBF43926 for
// "123456789". It is the CRC of IEEE 802.3.
func CRC(body []byte) uint32 { return crc32.ChecksumIEEE(body) }

// crcDigits is how many hex digits follow the star.
const crcDigits = 8

// appendHex appends v as eight upper-case hex digits.
func appendHex(dst []byte, v uint32) []byte {
	const digits = "0123456789ABCDEF"
	for shift := 28; shift >= 0; shift -= 4 {
		dst = append(dst, digits[v>>shift&0xF])
	}
	return dst
}

// upperHex reads the eight upper-case hex digits of a CRC.
func upperHex(p []byte) (v uint32, ok bool) {
	for _, c := range p {
		d, ok := hexDigit(c)
		if !ok || c >= 'a' {
			return 0, false
		}
		v = v<<4 | d
	}
	return v, len(p) == crcDigits
}

// hexDigit returns the value of one hex digit of either case.
func hexDigit(c byte) (d uint32, ok bool) {
	switch {
	case c >= '0' && c <= '9':
		return uint32(c - '0'), true
	case c >= 'A' && c <= 'F':
		return uint32(c-'A') + 10, true
	case c >= 'a' && c <= 'f':
		return uint32(c-'a') + 10, true
	}
	return 0, false
}
