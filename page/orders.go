package page

import (
	"fmt"
	"io"
	"net/http"
	"strconv"

	"evenpole/fit/explain"
	"evenpole/fit/plan"
	"evenpole/profiles"
	"evenpole/report"
	"evenpole/shop"
)

// orders lists the orders.
func (s *Server) orders(w http.ResponseWriter, r *http.Request) error {
	g, err := s.orderGrid()
	if err != nil {
		return err
	}
	return s.show(w, r, "page.html", &view{Title: "Orders", Place: "/orders", Sections: []section{{Table: g, Links: []link{{"/order/write", "Write an order"}}}}})
}

// orderGrid lists orders, with what is wrong with those that cannot be read.
func (s *Server) orderGrid() (*grid, error) {
	names, err := s.shop.Orders()
	if err != nil {
		return nil, err
	}
	g := &grid{ID: "orders", Caption: "Orders", Heads: append(textHeads("file", "order", "strings", "batch", "poles"), figureHeads("tolerance dB")...)}
	for o := range s.shop.ReadOrders(names) {
		if o.Err != nil {
			g.add("", o.Name, o.Err.Error(), unknown, unknown, unknown, unknown)
			continue
		}
		g.add(to("/order", "name", o.Name), o.Name, o.What.ID, orDash(o.What.Set), o.What.Batch, string(o.What.Poles), fmt.Sprintf("%g", o.What.Tolerance))
	}
	return g, nil
}

// planned is an order with its plan by the shop's current model, as 'plan' makes it.
func (s *Server) planned(r *http.Request) (name string, o *profiles.Order, p *plan.Plan, x *explain.Explanation, err error) {
	name = r.URL.Query().Get("name")
	if o, err = s.shop.Order(name); err != nil {
		return
	}
	if err = s.work.take(r.Context()); err != nil {
		return
	}
	defer s.work.free()
	model, err := s.shop.Predictor("")
	if err != nil {
		return
	}
	if p, err = s.shop.Plan(r.Context(), o, model, plan.Options{}); err != nil {
		return
	}
	if p.Pair, err = s.shop.PlanPair(r.Context(), o, model, plan.Options{}, p); err != nil {
		return
	}
	x, _, err = shop.Explain(model, shop.AsPlanned(o, p), p.Heights)
	return
}

// order shows an order and its plan.
func (s *Server) order(w http.ResponseWriter, r *http.Request) error {
	name, o, p, x, err := s.planned(r)
	if err != nil {
		return err
	}
	at := func(kind string) string { return to("/order/picture", "name", name) + "&kind=" + kind }
	v := &view{Title: "Order " + o.ID, Place: "/orders", Sections: []section{
		{Facts: []fact{
			{"advice", string(p.Advice)}, {"strings", orDash(o.Set)}, {"batch", o.Batch}, {"poles", o.PolesWords()}, {"tolerance", fmt.Sprintf("±%g dB", o.Tolerance)},
			{"from", p.Source}, {"every string within tolerance", percent(p.Meets)},
		}, Lines: append(append(p.Coils.Words(o, o.Units), p.Pair.Words(o.Units)...), o.Units.Texts(p.Warnings)...), Links: []link{{to("/order/try", "name", name), "Try other heights, strings and radii"}, {to("/order/write", "name", name), "Write another order like it"},
			{to("/next", "order", name), "What to measure next for it"}}},
		{Heading: "Poles", Table: poleGrid(o, p), Pictures: []picture{{at("poles"), "Planned poles under their strings, to scale"}},
			Links: []link{{to("/order/gauge", "name", name) + "&as=pdf", "The height gauge as a PDF, to print at full size"}, {to("/order/gauge", "name", name) + "&as=svg", "The height gauge as a picture"}}},
		cautions(o), {Heading: "Heights side by side", Table: heightGrid(o, p)},
		{Heading: "Compared", Table: staggerGrid(p)},
		{Heading: "Balance by string", Table: balanceGrid(o, p)},
		{Heading: "Why each string is as loud as predicted", Table: causeGrid(x), Pictures: []picture{{at("causes"), "What each cause adds to each string, dB"}}},
	}}
	return s.show(w, r, "page.html", v)
}

// cautions are what stands beside pole heights.
func cautions(o *profiles.Order) section {
	return section{Heading: "Cautions", Lines: plan.CautionsOf(o)}
}

// gauge sends the poles at full size with a height gauge to cut out, as 'plan --full-size'
// draws it.
func (s *Server) gauge(w http.ResponseWriter, r *http.Request) error {
	as := r.URL.Query().Get("as")
	if as != "pdf" && as != "svg" {
		return &missing{"a height gauge is pdf or svg, not %.20q", as}
	}
	_, o, p, _, err := s.planned(r)
	if err != nil {
		return err
	}
	draw := func(to io.Writer) error { return report.FullSize(to, report.PlanPoles(o, p), as) }
	if as == "svg" {
		return sendSVG(w, draw)
	}
	return sendPDF(w, "height-gauge", draw)
}

// orderPicture draws a picture of an order's plan.
func (s *Server) orderPicture(w http.ResponseWriter, r *http.Request) error {
	_, o, p, x, err := s.planned(r)
	if err != nil {
		return err
	}
	switch kind := r.URL.Query().Get("kind"); kind {
	case "poles":
		return sendSVG(w, func(to io.Writer) error { return report.Poles(to, report.PlanPoles(o, p)) })
	case "causes":
		return sendSVG(w, func(to io.Writer) error { return report.Explain(to, report.Explained("Order "+o.ID, x, o.Units)) })
	default:
		return &missing{"an order has no picture %.40q", kind}
	}
}

// poleGrid is the plan, string by string.
func poleGrid(o *profiles.Order, p *plan.Plan) *grid {
	u := o.Units.Name()
	step, stepName := o.Units.SlopeStep()
	g := &grid{ID: "poles", Caption: "Poles of the plan", Heads: perString("height "+u, "may be lower "+u, "may be higher "+u, "gap "+u, "balance dB", "off target dB", "dB per "+stepName)}
	for i, h := range p.Heights {
		q := p.Poles[i]
		g.add("", strconv.Itoa(i+1), o.Strings[i].Note, o.Units.Figure(h), o.Units.Figure(q.Lower), o.Units.Figure(q.Higher), o.Units.Figure(p.Gaps[i]),
			signed(p.Balance[i]), signed(p.Deviation[i]), signed(step*p.Slope[i]))
	}
	return g
}

// heightGrid has the heights of the plan, of flat tops and of the compared staggers side by
// side.
func heightGrid(o *profiles.Order, p *plan.Plan) *grid {
	g := &grid{ID: "heights", Caption: "Pole heights, " + o.Units.Name() + ", under the order's own strings", Heads: byString("stagger", len(p.Heights))}
	for _, s := range p.Staggers() {
		if s.Strings != "" { // the same heights under other strings
			continue
		}
		row := []string{s.Name}
		for _, h := range s.Heights {
			row = append(row, o.Units.Figure(h))
		}
		g.add("", row...)
	}
	return g
}

// staggerGrid is the plan beside other staggers, under every string set.
func staggerGrid(p *plan.Plan) *grid {
	g := &grid{ID: "staggers", Caption: "The plan beside other staggers", Heads: append(textHeads("stagger", "strings"),
		figureHeads("worst dB", "spread dB", "95 % of builds dB", "all within")...)}
	for _, s := range p.Staggers() {
		g.add("", s.Name, orDash(s.Strings), hundredths(s.Worst), hundredths(s.Spread), interval(s.Spread95), percent(s.Meets))
	}
	return g
}

// balanceGrid is each stagger's balance.
func balanceGrid(o *profiles.Order, p *plan.Plan) *grid {
	g := &grid{ID: "balance", Caption: "Balance, dB, by string", Heads: byString("stagger", len(o.Strings))}
	for _, s := range p.Staggers() {
		row := []string{s.Name}
		if s.Strings != "" {
			row[0] += ", with " + s.Strings
		}
		for _, b := range s.Balance {
			row = append(row, signed(b))
		}
		g.add("", row...)
	}
	return g
}

// causeGrid is what each cause adds to each string.
func causeGrid(x *explain.Explanation) *grid {
	g := &grid{ID: "causes", Caption: "Balance by cause, dB from the mean of all strings", Heads: byString("cause", len(x.Strings))}
	row := func(name string, figure func(*explain.ExplainedString) string) {
		cells := []string{name}
		for i := range x.Strings {
			cells = append(cells, figure(&x.Strings[i]))
		}
		g.add("", cells...)
	}
	with, _ := x.Parted()
	for _, c := range with {
		row(c.Words, func(s *explain.ExplainedString) string { return signed(s.Parts[c.Name]) })
	}
	row("balance", func(s *explain.ExplainedString) string { return signed(s.Balance) })
	return g
}
