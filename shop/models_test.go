package shop

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// A current model that is gone is told by the file that names it, and what to do.
func TestCurrentModelThatIsGone(t *testing.T) {
	dir := t.TempDir()
	for name, text := range map[string]string{"readings.csv": "string,core_mm,pole_height_mm,string_height_mm,rms_mv\n", "models/current.txt": "model-007.json\n"} {
		if err := os.MkdirAll(filepath.Dir(filepath.Join(dir, name)), 0o777); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(filepath.Join(dir, name), []byte(text), 0o666); err != nil {
			t.Fatal(err)
		}
	}
	s, err := Open(dir)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := s.Model(""); err == nil || !strings.Contains(err.Error(), "current.txt:1: the current model model-007.json is not there") {
		t.Errorf("got %v", err)
	}
}
