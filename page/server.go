package page

import (
	"io"
	"net/http"
	"time"

	"evenpole/fit/drift"
	"evenpole/fit/repeat"
	"evenpole/shop"
)

// Options say how a shop's pages are served.
type Options struct {
	Loopback bool   // the address reaches this machine alone
	Code     string // access code that is asked of every browser; "" asks none
	Version  string // of the program
	Now      func() time.Time

	Open func(port string) (io.ReadWriteCloser, error) // how to reach a jig; nil: serial ports
	Wait time.Duration                                 // between two looks for a jig that was lost; 0: one second
}

// Server serves the pages of a shop.
type Server struct {
	shop     *shop.Shop
	name     string
	version  string
	guard    *guard
	work     places // taken by what takes long to work out
	mux      *http.ServeMux
	gallery  kept[gallery]
	list     kept[[]shop.Measured]
	study    kept[*repeat.Study]
	shipped  kept[*drift.Chart]
	bench    *bench
	recorded recorded
	hearing  places // taken while a recording is heard
	fitter   fitter
	streams  places
	leaving  chan struct{} // closed when the server ends
}
