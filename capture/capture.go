// Package capture runs a capture and keeps the shop's record on disk.
//
// The record only ever grows. A reading is called kept after its row is
// written and synced, never before; what a crash tore is set aside and
// reported, never silently dropped.
package capture
