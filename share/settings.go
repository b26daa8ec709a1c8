package share

import (
	"crypto/rand"
	"encoding/hex"
	"errors"
	"fmt"
	"io/fs"
	"path/filepath"
	"regexp"

	"evenpole/capture/record/disk"
	"evenpole/shop"

	"github.com/pelletier/go-toml/v2"
)

// Settings are what a shop's shared/share.toml says: a shop that has one has joined.
type Settings struct {
	Bench    string `toml:"bench"`            // what this shop is called among benches
	Identity string `toml:"identity"`         // a number drawn when it joined
	Folder   string `toml:"folder,omitempty"` // where the shared record is; "" for a database
}

// mostSettings is how long the file may be, bytes.
const mostSettings = 16 << 10

// ErrNotJoined says that a shop shares nothing yet.
var ErrNotJoined = errors.New("this shop has not joined a shared record")

// ReadSettings reads the settings of a shop: ErrNotJoined where there are none.
func ReadSettings(s *shop.Shop) (*Settings, error) {
	path := filepath.Join(s.Dir(), shop.SharedDir, settingsFile)
	text, err := readSmall(path, mostSettings)
	if errors.Is(err, fs.ErrNotExist) {
		return nil, ErrNotJoined
	}
	if err != nil {
		return nil, err
	}
	var x Settings
	if err := toml.Unmarshal(text, &x); err != nil {
		return nil, &InputError{fmt.Sprintf("%s: %v", path, err)}
	}
	if err := CheckBench(x.Bench); err != nil {
		return nil, &InputError{fmt.Sprintf("%s: %v", path, err)}
	}
	if !identityForm.MatchString(x.Identity) {
		return nil, &InputError{fmt.Sprintf("%s: identity: expected 32 digits, each 0 to 9 or a to f", path)}
	}
	return &x, nil
}

var identityForm = regexp.MustCompile(`^[0-9a-f]{32}$`)

// Join writes the settings of a shop that joins a shared record under a name: in a folder,
// or a database for "". A shop that has joined already stays as it is; under another name,
// or elsewhere, it is an error.
func Join(s *shop.Shop, bench, folder string) (*Settings, error) {
	if err := CheckBench(bench); err != nil {
		return nil, err
	}
	path := filepath.Join(s.Dir(), shop.SharedDir, settingsFile)
	switch now, err := ReadSettings(s); {
	case err == nil && (now.Bench != bench || now.Folder != folder):
		return nil, &InputError{fmt.Sprintf("%s: this shop has joined as bench %q: what it shared stays under that name", path, now.Bench)}
	case err == nil:
		return now, nil
	case !errors.Is(err, ErrNotJoined):
		return nil, err
	}
	drawn := make([]byte, 16)
	if _, err := rand.Read(drawn); err != nil {
		return nil, err
	}
	x := &Settings{Bench: bench, Identity: hex.EncodeToString(drawn), Folder: folder}
	text, err := toml.Marshal(x)
	if err != nil {
		return nil, err
	}
	if err := disk.MakeDir(filepath.Dir(path)); err != nil {
		return nil, err
	}
	return x, disk.CreateFile(path, write("# How this shop shares its record; written once. Keep it with the shop.\n"+string(text)))
}
