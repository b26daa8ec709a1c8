package main

import (
	"fmt"
	"text/tabwriter"

	"evenpole/jig"

	"github.com/spf13/cobra"
)

func newJigCmd(e *env) *cobra.Command {
	cmd := &cobra.Command{
		Use:   "jig",
		Short: "Find a jig, talk to it, verify it, or simulate one",
		Args:  cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			return withHint(badInput("which of list, talk, verify and sim?"), "see 'evenpole help jig'")
		},
	}
	cmd.AddCommand(newJigListCmd(e), newJigTalkCmd(e), newJigVerifyCmd(e), newJigSimCmd(e))
	return cmd
}

func newJigListCmd(e *env) *cobra.Command {
	return &cobra.Command{
		Use:   "list",
		Short: "List the serial ports, with their USB identity",
		Args:  cobra.NoArgs,
		RunE:  func(*cobra.Command, []string) error { return runJigList(e) },
	}
}

var portsJSON = newDocument[[]jig.PortInfo]()

func runJigList(e *env) error {
	ports, err := jig.List()
	if err != nil {
		return fmt.Errorf("serial ports: %w", err)
	}
	if e.json {
		if ports == nil {
			ports = []jig.PortInfo{}
		}
		return portsJSON.write(e, ports)
	}
	if len(ports) == 0 {
		e.note("no serial port found; is the jig plugged in, and does its cable carry data?")
		return nil
	}
	tw := tabwriter.NewWriter(e.stdout, 0, 0, 2, ' ', 0)
	fmt.Fprintln(tw, "port\tUSB\tserial\tproduct")
	for _, p := range ports {
		usb := "-"
		if p.USB {
			usb = p.VID + ":" + p.PID
		}
		fmt.Fprintf(tw, "%s\t%s\t%s\t%s\n", p.Name, usb, p.Serial, p.Product)
	}
	return tw.Flush()
}

// addPortFlags adds the flags that say which port a jig is on.
func addPortFlags(cmd *cobra.Command, port *string, baud *int) {
	cmd.Flags().StringVar(port, "port", "", "serial `port` of the jig (see 'evenpole jig list')")
	cmd.Flags().IntVar(baud, "baud", 115200, "line `rate`; a USB serial port ignores it")
	required(cmd, "port")
}
