package sim

import (
	"fmt"
	"hash/fnv"
	"math"
	"math/rand/v2"
)

// source returns random numbers that depend on the seed and on what they are
// for, so that what happens on the wire or in one take does not shift those of
// another.
func source(seed uint64, purpose ...any) *rand.Rand {
	h := fnv.New64a()
	fmt.Fprintln(h, purpose...)
	return rand.New(rand.NewPCG(seed, h.Sum64()))
}

// around draws a factor about 1, log-normal with the relative deviation sd.
func around(r *rand.Rand, sd float64) float64 { return math.Exp(sd * r.NormFloat64()) }
