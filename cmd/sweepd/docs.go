//go:build docs

package main

import (
	"fmt"
	"os"
	"path/filepath"
	"strconv"
	"time"

	"github.com/spf13/cobra"
	"github.com/spf13/cobra/doc"

	"sweepd/deploy"
)

// docsCommands write what a package ships beside the program. They are built with
// the tag docs alone, for their libraries are of no use on a device.
func (a *app) docsCommands() []*cobra.Command {
	return []*cobra.Command{{
		Use:     "docs DIR",
		Short:   "Write man pages, shell completions and a configuration into DIR",
		Example: "  go run -tags docs ./cmd/sweepd docs out",
		Args:    cobra.ExactArgs(1),
		Hidden:  true,
		RunE: func(cmd *cobra.Command, args []string) error {
			if err := writeManPages(cmd.Root(), filepath.Join(args[0], "man")); err != nil {
				return err
			}
			if err := os.WriteFile(filepath.Join(args[0], "sweepd.yaml"), []byte(deploy.Configuration()), 0o644); err != nil {
				return err
			}
			return writeCompletions(cmd.Root(), filepath.Join(args[0], "completions"))
		},
	}}
}

// writeManPages writes one page for each command, dated SOURCE_DATE_EPOCH.
func writeManPages(root *cobra.Command, dir string) error {
	seconds, err := strconv.ParseInt(os.Getenv("SOURCE_DATE_EPOCH"), 10, 64)
	if err != nil {
		return fmt.Errorf("SOURCE_DATE_EPOCH must say the pages' date in seconds since 1970: %w", err)
	}
	date := time.Unix(seconds, 0).UTC()
	if err := os.MkdirAll(dir, 0o755); err != nil {
		return err
	}
	root.DisableAutoGenTag = true
	header := &doc.GenManHeader{Section: "1", Date: &date, Source: "sweepd " + currentVersion(), Manual: "sweepd"}
	return doc.GenManTree(root, header, dir)
}

func writeCompletions(root *cobra.Command, dir string) error {
	if err := os.MkdirAll(dir, 0o755); err != nil {
		return err
	}
	for name, write := range map[string]func(string) error{
		"sweepd.bash": func(f string) error { return root.GenBashCompletionFileV2(f, true) },
		"sweepd.zsh":  root.GenZshCompletionFile,
		"sweepd.fish": func(f string) error { return root.GenFishCompletionFile(f, true) },
	} {
		if err := write(filepath.Join(dir, name)); err != nil {
			return err
		}
	}
	return nil
}
