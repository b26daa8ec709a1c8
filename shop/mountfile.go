package shop

import (
	"slices"

	"evenpole/capture/record"
)

// MountedWith is the mount of a session, for who wants to correct it.
type MountedWith struct {
	File string // the shop's file of what to mount that says the same; "" when none does
	Copy string // the record's copy, which stays as it is; "" when it has none
}

// MountsOf looks up the mounts of sessions. A file of the shop that cannot be read is no
// session's.
func (s *Shop) MountsOf(sessions []string) (map[string]MountedWith, error) {
	holds, err := record.HoldsIn(s.Dir())
	if err != nil {
		return nil, err
	}
	names, err := s.JigMounts()
	if err != nil {
		return nil, err
	}
	files := map[string]string{} // by the name of the record's copy
	for _, name := range names {
		m, err := s.JigMount(name)
		if err != nil {
			continue
		}
		if copied, err := record.MountName(m); err == nil {
			files[copied] = s.join(jigDir, name+tomlEnd)
		}
	}
	all := map[string]MountedWith{}
	for _, session := range sessions {
		if copied := holds.Mount(session); copied != "" {
			all[session] = MountedWith{files[copied], s.join(record.MountsDir, copied)}
		}
	}
	return all, nil
}

// SameMount names the other sessions of the mount that a session is of.
func (s *Shop) SameMount(session string) (others []string, err error) {
	holds, err := record.HoldsIn(s.Dir())
	if err != nil {
		return nil, err
	}
	mount := holds.Mount(session)
	for _, h := range holds {
		if mount != "" && h.Session != session && h.Session != "" && holds.Mount(h.Session) == mount && !slices.Contains(others, h.Session) {
			others = append(others, h.Session)
		}
	}
	return others, nil
}
