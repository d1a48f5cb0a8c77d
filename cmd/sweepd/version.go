package main

import (
	"encoding/json"
	"fmt"
	"runtime"
	"runtime/debug"

	"github.com/spf13/cobra"

	"sweepd/exporter"
	"sweepd/run"
)

// version is set when a release is built (-ldflags "-X main.version=1.2.3").
var version = ""

// currentVersion is the release, or what the Go tools know of the build.
func currentVersion() string {
	if version != "" {
		return version
	}
	info, ok := debug.ReadBuildInfo()
	if !ok || info.Main.Version == "" {
		return "unknown"
	}
	return info.Main.Version
}

// build is what the metrics say of this program.
func build() exporter.Build {
	b := exporter.Build{Version: currentVersion(), GoVersion: runtime.Version()}
	if info, ok := debug.ReadBuildInfo(); ok {
		for _, s := range info.Settings {
			if s.Key == "vcs.revision" {
				b.Revision = s.Value
			}
		}
	}
	return b
}

// versionLine is the version as people read it.
func versionLine() string {
	return fmt.Sprintf("sweepd %s (%s, %s/%s)\n", currentVersion(), runtime.Version(), runtime.GOOS, runtime.GOARCH)
}

func (a *app) versionCommand() *cobra.Command {
	return &cobra.Command{
		Use:     "version",
		Short:   "Print the version",
		Example: "  sweepd version --json",
		Args:    cobra.NoArgs,
		RunE: func(*cobra.Command, []string) error {
			v := struct {
				Version string `json:"version"`
				Go      string `json:"go"`
				System  string `json:"system"`
			}{currentVersion(), runtime.Version(), runtime.GOOS + "/" + runtime.GOARCH}
			if a.json {
				return a.printJSON(v)
			}
			_, err := fmt.Fprint(a.out, versionLine())
			return err
		},
	}
}

// printJSON prints v on one or more lines, for people and programs.
func (a *app) printJSON(v any) error {
	e := json.NewEncoder(run.VisibleWriter{To: a.out})
	e.SetEscapeHTML(false)
	e.SetIndent("", "  ")
	return e.Encode(v)
}
