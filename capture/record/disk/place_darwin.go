package disk

import "golang.org/x/sys/unix"

func onNetwork(dir string) bool {
	var s unix.Statfs_t
	return unix.Statfs(dir, &s) == nil && s.Flags&unix.MNT_LOCAL == 0
}
