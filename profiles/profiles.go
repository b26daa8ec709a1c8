// Package profiles holds what a shop describes in files, with units and
// limits: orders, mounts, string sets, and the handbook defaults that are
// built in. Every length is in millimetres once read; files may give inches.
//
// Every error names file, line, column, the key, what was found and what was
// expected.
package profiles
