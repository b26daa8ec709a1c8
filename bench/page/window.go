package main

import (
	"context"
	"errors"
	"fmt"
	"os/exec"
	"time"

	"github.com/chromedp/cdproto/cdp"
	"github.com/chromedp/cdproto/heapprofiler"
	"github.com/chromedp/cdproto/memory"
	"github.com/chromedp/cdproto/runtime"
	"github.com/chromedp/chromedp"
)

// window is a window of the browser.
type window struct {
	ctx     context.Context
	address string // of the server
}

// openWindows opens a browser with so many windows on the page of captures.
func openWindows(ctx context.Context, address string, n int) (all []*window, end func(), err error) {
	path := ""
	for _, name := range []string{"chromium", "chromium-browser", "google-chrome"} {
		if found, err := exec.LookPath(name); err == nil {
			path = found
			break
		}
	}
	if path == "" {
		return nil, nil, errors.New("no Chromium here")
	}
	ctx, end = chromedp.NewExecAllocator(ctx, append(chromedp.DefaultExecAllocatorOptions[:], chromedp.ExecPath(path), chromedp.NoSandbox)...)
	first := ctx
	for range n {
		own, _ := chromedp.NewContext(first, chromedp.WithNewWindow(true)) // all end with the browser
		w := &window{own, address}
		if err := w.open("/capture"); err != nil {
			end()
			return nil, nil, err
		}
		if len(all) == 0 {
			first = own
		}
		all = append(all, w)
	}
	return all, end, nil
}

// open opens a page.
func (w *window) open(path string) error {
	return chromedp.Do(w.ctx, chromedp.Navigate(w.address+path))
}

// watchTakes has the page note when each take has been drawn: the frame after that in which
// it came into the document has begun by then.
func (w *window) watchTakes() error {
	_, err := chromedp.Run(w.ctx, chromedp.Evaluate[bool](`(() => {
		window.shown = {};
		const list = document.getElementById("takes");
		new MutationObserver(() => {
			const fresh = [...list.children].map((li) => li.textContent).filter((text) => !(text in window.shown));
			for (const text of fresh) window.shown[text] = 0;
			requestAnimationFrame(() => setTimeout(() => { for (const text of fresh) window.shown[text] = Date.now(); }));
		}).observe(list, { childList: true });
		return document.visibilityState === "visible";
	})()`))
	return err
}

// shown is when each take was drawn.
func (w *window) shown() (map[string]time.Time, error) {
	ms, err := chromedp.Run(w.ctx, chromedp.Evaluate[map[string]int64]("window.shown"))
	out := map[string]time.Time{}
	for text, at := range ms {
		if at > 0 {
			out[text] = time.UnixMilli(at)
		}
	}
	return out, err
}

// slide moves a slider so many times, and says how long each answer took to be drawn.
func (w *window) slide(moves int) ([]time.Duration, error) {
	if err := w.open("/order/try?name=L-012"); err != nil {
		return nil, err
	}
	time.Sleep(time.Second) // the page asks once by itself
	ms, err := chromedp.Run(w.ctx, chromedp.Evaluate[[]float64](fmt.Sprintf(`(async () => {
		const slider = document.getElementById("pole3"), table = document.getElementById("strings"), out = [];
		for (let i = 0; i < %d; i++) {
			const drawn = new Promise((done) => {
				const o = new MutationObserver(() => { o.disconnect(); requestAnimationFrame(() => setTimeout(done)); });
				o.observe(table, { childList: true });
			});
			const begun = performance.now();
			slider.value = (i %% 20) / 10;
			slider.dispatchEvent(new Event("input", { bubbles: true }));
			await drawn;
			out.push(performance.now() - begun);
		}
		return out;
	})()`, moves), chromedp.EvalAwaitPromise))
	var out []time.Duration
	for _, x := range ms {
		out = append(out, time.Duration(x*float64(time.Millisecond)))
	}
	return out, err
}

// memory is what the page holds once its garbage was collected.
func (w *window) memory() (bytes float64, nodes int64, err error) {
	if _, err := chromedp.Call(w.ctx, heapprofiler.CollectGarbage, cdp.Empty{}); err != nil {
		return 0, 0, err
	}
	heap, err := chromedp.Call(w.ctx, runtime.GetHeapUsage, cdp.Empty{})
	if err != nil {
		return 0, 0, err
	}
	counted, err := chromedp.Call(w.ctx, memory.GetDOMCounters, cdp.Empty{})
	return heap.UsedSize + heap.EmbedderHeapUsedSize, counted.Nodes, err
}
