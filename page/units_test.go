package page

import (
	"net/http"
	"os"
	"path/filepath"
	"testing"
)

// A shop of inches is asked for inches from its first page on.
func TestNewFilesAreInTheShopsUnits(t *testing.T) {
	dir := t.TempDir()
	if err := os.WriteFile(filepath.Join(dir, "shop.toml"), []byte("units = \"in\"\n"), 0o666); err != nil {
		t.Fatal(err)
	}
	s := servingShop(t, dir, Options{Loopback: true})
	const inches = `<option value="in" selected>in</option>`
	wants(t, get(s, "/capture"), http.StatusOK, inches)
	wants(t, get(s, "/order/write"), http.StatusOK, inches, `value="25.5"`)
	wants(t, get(s, "/order/write?as=text"), http.StatusOK, "scale_length_in = 25.5")
	wants(t, get(s, recordingAddress), http.StatusOK, "pole_heights_in")
}
