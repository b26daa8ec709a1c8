package main

import (
	"context"

	"evenpole/fit/next"
	"evenpole/profiles"

	"github.com/spf13/cobra"
)

type nextOptions struct {
	orders []string
	model  string
	count  int
}

func newNextCmd(e *env) *cobra.Command {
	var o nextOptions
	cmd := &cobra.Command{
		Use:   "next --order ORDER...",
		Short: "Say which captures would narrow the plans of these orders most",
		Long: `Says which captures, each in the light of those before it, would most narrow what the
model does not know of the balance of the ordered pickups: a pickup of the record
under another string set, or with its strings higher, or a test pickup to be wound.
Of captures that are worth nearly the same, the one that needs nothing wound or
bought comes first. What differs from one built pickup to the next (magnets,
strings, the setting of poles) no capture can narrow.`,
		Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error { return runNext(cmd.Context(), e, o) },
	}
	f := cmd.Flags()
	f.StringArrayVar(&o.orders, "order", nil, "order `file` at hand (repeatable)")
	f.StringVar(&o.model, "model", "", "model `file` (default: the shop's current model; the handbook where there is none)")
	f.IntVar(&o.count, "count", 3, "how many captures to propose, at most")
	required(cmd, "order")
	return cmd
}

// nextDocument is the JSON of "evenpole next".
type nextDocument struct {
	Source    string          `json:"source"`
	Proposals []next.Proposal `json:"captures"`
	Warnings  []string        `json:"warnings"`
}

var nextJSON = newDocument[nextDocument]()

func runNext(ctx context.Context, e *env, o nextOptions) error {
	if o.count < 1 {
		return badInput("--count: expected 1 or more, got %d", o.count)
	}
	s, err := e.shopHere()
	if err != nil {
		return err
	}
	model, err := s.Predictor(o.model)
	if err != nil {
		return err
	}
	var orders []*profiles.Order
	for _, path := range o.orders {
		order, err := e.readOrder(s, path)
		if err != nil {
			return err
		}
		orders = append(orders, order)
	}
	var warnings []string
	list, err := late(ctx, e, func(ctx context.Context) (list []next.Proposal, err error) {
		list, warnings, err = s.Next(ctx, model, orders, o.count)
		return list, err
	})
	if err != nil {
		return err
	}
	if e.json {
		return nextJSON.write(e, nextDocument{model.Source(), append([]next.Proposal{}, list...), append([]string{}, warnings...)})
	}
	printNext(e, list)
	e.warn(warnings)
	return nil
}

func printNext(e *env, list []next.Proposal) {
	if len(list) == 0 {
		e.print("no capture would narrow these plans by much: what is left differs from one built pickup to the next")
		return
	}
	e.print("what the model does not know of these pickups' balance: %.2f dB (rms over strings)", list[0].Before)
	for i, p := range list {
		e.print("")
		e.print("%d. then %.2f dB: %s", i+1, p.After, p.Words(i+1))
		e.print("   string_heights_%s = [%s]", e.units.Name(), e.units.Figures(p.StringHeights))
	}
}
