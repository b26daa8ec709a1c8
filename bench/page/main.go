// Command page measures the pages in a real browser (Chromium).
//
//	go run ./bench/page [-watch 1m] [-takes 11520] [-shop testdata/sample-shop]
//
// It serves a copy of a shop, with a model of it, and a simulated jig on a pseudo-terminal,
// opens four windows on the page of captures, and prints
//
//   - how long after the jig wrote a take's line to the port each page shows it: from there
//     over the record, on the disk by then, to the end of the frame in which it is drawn;
//   - how long after a slider is moved the balance that follows is drawn;
//   - the memory of a page and of the server, collected, over as many takes as eight hours
//     of captures make, one in 2.5 s.
//
// It fails when the 95th percentile of the first is over 50 ms, of the second over 100 ms, or
// when memory grows. All times are of this machine, and worth nothing on one that is at other
// work.
//
// The way through the package: bench.go serves the shop and the jig, and notes when lines
// are written; window.go is a window of the browser, and what is asked of it; main.go
// measures.
package main

import (
	"context"
	"errors"
	"flag"
	"fmt"
	"io"
	"os"
	"runtime"
	"slices"
	"time"
)

const (
	windows    = 4
	mostToShow = 50 * time.Millisecond
	mostSlide  = 100 * time.Millisecond
	moves      = 60  // of a slider
	calm       = 8.0 // times real time: a take some three times a second
	haste      = 5000
	lookEvery  = 10 // parts of the long run
)

func main() {
	var o options
	flag.DurationVar(&o.watch, "watch", time.Minute, "`how` long takes are timed")
	flag.IntVar(&o.takes, "takes", 8*60*60*10/25, "`how` many takes memory is watched over; 0 leaves that out")
	flag.StringVar(&o.shop, "shop", "testdata/sample-shop", "a shop's `folder`")
	flag.Parse()
	if err := run(context.Background(), os.Stdout, o); err != nil {
		fmt.Fprintln(os.Stderr, "page:", err)
		os.Exit(1)
	}
}

type options struct {
	watch time.Duration
	takes int
	shop  string
}

func run(ctx context.Context, out io.Writer, o options) error {
	b, err := openBench(ctx, o.shop)
	if err != nil {
		return err
	}
	defer b.close()
	all, end, err := openWindows(ctx, b.address, windows)
	if err != nil {
		return err
	}
	defer end()
	slow, err := timeTakes(out, b, all, o.watch)
	if err != nil {
		return err
	}
	lame, err := timeSlider(out, all[0])
	if err != nil {
		return err
	}
	grown := error(nil)
	if o.takes > 0 {
		if grown, err = watchMemory(out, b, all, o.takes); err != nil {
			return err
		}
	}
	return errors.Join(slow, lame, grown)
}

// timeTakes prints how long takes take to be shown; slow says that it is too long.
func timeTakes(out io.Writer, b *bench, all []*window, watch time.Duration) (slow, err error) {
	for _, w := range all {
		if err := w.watchTakes(); err != nil {
			return nil, err
		}
	}
	stop, err := b.capture(calm, 100)
	if err != nil {
		return nil, err
	}
	time.Sleep(watch)
	if err := stop(); err != nil {
		return nil, err
	}
	var delays []time.Duration
	for _, w := range all {
		shown, err := w.shown()
		if err != nil {
			return nil, err
		}
		for text, at := range shown {
			if written, ok := b.written(text); ok {
				delays = append(delays, at.Sub(written))
			}
		}
	}
	if len(delays) == 0 {
		return nil, errors.New("no take was shown")
	}
	return tell(out, fmt.Sprintf("take shown after its line, %d windows", len(all)), delays, mostToShow), nil
}

// timeSlider prints how long a slider's answer takes; lame says that it is too long.
func timeSlider(out io.Writer, w *window) (lame, err error) {
	delays, err := w.slide(moves)
	if err != nil {
		return nil, err
	}
	return tell(out, "balance drawn after a slider moved", delays, mostSlide), nil
}

// tell prints percentiles; the error says that the 95th is more than most.
func tell(out io.Writer, what string, delays []time.Duration, most time.Duration) error {
	slices.Sort(delays)
	at := func(share float64) time.Duration {
		return delays[min(len(delays)-1, int(share*float64(len(delays))))].Round(100 * time.Microsecond)
	}
	p95 := at(0.95)
	fmt.Fprintf(out, "%s: median %v, 95 %% %v, most %v of %d; at most %v wanted\n", what, at(0.5), p95, at(1), len(delays), most)
	if p95 > most {
		return fmt.Errorf("%s: 95 %% %v is over %v", what, p95, most)
	}
	return nil
}

// held is what is held at a moment, once what is garbage was collected.
type held struct {
	page   float64 // bytes of the page's heaps
	nodes  int64   // of its documents
	server float64 // bytes of this process's heap
}

// watchMemory prints memory over so many takes; grown says that it grows.
func watchMemory(out io.Writer, b *bench, all []*window, takes int) (grown, err error) {
	for _, w := range all {
		if err := w.open("/capture"); err != nil {
			return nil, err
		}
	}
	b.noNotes()
	var seen []held
	made := 0
	fmt.Fprintln(out, "memory over takes, the largest page's:")
	for part := range lookEvery + 1 {
		for made < takes*part/lookEvery {
			n, err := b.captureWhole(haste)
			if err != nil {
				return nil, err
			}
			made += n
		}
		m, err := measure(all)
		if err != nil {
			return nil, err
		}
		seen = append(seen, m)
		fmt.Fprintf(out, "  %6d takes: page %.2f MB, %d nodes; server %.2f MB\n", made, m.page/1e6, m.nodes, m.server/1e6)
	}
	return growth(seen), nil
}

// measure measures all pages, and keeps the largest.
func measure(all []*window) (m held, err error) {
	for _, w := range all {
		page, nodes, err := w.memory()
		if err != nil {
			return m, err
		}
		m.page, m.nodes = max(m.page, page), max(m.nodes, nodes)
	}
	runtime.GC()
	runtime.GC() // finalizers ran in the first
	var s runtime.MemStats
	runtime.ReadMemStats(&s)
	m.server = float64(s.HeapAlloc)
	return m, nil
}

// growth says what is larger over the last third than over the third after the first looks,
// by more than a tenth and half a megabyte, or fifty nodes.
func growth(seen []held) error {
	third := len(seen) / 3
	mean := func(of []held, what func(held) float64) (sum float64) {
		for _, m := range of {
			sum += what(m) / float64(len(of))
		}
		return sum
	}
	var all []error
	for _, x := range []struct {
		name  string
		slack float64
		what  func(held) float64
	}{
		{"page", 0.5e6, func(m held) float64 { return m.page }}, {"server", 0.5e6, func(m held) float64 { return m.server }},
		{"nodes of the page", 50, func(m held) float64 { return float64(m.nodes) }},
	} {
		before, after := mean(seen[1:1+third], x.what), mean(seen[len(seen)-third:], x.what)
		if after > 1.1*before+x.slack {
			all = append(all, fmt.Errorf("%s grows: %.0f, then %.0f", x.name, before, after))
		}
	}
	return errors.Join(all...)
}
