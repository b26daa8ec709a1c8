package page

import (
	"errors"
	"fmt"
	"net/http"
	"net/url"
	"strings"

	"evenpole/profiles"
)

// writeView is what the pages to write an order show: fields, or one text.
type writeView struct {
	Units   profiles.Units
	Groups  []groupView // nil where it is written as one text
	Text    string
	Name    string // of the order that it begins as; "" is none
	Written written
}

// groupView is a table of an order's file.
type groupView struct {
	Heading, Says string
	Open          bool // it is usual, or something is filled in
	Folds         bool
	Rows          []rowView
}

type rowView struct {
	Legend string // "" without
	Fields []fieldView
}

type fieldView struct {
	Path, Label, Says, Value string
	Choices                  []string
	Needed, Wide             bool
	Trouble                  string
}

// written is what there is to say of an order as it is written, in the commands' words.
type written struct {
	Trouble string `json:"trouble"`
	At      string `json:"at"` // path of the field that it is about; "" of none
	Fine    string `json:"fine"`
}

// writeOrder shows the form for a new order, which begins as another one, if it names
// one, as fields or as a text.
func (s *Server) writeOrder(w http.ResponseWriter, r *http.Request) error {
	q := r.URL.Query()
	name := q.Get("name")
	text, err := s.beginning(name)
	if err != nil {
		return err
	}
	v := &writeView{Name: name, Text: text}
	if q.Get("as") == "text" {
		return s.showWriting(w, http.StatusOK, v)
	}
	in, whole, err := profiles.OrderFormat.Fill("order", []byte(text))
	if err != nil {
		v.Written.Trouble = err.Error()
		return s.showWriting(w, http.StatusOK, v)
	}
	if !whole {
		v.Written.Fine = "This order says more than the fields hold, so it is written as a text."
		return s.showWriting(w, http.StatusOK, v)
	}
	delete(in.Typed, "id") // the other order has it
	return s.showFields(w, http.StatusOK, in, v)
}

// beginning is the text that an order begins as: the named one's, or the usual.
func (s *Server) beginning(name string) (string, error) {
	if name != "" {
		return s.shop.OrderText(name)
	}
	text, err := files.ReadFile("look/order.toml")
	return string(text), err
}

func (s *Server) showWriting(w http.ResponseWriter, status int, v *writeView) error {
	return render(w, status, "write.html", &view{Title: "Write an order", Place: "/orders", Shop: s.name, Script: "write.js", Form: v})
}

// showFields shows the form with what was typed.
func (s *Server) showFields(w http.ResponseWriter, status int, in profiles.Filled, v *writeView) error {
	lib, err := s.shop.Library()
	if err != nil {
		return err
	}
	var sets []string
	for _, set := range lib.Sets() {
		sets = append(sets, set.Name)
	}
	v.Units = in.Units
	for _, g := range profiles.OrderFormat.Form(in) {
		v.Groups = append(v.Groups, groupOf(g, in, sets, v.Written))
	}
	return s.showWriting(w, status, v)
}

// groupOf shows a table of an order's file.
func groupOf(g profiles.Group, in profiles.Filled, sets []string, said written) groupView {
	out := groupView{Heading: labelled(strings.ReplaceAll(strings.Trim(g.Head, "[]"), ".", " ")), Says: g.Says, Open: g.Usual, Folds: !g.Usual}
	if g.Head == "" {
		out.Heading = "The order"
	}
	for i, row := range g.Rows {
		var shown rowView
		if g.Repeat {
			shown.Legend = fmt.Sprintf("%s %d", out.Heading, i+1)
		}
		for _, x := range row {
			f := fieldView{Path: x.Path, Label: labelled(strings.TrimSuffix(x.Name, "_mm")), Says: x.Says, Value: in.Typed[x.Path], Choices: x.Choices, Needed: x.Required && !g.Repeat, Wide: x.List}
			if x.Choices == nil && x.Takes != "text" {
				f.Says += ": " + x.Takes
			}
			if x.Name == "set" {
				f.Choices = sets
			}
			if f.Path == said.At {
				f.Trouble = said.Trouble
			}
			out.Open = out.Open || f.Value != "" || f.Trouble != ""
			shown.Fields = append(shown.Fields, f)
		}
		out.Rows = append(out.Rows, shown)
	}
	return out
}

// filled reads an order's fields as they were typed. Names that are no paths of fields are
// of no account: no field has them.
func filled(form url.Values) profiles.Filled {
	in := profiles.Filled{Units: profiles.Millimetres, Typed: map[string]string{}}
	if form.Get("units") == string(profiles.Inches) {
		in.Units = profiles.Inches
	}
	for path, values := range form {
		in.Typed[path] = values[0]
	}
	return in
}

// orderTyped is the text of an order as a form sends it, and the paths of its lines where
// it was typed in fields.
func orderTyped(form url.Values) (text string, paths []string) {
	if form.Has("text") {
		return normalised(form.Get("text")), nil
	}
	return profiles.OrderFormat.File(filled(form))
}

// mistaken says what is wrong with an order, and at which field.
func mistaken(err error, paths []string) written {
	var mistake *profiles.Error
	if paths == nil || !errors.As(err, &mistake) {
		return written{Trouble: err.Error()}
	}
	return written{Trouble: mistake.Key + ": " + mistake.Msg, At: profiles.OrderFormat.At(mistake, paths)}
}

// checkOrder says what is wrong with an order as it is written, as the commands say it.
func (s *Server) checkOrder(w http.ResponseWriter, r *http.Request) error {
	if err := r.ParseForm(); err != nil {
		return err
	}
	text, paths := orderTyped(r.PostForm)
	o, err := s.shop.ParseOrder("order", text)
	if err != nil {
		return sendJSON(w, mistaken(err, paths))
	}
	return sendJSON(w, written{Fine: fmt.Sprintf("order %s: %d strings, %s poles", o.ID, len(o.Strings), o.Poles)})
}

// saveOrder keeps an order as a file of the shop. One that is there stays.
func (s *Server) saveOrder(w http.ResponseWriter, r *http.Request) error {
	if err := r.ParseForm(); err != nil {
		return err
	}
	text, paths := orderTyped(r.PostForm)
	name, err := s.shop.SaveOrder(text)
	if err == nil {
		http.Redirect(w, r, to("/order", "name", name), http.StatusSeeOther)
		return nil
	}
	v := &writeView{Text: r.PostForm.Get("text"), Written: mistaken(err, paths)}
	if paths == nil {
		return s.showWriting(w, statusOf(err), v)
	}
	return s.showFields(w, statusOf(err), filled(r.PostForm), v)
}
