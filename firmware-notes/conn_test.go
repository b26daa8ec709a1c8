package firmwarenotes

import (
	"io"
	"slices"
	"testing"

	"evenpole/jig"
)

// pipe is the C reference as a port.
type pipe struct {
	io.Reader
	io.WriteCloser
}

func TestReferenceTalksToTheHost(t *testing.T) {
	in, out := port(t)
	conn, err := jig.Attach(t.Context(), pipe{out, in}, "c/pretend", jig.Options{})
	if err != nil {
		t.Fatal(err)
	}
	defer conn.Close()
	if id := conn.Ident(); id.Jig != "pretend" || id.Strings != 6 || id.Excite != jig.Travel {
		t.Errorf("ident %+v", id)
	}
	var levels []int64
	sink := jig.Sink{
		Reading: func(r jig.Reading) error { levels = append(levels, r.RMSUV); return nil },
		Field:   func(f jig.Field) error { levels = append(levels, f.FieldUT); return nil },
	}
	for _, c := range []jig.Command{jig.QuietCommand(1, 2), jig.PluckCommand(1, 3), jig.FieldCommand(2, 2)} {
		if o, err := conn.Do(t.Context(), c, sink); err != nil || o.Got != c.Count || o.Lost != 0 {
			t.Errorf("%v: %+v, %v", c.Verb, o, err)
		}
	}
	// What pretend.c makes up: 90000 - 4000*string + 10*(takes before) for a pluck.
	want := []int64{200, 200, 86000, 86010, 86020, -50000, -50000}
	if !slices.Equal(levels, want) {
		t.Errorf("levels %v, want %v", levels, want)
	}
}
