package page

import (
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"net/http"
	"net/url"
	"strconv"

	"evenpole/fit/explain"
	"evenpole/fit/plan"
	"evenpole/profiles"
	"evenpole/shop"
)

// slider is one length to try on an order, mm.
type slider struct {
	Name, Label     string
	Min, Max, Value string
}

// tryView is what the page to try things on an order shows.
type tryView struct {
	Name    string // of the order
	Sliders []slider
	Sets    []string // of strings
	Set     string
	Tried   tried
}

// tried is what is expected of a trial, in text, and lengths of bars.
type tried struct {
	Trouble string        `json:"trouble"` // why it cannot be
	Words   []string      `json:"words"`
	Strings []triedString `json:"strings"`
}

type triedString struct {
	Number  int     `json:"number"`
	Note    string  `json:"note"`
	Pole    string  `json:"pole"`
	Height  string  `json:"height"`
	Balance string  `json:"balance"`
	Bar     float64 `json:"bar"` // -1 to 1 of the scale
	Most    string  `json:"most"`
}

// tryOrder shows sliders for an order, and the balance that follows them. They begin at
// the plan.
func (s *Server) tryOrder(w http.ResponseWriter, r *http.Request) error {
	name, o, p, x, err := s.planned(r)
	if err != nil {
		return err
	}
	v := &tryView{Name: name, Set: o.Set, Tried: triedOf(x, nil)}
	lib, err := s.shop.Library()
	if err != nil {
		return err
	}
	for _, set := range lib.Sets() {
		if len(set.Strings) == len(o.Strings) {
			v.Sets = append(v.Sets, set.Name)
		}
	}
	v.Sliders = slidersOf(o, p)
	return render(w, http.StatusOK, "try.html", &view{Title: "Try on order " + o.ID, Place: "/orders", Shop: s.name, Script: "try.js", Form: v})
}

// slidersOf are the lengths of an order that can be tried.
func slidersOf(o *profiles.Order, p *plan.Plan) []slider {
	var out []slider
	if o.FretboardRadius > 0 {
		out = append(out, slider{"radius", "radius, mm", "100", "600", hundredths(o.FretboardRadius)})
	}
	first, last := o.StringHeightFirst, o.StringHeightLast
	if p.Move != nil {
		first, last = p.Move.StringHeightFirst, p.Move.StringHeightLast
	}
	out = append(out, slider{"first", "string 1 over the bobbin plane, mm", "1", "8", hundredths(first)},
		slider{"last", "last string over it, mm", "1", "8", hundredths(last)})
	if o.FixedHeights != nil { // the pickup moves, its poles do not
		return out
	}
	for i, h := range p.Heights {
		out = append(out, slider{"pole" + strconv.Itoa(i+1), fmt.Sprintf("pole %d, mm", i+1), hundredths(o.PoleHeightMin), hundredths(o.PoleHeightMax), hundredths(h)})
	}
	return out
}

// tryNow answers a trial.
func (s *Server) tryNow(w http.ResponseWriter, r *http.Request) error {
	q := r.URL.Query()
	o, err := s.shop.Order(q.Get("name"))
	if err != nil {
		return err
	}
	t, err := trialOf(q, o)
	if err != nil {
		return err
	}
	if err := s.work.take(r.Context()); err != nil {
		return err
	}
	defer s.work.free()
	model, err := s.shop.Predictor("")
	if err != nil {
		return err
	}
	x, warnings, err := s.shop.Try(o, model, t)
	var input *shop.InputError
	if err != nil && !errors.As(err, &input) {
		return err
	}
	out := tried{Trouble: ""}
	if err != nil {
		out.Trouble = err.Error()
	} else {
		out = triedOf(x, warnings)
	}
	return sendJSON(w, out)
}

func sendJSON(w http.ResponseWriter, v any) error {
	w.Header().Set("Content-Type", "application/json")
	return json.NewEncoder(w).Encode(v)
}

// trialOf reads what is tried on an order from an address.
func trialOf(q url.Values, o *profiles.Order) (shop.Trial, error) {
	var trouble error
	number := func(key string, otherwise float64) float64 {
		text := q.Get(key)
		if text == "" {
			return otherwise
		}
		v, err := strconv.ParseFloat(text, 64)
		if err != nil {
			trouble = &refused{fmt.Sprintf("%s: expected a length in mm, got %.40q", key, text)}
		}
		return v
	}
	t := shop.Trial{Radius: number("radius", o.FretboardRadius), First: number("first", o.StringHeightFirst), Last: number("last", o.StringHeightLast), Set: q.Get("set")}
	for i := range o.Strings {
		usual := o.PoleHeightMin
		if o.FixedHeights != nil {
			usual = o.FixedHeights[i]
		}
		t.Heights = append(t.Heights, number("pole"+strconv.Itoa(i+1), usual))
	}
	return t, trouble
}

// triedOf shows what is expected of a trial.
func triedOf(x *explain.Explanation, warnings []string) tried {
	out := tried{Words: warnings}
	causes, _ := x.Parted()
	for i := range x.Strings {
		e := &x.Strings[i]
		s := triedString{Number: e.String, Note: e.Note, Pole: hundredths(e.PoleHeight), Height: hundredths(e.StringHeight), Balance: signed(e.Balance), Bar: min(1, max(-1, e.Balance/barScale))}
		for _, c := range causes {
			if v := signed(e.Parts[c.Name]); v != signed(0) {
				if s.Most != "" {
					s.Most += "; "
				}
				s.Most += c.Words + " " + v
			}
		}
		out.Strings = append(out.Strings, s)
	}
	return out
}

// writeView is what the page to write an order shows.
type writeView struct{ Text, Trouble, Fine string }

// writeOrder shows the form for a new order, which begins as another one, if it names
// one.
func (s *Server) writeOrder(w http.ResponseWriter, r *http.Request) error {
	text, err := files.ReadFile("look/order.toml")
	if err != nil {
		return err
	}
	begin := string(text)
	if name := r.URL.Query().Get("name"); name != "" {
		if begin, err = s.shop.OrderText(name); err != nil {
			return err
		}
	}
	return s.showWriting(w, http.StatusOK, &writeView{Text: begin})
}

func (s *Server) showWriting(w http.ResponseWriter, status int, v *writeView) error {
	return render(w, status, "write.html", &view{Title: "Write an order", Place: "/orders", Shop: s.name, Script: "write.js", Form: v})
}

// checkOrder says what is wrong with an order as it is written, as the commands say it.
func (s *Server) checkOrder(w http.ResponseWriter, r *http.Request) error {
	text, err := io.ReadAll(r.Body)
	if err != nil {
		return err
	}
	o, err := s.shop.ParseOrder("order", string(text))
	if err != nil {
		return sendJSON(w, writeView{Trouble: err.Error()})
	}
	return sendJSON(w, writeView{Fine: fmt.Sprintf("order %s: %d strings, %s poles", o.ID, len(o.Strings), o.Poles)})
}

// saveOrder keeps an order as a file of the shop. One that is there stays.
func (s *Server) saveOrder(w http.ResponseWriter, r *http.Request) error {
	if err := r.ParseForm(); err != nil {
		return err
	}
	text := r.PostForm.Get("text")
	name, err := s.shop.SaveOrder(normalised(text))
	if err != nil {
		return s.showWriting(w, statusOf(err), &writeView{Text: text, Trouble: err.Error()})
	}
	http.Redirect(w, r, to("/order", "name", name), http.StatusSeeOther)
	return nil
}
