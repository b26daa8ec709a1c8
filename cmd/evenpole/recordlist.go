package main

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"strings"
	"text/tabwriter"

	"evenpole/profiles"
	"evenpole/shop"

	"github.com/spf13/cobra"
)

func newListCmd(e *env) *cobra.Command {
	return &cobra.Command{
		Use:   "list",
		Short: "List what the record holds: pickups, orders, sessions; what is open, what shipped",
		Long: `Lists every pickup that was measured, the newest first, with its level, and balance and
scatter by string (levels as recorded, takes counting alike), from its newest session in
which as many strings were measured as in any of it, and which was plucked, if any was: one
that was begun and left does not hide a whole one; what came of it: shipped, as its
newest certificate says that it conforms to an order, or open, and what was captured for a
check or taken back since; then the orders, each with the pickup that met it, or open; then
the sessions, as 'evenpole record sessions' has them. 'evenpole record show ID' says more of one.`,
		Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error { return runList(cmd.Context(), e) },
	}
}

func newShowCmd(e *env) *cobra.Command {
	return &cobra.Command{
		Use:   "show ID",
		Short: "Show what the record has of a pickup or a session",
		Long: `Shows a pickup: its sessions, what each string was like in them, and its certificates; or
a session: what was mounted, how loud each string was, who captured it, and why readings
of it were taken back or filed anew.`,
		Args: cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error { return runShow(cmd.Context(), e, args[0]) },
	}
}

var (
	overviewJSON = newDocument[shop.Overview]()
	recordedJSON = newDocument[shop.Recorded]()
)

func runList(ctx context.Context, e *env) error {
	s, err := e.theShop()
	if err != nil {
		return err
	}
	o, err := late(ctx, e, s.Overview)
	if err != nil {
		return err
	}
	if e.json {
		o.Sessions, o.Pickups, o.Orders = append([]shop.SessionLine{}, o.Sessions...), append([]shop.PickupLine{}, o.Pickups...), append([]shop.OrderLine{}, o.Orders...)
		return overviewJSON.write(e, o)
	}
	out := bufio.NewWriter(e.stdout)
	tw := tabwriter.NewWriter(out, 0, 0, 2, ' ', 0)
	fmt.Fprintln(tw, "pickup\tbatch\tsession\tmeasured\tlevel mV\tbalance dB by string\tscatter dB by string\tstate")
	for i := range o.Pickups {
		p := &o.Pickups[i]
		fmt.Fprintf(tw, "%s\t%s\t%s\t%s\t%s\t%s\t%s\t%s\n", orDash(p.Pickup), orDash(p.Batch), orDash(p.Session), dayOrDash(p.Measured), plain(p.Level),
			byString(p.Strings, func(s *shop.StringLevel) string { return plus(s.Balance) }), byString(p.Strings, func(s *shop.StringLevel) string { return plain(s.Scatter) }), pickupState(p))
	}
	if len(o.Orders) > 0 {
		fmt.Fprintln(tw, "\norder\tcustomer\tstate")
	}
	for i := range o.Orders {
		l := &o.Orders[i]
		state := orderState(l)
		if l.Twin != "" {
			state += "; " + l.Twin
		}
		fmt.Fprintf(tw, "%s\t%s\t%s\n", l.Order, orDash(l.Customer), state)
	}
	fmt.Fprintln(tw)
	if err := errors.Join(tw.Flush(), out.Flush()); err != nil {
		return err
	}
	return printSessions(e, o.Sessions)
}

// byString writes a figure of each string.
func byString(levels []shop.StringLevel, figure func(*shop.StringLevel) string) string {
	var out []string
	for i := range levels {
		out = append(out, figure(&levels[i]))
	}
	return strings.Join(out, " ")
}

// pickupState is what came of a pickup.
func pickupState(p *shop.PickupLine) string {
	var said []string
	switch {
	case p.Shipped:
		said = append(said, fmt.Sprintf("shipped: met %s (certificate %d)", p.Order, p.Certificate))
	case p.Order != "":
		said = append(said, fmt.Sprintf("open: %s, %s (certificate %d)", p.Order, p.Verdict, p.Certificate))
	default:
		said = append(said, "not checked")
	}
	if p.Since != "" {
		said = append(said, p.Since)
	}
	if len(p.Open) > 0 {
		said = append(said, "to be finished: "+strings.Join(p.Open, ", "))
	}
	return strings.Join(said, "; ")
}

func orderState(o *shop.OrderLine) string {
	switch {
	case o.Pickup != "":
		return fmt.Sprintf("met by %s (certificate %d)", o.Pickup, o.Certificate)
	case o.Problem != "":
		return "cannot be read: " + o.Problem
	case o.Tried > 0:
		return fmt.Sprintf("open: %s checked, none conforms", profiles.Count(o.Tried, "pickup"))
	}
	return "open"
}

func runShow(ctx context.Context, e *env, id string) error {
	s, err := e.theShop()
	if err != nil {
		return err
	}
	r, err := late(ctx, e, func(ctx context.Context) (*shop.Recorded, error) { return s.Recorded(ctx, id) })
	if err != nil {
		return err
	}
	if e.json {
		return recordedJSON.write(e, *r)
	}
	if r.Pickup != nil {
		if err := printPickup(e, r.Pickup); err != nil {
			return err
		}
	}
	if r.Session != nil {
		return printSession(e, r.Session)
	}
	return nil
}

func printPickup(e *env, p *shop.PickupRecord) error {
	e.print("pickup %s, batch %s: %s", orDash(p.Pickup), orDash(p.Batch), pickupState(&p.PickupLine))
	for _, c := range p.Certificates {
		e.print("  certificate %d: order %s, %s, session %s", c.Certificate, c.Order, c.Verdict, c.Session)
	}
	for i := range p.Sessions {
		e.print("")
		if err := printSession(e, &p.Sessions[i]); err != nil {
			return err
		}
	}
	return nil
}

func printSession(e *env, x *shop.SessionRecord) error {
	e.print("session %s: %s of %s, %s, %s", orDash(x.Session), orDash(string(x.Purpose)), orDash(x.Pickup), dayOrDash(x.Last), sessionState(&x.SessionLine))
	e.print("  %s, %s, %s; %d flagged, %d taken back%s%s", profiles.Count(x.Good, "good take"), profiles.Count(x.Quiet, "quiet reading"), profiles.Count(x.Fields, "field reading"), x.Flagged, x.TakenBack,
		ifAny("; by ", x.Operator), ifAny("; mounts/", x.Mount))
	for _, why := range x.Reasons {
		e.print("  taken back: %s", strings.TrimPrefix(why, "taken back: "))
	}
	if len(x.Levels) == 0 {
		return nil
	}
	e.print("  level of all strings %s mV; strings %s", plain(x.Level), orDash(x.Set))
	tw := tabwriter.NewWriter(e.stdout, 0, 0, 2, ' ', tabwriter.AlignRight)
	fmt.Fprintf(tw, "  string\tcore %[1]s\tpole height %[1]s\tstring height %[1]s\tlevel mV\tbalance dB\tscatter dB\ttakes\t\n", e.units.Name())
	for i := range x.Levels {
		h := &x.Levels[i]
		fmt.Fprintf(tw, "  %d\t%s\t%s\t%s\t%s\t%s\t%s\t%d\t\n", h.String, e.units.Write("%.3f", h.Core), e.units.Figure(h.PoleHeight), e.units.Figure(h.StringHeight), plain(h.Level), plus(h.Balance), plain(h.Scatter), h.Takes)
	}
	if err := tw.Flush(); err != nil {
		return err
	}
	if note := x.Levels[0].Under.HeightNote(); note != "" {
		e.print("  %s%s", note, ifAny("; both rows: mounts/", x.Mount))
	}
	return nil
}
