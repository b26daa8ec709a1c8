package main

import (
	"fmt"
	"io"
	"path/filepath"
	"strings"

	"evenpole/profiles"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"
)

func newManCmd(e *env) *cobra.Command {
	cmd := &cobra.Command{
		Use:   "man DIR",
		Short: "Write the help of all commands as manual pages",
		Long: `Writes a manual page for each command into a folder, from the same text as its help:
'man DIR/evenpole-plan.1' shows one. 'evenpole completion' writes what a shell needs to
complete commands and flags.`,
		Args: cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error { return runMan(e, cmd.Root(), args[0]) },
	}
	e.writes(cmd)
	return cmd
}

// manDocument is what --json prints.
type manDocument struct {
	Pages []string `json:"pages"`
}

var manJSON = newDocument[manDocument]()

func runMan(e *env, root *cobra.Command, dir string) error {
	pages := []string{}
	if err := eachCommand(root, func(cmd *cobra.Command) error {
		path := filepath.Join(dir, manName(cmd)+".1")
		pages = append(pages, path)
		return e.writeFile(path, func(w io.Writer) error { return writeMan(w, cmd) })
	}); err != nil {
		return err
	}
	if e.json {
		return manJSON.write(e, manDocument{pages})
	}
	e.print("%s written to %s", profiles.Count(len(pages), "page"), dir)
	return nil
}

// eachCommand hands on a command and those under it that people see.
func eachCommand(cmd *cobra.Command, do func(*cobra.Command) error) error {
	if err := do(cmd); err != nil {
		return err
	}
	for _, sub := range cmd.Commands() {
		if sub.Hidden || sub.Name() == "help" {
			continue
		}
		if err := eachCommand(sub, do); err != nil {
			return err
		}
	}
	return nil
}

func manName(cmd *cobra.Command) string { return strings.ReplaceAll(cmd.CommandPath(), " ", "-") }

// writeMan writes a command's page in the macros of man(7). Texts stand in the lines that
// they were written in.
func writeMan(w io.Writer, cmd *cobra.Command) error {
	var b strings.Builder
	fmt.Fprintf(&b, ".TH %q 1\n", strings.ToUpper(manName(cmd)))
	fmt.Fprintf(&b, ".SH NAME\n%s \\- %s\n", roff(manName(cmd)), roff(cmd.Short))
	if cmd.Runnable() {
		fmt.Fprintf(&b, ".SH SYNOPSIS\n%s\n", roff(cmd.UseLine()))
	}
	verbatim(&b, "DESCRIPTION", cmd.Long)
	writeManFlags(&b, "OPTIONS", cmd.LocalFlags())
	writeManFlags(&b, "OPTIONS OF EVERY COMMAND", cmd.InheritedFlags())
	verbatim(&b, "EXAMPLES", cmd.Example)
	var near []string
	if cmd.HasParent() {
		near = append(near, roff(manName(cmd.Parent()))+"(1)")
	}
	for _, sub := range cmd.Commands() {
		if !sub.Hidden && sub.Name() != "help" {
			near = append(near, roff(manName(sub))+"(1)")
		}
	}
	if len(near) > 0 {
		fmt.Fprintf(&b, ".SH \"SEE ALSO\"\n%s\n", strings.Join(near, ",\n"))
	}
	_, err := io.WriteString(w, b.String())
	return err
}

func writeManFlags(b *strings.Builder, heading string, flags *pflag.FlagSet) {
	if !flags.HasAvailableFlags() {
		return
	}
	fmt.Fprintf(b, ".SH %q\n", heading)
	flags.VisitAll(func(f *pflag.Flag) { writeManFlag(b, f) })
}

func writeManFlag(b *strings.Builder, f *pflag.Flag) {
	if f.Hidden {
		return
	}
	kind, usage := pflag.UnquoteUsage(f)
	name := "--" + f.Name
	if f.Shorthand != "" {
		name = "-" + f.Shorthand + ", " + name
	}
	fmt.Fprintf(b, ".TP\n%s\n%s\n", roff(strings.TrimSpace(name+" "+kind)), roff(usage))
}

// verbatim writes a section whose lines stay as they are.
func verbatim(b *strings.Builder, heading, text string) {
	if text == "" {
		return
	}
	fmt.Fprintf(b, ".SH %s\n.nf\n", heading)
	for line := range strings.Lines(strings.TrimRight(text, "\n") + "\n") {
		b.WriteString(roff(line))
	}
	b.WriteString(".fi\n")
}

// roff writes a text so that the formatter takes no part of it for a command.
func roff(text string) string {
	text = strings.NewReplacer(`\`, `\e`, "-", `\-`).Replace(text)
	if strings.HasPrefix(text, ".") || strings.HasPrefix(text, "'") {
		text = `\&` + text
	}
	return text
}
