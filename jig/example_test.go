package jig_test

import (
	"fmt"

	"evenpole/jig"
)

// Bytes come as the port delivers them; a line that was spoilt on the way is
// reported and not believed.
func ExampleDecoder() {
	line := jig.Reading{Boot: 0x0A1B2C3D, Seq: 17, String: 3, Take: 1, Mode: jig.Pluck, RMSUV: 48211}.AppendLine(nil)
	spoilt := append([]byte{}, line...)
	spoilt[11] = '4'

	good := func(l *jig.Line) {
		fmt.Printf("reading %d: string %d, %d µV\n", l.Reading.Seq, l.Reading.String, l.Reading.RMSUV)
	}
	bad := func(b *jig.BadLine) { fmt.Println(b.Flaw) }
	d := jig.NewDecoder()
	d.Feed(line[:20], good, bad)
	d.Feed(line[20:], good, bad)
	d.Feed(spoilt, good, bad)
	// Output:
	// reading 17: string 3, 48211 µV
	// wrong CRC
}
