package profiles

import (
	"crypto/sha256"
	"encoding/json"
)

// Digest is a SHA-256 of all that a mount says. How its file is called, laid out and
// commented makes no difference, nor does what the program calls its fields: what
// is hashed is the JSON of mountIdentity.
func (m *Mount) Digest() ([sha256.Size]byte, error) {
	id := mountIdentity{
		Pickup: m.Pickup, Batch: m.Batch, Poles: string(m.Poles), PoleHeights: m.PoleHeights, Magnets: m.Magnets,
		StringHeights: m.StringHeights, ProbeGap: m.ProbeGap, Set: m.Set, Under: m.Under, Second: m.Second,
	}
	for _, s := range m.Strings {
		id.Strings = append(id.Strings, stringIdentity{s.Note, s.Gauge, s.Core, string(s.Wrap), s.CoreEstimated})
	}
	text, err := json.Marshal(id)
	return sha256.Sum256(text), err
}

// mountIdentity is what two mounts have in common that are the same. Its keys and
// their order are in the names of files that shops have: they do not change. File
// and Text stand for what the mount's file was, and are always empty.
type mountIdentity struct {
	File          string           `json:"File"`
	Text          []byte           `json:"Text"`
	Pickup        string           `json:"Pickup"`
	Batch         string           `json:"Batch"`
	Poles         string           `json:"Poles"`
	PoleHeights   []float64        `json:"PoleHeights"`
	Magnets       []string         `json:"Magnets"`
	StringHeights []float64        `json:"StringHeights"`
	ProbeGap      float64          `json:"ProbeGap"`
	Set           string           `json:"Set"`
	Strings       []stringIdentity `json:"Strings"`
	Under         Under            `json:"Under,omitempty"`  // likewise
	Second        *SecondRow       `json:"Second,omitempty"` // so that mounts of before keep their names
}

type stringIdentity struct {
	Note          string  `json:"Note"`
	Gauge         float64 `json:"Gauge"`
	Core          float64 `json:"Core"`
	Wrap          string  `json:"Wrap"`
	CoreEstimated bool    `json:"CoreEstimated"`
}
