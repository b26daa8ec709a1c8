package main

import (
	"bufio"
	"fmt"
	"io"
	"regexp"
	"strconv"
	"strings"
)

// tracedCalls are the system calls that change files, and those that sync them.
const tracedCalls = "openat,write,pwrite64,fsync,fdatasync,ftruncate,linkat,renameat,renameat2,unlinkat,mkdirat"

// A call is a system call that succeeded.
type call struct {
	name string
	path string // of the file that it is about
	to   string // the second path of a link or a rename
	text string // that was written
	at   int64  // offset of pwrite64, length of ftruncate, number of the descriptor of write
	make bool   // openat may make the file
}

var (
	lineForm    = regexp.MustCompile(`^(\d+) +(.*)$`)
	resumedForm = regexp.MustCompile(`^<\.\.\. \w+ resumed>(.*)$`)
	callForm    = regexp.MustCompile(`^(\w+)\((.*)\) += (\d+)`)
	stringForm  = regexp.MustCompile(`"([^"]*)"`)
	fileForm    = regexp.MustCompile(`^(\d+)<([^>]*)>`)
)

// readCalls reads what strace wrote with -f -y -xx, in the order in which calls ended.
func readCalls(r io.Reader, do func(call)) error {
	begun := map[string]string{} // by process, the first half of a call
	lines := bufio.NewReader(r)
	for {
		line, err := lines.ReadString('\n')
		if err == io.EOF {
			return nil
		}
		if err != nil {
			return err
		}
		m := lineForm.FindStringSubmatch(strings.TrimSuffix(line, "\n"))
		if m == nil {
			return fmt.Errorf("strace: a line of an unknown form: %.100q", line)
		}
		who, what := m[1], m[2]
		if half, ok := strings.CutSuffix(what, " <unfinished ...>"); ok {
			begun[who] = half
			continue
		}
		if rest := resumedForm.FindStringSubmatch(what); rest != nil {
			what = begun[who] + rest[1]
		}
		if c, ok := parseCall(what); ok {
			do(c)
		}
	}
}

// parseCall reads a call; ok is false for one that failed, and for what is no call.
func parseCall(text string) (c call, ok bool) {
	m := callForm.FindStringSubmatch(text)
	if m == nil {
		return c, false
	}
	c.name = m[1]
	var words []string
	for _, s := range stringForm.FindAllStringSubmatch(m[2], -1) {
		words = append(words, unhex(s[1]))
	}
	numbers := strings.Split(m[2], ", ")
	last, _ := strconv.ParseInt(numbers[len(numbers)-1], 10, 64)
	if f := fileForm.FindStringSubmatch(m[2]); f != nil {
		c.path = unhex(f[2])
		c.at, _ = strconv.ParseInt(f[1], 10, 64)
	}
	switch c.name {
	case "write":
		c.text = words[0]
	case "pwrite64":
		c.text, c.at = words[0], last
	case "ftruncate":
		c.at = last
	case "openat":
		c.path, c.make = words[0], strings.Contains(m[2], "O_CREAT")
	case "linkat", "renameat", "renameat2":
		c.path, c.to = words[0], words[1]
	case "unlinkat", "mkdirat":
		c.path = words[0]
	}
	return c, true
}

// unhex reads text of which every byte is written as \x41.
func unhex(s string) string {
	text, err := strconv.Unquote(`"` + s + `"`)
	if err != nil {
		return s
	}
	return text
}
