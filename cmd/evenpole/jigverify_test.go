package main

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"net"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"evenpole/jig/jigtest"
	"evenpole/jig/verify"
)

// verified runs 'jig verify' on a jig and returns what it printed.
func verified(t *testing.T, cfg jigtest.Config, o verifyOptions, asJSON bool) (out, said string, err error) {
	t.Helper()
	synctest.Test(t, func(t *testing.T) {
		cfg.StatusEvery, cfg.TakeTime = time.Second, 100*time.Millisecond
		ours, theirs := net.Pipe()
		go jigtest.New(cfg).Serve(context.Background(), theirs)
		var stdout, stderr bytes.Buffer
		e := &env{stdout: &stdout, stderr: &stderr, json: asJSON}
		o.port, o.tolerance = "test port", 1
		err = verifyJig(t.Context(), e, ours, nil, o)
		synctest.Wait()
		out, said = stdout.String(), stderr.String()
	})
	return out, said, err
}

func TestJigVerifyPasses(t *testing.T) {
	out, said, err := verified(t, jigtest.Config{}, verifyOptions{}, false)
	if err != nil {
		t.Errorf("%v\n%s", err, out)
	}
	for _, want := range []string{"pass    store", "expected: ", "came: ", "scatter of 10 takes: ", "skipped restart", "0 failed, 1 skipped; 15 plucks asked for"} {
		if !strings.Contains(out, want) {
			t.Errorf("no %q in\n%s", want, out)
		}
	}
	if !strings.Contains(said, "it will pluck 15 times") {
		t.Errorf("said %q", said)
	}
}

func TestJigVerifyFails(t *testing.T) {
	out, _, err := verified(t, jigtest.Config{Queue: 2}, verifyOptions{quick: true}, true)
	var x exit
	if !errors.As(err, &x) || x.status != exitOutOfTolerance {
		t.Errorf("%v, want exit status 3", err)
	}
	var rep verify.Report
	if err := json.Unmarshal([]byte(out), &rep); err != nil {
		t.Fatalf("%v\n%s", err, out)
	}
	if strings.Join(rep.Failed, " ") != "queue" || strings.Join(rep.Skipped, " ") != "store restart" {
		t.Errorf("failed %q, skipped %q", rep.Failed, rep.Skipped)
	}
}

// TestJigVerifyLeavesADeafPort: a port that takes nothing ends it with an error that names it.
func TestJigVerifyLeavesADeafPort(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		ours, theirs := net.Pipe() // nobody reads
		var out bytes.Buffer
		err := verifyJig(t.Context(), &env{stdout: &out, stderr: &out}, ours, nil, verifyOptions{port: "dead", tolerance: 1})
		if err == nil || !strings.Contains(err.Error(), `port "dead"`) {
			t.Errorf("%v", err)
		}
		theirs.Close()
	})
}

// TestJigVerifyInterrupted: Ctrl-C ends what the jig is at.
func TestJigVerifyInterrupted(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		ours, theirs := net.Pipe()
		j := jigtest.New(jigtest.Config{StatusEvery: time.Second, TakeTime: 2 * time.Second})
		go j.Serve(context.Background(), theirs)
		ctx, cancel := context.WithCancel(t.Context())
		go func() {
			time.Sleep(35 * time.Second) // while it plucks
			cancel()
		}()
		var out bytes.Buffer
		err := verifyJig(ctx, &env{stdout: &out, stderr: &out}, ours, nil, verifyOptions{port: "test port", tolerance: 1})
		if !errors.Is(err, errStopped) {
			t.Errorf("%v", err)
		}
		time.Sleep(time.Second)
		made := len(j.Log())
		time.Sleep(time.Minute)
		if after := j.Log(); made < 11 || len(after) != made || after[made-1].Mode != "P" {
			t.Errorf("%d readings when it was stopped, %d later: %+v", made, len(after), after)
		}
	})
}
