// Package page serves a shop's pages to a browser on this machine: what the commands
// tell, at a glance. It shows what the packages below it work out and works nothing out
// itself. Requests in, HTML and events out; nothing is fetched from a network.
//
// The way of a request through the package:
//
//   - bounds.go: sizes, rates and places, the bounds of what a browser may ask.
//   - guard.go: which requests are served at all (guard), and the headers of every answer.
//   - words.go: figures as text.
//   - grid.go: tables, shown and downloaded (grid).
//   - server.go: Options, and what serves a shop (Server).
//   - view.go: what a page shows (view), templates and errors; look/ has the templates,
//     the style sheet and the scripts.
//   - forms.go: what a person filled in.
//   - bench.go: the one capture that is at hand (bench), which outlives the pages that watch
//     it; seen.go: the bench as pages show it; captures.go: its page, its buttons and its
//     events, and which browser holds the jig.
//   - overview.go, orders.go, trials.go (sliders, and orders as they are written), pickups.go, checks.go, batches.go,
//     fits.go (one fit at a time), models.go, jigs.go: the pages.
//   - page.go: New; which address leads to which page (Server.ServeHTTP, Server.Serve).
//   - listen.go: addresses and access codes.
package page
