package sim

// Batch is a purchased lot of rod magnets.
type Batch struct {
	Name      string
	Remanence float64 // T, effective, of the middle one
	SD        float64 // relative, from magnet to magnet
	Radius    float64 // mm
	Length    float64 // mm
}

// Magnet returns a magnet of the batch, flush with the bobbin plane. The same
// seed and names always give the same one.
func (b Batch) Magnet(seed uint64, name string) Pole {
	r := source(seed, "magnet", b.Name, name)
	return Pole{Radius: b.Radius, Length: b.Length, Remanence: b.Remanence * around(r, b.SD)}
}
