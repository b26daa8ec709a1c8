// Command evenpole helps a builder of magnetic pickups decide how tall each
// pole stands, and prove what was built.
//
// Run "evenpole help" for the commands, or read README.md at the top of the
// repository.
//
// The way through the package. A command is in the file of its name ("record retract" in
// recordretract.go), and so is the document that it prints with --json:
//
//   - main.go, root.go: all commands (run), what is printed where, and which exit status an
//     error has; examples.go: what their help has for examples.
//   - env.go, shop.go, writer.go: what commands share: streams, units and exit statuses (env),
//     the shop that they work on, and its record to write to.
//   - words.go, json.go: figures, names and days as text, and documents of --json.
//   - progress.go, interrupt.go: how far long work is, and where Ctrl-C ends it;
//     package terminal: lines that are drawn anew; memory.go: how much memory a fit may take.
//   - jig.go (and jigtalk.go, jigsim.go, jigverify.go), calibrate.go: the jig. capture.go, with
//     capturewatch.go and captureresult.go, what a person sees of it and what came of it, and
//     capturerecording.go, a recording in the jig's place.
//   - record.go: what the record's commands share; recordverify.go has verify and seal,
//     recordlist.go list and show. share.go: sharing, with shareview.go, the record of all
//     benches to read, and shareowner.go, what a database's owner does.
//   - fit.go, model.go, explain.go, pictures.go, next.go; plan.go, check.go; batch.go,
//     repeat.go, drift.go.
//   - formats.go, strings.go: the files that a shop writes, new and explained, and string sets.
//   - page.go, demo.go; man.go, version.go, notices.go: what the program says of itself.
package main

import "os"

func main() {
	os.Exit(run(interruptible(), os.Args[1:], os.Stdin, os.Stdout, os.Stderr))
}
