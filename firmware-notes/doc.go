// Package firmwarenotes is the page for firmware writers, README.md; its test
// holds the page to its word.
package firmwarenotes
