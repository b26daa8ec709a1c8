package shop

import (
	"fmt"
	"math"

	"evenpole/fit/level"
	"evenpole/fit/verdict"
	"evenpole/profiles"
)

// A Certificate is one that was issued: the verdict that it states, and who its papers
// name.
type Certificate struct {
	verdict.Verdict
	Names Names `json:"names"`
}

// Names are who and what the papers of a pickup name beside the verdict, and the units of
// their lengths. "" is not given; units are mm then.
type Names struct {
	Maker      string         `json:"maker,omitempty"`
	Address    string         `json:"address,omitempty"`
	Customer   string         `json:"customer,omitempty"`
	Instrument string         `json:"instrument,omitempty"`
	Product    string         `json:"product,omitempty"`
	Serial     string         `json:"serial,omitempty"`
	Operator   string         `json:"operator,omitempty"`
	Units      profiles.Units `json:"units,omitempty"`
}

// NamesOf are the names that a shop and an order give, for papers in units.
func NamesOf(s *profiles.Shop, o *profiles.Order, units profiles.Units) Names {
	if units == profiles.Millimetres {
		units = ""
	}
	return Names{s.Name, s.Address, o.Customer, o.Instrument, o.Product, o.Serial, o.Operator, units}
}

// changes says in words, for the papers, what a certificate says otherwise than the one
// before, whose place it takes; nothing where there is none.
func changes(before, now *Certificate) []string {
	if before == nil {
		return nil
	}
	var out []string
	say := func(what, was, is string) {
		if was != is {
			out = append(out, fmt.Sprintf("%s: %s, now %s", what, orDash(was), orDash(is)))
		}
	}
	a, b := before.Names, now.Names
	say("verdict", string(before.Verdict.Verdict), string(now.Verdict.Verdict))
	if a.Customer != b.Customer { // whose name it was is not for the next one to know
		out = append(out, "the customer's name")
	}
	say("instrument", a.Instrument, b.Instrument)
	say("product", a.Product, b.Product)
	say("serial number", a.Serial, b.Serial)
	say("maker", a.Maker, b.Maker)
	say("address", a.Address, b.Address)
	say("units", a.Units.Name(), b.Units.Name())
	if before.Session != now.Session || !before.Time.Equal(now.Time) {
		out = append(out, "measured again")
	}
	say("tolerance", fmt.Sprintf("%g dB", before.Tolerance), fmt.Sprintf("%g dB", now.Tolerance))
	for i := range min(len(before.Strings), len(now.Strings)) {
		was, is := before.Strings[i].Deviation, now.Strings[i].Deviation
		if math.Abs(float64(was-is)) >= 0.005 || was.Known() != is.Known() {
			say(fmt.Sprintf("deviation of string %d", i+1), decibels(was), decibels(is))
		}
	}
	was, is := "", ""
	if r := before.Resistance; r != nil {
		was = fmt.Sprintf("%.0f ohm", r.At20)
	}
	if r := now.Resistance; r != nil {
		is = fmt.Sprintf("%.0f ohm", r.At20)
	}
	say("coil", was, is)
	if len(out) == 0 {
		return []string{"how it was judged"}
	}
	return out
}

func orDash(text string) string {
	if text == "" {
		return "not given"
	}
	return text
}

func decibels(x level.Figure) string {
	if !x.Known() {
		return "not known"
	}
	return profiles.Sprintf("%+.2f dB", float64(x))
}
