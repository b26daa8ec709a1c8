package page

import (
	"context"
	"fmt"
	"net/http"

	"evenpole/fit"
	"evenpole/shop"
)

// startFit fits the shop's record, as 'fit' does: the model is kept, and becomes current
// where it predicts at least as well.
func (s *Server) startFit(w http.ResponseWriter, r *http.Request) error {
	err := s.fitter.start(func() (string, error) {
		f := shop.Fitting{Files: []string{s.shop.ReadingsFile()}, Program: s.version, KeepCells: true, Progress: s.fitProgress()}
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
	if file == current {
		return &refused{stem(file) + " is the current model: another one can be compared with it"}
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
	g := &grid{ID: "comparison", Caption: "Errors of prediction, rms", Heads: append(textHeads("model", "kind"), figureHeads("balance dB", "level dB")...)}
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
