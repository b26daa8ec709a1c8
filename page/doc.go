// Package page serves a shop's pages to a browser on this machine: what the commands
// tell, at a glance. It shows what the packages below it work out and works nothing out
// itself. Requests in, HTML and events out; nothing is fetched from a network.
//
// The way of a request through the package:
//
//   - errors.go: what an error is to a browser.
//   - bounds.go: sizes, rates and places, the bounds of what a browser may ask.
//   - guard.go: which requests are served at all (guard), and the headers of every answer.
//   - words.go: figures as text.
//   - forms.go: what a person filled in (filled), and the capture that it starts (job).
//   - bench.go: the one capture that is at hand (bench), which outlives the pages that watch
//     it; seen.go: the bench as pages show it.
//   - fitter.go: the one fit that is at hand (fitter); kept.go, gallery.go: what was worked out
//     last (kept), pictures among it.
//   - server.go: Options, and what serves a shop (Server).
//   - fields.go: files of the shop as fields to fill in; grid.go: tables, shown and
//     downloaded (grid).
//   - view.go: what a page shows (view), and templates; look/ has the templates, the style
//     sheet and the scripts.
//   - captures.go: the page of captures, its buttons and its events, and which browser holds
//     the jig.
//   - recordings.go: the page of recordings, which take a jig's place (recorded).
//   - overview.go, orders.go, trials.go (sliders), writing.go (orders as they are written),
//     certificates.go, pickups.go, checks.go, batches.go, models.go, fits.go, nexts.go,
//     jigs.go: the other pages.
//   - page.go: New; which address leads to which page (Server.ServeHTTP, Server.Serve).
//   - listen.go: addresses and access codes.
package page
