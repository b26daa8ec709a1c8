package page

import (
	"cmp"
	"context"
	"errors"
	"io"
	"io/fs"
	"net"
	"net/http"
	"path"
	"time"

	"evenpole/jig"
	"evenpole/shop"
)

// New returns the pages of a shop. The error is that of its folder.
func New(of *shop.Shop, o Options) (*Server, error) {
	if err := of.Require(); err != nil {
		return nil, err
	}
	name, err := of.Name()
	if err != nil {
		return nil, err
	}
	if o.Now == nil {
		o.Now = time.Now
	}
	if o.Open == nil {
		o.Open = func(port string) (io.ReadWriteCloser, error) { return jig.Open(port, jig.DefaultBaud) }
	}
	s := &Server{shop: of, name: name, version: o.Version, guard: newGuard(o.Loopback, o.Code, o.Now), work: make(places, mostWork), mux: http.NewServeMux(),
		streams: make(places, mostStreams), hearing: make(places, 1), leaving: make(chan struct{}), bench: newBench(of, o.Now, o.Open, cmp.Or(o.Wait, time.Second))}
	s.route()
	return s, nil
}

// route says which address leads where. What changes something has the method POST.
func (s *Server) route() {
	s.mux.HandleFunc("GET /look/{file}", s.asset)
	s.mux.HandleFunc("GET /enter", func(w http.ResponseWriter, r *http.Request) { s.askCode(w, http.StatusOK, "") })
	s.mux.HandleFunc("POST /enter", s.takeCode)
	for address, show := range map[string]func(http.ResponseWriter, *http.Request) error{
		"/{$}": s.overview, "/find": s.find,
		"/orders": s.orders, "/order": s.order, "/order/picture": s.orderPicture, "/order/gauge": s.gauge,
		"/order/try": s.tryOrder, "/order/try/now": s.tryNow, "/order/write": s.writeOrder,
		"/session": s.session, "/pickups": s.pickups, "/pickup": s.pickup, "/pickup/causes": s.pickupCauses, "/check": s.check,
		"/certificate": s.certificate, "/certificate/page": s.certificatePage,
		"/batches": s.batches, "/batch": s.batch, "/batch/picture": s.batchPicture,
		"/models": s.models, "/model": s.model, "/model/picture": s.modelPicture, "/model/compare": s.compare, "/next": s.next,
		"/jig": s.jig, "/drift": s.drift, "/drift/picture": s.driftPicture,
	} {
		s.page("GET "+address, show)
	}
	s.page("POST /models/fit", s.startFit)
	s.page("POST /models/use", s.useModel)
	s.page("POST /check/issue", s.issue)
	s.page("POST /order/check", s.checkOrder)
	s.page("POST /order/save", s.saveOrder)
	s.page("GET /capture", s.capture)
	s.page("GET /capture/events", s.events)
	s.page("POST /capture/start", s.start)
	s.page("POST /capture/check", s.checkMount)
	s.page("POST /capture/pause", s.pause)
	s.page("POST /capture/go-on", s.goOn)
	s.page("POST /capture/take-back", s.takeBack)
	s.page("POST /capture/take-over", s.takeOver)
	s.page("GET "+recordingAddress, s.recording)
	s.page("POST "+recordingAddress, s.hear)
	s.page("GET "+recordingAddress+"/picture", s.recordingPicture)
	s.page("POST "+recordingAddress+"/file", s.fileRecording)
	s.mux.HandleFunc("GET /", func(w http.ResponseWriter, r *http.Request) {
		s.trouble(w, http.StatusNotFound, "there is no such page")
	})
}

// page makes a handler of what shows a page or says why it cannot.
func (s *Server) page(pattern string, do func(http.ResponseWriter, *http.Request) error) {
	s.mux.HandleFunc(pattern, func(w http.ResponseWriter, r *http.Request) {
		if err := do(w, r); err != nil {
			s.trouble(w, statusOf(err), err.Error())
		}
	})
}

// ServeHTTP answers one request, or says why not.
func (s *Server) ServeHTTP(w http.ResponseWriter, r *http.Request) {
	setHeaders(w.Header())
	if no := s.guard.refuses(r); no != nil {
		http.Error(w, no.words, no.status)
		return
	}
	open := r.URL.Path == "/enter" || path.Dir(r.URL.Path) == "/look"
	if !open && !s.guard.admits(r) {
		s.askCode(w, http.StatusUnauthorized, "")
		return
	}
	largest := int64(largestBody)
	if r.URL.Path == recordingAddress {
		largest = largestSound
	}
	r.Body = http.MaxBytesReader(w, r.Body, largest)
	s.mux.ServeHTTP(w, r)
}

// asset sends a style sheet, a script or the icon: files of the program.
func (s *Server) asset(w http.ResponseWriter, r *http.Request) {
	file := r.PathValue("file")
	if ext := path.Ext(file); ext != ".css" && ext != ".js" && ext != ".svg" || !fs.ValidPath(file) {
		s.trouble(w, http.StatusNotFound, "there is no such page")
		return
	}
	http.ServeFileFS(w, r, files, path.Join("look", file))
}

// askCode shows the form for the access code. The shop's name is not told there.
func (s *Server) askCode(w http.ResponseWriter, status int, trouble string) {
	_ = render(w, status, "enter.html", &view{Title: "Access code", Form: trouble}) // who asked is gone, if it cannot be sent
}

func (s *Server) takeCode(w http.ResponseWriter, r *http.Request) {
	if err := r.ParseForm(); err != nil {
		s.trouble(w, statusOf(err), "the form could not be read")
		return
	}
	if no := s.guard.enter(w, r.PostForm.Get("code")); no != nil {
		s.askCode(w, no.status, no.words)
		return
	}
	http.Redirect(w, r, "/", http.StatusSeeOther)
}

// Serve serves until ctx ends; a capture that runs finishes its take. The error is that of
// the listener.
func (s *Server) Serve(ctx context.Context, l net.Listener) error {
	server := &http.Server{
		Handler: s, ReadHeaderTimeout: headerTime, ReadTimeout: bodyTime, WriteTimeout: answerTime, IdleTimeout: idleTime, MaxHeaderBytes: longestHeader,
		BaseContext: func(net.Listener) context.Context { return ctx },
	}
	ended := make(chan struct{})
	stop := context.AfterFunc(ctx, func() {
		defer close(ended)
		close(s.leaving)
		gently, cancel := context.WithTimeout(context.WithoutCancel(ctx), shutdownTime)
		defer cancel()
		if server.Shutdown(gently) != nil {
			_ = server.Close()
		}
	})
	err := server.Serve(l)
	if !stop() {
		<-ended
	}
	s.bench.finish()
	if errors.Is(err, http.ErrServerClosed) {
		return nil
	}
	return err
}
