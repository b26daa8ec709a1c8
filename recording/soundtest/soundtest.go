// Package soundtest makes recordings of plucked strings for tests, from the modes of a
// stiff, damped string, with what goes wrong at a bench. The listener was not set by its
// figures: they are drawn.
//
//   - string.go: what one pluck sounds like ([Pluck]).
//   - scene.go: plucks one after the other, with hum and noise ([Scene]).
//   - write.go: the file ([WriteWAV]).
package soundtest
