package firmwarenotes

import (
	"io"
	"slices"
	"testing"

	"evenpole/jig/verify"
)

// timed are the clauses that a jig breaks when this computer has no time for it. They are
// tested by a clock of their own in jig/verify.
var timed = []string{"status", "status-busy", "prompt"}

// passes puts a jig through the protocol.
func passes(t *testing.T, port io.ReadWriteCloser, opt verify.Options) *verify.Report {
	t.Helper()
	run, err := verify.Start(t.Context(), port, opt)
	if err != nil {
		t.Fatal(err)
	}
	defer run.Close()
	rep, err := run.Go(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	for _, f := range rep.Findings {
		if f.Result == verify.Fail && !slices.Contains(timed, f.Clause) {
			t.Errorf("%s: expected %s; came %s", f.Clause, f.Expected, f.Came)
		}
	}
	return rep
}

func TestReferenceIsVerified(t *testing.T) {
	t.Parallel()
	in, out := port(t)
	passes(t, pipe{out, in}, verify.Options{Name: "c/pretend"})
}
