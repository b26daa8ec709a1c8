package profiles

import (
	"errors"
	"reflect"
	"strings"
	"testing"
)

const batchesText = `reference = "gale"
acceptable_percent = 1.5
limiting_percent = 8
producer_risk_percent = 5
consumer_risk_percent = 10
[[batch]]
name = "squall"
min_mt = 250
max_mt = 330
probe_gap_in = 0.02
rod_diameter_in = 0.1875
rod_length_mm = 16.5
[[batch]]
name = "gale"
`

func TestBatches(t *testing.T) {
	b, err := ParseBatches("batches.toml", []byte(batchesText))
	if err != nil {
		t.Fatal(err)
	}
	want := &Batches{
		File: "batches.toml", Reference: "gale", Acceptable: 0.015, Limiting: 0.08, ProducerRisk: 0.05, ConsumerRisk: 0.1,
		List: []MagnetBatch{{"squall", 250, 330, 0.508, 4.7625, 16.5}, {Name: "gale"}},
	}
	if !reflect.DeepEqual(b, want) {
		t.Errorf("got  %+v\nwant %+v", b, want)
	}
	if m, ok := b.Batch("squall"); !ok || m.Max != 330 {
		t.Errorf("squall: got %+v, %v", m, ok)
	}
	if _, ok := b.Batch("breeze"); ok {
		t.Error("found a batch that is not listed")
	}
}

func TestBatchesRefusals(t *testing.T) {
	for _, c := range []struct{ from, to, want string }{
		{"max_mt = 330", "max_mt = 230", `b.toml:9:10: max_mt: expected more than min_mt, 250 mT, got 230`},
		{"max_mt = 330", "max_mt = 0.33", `b.toml:9:10: max_mt: expected 1 to 2000 mT, got 0.33; if that is tesla, write 330`},
		{"limiting_percent = 8", "limiting_percent = 80", `b.toml:3:20: limiting_percent: expected 0.01 to 49.9 %, got 80`},
		{"probe_gap_in = 0.02\n", "", `b.toml:6:3: probe_gap_mm: expected a length, but the key is missing`},
		{"rod_length_mm = 16.5\n", "", `b.toml:6:3: rod_length_in: expected a length, but the key is missing`},
		{`name = "gale"`, `name = "squall"`, `b.toml:14:8: name: expected a name that no other batch has, got "squall" again`},
		{"min_mt", "least_mt", `b.toml:8:1: least_mt: unknown key`},
	} {
		_, err := ParseBatches("b.toml", []byte(strings.Replace(batchesText, c.from, c.to, 1)))
		var e *Error
		if !errors.As(err, &e) || !strings.HasPrefix(e.Error(), c.want) {
			t.Errorf("%s: got %v, want %s", c.to, err, c.want)
		}
	}
	if _, err := ReadBatches("testdata/no-such-file.toml"); err == nil {
		t.Error("a file that is not there was read")
	}
}
