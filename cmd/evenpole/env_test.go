package main

import (
	"io"
	"testing"

	"github.com/spf13/cobra"
)

// No command draws a picture into a file by the name of another kind.
func TestSVGFlags(t *testing.T) {
	commands := 0
	var visit func(cmd *cobra.Command)
	visit = func(cmd *cobra.Command) {
		for _, c := range cmd.Commands() {
			visit(c)
		}
		f := cmd.Flags().Lookup("svg")
		if f == nil {
			return
		}
		commands++
		for name, taken := range map[string]bool{"out.svg": true, "OUT.SVG": true, "": true, "out.png": false, "readings.csv": false, "svg": false} {
			if err := cmd.Flags().Set("svg", name); (err == nil) != taken {
				t.Errorf("%s --svg %q: got %v", cmd.CommandPath(), name, err)
			}
		}
	}
	started := false
	visit(newRootCmd(&env{stdout: io.Discard, stderr: io.Discard}, &started))
	if commands == 0 {
		t.Error("no command has --svg")
	}
}
