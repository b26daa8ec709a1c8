package profiles

// ArcHeights is filled in with the geometry.
func ArcHeights(radius, spread float64, n int, first, last float64) []float64 { panic("todo") }
