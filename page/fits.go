package page

import (
	"context"
	"fmt"
	"net/http"
	"sync"

	"evenpole/fit"
	"evenpole/shop"
)

// fitter runs one fit at a time, for as long as it takes, whatever pages do.
type fitter struct {
	mu      sync.Mutex
	running bool
	words   string // how far it is, or what came of it
	done    chan struct{}
}

// say sets what is told of the fit.
func (f *fitter) say(format string, args ...any) {
	f.mu.Lock()
	defer f.mu.Unlock()
	f.words = fmt.Sprintf(format, args...)
}

// told is what is told of the fit.
func (f *fitter) told() (running bool, words string) {
	f.mu.Lock()
	defer f.mu.Unlock()
	return f.running, f.words
}

// start runs a fit in the background.
func (f *fitter) start(fit func() (string, error)) error {
	f.mu.Lock()
	defer f.mu.Unlock()
	if f.running {
		return &refused{"a fit is running already"}
	}
	f.running, f.words, f.done = true, "reading the record", make(chan struct{})
	go func() {
		words, err := fit()
		if err != nil {
			words = err.Error()
		}
		f.mu.Lock()
		defer f.mu.Unlock()
		f.running, f.words = false, words
		close(f.done)
	}()
	return nil
}

// startFit fits the shop's record, as 'fit' does: the model is kept, and becomes current
// where it predicts at least as well.
func (s *Server) startFit(w http.ResponseWriter, r *http.Request) error {
	err := s.fitter.start(func() (string, error) {
		f := shop.Fitting{Files: []string{s.shop.ReadingsFile()}, Program: s.version, Progress: s.fitProgress()}
		result, data, err := f.Best(context.Background()) // no page ends it
		if err != nil {
			return "", err
		}
		k, err := s.shop.Keep(result, data, false)
		if err != nil {
			return "", err
		}
		return keptWords(k), nil
	})
	if err != nil {
		return err
	}
	http.Redirect(w, r, "/models", http.StatusSeeOther)
	return nil
}

func (s *Server) fitProgress() fit.Progress {
	return func(kind string, done, of int) { s.fitter.say("%s: leaving out %d of %d", kind, done, of) }
}

// keptWords says what became of a fit.
func keptWords(k shop.Kept) string {
	words := "a new model was kept"
	if !k.New {
		words = "the shop has this very model already"
	}
	if k.Current {
		return words + "; it is the current one: " + k.Why
	}
	return words + "; it does not become the current one: " + k.Why
}

// useModel makes a model the current one.
func (s *Server) useModel(w http.ResponseWriter, r *http.Request) error {
	if err := r.ParseForm(); err != nil {
		return err
	}
	name, err := s.shop.FindModel(r.PostForm.Get("name"))
	if err != nil {
		return err
	}
	if _, err := s.shop.UseModel(name, "accepted on the page"); err != nil {
		return err
	}
	http.Redirect(w, r, "/models", http.StatusSeeOther)
	return nil
}

// compare shows how a model and the current one predict the same pickups, as 'model
// compare' does.
func (s *Server) compare(w http.ResponseWriter, r *http.Request) error {
	file, m, err := s.modelOf(r)
	if err != nil {
		return err
	}
	if err := s.work.take(r.Context()); err != nil {
		return err
	}
	defer s.work.free()
	current, err := s.shop.CurrentModel()
	if err != nil {
		return err
	}
	now, err := s.shop.ReadModel(current)
	if err != nil {
		return err
	}
	data, err := s.shop.Cells(r.Context())
	if err != nil {
		return err
	}
	c := fit.Compare(now, m, data)
	g := &grid{ID: "comparison", Caption: "Errors of prediction, rms", Heads: append(words("model", "kind"), figures("balance dB", "level dB")...)}
	for i, x := range []struct {
		file string
		m    *fit.Result
	}{{current, now}, {file, m}} {
		g.add(to("/model", "name", stem(x.file)), stem(x.file), x.m.Kind, figure(c.Balance[i]), figure(c.Level[i]))
	}
	return s.show(w, r, "page.html", &view{Title: "Model " + stem(file) + " beside the current one", Place: "/models", Sections: []section{
		{Facts: []fact{{"compared on", c.Basis}, {"pickups", joined(c.Pickups)}, {"cells", fmt.Sprint(c.Cells)}}, Table: g, Act: acceptance(file, current)},
	}})
}

// acceptance is the button that makes a model the current one; nil where it is.
func acceptance(file, current string) *act {
	if file == current {
		return nil
	}
	return &act{"/models/use", "name", stem(file), "Make " + stem(file) + " the current model"}
}
