package jigtest

import (
	"bufio"
	"bytes"
	"io"
	"os"
	"strings"
	"testing"
)

func TestTerminalPassesAllBytes(t *testing.T) {
	term, err := OpenTerminal()
	if err != nil {
		t.Skip(err)
	}
	defer term.Close()
	host, err := os.OpenFile(term.Path, os.O_RDWR, 0)
	if err != nil {
		t.Fatal(err)
	}
	defer host.Close()
	var all []byte
	for b := range 256 {
		all = append(all, byte(b))
	}
	for _, way := range []struct {
		name string
		from io.Writer
		to   io.Reader
	}{{"to the jig", host, term.Master}, {"to the host", term.Master, host}} {
		if _, err := way.from.Write(all); err != nil {
			t.Fatal(err)
		}
		got := make([]byte, len(all))
		if _, err := io.ReadFull(way.to, got); err != nil || !bytes.Equal(got, all) {
			t.Errorf("%s: got % x, %v", way.name, got, err)
		}
	}
}

func TestAttach(t *testing.T) {
	j := New(Config{})
	path := Attach(t, j)
	for range 2 { // a second host on the same port
		host, err := os.OpenFile(path, os.O_RDWR, 0)
		if err != nil {
			t.Fatal(err)
		}
		io.WriteString(host, frame("C,1,IDENT")+frame("C,2,PLUCK,1,1"))
		var got []string
		for scan := bufio.NewScanner(host); scan.Scan(); {
			body, _ := unframe(scan.Text())
			if got = append(got, body); body == "A,2" {
				break
			}
		}
		host.Close()
		if all := strings.Join(got, "\n"); !strings.Contains(all, hello+"\nA,1\n") {
			t.Errorf("heard %q", got)
		}
	}
	if n := len(j.Log()); n != 2 {
		t.Errorf("%d readings, want 2", n)
	}
}
