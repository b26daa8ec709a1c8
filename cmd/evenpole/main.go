// Command evenpole helps a builder of magnetic pickups decide how tall each
// pole stands, and prove what was built.
//
// Run "evenpole help" for the commands, or read README.md at the top of the
// repository.
package main

import "os"

func main() {
	os.Exit(run(interruptible(), os.Args[1:], os.Stdin, os.Stdout, os.Stderr))
}
