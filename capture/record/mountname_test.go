package record

import (
	"strings"
	"testing"

	"evenpole/profiles"
)

func TestMountName(t *testing.T) {
	name := func(m profiles.Mount) string {
		s, err := MountName(&m)
		if err != nil {
			t.Fatal(err)
		}
		return s
	}
	one := profiles.Mount{Pickup: "T/4 (ü)", Batch: "M-03", ProbeGap: 0.5}
	if got := name(one); !strings.HasPrefix(got, "T-4----") || len(got) != len("T-4----1a2b3c4d.toml")+1 {
		t.Errorf("name %q", got)
	}
	same := one
	same.File, same.Text = "other.toml", []byte("# said otherwise")
	other := one
	other.ProbeGap = 0.6
	loose := one
	loose.Pickup = ""
	if name(same) != name(one) || name(other) == name(one) || !strings.HasPrefix(name(loose), "M-03-") {
		t.Errorf("names %q, %q, %q, %q", name(one), name(same), name(other), name(loose))
	}
}
