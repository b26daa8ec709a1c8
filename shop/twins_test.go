package shop

import (
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"evenpole/capture/record/recordtest"
)

// An order whose file was copied and whose id was not altered is told of, as a certificate of
// either would close both.
func TestTwinOrders(t *testing.T) {
	dir := t.TempDir()
	text, err := os.ReadFile(recordtest.Path(t, "sample-shop", "orders", "A-001.toml"))
	if err != nil {
		t.Fatal(err)
	}
	other := strings.Replace(string(text), `"A-001"`, `"A-002"`, 1)
	if other == string(text) {
		t.Fatal("the sample's order has another id")
	}
	write := func(path, text string) {
		t.Helper()
		if err := errors.Join(os.MkdirAll(filepath.Dir(path), 0o777), os.WriteFile(path, []byte(text), 0o666)); err != nil {
			t.Fatal(err)
		}
	}
	for name, text := range map[string]string{"first": string(text), "copy": string(text), "other": other, "broken": "id = 4\n"} {
		write(filepath.Join(dir, "orders", name+".toml"), text)
	}
	outside := filepath.Join(dir, "first.toml") // may be a copy to look at
	write(outside, string(text))
	s, err := Open(dir)
	if err != nil {
		t.Fatal(err)
	}
	for path, want := range map[string]string{
		filepath.Join(dir, "orders", "first.toml"): `orders/copy.toml has the id "A-001", too`,
		filepath.Join(dir, "orders", "copy.toml"):  `orders/first.toml has the id "A-001", too`,
		filepath.Join(dir, "orders", "other.toml"): "",
		outside: "",
	} {
		o, err := s.ReadOrder(path)
		if err != nil {
			t.Fatal(err)
		}
		said, err := s.Twins(o)
		if got := strings.Join(said, "\n"); err != nil || !strings.HasPrefix(got, want) || (got == "") != (want == "") {
			t.Errorf("%s: %q, %v", path, said, err)
		}
	}
	lines, err := s.orderLines(nil)
	if err != nil {
		t.Fatal(err)
	}
	var told []string
	for _, l := range lines {
		if l.Twin != "" {
			told = append(told, l.Order+": "+l.Twin)
		}
	}
	if len(told) != 1 || !strings.HasPrefix(told[0], `A-001: orders/copy.toml has the id`) {
		t.Errorf("%q", told)
	}
}
