package main

import (
	"fmt"
	"strings"

	"github.com/spf13/cobra"
)

// helpColumns is how wide a line of help may be.
const helpColumns = 100

// usage prints how a command is called, what is below it and which flags it has, in the
// library's form. It is no template of the library's: with one, the linker has to keep every
// exported method that text/template might be asked for.
func usage(c *cobra.Command) error {
	var commands []string
	for _, sub := range c.Commands() {
		if sub.IsAvailableCommand() || sub.Name() == "help" {
			commands = append(commands, fmt.Sprintf("  %-*s %s", sub.NamePadding(), sub.Name(), sub.Short))
		}
	}
	call, more := c.UseLine(), ""
	if len(commands) > 0 {
		call = c.CommandPath() + " [command]"
		more = fmt.Sprintf("\nUse %q for more information about a command.\n", call+" --help")
	}
	aliases := ""
	if len(c.Aliases) > 0 {
		aliases = "  " + c.NameAndAliases()
	}
	text := "Usage:\n  " + call + "\n"
	for _, part := range [][2]string{
		{"Aliases", aliases},
		{"Examples", c.Example},
		{"Available Commands", strings.Join(commands, "\n")},
		{"Flags", c.LocalFlags().FlagUsagesWrapped(helpColumns)},
		{"Global Flags", c.InheritedFlags().FlagUsagesWrapped(helpColumns)},
	} {
		if part[1] != "" {
			text += "\n" + part[0] + ":\n" + strings.TrimRight(part[1], "\n") + "\n"
		}
	}
	_, err := fmt.Fprint(c.OutOrStderr(), text+more)
	return err
}
