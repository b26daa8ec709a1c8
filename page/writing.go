package page

import (
	"fmt"
	"maps"
	"net/http"
	"net/url"
	"strings"

	"evenpole/profiles"
)

// writeView is what the pages to write an order show: fields, or one text.
type writeView struct {
	Fields  *fieldsView // nil where it is written as one text
	Text    string
	Name    string // of the order that it begins as; "" is none
	Written written
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
	if q.Has("tried") {
		if err := s.asTried(&in, q); err != nil {
			return err
		}
	}
	return s.showFields(w, http.StatusOK, in, v)
}

// asTried fills in what was tried on an order: lengths, strings, and the poles as another
// stagger to compare.
func (s *Server) asTried(in *profiles.Filled, q url.Values) error {
	o, t, err := s.trial(q)
	if err != nil {
		return err
	}
	u, tried := o.Units, t.On(o)
	typed := func(mm ...float64) string { return lengths(u, mm) + " " + u.Name() }
	if tried.MeasuredHeights != nil {
		in.Typed["pickup.string_heights"] = typed(tried.MeasuredHeights...)
	} else {
		in.Typed["instrument.fretboard_radius"] = typed(tried.FretboardRadius)
		in.Typed["pickup.string_height_first"], in.Typed["pickup.string_height_last"] = typed(tried.StringHeightFirst), typed(tried.StringHeightLast)
	}
	if t.Set != "" {
		maps.DeleteFunc(in.Typed, func(path, _ string) bool { return strings.HasPrefix(path, "string.") })
		in.Typed["set"] = t.Set
	}
	row := fmt.Sprintf("compare.%d.", len(o.Compare))
	in.Typed[row+"name"], in.Typed[row+"heights"] = "as tried", typed(t.Heights...)
	return nil
}

// beginning is the text that an order begins as: the named one's, or the usual, in the shop's
// units.
func (s *Server) beginning(name string) (string, error) {
	if name != "" {
		return s.shop.OrderText(name)
	}
	text, err := files.ReadFile("look/order.toml")
	if err != nil {
		return "", err
	}
	u, err := s.shop.Units()
	if err != nil {
		return "", err
	}
	return profiles.Sample{Text: string(text)}.In(u), nil
}

func (s *Server) showWriting(w http.ResponseWriter, status int, v *writeView) error {
	return render(w, status, "write.html", &view{Title: "Write an order", Place: "/orders", Shop: s.name, Script: "write.js", Form: v})
}

// showFields shows the form with what was typed.
func (s *Server) showFields(w http.ResponseWriter, status int, in profiles.Filled, v *writeView) error {
	fields, err := s.fieldsOf(profiles.OrderFormat, in, v.Written, "")
	if err != nil {
		return err
	}
	v.Fields = fields
	return s.showWriting(w, status, v)
}

// orderTyped is the text of an order as a form sends it, and the paths of its lines where
// it was typed in fields.
func orderTyped(form url.Values) (text string, paths []string) {
	if form.Has("text") {
		return normalised(form.Get("text")), nil
	}
	return profiles.OrderFormat.File(filled(form, ""))
}

// checkOrder says what is wrong with an order as it is written, as the commands say it.
func (s *Server) checkOrder(w http.ResponseWriter, r *http.Request) error {
	if err := r.ParseForm(); err != nil {
		return err
	}
	text, paths := orderTyped(r.PostForm)
	o, err := s.shop.ParseOrder("order", text)
	if err != nil {
		return sendJSON(w, mistaken(err, paths, ""))
	}
	return sendJSON(w, written{Fine: fmt.Sprintf("order %s: %s, %s poles", o.ID, profiles.Count(len(o.Strings), "string"), o.Poles)})
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
	v := &writeView{Text: r.PostForm.Get("text"), Written: mistaken(err, paths, "")}
	if paths == nil {
		return s.showWriting(w, statusOf(err), v)
	}
	return s.showFields(w, statusOf(err), filled(r.PostForm, ""), v)
}
