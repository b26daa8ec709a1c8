package main

import (
	"bufio"
	"fmt"
	"os"
	"strconv"
	"time"

	"evenpole/profiles"
)

// row is one line of readings.csv. Lengths in mm, levels in mV.
type row struct {
	time                            time.Time
	session, boot                   string
	seq                             uint32
	pickup, batch, set              string
	number                          int // of the string
	str                             *profiles.String
	pole, height                    float64
	mode                            byte
	take                            int
	rms, peak, freq /* Hz */, quiet float64
	status                          string // "" for ok
}

const header = "time,session,purpose,jig,boot,seq,pickup,batch,string,string_set,core_mm,gauge_mm,wrap,pole_height_mm,string_height_mm," +
	"mode,take,rms_mv,peak_mv,freq_hz,window_ms,quiet_mv,excite,status,note\r\n"

// rows writes so many lines and no more.
type rows struct {
	to   *bufio.Writer
	left int
	line []byte
}

func (w *rows) full() bool { return w.left == 0 }

func (w *rows) add(r *row) {
	if w.full() {
		return
	}
	w.left--
	b := r.time.AppendFormat(w.line[:0], "2006-01-02T15:04:05.000Z07:00")
	text := func(s string) { b = append(append(b, ','), s...) }
	whole := func(n uint64) { b = strconv.AppendUint(append(b, ','), n, 10) }
	number := func(v float64, decimals int) { b = strconv.AppendFloat(append(b, ','), v, 'f', decimals, 64) }
	text(r.session)
	text("model")
	text("jig-1")
	text(r.boot)
	whole(uint64(r.seq))
	text(r.pickup)
	text(r.batch)
	whole(uint64(r.number))
	text(r.set)
	number(r.str.Core, 4)
	number(r.str.Gauge, 4)
	text(string(r.str.Wrap))
	number(r.pole, 2)
	number(r.height, 2)
	b = append(b, ',', r.mode)
	whole(uint64(r.take))
	number(r.rms, 3)
	number(r.peak, 3)
	if r.mode == 'Q' {
		text("0")
	} else {
		number(r.freq, 3)
	}
	text("500")
	if r.mode == 'Q' {
		text("")
	} else {
		number(r.quiet, 3)
	}
	text("travel")
	if r.status == "" {
		text("ok")
	} else {
		text(r.status)
	}
	text("")
	b = append(b, '\r', '\n')
	w.line = b
	w.to.Write(b) // the error stays for Flush
}

// makeLog writes the readings file of a shop that has measured so much, with so many packs
// of each string set.
func makeLog(path string, n, packs int, seed uint64) error {
	f, err := os.Create(path)
	if err != nil {
		return err
	}
	out := &rows{to: bufio.NewWriterSize(f, 1<<20), left: n}
	out.to.WriteString(header)
	newWorkshop(seed, pickupsOf(n), packs, out).work()
	if err := out.to.Flush(); err != nil {
		f.Close()
		return err
	}
	return f.Close()
}

// sizeName names a number of rows: 10k, 1m.
func sizeName(n int) string {
	switch {
	case n >= 1e6 && n%1e6 == 0:
		return fmt.Sprintf("%dm", n/1e6)
	case n >= 1e3 && n%1e3 == 0:
		return fmt.Sprintf("%dk", n/1e3)
	}
	return strconv.Itoa(n)
}
