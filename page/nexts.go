package page

import (
	"errors"
	"fmt"
	"iter"
	"net/http"
	"slices"
	"strconv"

	"evenpole/fit/next"
	"evenpole/profiles"
	"evenpole/shop"
)

// mostNext is how many captures are proposed.
const mostNext = 3

// mostOrders is for how many orders they are: each costs a plan.
const mostOrders = 20

// next says which captures would narrow the plans of an order most, or of those that no
// pickup has met yet, as 'next' does.
func (s *Server) next(w http.ResponseWriter, r *http.Request) error {
	q := r.URL.Query()
	all := !q.Has("order")
	read := s.shop.ReadOrders([]string{q.Get("order")})
	var left []string
	title := "What to measure next for order " + q.Get("order")
	if all {
		title = "What to measure next"
		open, met, older, err := s.shop.OpenOrders(mostOrders)
		if err != nil {
			return err
		}
		read = slices.Values(open)
		if met > 0 {
			left = append(left, fmt.Sprintf("Left out: %s that a pickup has met.", profiles.Count(met, "order")))
		}
		if older > 0 {
			left = append(left, fmt.Sprintf("Left out: %s that were changed earlier; each can be asked for from its own page.", profiles.Count(older, "order")))
		}
	}
	orders, lines, err := readable(read, all)
	if err != nil {
		return err
	}
	lines = append(left, lines...)
	if len(orders) == 0 {
		lines = append(lines, "There is no order yet that a capture could serve.")
		return s.show(w, r, "page.html", &view{Title: title, Place: "/models", Sections: []section{{Lines: lines, Links: []link{{"/order/write", "Write an order"}}}}})
	}
	list, warnings, err := s.proposals(r, orders)
	var input *shop.InputError
	if errors.As(err, &input) { // such as a record that the model cannot be asked about
		return s.show(w, r, "page.html", &view{Title: title, Place: "/models", Sections: []section{{Lines: append(lines, input.Error())}}})
	}
	if err != nil {
		return err
	}
	return s.show(w, r, "page.html", &view{Title: title, Place: "/models", Sections: []section{{Lines: slices.Concat(lines, warnings, sayNext(list)), Table: nextGrid(list, orders[0].Units)}}})
}

// readable are those of some orders that could be read. Where all are meant, another one is
// told of and left out.
func readable(read iter.Seq[shop.Described[*profiles.Order]], all bool) (orders []*profiles.Order, lines []string, err error) {
	for o := range read {
		switch {
		case o.Err == nil:
			orders = append(orders, o.What)
		case all:
			lines = append(lines, "Left out: "+o.Err.Error())
		default:
			return nil, nil, o.Err
		}
	}
	return orders, lines, nil
}

func (s *Server) proposals(r *http.Request, orders []*profiles.Order) (list []next.Proposal, warnings []string, err error) {
	if err := s.work.take(r.Context()); err != nil {
		return nil, nil, err
	}
	defer s.work.free()
	model, err := s.shop.Predictor("")
	if err != nil {
		return nil, nil, err
	}
	return s.shop.Next(r.Context(), model, orders, mostNext)
}

func sayNext(list []next.Proposal) []string {
	if len(list) == 0 {
		return []string{"No capture would narrow these plans by much: what is left differs from one built pickup to the next."}
	}
	return []string{fmt.Sprintf("What the model does not know of these pickups' balance is %.2f dB (rms over strings). Each capture counts in the light of those before it.", list[0].Before)}
}

// nextGrid lists captures to make.
func nextGrid(list []next.Proposal, u profiles.Units) *grid {
	g := &grid{ID: "next", Caption: "Captures that would tell most", Heads: append(textHeads("number", "what to do"), append(figureHeads("then dB"), textHeads("string heights "+u.Name())...)...)}
	for i := range list {
		p := &list[i]
		g.add("", strconv.Itoa(i+1), u.Text(p.Words(i+1)), hundredths(p.After), lengths(u, p.StringHeights))
	}
	return g
}
