package record

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// Verifying and exporting a long record tell how far they are, and end with their context.
func TestLongWorkTellsHowFarItIs(t *testing.T) {
	const rows = 70_000
	var text bytes.Buffer
	text.WriteString("jig,boot,seq,string,core_mm,pole_height_mm,string_height_mm,mode,rms_mv\n")
	for i := range rows {
		fmt.Fprintf(&text, "j,0000000A,%d,1,0.25,1,3,P,10\n", i+1)
	}
	dir := t.TempDir()
	if err := os.WriteFile(filepath.Join(dir, ReadingsFile), text.Bytes(), 0o666); err != nil {
		t.Fatal(err)
	}
	for name, work := range map[string]func(ctx context.Context) error{
		"verify": func(ctx context.Context) error { _, err := Verify(ctx, dir, func(Finding) {}); return err },
		"export": func(ctx context.Context) error {
			_, err := Export(ctx, io.Discard, dir, ReadingsFile, Filter{})
			return err
		},
	} {
		var said []string
		ctx, cancel := context.WithCancel(WithProgress(t.Context(), func(step string) { said = append(said, step) }))
		if err := work(ctx); err != nil {
			t.Fatal(err)
		}
		if all := strings.Join(said, "\n"); !strings.Contains(all, "readings.csv: 32768 rows read") || !strings.Contains(all, "65536 rows") {
			t.Errorf("%s told %q", name, said)
		}
		cancel()
		if err := work(ctx); !errors.Is(err, context.Canceled) {
			t.Errorf("%s: %v, though its context has ended", name, err)
		}
	}
}
