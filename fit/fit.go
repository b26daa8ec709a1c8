// Package fit goes from readings to a model of how a string's level follows
// the pole under it: takes collapse into cells in one pass, a model is fitted
// to the cells, judged on pickups that it has not seen, and written to a file
// that never changes.
package fit
