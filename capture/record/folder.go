package record

import (
	"os"
	"path/filepath"
	"strings"
	"time"

	"evenpole/profiles"
)

// Files and folders of a shop folder.
const (
	ReadingsFile = "readings.csv"
	FieldsFile   = "fields.csv"
	SessionsFile = "sessions.csv"
	MountsDir    = "mounts"
)

// marks are the files of which any one makes a folder a shop: those of the record, and those
// in which a person says something of the shop before anything was captured.
var marks = []string{ReadingsFile, FieldsFile, SessionsFile, profiles.ShopFile, profiles.SetsFile, profiles.BatchesFile}

// Find returns the nearest folder, from start upwards, that is a shop: one
// that holds readings.csv, fields.csv, sessions.csv, shop.toml, strings.toml or
// batches.toml.
func Find(start string) (dir string, ok bool) {
	dir, err := filepath.Abs(start)
	if err != nil {
		return "", false
	}
	for {
		for _, name := range marks {
			if info, err := os.Stat(filepath.Join(dir, name)); err == nil && info.Mode().IsRegular() {
				return dir, true
			}
		}
		parent := filepath.Dir(dir)
		if parent == dir {
			return "", false
		}
		dir = parent
	}
}

// stamped is the name, but for .csv, of a file that keeps what stood in another
// one until a time.
func stamped(path, what string, now time.Time) string {
	return strings.TrimSuffix(path, ".csv") + "." + what + "-" + now.UTC().Format("20060102T150405.000Z")
}
