package main

import (
	"cmp"
	"fmt"
	"runtime/debug"
	"strings"

	"github.com/spf13/cobra"
)

func newVersionCmd(e *env) *cobra.Command {
	return &cobra.Command{
		Use:   "version",
		Short: "Print which build this is, with its commit",
		Long: `Prints the release that the source is of, the version of this build, the commit that
it was made from, whether files had changed since then, and what it was built with.`,
		Args: cobra.NoArgs,
		RunE: func(*cobra.Command, []string) error { return runVersion(e) },
	}
}

// build is which build this is; "" is not known.
type build struct {
	Release string `json:"release"`
	Version string `json:"version"`
	Commit  string `json:"commit"`
	Time    string `json:"commit_time"` // RFC 3339
	Changed bool   `json:"changed"`     // files had changed since the commit
	Go      string `json:"go"`
	System  string `json:"system"`
}

var versionJSON = newDocument[build]()

func runVersion(e *env) error {
	b := thisBuild()
	if e.json {
		return versionJSON.write(e, b)
	}
	changed := ""
	if b.Changed {
		changed = ", with changes"
	}
	e.print("evenpole %s (%s)", b.Release, b.Version)
	e.print("%s", strings.TrimSpace(fmt.Sprintf("commit %s%s %s", cmp.Or(b.Commit, "not known"), changed, b.Time)))
	e.print("%s %s", b.Go, b.System)
	return nil
}

func thisBuild() build {
	b := build{Release: release, Version: version()}
	info, ok := debug.ReadBuildInfo()
	if !ok {
		return b
	}
	b.Go = info.GoVersion
	said := map[string]string{}
	for _, s := range info.Settings {
		said[s.Key] = s.Value
	}
	b.Commit, b.Time, b.Changed = said["vcs.revision"], said["vcs.time"], said["vcs.modified"] == "true"
	b.System = said["GOOS"] + "/" + said["GOARCH"]
	return b
}
