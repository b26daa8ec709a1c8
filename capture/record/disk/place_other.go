//go:build !linux && !darwin && !windows

package disk

// onNetwork has no way to find a network drive on this system.
func onNetwork(string) bool { return false }
