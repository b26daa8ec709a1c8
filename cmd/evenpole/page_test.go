package main

import (
	"bufio"
	"bytes"
	"context"
	"io"
	"net/http"
	"strings"
	"testing"
)

// The pages are there once their address is printed, and end with the command.
func TestPageServesTheShop(t *testing.T) {
	for _, c := range []struct {
		listen string
		status int
		says   string
	}{{"127.0.0.1:0", http.StatusOK, ""}, {"0.0.0.0:0", http.StatusUnauthorized, "access code: "}} {
		ctx, cancel := context.WithCancel(context.Background())
		out, to := io.Pipe()
		var stderr bytes.Buffer
		status := make(chan int, 1)
		go func() {
			status <- run(ctx, []string{"page", "--shop", t.TempDir(), "--listen", c.listen}, strings.NewReader(""), to, &stderr)
			to.Close()
		}()
		lines := bufio.NewReader(out)
		address, err := lines.ReadString('\n')
		if err != nil {
			t.Fatal(err, &stderr)
		}
		rest := make(chan string, 1)
		go func() {
			text, _ := io.ReadAll(lines) // ends with the command
			rest <- string(text)
		}()
		resp, err := http.Get(strings.TrimSpace(address))
		if err != nil {
			t.Fatal(err)
		}
		resp.Body.Close()
		if resp.StatusCode != c.status {
			t.Errorf("%s: status %d, want %d", c.listen, resp.StatusCode, c.status)
		}
		cancel()
		if got := <-status; got != exitDone {
			t.Errorf("%s: exit status %d: %s", c.listen, got, &stderr)
		}
		if text := <-rest; !strings.Contains(text, c.says) || strings.Contains(text, "access code") != (c.says != "") {
			t.Errorf("%s: printed %q", c.listen, text)
		}
	}
}
