//go:build docs

package main

import (
	"bytes"
	"context"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"time"

	"github.com/spf13/cobra"
	"github.com/spf13/cobra/doc"
	"github.com/spf13/pflag"

	"sweepd/deploy"
	"sweepd/internal/userfile"
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
			if err := writeManPages(cmd.Context(), cmd.Root(), filepath.Join(args[0], "man")); err != nil {
				return err
			}
			err := userfile.Write(cmd.Context(), filepath.Join(args[0], "sweepd.yaml"), func(w io.Writer) error {
				_, err := io.WriteString(w, deploy.Configuration())
				return err
			})
			if err != nil {
				return err
			}
			return writeCompletions(cmd.Context(), cmd.Root(), filepath.Join(args[0], "completions"))
		},
	}}
}

// writeManPages writes one page for each command, dated SOURCE_DATE_EPOCH.
func writeManPages(ctx context.Context, root *cobra.Command, dir string) error {
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
	for _, c := range shownCommands(root) {
		own := *header // it fills in what is empty
		name := strings.ReplaceAll(c.CommandPath(), " ", "-") + ".1"
		var page bytes.Buffer
		if err := doc.GenMan(c, &own, &page); err != nil {
			return err
		}
		err := userfile.Write(ctx, filepath.Join(dir, name), func(w io.Writer) error {
			_, err := io.WriteString(w, asTyped(c, page.String()))
			return err
		})
		if err != nil {
			return err
		}
	}
	return nil
}

// defaultShown is how the library shows a flag: with the default in Go's words.
var defaultShown = regexp.MustCompile(`(?m)^(.*\\fB--([a-z-]+)\\fP)(=.*|\[=.*\])$`)

// asTyped shows the flags of a page with what is typed after them, as --help does:
// `--device NAME`, `--json`.
func asTyped(cmd *cobra.Command, page string) string {
	return defaultShown.ReplaceAllStringFunc(page, func(line string) string {
		m := defaultShown.FindStringSubmatch(line)
		flag := cmd.Flag(m[2])
		if flag == nil {
			return line
		}
		what, _ := pflag.UnquoteUsage(flag)
		if what == "" {
			return m[1]
		}
		return m[1] + ` \fI` + strings.ReplaceAll(what, "-", `\-`) + `\fP`
	})
}

func writeCompletions(ctx context.Context, root *cobra.Command, dir string) error {
	if err := os.MkdirAll(dir, 0o755); err != nil {
		return err
	}
	for name, write := range map[string]func(io.Writer) error{
		"sweepd.bash": func(w io.Writer) error { return root.GenBashCompletionV2(w, true) },
		"sweepd.zsh":  root.GenZshCompletion,
		"sweepd.fish": func(w io.Writer) error { return root.GenFishCompletion(w, true) },
	} {
		if err := userfile.Write(ctx, filepath.Join(dir, name), write); err != nil {
			return err
		}
	}
	return nil
}
