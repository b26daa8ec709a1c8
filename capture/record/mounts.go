package record

import (
	"cmp"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"path/filepath"
	"strconv"
	"strings"

	"evenpole/capture/record/disk"
	"evenpole/capture/record/table"
	"evenpole/profiles"
)

// mountColumns are the columns of both files in which a row says what its mount says.
var mountColumns = []string{
	"pickup", "batch", "string", "magnet", "string_set", "core_mm", "gauge_mm", "wrap", "pole_height_mm", "string_height_mm", "probe_gap_mm",
	"under", "pole_height_2_mm", "coil_2_gain",
}

// layoutColumns are those that only pickups have which are not one pole a string and one
// coil: records of before lack them, and take all other pickups.
var layoutColumns = []string{"under", "pole_height_2_mm", "coil_2_gain"}

// SetMount fills in the cell from a mount: what is mounted under the reading's string.
// It is false, and the reading as it was, for a string that the mount does not have.
func (r *Reading) SetMount(m *profiles.Mount) bool {
	i := r.String - 1
	if i < 0 || i >= len(m.Strings) {
		return false
	}
	s := m.Strings[i]
	r.Pickup, r.Batch, r.StringSet = m.Pickup, m.Batch, m.Set
	r.Core, r.Gauge, r.Wrap = s.Core, s.Gauge, s.Wrap
	r.PoleHeight, r.StringHeight = m.PoleHeights[i], m.StringHeights[i]
	r.Under, r.PoleHeight2, r.Gain2 = m.Under, 0, ""
	if two := m.Second; two != nil {
		r.PoleHeight2, r.Gain2 = two.PoleHeights[i], strconv.FormatFloat(two.Gain, 'f', 4, 64)
	}
	return true
}

// SetMount fills in what a mount has at the reading's position. It is false, and the
// reading as it was, for a position at which nothing is.
func (f *FieldReading) SetMount(m *profiles.Mount) bool {
	i := f.Position - 1
	if i < 0 || i >= max(len(m.Strings), len(m.Magnets)) {
		return false
	}
	f.Batch, f.Pickup, f.ProbeGap, f.String, f.Magnet = m.Batch, m.Pickup, m.ProbeGap, 0, ""
	if !m.Loose() {
		f.String = f.Position
	}
	if i < len(m.Magnets) {
		f.Magnet = m.Magnets[i]
	}
	return true
}

// MountName is the name of the shop's copy of a mount: what is mounted, and the start of
// the mount's digest.
func MountName(m *profiles.Mount) (string, error) {
	digest, err := m.Digest()
	if err != nil {
		return "", fmt.Errorf("mount %s: %w", m.File, err)
	}
	return fmt.Sprintf("%s-%.4x.toml", plain(cmp.Or(m.Pickup, m.Batch)), digest), nil
}

// plain replaces what cannot stand in the name of a file everywhere.
func plain(name string) string {
	return strings.Map(func(r rune) rune {
		switch {
		case r >= 'a' && r <= 'z', r >= 'A' && r <= 'Z', r >= '0' && r <= '9', r == '-', r == '_', r == '.':
			return r
		}
		return '-'
	}, name)
}

// KeepMount keeps a verbatim copy of a mount under its name.
func (s *Writer) KeepMount(name string, m *profiles.Mount) error {
	dir := s.path(MountsDir)
	if err := disk.MakeDir(dir); err != nil {
		return err
	}
	err := disk.CreateFile(filepath.Join(dir, name), func(to io.Writer) error {
		_, err := to.Write(m.Text)
		return err
	})
	if errors.Is(err, fs.ErrExist) {
		return nil
	}
	return err
}

// Accepts tells whether readings.csv has columns for what readings of a mount say, with a
// *ColumnError where it has not. Nothing is written.
func (s *Writer) Accepts(m *profiles.Mount) error {
	var rows []table.Row
	for i := range m.Strings {
		r := Reading{String: i + 1}
		r.SetMount(m)
		rows = append(rows, readingColumns.Row(&r))
	}
	return s.readings.accepts(rows)
}
