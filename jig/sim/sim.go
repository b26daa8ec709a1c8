// Package sim is a simulated jig: the demo's and the tests' instrument, and
// something for firmware writers to talk to. It speaks the line protocol on a
// real pseudo-terminal (in process where the system has none), takes its
// levels from the exact field of the magnets and the steel in the strings, and
// misbehaves on demand.
//
// It is deliberately not the model that package fit uses: its constants and its
// mechanisms (saturation, neighbouring poles, scatter of magnets, strings and
// plucks, drift, hum, clipping, double strikes) are its own.
package sim
