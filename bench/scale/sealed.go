package main

import (
	"bufio"
	"errors"
	"fmt"
	"io"
	"math/rand/v2"
	"os"
	"path/filepath"
	"time"

	"evenpole/capture/record"
)

// sealedShop is where the shop of a log is whose rows have seals, as a capture leaves them.
func sealedShop(log string) string { return filepath.Join(filepath.Dir(log), "sealed") }

// sealShop makes that shop.
func sealShop(log string) error {
	dir := sealedShop(log)
	if err := errors.Join(os.RemoveAll(dir), os.MkdirAll(dir, 0o777), os.Link(log, filepath.Join(dir, record.ReadingsFile))); err != nil {
		return err
	}
	w, err := record.OpenWriter(dir)
	if err != nil {
		return err
	}
	_, err = w.Seal(time.Now())
	return errors.Join(err, w.Close())
}

// goOnStage does what a capture does that goes on, before it asks for the first reading.
func goOnStage(log string) (string, error) {
	w, err := record.OpenWriter(sealedShop(log))
	if err != nil {
		return "", err
	}
	h, err := w.History("jig-1", "00000001", "")
	if err != nil {
		return "", errors.Join(err, w.Close())
	}
	return fmt.Sprintf("%d sessions", h.LastSession), w.Close()
}

// takesOfMagnet is how often a loose magnet is probed.
const takesOfMagnet = 4

// looseMagnets makes a shop of as many field readings as a log has rows, of magnets from 20
// batches.
func looseMagnets(dir, log string) error {
	if err := errors.Join(os.RemoveAll(dir), os.MkdirAll(dir, 0o777)); err != nil {
		return err
	}
	rows, err := linesOf(log)
	if err != nil {
		return err
	}
	f, err := os.Create(filepath.Join(dir, record.FieldsFile))
	if err != nil {
		return err
	}
	w := bufio.NewWriter(f)
	fmt.Fprint(w, "time,session,jig,boot,seq,batch,magnet,pickup,string,position,take,field_mt,probe_gap_mm\r\n")
	magnets := max(20, rows/takesOfMagnet)
	r := rand.New(rand.NewPCG(1, 0x6d61676e6574))
	at := time.Date(2016, 3, 7, 8, 0, 0, 0, time.UTC)
	for m := range magnets {
		b := 20 * m / magnets
		own := 300 + float64(b) + 9*r.NormFloat64()
		for take := range takesOfMagnet {
			at = at.Add(4 * time.Second)
			fmt.Fprintf(w, "%s,f%04d,jig-1,00000001,%d,M-%02d,M-%02d/%d,,,%d,%d,%.2f,0.50\r\n",
				at.Format("2006-01-02T15:04:05.000Z"), m/50, takesOfMagnet*m+take+1, b+1, b+1, m+1, 1+m%6, take+1, own+0.6*r.NormFloat64())
		}
	}
	return errors.Join(w.Flush(), f.Close())
}

// linesOf counts the lines of a file.
func linesOf(path string) (n int, err error) {
	f, err := os.Open(path)
	if err != nil {
		return 0, err
	}
	defer f.Close()
	for in := bufio.NewReader(f); err == nil; n++ {
		_, err = in.ReadSlice('\n')
	}
	if err == io.EOF {
		err = nil
	}
	return n - 1, err
}
