package page

import (
	"errors"
	"fmt"
	"net/http"
	"slices"
	"strconv"
	"strings"

	"evenpole/fit"
	"evenpole/profiles"
	"evenpole/report"
	"evenpole/shop"
)

// models lists the models with what they stand on and how well they predict.
func (s *Server) models(w http.ResponseWriter, r *http.Request) error {
	g, err := s.modelGrid(0)
	if err != nil {
		return err
	}
	return s.show(w, r, "page.html", &view{Title: "Models", Place: "/models", Script: s.reloading(), Sections: []section{{Table: g}, s.fitting()}})
}

// modelGrid lists models, the newest first; most is how many at most, 0 for all.
func (s *Server) modelGrid(most int) (*grid, error) {
	names, current, err := s.modelNames()
	if err != nil {
		return nil, err
	}
	g := &grid{ID: "models", Caption: "Models; errors are rms, of pickups and string sets left out of the fit", Heads: append(textHeads("model", "current", "fitted", "kind"),
		append(figureHeads("pickups", "cells", "balance dB", "level dB", "sets dB"), textHeads("remark")...)...)}
	if most > 0 {
		names = names[max(0, len(names)-most):]
	}
	for _, name := range slices.Backward(names) {
		m, err := s.shop.ReadModel(name)
		if err != nil {
			g.add("", stem(name), yes(name == current), unknown, unknown, unknown, unknown, unknown, unknown, unknown, err.Error())
			continue
		}
		fitted, why := unknown, ""
		if h := m.History; h != nil {
			fitted, why = day(h.Time), h.Why
		}
		g.add(to("/model", "name", stem(name)), stem(name), yes(name == current), fitted, m.Kind, strconv.Itoa(m.Pickups), strconv.Itoa(m.Cells),
			figure(m.CVBalance), figure(m.CVLevel), figure(m.CVSet), orDash(why))
	}
	return g, nil
}

// fitting shows the fit that runs or ran last, and starts one.
func (s *Server) fitting() section {
	running, words := s.fitter.told()
	out := section{Heading: "Fit the record", Lines: nonEmpty(words)}
	if running {
		out.State = "fitting"
		return out
	}
	out.Act = &act{Address: "/models/fit", Text: "Fit now"}
	return out
}

// reloading is the script that loads the page again while a fit runs.
func (s *Server) reloading() string {
	if running, _ := s.fitter.told(); running {
		return "reload.js"
	}
	return ""
}

// stem is what people call a model.
func stem(file string) string { return strings.TrimSuffix(file, ".json") }

// modelNames are the files of the models, and of the current one; "" without one.
func (s *Server) modelNames() (names []string, current string, err error) {
	if names, err = s.shop.Models(); err != nil {
		return nil, "", err
	}
	current, err = s.shop.CurrentModel()
	if errors.Is(err, shop.ErrNoModel) {
		return names, "", nil
	}
	return names, current, err
}

// modelOf is the model that an address names.
func (s *Server) modelOf(r *http.Request) (file string, m *fit.Result, err error) {
	name := r.URL.Query().Get("name")
	file, err = s.shop.FindModel(name)
	if errors.Is(err, shop.ErrUnknownModel) {
		return "", nil, &missing{"the shop has no model %.60q", name}
	}
	if err != nil {
		return "", nil, err
	}
	m, err = s.shop.ReadModel(file)
	return file, m, err
}

// model shows a model.
func (s *Server) model(w http.ResponseWriter, r *http.Request) error {
	file, m, err := s.modelOf(r)
	if err != nil {
		return err
	}
	head := section{Facts: []fact{
		{"kind", m.Kind}, {"takes used", strconv.Itoa(m.Used)}, {"cells", strconv.Itoa(m.Cells)}, {"pickups", strconv.Itoa(m.Pickups)},
		{"left in a cell's level", fmt.Sprintf("%.2f dB", m.ResidualSD)}, {"balance of pickups left out", figure(m.CVBalance) + " dB"},
		{"balance of string sets left out", figure(m.CVSet) + " dB"}, {"fitted by", "evenpole " + m.Program}, {"data", fmt.Sprintf("%.12s", m.Fingerprint)},
	}, Lines: m.Warnings}
	if h := m.History; h != nil {
		head.Facts = append(head.Facts, fact{"fitted", minute(h.Time)})
		head.Lines = append(nonEmpty(h.Why), head.Lines...)
	}
	_, current, err := s.modelNames()
	if err != nil {
		return err
	}
	u, err := s.shop.Units()
	if err != nil {
		return err
	}
	head.Lines = u.Texts(head.Lines)
	if head.Act = acceptance(file, current); head.Act != nil && current != "" {
		head.Links = []link{{to("/model/compare", "name", stem(file)), "Compare with the current model"}}
	}
	head.Links = append(head.Links, link{"/next", "What to measure next"})
	return s.show(w, r, "page.html", &view{Title: "Model " + stem(file), Place: "/models", Sections: []section{
		head, s.modelPictures(r, file), {Heading: "Mistakes that the record seems to hold", Table: suspectGrid(m, u)},
		{Heading: "Left out and predicted from the others", Table: foldGrid(m)}, {Heading: "Estimates", Table: parameterGrid(m, u)},
	}})
}

func suspectGrid(m *fit.Result, u profiles.Units) *grid {
	g := &grid{ID: "suspects", Caption: "Kept as they are, but what they touch counts little", Heads: textHeads("pickup", "session", "kind", "what it looks like", "what to do where it is so")}
	for _, s := range m.Suspects {
		g.add(to("/pickup", "id", s.Pickup), s.Pickup, orDash(s.Session), s.Kind, u.Text(s.Cause), orDash(u.Text(s.Remedy())))
	}
	return g
}

func foldGrid(m *fit.Result) *grid {
	g := &grid{ID: "folds", Caption: "Errors of prediction, rms", Heads: append(textHeads("left out", "is"), figureHeads("cells", "balance dB", "level dB")...)}
	for _, f := range m.CVPickups {
		g.add(to("/pickup", "id", f.Name), f.Name, "pickup", strconv.Itoa(f.Cells), figure(f.Balance), figure(f.Level))
	}
	for _, f := range m.CVSets {
		g.add("", f.Name, "string set", strconv.Itoa(f.Cells), figure(f.Balance), figure(f.Level))
	}
	return g
}

func parameterGrid(m *fit.Result, u profiles.Units) *grid {
	g := &grid{ID: "parameters", Caption: "Parameters", Heads: append(textHeads("parameter"), append(figureHeads("value", "standard error"), append(textHeads("unit"), figureHeads("from data")...)...)...)}
	for _, p := range m.Parameters {
		p = p.In(u)
		g.add("", p.Name, fmt.Sprintf("%.3f", p.Value), fmt.Sprintf("%.3f", p.SE), orDash(p.Unit), percent(p.FromData))
	}
	return g
}

// plots makes the pictures of a model, as 'pictures' does.
func (s *Server) plots(r *http.Request, file string) (gallery, error) {
	return s.gallery.get(r.Context(), s.work, file+" "+s.shop.Stamp(), func() (gallery, error) {
		d, fitted, err := s.shop.Diagnose(r.Context(), file)
		if err != nil {
			return gallery{}, err
		}
		u, err := s.shop.Units()
		if err != nil {
			return gallery{}, err
		}
		return gallery{report.Plots(d, u), fitted, d.Notes}, nil
	})
}

// modelPictures shows a model over the record.
func (s *Server) modelPictures(r *http.Request, file string) section {
	out := section{Heading: "The model over the record"}
	g, err := s.plots(r, file)
	if err != nil {
		out.Lines = []string{err.Error()}
		return out
	}
	if !g.fitted {
		out.Lines = append(out.Lines, "The record is not the one that the model was fitted to.")
	}
	out.Lines = append(out.Lines, g.notes...)
	for _, p := range g.plots {
		out.Pictures = append(out.Pictures, picture{to("/model/picture", "name", stem(file)) + "&picture=" + p.Name, p.Title})
	}
	return out
}

// modelPicture draws one picture of a model.
func (s *Server) modelPicture(w http.ResponseWriter, r *http.Request) error {
	file, _, err := s.modelOf(r)
	if err != nil {
		return err
	}
	g, err := s.plots(r, file)
	if err != nil {
		return err
	}
	name := r.URL.Query().Get("picture")
	for _, p := range g.plots {
		if p.Name == name {
			return sendSVG(w, p.Write)
		}
	}
	return &missing{"the model has no picture %.60q", name}
}

// acceptance is the button that makes a model the current one; nil where it is.
func acceptance(file, current string) *act {
	if file == current {
		return nil
	}
	return &act{Address: "/models/use", Given: []hidden{{"name", stem(file)}}, Text: "Make " + stem(file) + " the current model"}
}
