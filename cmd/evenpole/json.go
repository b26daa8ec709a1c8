package main

import (
	"encoding/json"
	"reflect"
)

// document is what a command prints with --json, and the one way to print it: so
// documents has all of them.
type document[T any] struct{}

// documents are the types of all documents, for the test of their keys.
var documents []reflect.Type

func newDocument[T any]() document[T] {
	documents = append(documents, reflect.TypeFor[T]())
	return document[T]{}
}

// write writes the one document of --json.
func (document[T]) write(e *env, v T) error {
	enc := json.NewEncoder(e.stdout)
	enc.SetEscapeHTML(false)
	enc.SetIndent("", "  ")
	return enc.Encode(v)
}
