package jig

import "strconv"

// Every AppendLine below appends one whole line to dst: body, star, CRC, LF.
// Text is made fit for the wire: what a field cannot carry (a star, anything
// that is not printable ASCII, a comma where it would end the field) becomes
// an underscore. Keeping texts short enough for MaxLine is the caller's part.

// AppendLine appends the I line.
func (x Ident) AppendLine(dst []byte) []byte {
	at := len(dst)
	dst = append(dst, 'I')
	dst = appendInt(dst, Version)
	dst = appendText(append(dst, ','), x.Jig, false)
	dst = appendHex(append(dst, ','), uint32(x.Boot))
	dst = appendText(append(dst, ','), x.Firmware, false)
	dst = appendInt(dst, int64(x.Strings))
	dst = appendInt(dst, x.FullScaleUV)
	dst = appendText(append(dst, ','), string(x.Excite), false)
	return seal(dst, at)
}

// AppendLine appends the R line.
func (x Reading) AppendLine(dst []byte) []byte {
	at := len(dst)
	dst = appendStamp(append(dst, 'R'), x.Boot, x.Seq, x.Millis)
	dst = appendInt(dst, int64(x.String))
	dst = appendInt(dst, int64(x.Take))
	dst = append(dst, ',', byte(x.Mode))
	dst = appendInt(dst, x.RMSUV)
	dst = appendInt(dst, x.PeakUV)
	dst = appendInt(dst, x.FreqMHz)
	dst = appendInt(dst, x.WindowMS)
	dst = strconv.AppendUint(append(dst, ','), uint64(x.Flags), 16)
	return seal(dst, at)
}

// AppendLine appends the F line.
func (x Field) AppendLine(dst []byte) []byte {
	at := len(dst)
	dst = appendStamp(append(dst, 'F'), x.Boot, x.Seq, x.Millis)
	dst = appendInt(dst, int64(x.Position))
	dst = appendInt(dst, int64(x.Take))
	dst = appendInt(dst, x.FieldUT)
	return seal(dst, at)
}

// AppendLine appends the S line.
func (x Status) AppendLine(dst []byte) []byte {
	at := len(dst)
	return seal(appendStamp(append(dst, 'S'), x.Boot, x.Seq, x.Millis), at)
}

// AppendLine appends the A line, or the E line when there is a code.
func (x Answer) AppendLine(dst []byte) []byte {
	at := len(dst)
	if x.Code == Done {
		return seal(appendInt(append(dst, 'A'), int64(x.ID)), at)
	}
	dst = appendInt(append(dst, 'E'), int64(x.ID))
	dst = appendInt(dst, int64(x.Code))
	return seal(appendText(append(dst, ','), x.Text, true), at)
}

// AppendLine appends the C line.
func (x Command) AppendLine(dst []byte) []byte {
	at := len(dst)
	dst = appendInt(append(dst, 'C'), int64(x.ID))
	return seal(x.appendWords(append(dst, ',')), at)
}

// appendWords appends the verb and its arguments.
func (x Command) appendWords(dst []byte) []byte {
	dst = append(dst, x.Verb.String()...)
	switch x.Verb {
	case VerbPluck, VerbQuiet:
		dst = appendInt(dst, int64(x.String))
		dst = appendInt(dst, int64(x.Count))
	case VerbDrive:
		dst = appendInt(dst, int64(x.String))
		dst = appendInt(dst, x.FreqMHz)
		dst = appendInt(dst, int64(x.Count))
	case VerbField:
		dst = appendInt(dst, int64(x.Position))
		dst = appendInt(dst, int64(x.Count))
	case VerbResend:
		dst = appendHex(append(dst, ','), uint32(x.Boot))
		dst = appendInt(dst, int64(x.From))
		dst = appendInt(dst, int64(x.To))
	}
	return dst
}

// words returns the verb and its arguments, for people.
func (x Command) words() string { return string(x.appendWords(nil)) }

// AppendLine appends the line that l holds; nothing when it holds none.
func (l *Line) AppendLine(dst []byte) []byte {
	switch l.Kind {
	case KindIdent:
		return l.Ident.AppendLine(dst)
	case KindReading:
		return l.Reading.AppendLine(dst)
	case KindField:
		return l.Field.AppendLine(dst)
	case KindStatus:
		return l.Status.AppendLine(dst)
	case KindAnswer:
		return l.Answer.AppendLine(dst)
	case KindCommand:
		return l.Command.AppendLine(dst)
	}
	return dst
}

// seal ends the line whose body starts at dst[at].
func seal(dst []byte, at int) []byte {
	crc := CRC(dst[at:])
	return append(appendHex(append(dst, '*'), crc), '\n')
}

// appendStamp appends what R, F and S lines have in common.
func appendStamp(dst []byte, b Boot, seq, millis uint32) []byte {
	dst = appendHex(append(dst, ','), uint32(b))
	dst = appendInt(dst, int64(seq))
	return appendInt(dst, int64(millis))
}

// appendInt appends a comma and a number.
func appendInt(dst []byte, v int64) []byte {
	return strconv.AppendInt(append(dst, ','), v, 10)
}

// appendText appends s with an underscore for each byte that does not fit.
func appendText(dst []byte, s string, commas bool) []byte {
	for i := range len(s) {
		c := s[i]
		if !printable(c) || c == '*' || c == ',' && !commas {
			c = '_'
		}
		dst = append(dst, c)
	}
	return dst
}

// printable tells whether c is printable ASCII, the space included.
func printable(c byte) bool { return c >= ' ' && c <= '~' }
