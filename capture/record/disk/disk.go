// Package disk keeps what is written: it makes files and folders that last, keeps a
// second writer out, and tells what endangers a folder. It knows nothing of what is
// in them.
//
//   - regular.go: files are opened that are plain files, so that nothing waits for the other
//     end of a pipe; what is written to is no link. What the shell hands over is read.
//   - again.go: what is read more than once, though it may come through a pipe.
//   - files.go: a file that only grows; folders.
//   - hold.go: the end of the program waits for what is being written.
//   - whole.go: a file that is written whole, or not at all.
//   - inplace.go: a file that counts as synced only while its path leads to it.
//   - lock.go: the one process that may write in a folder.
//   - turn.go: processes that wait for one another.
//   - place.go: network drives and synchronised folders.
//
// A file is synced as far as the system goes: on macOS down to the medium, on
// Linux and Windows as far as the drive is honest. The name of a new file is
// synced too, but for Windows, which has no call for that.
package disk
