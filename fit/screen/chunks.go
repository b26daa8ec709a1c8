package screen

import "evenpole/fit/solve"

// mostChunks is into how many parts work is cut. It does not depend on the cores, so
// that sums come out the same on any machine.
const mostChunks = 16

// inChunks does work on n things, cut into parts, on all cores. The parts are given
// their number and what they run from and to.
func inChunks(n int, do func(chunk, from, to int)) {
	chunks := min(n, mostChunks)
	solve.InParallelEach(chunks, func(k int) { do(k, k*n/chunks, (k+1)*n/chunks) })
}
