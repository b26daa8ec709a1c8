package disk

import (
	"slices"

	"golang.org/x/sys/unix"
)

// networkTypes are the file systems of statfs(2) that are another machine's.
var networkTypes = []uint32{
	unix.NFS_SUPER_MAGIC, unix.SMB_SUPER_MAGIC, unix.SMB2_SUPER_MAGIC, unix.CIFS_SUPER_MAGIC, unix.AFS_SUPER_MAGIC,
	unix.AFS_FS_MAGIC, unix.CODA_SUPER_MAGIC, unix.NCP_SUPER_MAGIC, unix.V9FS_MAGIC, unix.CEPH_SUPER_MAGIC,
}

func onNetwork(dir string) bool {
	var s unix.Statfs_t
	return unix.Statfs(dir, &s) == nil && slices.Contains(networkTypes, uint32(s.Type))
}
