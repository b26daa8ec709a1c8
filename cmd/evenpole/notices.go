package main

import (
	_ "embed"
	"io"

	"github.com/spf13/cobra"
)

// noticesText is the licences of what the program is built from. The test of this file
// writes it with -update, and fails when it is not that of the modules in go.mod.
//
//go:embed notices.txt
var noticesText string

// noticesDocument is what --json prints.
type noticesDocument struct {
	Notices string `json:"notices"`
}

var noticesJSON = newDocument[noticesDocument]()

func newNoticesCmd(e *env) *cobra.Command {
	return &cobra.Command{
		Use:   "notices",
		Short: "Print the licences of what the program is built from",
		Long: `Prints the licences of the libraries and fonts that are part of the program. Pass
them on with it.`,
		Args: cobra.NoArgs,
		RunE: func(*cobra.Command, []string) error {
			if e.json {
				return noticesJSON.write(e, noticesDocument{noticesText})
			}
			_, err := io.WriteString(e.stdout, noticesText)
			return err
		},
	}
}
