package main

import (
	"context"
	"net"

	"evenpole/capture/record/disk"
	"evenpole/page"

	"github.com/spf13/cobra"
)

type pageOptions struct {
	listen string
}

func newPageCmd(e *env) *cobra.Command {
	var o pageOptions
	cmd := &cobra.Command{
		Use:   "page [--listen ADDRESS]",
		Short: "Show the shop in a browser, on this machine",
		Long: `Serves the shop's pages to a browser until Ctrl-C, and prints their address. All that
they need is in the program; nothing is fetched from a network.

Only this machine reaches them, unless --listen names another of its addresses, such as
192.168.7.20:7420, or :7420 for all of them. Then every browser has to give the access
code that is printed. What is sent is not encrypted: do so in a network that you trust.`,
		Args:        cobra.NoArgs,
		Annotations: map[string]string{endsItself: ""},
		RunE:        func(cmd *cobra.Command, _ []string) error { return runPage(cmd.Context(), e, o) },
	}
	cmd.Flags().StringVar(&o.listen, "listen", "127.0.0.1:7420", "`address` to listen on; port 0 is any that is free")
	return cmd
}

// pageDocument is what --json prints.
type pageDocument struct {
	Addresses []string `json:"addresses"`
	Code      string   `json:"access_code"` // "" where none is asked for
}

var pageJSON = newDocument[pageDocument]()

func runPage(ctx context.Context, e *env, o pageOptions) error {
	s, err := e.theShop()
	if err != nil {
		return err
	}
	if _, _, err := net.SplitHostPort(o.listen); err != nil {
		return badInput("--listen: expected an address and a port such as 127.0.0.1:7420, got %q", o.listen)
	}
	l, loopback, err := page.Listen(o.listen)
	if err != nil {
		return withHint(err, "another program may listen there: name another port with --listen")
	}
	defer l.Close()
	doc := pageDocument{Addresses: page.Addresses(l)}
	if !loopback {
		doc.Code = page.NewCode()
	}
	server, err := page.New(s, page.Options{Loopback: loopback, Code: doc.Code, Version: version()})
	if err != nil {
		return err
	}
	if err := e.tellPage(doc); err != nil {
		return err
	}
	err = server.Serve(ctx, l)
	disk.Finish()() // a fit may be writing its model
	return err
}

// tellPage prints where the pages are.
func (e *env) tellPage(doc pageDocument) error {
	if e.json {
		return pageJSON.write(e, doc)
	}
	for _, at := range doc.Addresses {
		e.print("%s", at)
	}
	if doc.Code != "" {
		e.print("access code: %s", doc.Code)
		e.note("other machines reach this page and what they send is not encrypted: use it in a network that you trust")
	}
	return nil
}
