package firmwarenotes

import (
	"io"
	"testing"

	"evenpole/jig/verify"
)

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
		if f.Result == verify.Fail {
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
