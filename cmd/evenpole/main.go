// Command evenpole helps a builder of magnetic pickups decide how tall each
// pole stands, and prove what was built.
package main

func main() {}
