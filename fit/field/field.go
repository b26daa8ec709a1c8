// Package field computes the exact magnetic field of a rod magnet and what
// follows from it. It is a leaf: it imports nothing of ours.
package field
