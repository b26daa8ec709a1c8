package disk

import (
	"path/filepath"

	"golang.org/x/sys/windows"
)

func onNetwork(dir string) bool {
	root, err := windows.UTF16PtrFromString(filepath.VolumeName(dir) + `\`)
	return err == nil && windows.GetDriveType(root) == windows.DRIVE_REMOTE
}
