package main

import (
	"context"
	"fmt"
	"maps"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"time"
)

// fileCalls are the system calls that ask something of files.
const fileCalls = "openat,read,pread64,write,pwrite64,lseek,fsync,fdatasync,ftruncate,fstat,newfstatat," +
	"getdents64,flock,fcntl,close,linkat,renameat,renameat2,unlinkat,mkdirat"

// A call is a system call of a command: the nth of its name in its thread.
type call struct {
	name string
	nth  int
}

// A result is how a command ended.
type result struct {
	status int
	said   string // standard output, then standard error
	hung   bool   // it did not end by itself
}

// longest that a command may take.
const longest = 2 * time.Minute

// ended runs a command to its end.
func ended(words []string) (r result) {
	ctx, cancel := context.WithTimeout(context.Background(), longest)
	defer cancel()
	cmd := exec.CommandContext(ctx, words[0], words[1:]...)
	cmd.Env = append(os.Environ(), "GOMAXPROCS=1") // so that it stays on few threads
	cmd.WaitDelay = time.Second
	var out, errs strings.Builder
	cmd.Stdout, cmd.Stderr = &out, &errs
	cmd.Run()
	return result{cmd.ProcessState.ExitCode(), out.String() + errs.String(), ctx.Err() != nil}
}

var callLine = regexp.MustCompile(`^(\d+) +(\w+)\((.*)`)

// strace runs a command under strace with more options, and goes over the lines of calls.
func strace(dir string, words []string, do func(thread, name, rest string), options ...string) result {
	log := filepath.Join(dir, "strace.txt")
	r := ended(slices.Concat([]string{"strace", "-f", "-y", "-s", "256", "--seccomp-bpf", "-o", log}, options, words))
	text, _ := os.ReadFile(log) // without one there are no calls, which is told
	for line := range strings.Lines(string(text)) {
		if m := callLine.FindStringSubmatch(line); m != nil {
			do(m[1], m[2], m[3])
		}
	}
	return r
}

// traced runs a command, and returns its calls that name something in a folder.
func traced(dir string, words []string, folder string) (result, []call) {
	count, all := map[[2]string]int{}, map[call]bool{}
	r := strace(dir, words, func(thread, name, rest string) {
		count[[2]string{thread, name}]++
		if strings.Contains(rest, folder) {
			all[call{name, count[[2]string{thread, name}]}] = true
		}
	}, "-e", "trace="+fileCalls)
	return r, slices.SortedFunc(maps.Keys(all), func(a, b call) int {
		if a.name != b.name {
			return strings.Compare(a.name, b.name)
		}
		return a.nth - b.nth
	})
}

// failing runs a command of which a call fails, and counts the calls that did.
func failing(dir string, words []string, c call, errno string) (r result, hit int) {
	r = strace(dir, words, func(_, _, rest string) {
		if strings.Contains(rest, "(INJECTED)") {
			hit++
		}
	}, "-e", "trace="+c.name, "-e", fmt.Sprintf("inject=%s:error=%s:when=%d", c.name, errno, c.nth))
	return r, hit
}

// panicked tells whether a command ended in a panic. That the runtime cannot wake itself,
// as the call for that failed, is as good as a kill.
func panicked(said string) bool {
	return strings.Contains(said, "goroutine ") && !strings.Contains(said, "netpoll")
}
