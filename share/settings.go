package share

import (
	"cmp"
	"context"
	"crypto/rand"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
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
	path := settingsPath(s)
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
// or elsewhere, it is an error: see [Bench.Move].
func Join(s *shop.Shop, bench, folder string) (*Settings, error) {
	if err := CheckBench(bench); err != nil {
		return nil, err
	}
	path := settingsPath(s)
	switch now, err := ReadSettings(s); {
	case err == nil && (now.Bench != bench || now.Folder != folder):
		return nil, staysAs(path, now)
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
	text, err := x.text()
	if err != nil {
		return nil, err
	}
	if err := disk.MakeDir(filepath.Dir(path)); err != nil {
		return nil, err
	}
	return x, disk.CreateFile(path, text)
}

func settingsPath(s *shop.Shop) string { return filepath.Join(s.Dir(), shop.SharedDir, settingsFile) }

func staysAs(path string, now *Settings) error {
	return &InputError{fmt.Sprintf("%s: this shop has joined as bench %q: what it shared stays under that name", path, now.Bench)}
}

// text is what the file says.
func (x *Settings) text() (func(io.Writer) error, error) {
	text, err := toml.Marshal(x)
	return write("# How this shop shares its record. Keep it with the shop.\n" + string(text)), err
}

// Move has a bench go by another name, or look for the shared record in another folder ("" for
// a database), of which c is the carrier. The name changes only where nothing of this shop
// stands under the one before, as when another shop has it; the folder only where this
// shop's entries stand in the new one, as when a stick or a drive is found elsewhere.
func (b *Bench) Move(ctx context.Context, c Carrier, bench, folder string) error {
	if bench == b.Bench && folder == b.Folder {
		return nil
	}
	if err := CheckBench(bench); err != nil {
		return err
	}
	path := settingsPath(b.shop)
	ours, err := b.hasShared(ctx, c)
	switch {
	case err != nil:
		return err
	case bench != b.Bench && (ours || folder != b.Folder):
		return staysAs(path, b.Settings)
	case folder != b.Folder && !ours:
		return &InputError{fmt.Sprintf("%s: this shop shares as bench %q in %s, and %s has nothing of it", path, b.Bench, where(b.Folder), where(folder))}
	}
	x := &Settings{Bench: bench, Identity: b.Identity, Folder: folder}
	text, err := x.text()
	if err != nil {
		return err
	}
	b.Settings = x
	return disk.WriteFile(path, text)
}

// hasShared tells whether a carrier has entries of this shop under its name: the first one
// says which shop they are of.
func (b *Bench) hasShared(ctx context.Context, c Carrier) (bool, error) {
	for e, err := range c.Read(ctx, b.Bench, Documents, 0) {
		if err != nil {
			return false, err
		}
		cells, err := decode(e.Cells)
		return err == nil && cells[pathCell] == identityPath && cells[textCell] == b.Identity, nil
	}
	return false, nil
}

// where is the shared record, in words.
func where(folder string) string { return cmp.Or(folder, "a database") }
