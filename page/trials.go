package page

import (
	"encoding/json"
	"errors"
	"fmt"
	"net/http"
	"net/url"
	"strconv"

	"evenpole/fit/explain"
	"evenpole/fit/plan"
	"evenpole/profiles"
	"evenpole/shop"
)

// slider is one length to try on an order, in its units.
type slider struct{ Name, Label, Min, Max, Step, Value string }

// tryView is what the page to try things on an order shows.
type tryView struct {
	Name    string // of the order
	Sliders []slider
	Sets    []string // of strings
	Set     string
	Units   string
	Tried   tried

	Cautions []string
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
	v := &tryView{Name: name, Set: o.Set, Units: o.Units.Name(), Tried: triedOf(x, o.Units, nil), Cautions: plan.CautionsOf(o)}
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

// slidersOf are the lengths of an order that can be tried, in its units.
func slidersOf(o *profiles.Order, p *plan.Plan) []slider {
	u := o.Units
	var out []slider
	add := func(name, label string, low, high, mm float64) {
		step := "0.01"
		if u == profiles.Inches {
			step = "0.001"
		}
		out = append(out, slider{name, label + ", " + u.Name(), u.Figure(low), u.Figure(high), step, u.Figure(mm)})
	}
	if o.FretboardRadius > 0 {
		add("radius", "radius", 100, 600, o.FretboardRadius)
	}
	first, last := o.StringHeightFirst, o.StringHeightLast
	if p.Move != nil {
		first, last = p.Move.StringHeightFirst, p.Move.StringHeightLast
	}
	add("raise", "pickup up (+) or down", -3, 3, 0)
	add("tilt", "tilt: the last string's end up (+) or down", -3, 3, 0)
	add("first", "string 1 over the bobbin plane", 1, 8, first)
	add("last", "last string over it", 1, 8, last)
	if o.FixedHeights != nil { // the pickup moves, its poles do not
		return out
	}
	for i, h := range p.Heights {
		add("pole"+strconv.Itoa(i+1), fmt.Sprintf("pole %d", i+1), o.PoleHeightMin, o.PoleHeightMax, h)
	}
	return out
}

// trial is an order that a request names, and what the request tries on it.
func (s *Server) trial(q url.Values) (o *profiles.Order, t shop.Trial, err error) {
	if o, err = s.shop.Order(q.Get("name")); err != nil {
		return nil, t, err
	}
	t, err = trialOf(q, o)
	return o, t, err
}

// tryNow answers a trial.
func (s *Server) tryNow(w http.ResponseWriter, r *http.Request) error {
	q := r.URL.Query()
	o, t, err := s.trial(q)
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
		out = triedOf(x, o.Units, warnings)
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
			trouble = &refused{fmt.Sprintf("%s: expected a length in %s, got %.40q", key, o.Units.Name(), text)}
		}
		return o.Units.InMM(v)
	}
	t := shop.Trial{Radius: number("radius", o.FretboardRadius), First: number("first", o.StringHeightFirst), Last: number("last", o.StringHeightLast),
		Raise: number("raise", 0), Tilt: number("tilt", 0), Set: q.Get("set")}
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
func triedOf(x *explain.Explanation, u profiles.Units, warnings []string) tried {
	out := tried{Words: u.Texts(warnings)}
	causes, _ := x.Parted()
	for i := range x.Strings {
		e := &x.Strings[i]
		s := triedString{Number: e.String, Note: e.Note, Pole: u.Figure(e.PoleHeight), Height: u.Figure(e.StringHeight), Balance: signed(e.Balance), Bar: min(1, max(-1, e.Balance/barScale))}
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
