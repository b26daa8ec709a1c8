package disk

import (
	"fmt"
	"os"
	"path/filepath"
	"strings"
)

// Dangers tells people what endangers a record where it is. Dangers that the program
// cannot detect are left out.
func Dangers(dir string) []string {
	dir, err := filepath.Abs(dir)
	if err != nil {
		return nil
	}
	var all []string
	if onNetwork(dir) {
		all = append(all, fmt.Sprintf("%s is on a network drive: when the network fails, so may the lock that keeps a second writer out and the promise that a kept row is on the disk; keep the shop on a disk of this machine, and copies elsewhere", dir))
	}
	if mark := syncMark(dir); mark != "" {
		all = append(all, fmt.Sprintf("%s is in a synchronised folder (%s): files may be replaced while they are written to; keep the shop outside it, and copies inside", dir, mark))
	}
	return all
}

// syncMarks are what programs that synchronise folders leave at the top of one
// (from memory; a pattern that ends in / is a folder).
var syncMarks = []string{
	".stfolder/", ".dropbox", ".dropbox.cache/", ".tmp.drivedownload/", ".tmp.driveupload/",
	".owncloudsync.log", ".nextcloudsync.log", "._sync_*.db", ".sync_*.db",
}

// syncRoots are environment variables that name a synchronised folder.
var syncRoots = []string{"OneDrive", "OneDriveConsumer", "OneDriveCommercial"}

// syncParents are folders in whose folders a system synchronises.
var syncParents = []string{filepath.Join("Library", "CloudStorage"), filepath.Join("Library", "Mobile Documents")}

// syncMark returns why a folder is taken for a synchronised one, "" when it is
// not.
func syncMark(dir string) string {
	for _, name := range syncRoots {
		if root := os.Getenv(name); root != "" && within(dir, root) {
			return "the variable " + name + " names " + root
		}
	}
	for {
		if path := markIn(dir); path != "" {
			return "there is " + path
		}
		parent := filepath.Dir(dir)
		for _, p := range syncParents {
			if strings.HasSuffix(parent, string(filepath.Separator)+p) {
				return "it is under " + parent
			}
		}
		if parent == dir {
			return ""
		}
		dir = parent
	}
}

// markIn returns the mark that a folder has. A mark of the same name but the
// other kind is another thing: settings in a home folder, for one.
func markIn(dir string) string {
	entries, _ := os.ReadDir(dir) // a folder that cannot be read tells nothing
	for _, entry := range entries {
		for _, mark := range syncMarks {
			pattern, folder := strings.CutSuffix(mark, "/")
			if match, _ := filepath.Match(pattern, entry.Name()); match && entry.IsDir() == folder {
				return filepath.Join(dir, entry.Name())
			}
		}
	}
	return ""
}

func within(dir, root string) bool {
	rel, err := filepath.Rel(root, dir)
	return err == nil && rel != ".." && !strings.HasPrefix(rel, ".."+string(filepath.Separator))
}
