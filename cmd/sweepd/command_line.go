package main

import (
	"errors"
	"fmt"
	"strings"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"sweepd/report/text"
	"sweepd/run"
)

// prepare has each command note when it begins: every error before that is one of the
// command line, every error after it is not. It also has each command refuse, in our
// own words, what its command line lacks or has too much of.
func (a *app) prepare(c *cobra.Command) {
	switch do := c.RunE; {
	case do != nil:
		c.Args = checkUsage(c.Args)
		c.RunE = func(cmd *cobra.Command, args []string) error {
			a.started = true
			if err := do(cmd, args); err != nil {
				return err
			}
			return a.damage // what could be done was done, without it
		}
	case c.HasSubCommands():
		c.Args = cobra.ArbitraryArgs
		c.RunE = a.refuseCommand
	}
	c.Flags().VisitAll(inDecimal)
	for _, sub := range c.Commands() {
		a.prepare(sub)
	}
}

// refuseCommand is what a group of commands does where none of them is named: it says
// which there are, and the program itself its version where that is asked.
func (a *app) refuseCommand(cmd *cobra.Command, args []string) error {
	if asked, err := cmd.Flags().GetBool("version"); err == nil && asked {
		_, err := fmt.Fprint(a.out, versionLine())
		return err
	}
	switch {
	case len(args) == 0 && cmd == cmd.Root():
		return cmd.Help()
	case len(args) == 0:
		return misused(fmt.Errorf("%s needs to know what to do: %s", commandName(cmd), subcommandNames(cmd)))
	}
	return misused(unknownCommand(cmd, args[0]))
}

// unknownCommand says which command may be meant by a word where there is none of that
// name: one of another group with that name, or one that is called nearly so.
func unknownCommand(cmd *cobra.Command, word string) error {
	var called, near []string
	for _, c := range shownCommands(cmd.Root())[1:] {
		switch {
		case c.Name() == word:
			called = append(called, c.CommandPath())
		case run.Near(word, []string{c.Name()}) != "":
			near = append(near, c.CommandPath())
		}
	}
	cmd.SuggestionsMinimumDistance = 2 // slips of the finger
	meant := cmd.SuggestionsFor(word)
	switch {
	case len(called) > 0:
		meant = called
	case len(meant) == 0:
		meant = near
	}
	if len(meant) > 0 {
		return fmt.Errorf("unknown command %q: did you mean %s?", word, strings.Join(meant, ", "))
	}
	return fmt.Errorf("unknown command %q: %s knows %s", word, commandName(cmd), subcommandNames(cmd))
}

// shownCommands are a command and all below it that help shows.
func shownCommands(c *cobra.Command) []*cobra.Command {
	list := []*cobra.Command{c}
	for _, sub := range c.Commands() {
		if sub.IsAvailableCommand() && !sub.IsAdditionalHelpTopicCommand() {
			list = append(list, shownCommands(sub)...)
		}
	}
	return list
}

// adoptHelp has the command help, which is the library's, refuse what is no command.
func adoptHelp(root *cobra.Command) {
	root.InitDefaultHelpCmd()
	for _, c := range root.Commands() {
		if c.Name() != "help" {
			continue
		}
		c.Short, c.Long = "Show the help of a command", "Show the help of a command, as --help behind it does."
		c.Example = "  sweepd help run stop"
		c.Run = nil
		c.RunE = func(_ *cobra.Command, args []string) error {
			of, rest, err := root.Find(args)
			if err == nil && len(rest) > 0 {
				if err = unknownCommand(of, rest[0]); !of.HasSubCommands() {
					err = fmt.Errorf("%q is one word too many: %s has no commands below it", rest[0], commandName(of))
				}
			}
			if err != nil {
				return misused(err)
			}
			of.InitDefaultHelpFlag() // shown, though the command line was another's
			return of.Help()
		}
	}
}

// commandName is a command's name in a sentence that begins with the program's.
func commandName(cmd *cobra.Command) string {
	if cmd == cmd.Root() {
		return "it"
	}
	return strings.TrimPrefix(cmd.CommandPath(), cmd.Root().Name()+" ")
}

func subcommandNames(c *cobra.Command) string {
	var list []string
	for _, sub := range c.Commands() {
		if sub.IsAvailableCommand() {
			list = append(list, sub.Name())
		}
	}
	return strings.Join(list, ", ")
}

// checkUsage checks how many words a command is given, by its own rule (nil: any
// number), and that the flags that it cannot do without are there.
func checkUsage(counted cobra.PositionalArgs) cobra.PositionalArgs {
	return func(cmd *cobra.Command, args []string) error {
		if counted != nil {
			if err := counted(cmd, args); err != nil {
				return wordCountError(cmd, args, counted, err)
			}
		}
		var missing []string
		cmd.Flags().VisitAll(func(f *pflag.Flag) {
			if f.Annotations[cobra.BashCompOneRequiredFlag] != nil && !f.Changed {
				what, _ := pflag.UnquoteUsage(f)
				missing = append(missing, "--"+f.Name+" "+what)
			}
		})
		if len(missing) > 0 {
			return fmt.Errorf("%s needs %s", commandName(cmd), strings.Join(missing, " and "))
		}
		return nil
	}
}

// mostWords is more than any command is given.
const mostWords = 4

// wordCountError says whether words are missing or too many by the rule that counted
// them, and how the command is given.
func wordCountError(cmd *cobra.Command, args []string, counted cobra.PositionalArgs, err error) error {
	least, most := -1, -1
	for n := range mostWords {
		if counted(cmd, make([]string, n)) == nil {
			if least < 0 {
				least = n
			}
			most = n
		}
	}
	switch form := usageLine(cmd); {
	case least < 0: // it does not count
		return err
	case len(args) < least:
		return fmt.Errorf("a word is missing: give the command as `%s`", form)
	default:
		extra := args[min(most, len(args)-1)]
		if near := run.Near(extra, subcommands(cmd)); near != "" {
			return fmt.Errorf("%s has no command %q: did you mean %s?", commandName(cmd), extra, near)
		}
		return fmt.Errorf("%q is one word too many: give the command as `%s`", extra, form)
	}
}

// subcommands are the names of the commands below one.
func subcommands(cmd *cobra.Command) (names []string) {
	for _, c := range cmd.Commands() {
		names = append(names, c.Name())
	}
	return names
}

// usageLine is the usage line of a command without its flags.
func usageLine(cmd *cobra.Command) string {
	return strings.ReplaceAll(strings.TrimSuffix(cmd.UseLine(), " [flags]"), " [flags] ", " ")
}

// flagError says in our own words what is wrong with a flag.
func flagError(cmd *cobra.Command, err error) error {
	var unknown *pflag.NotExistError
	var bare *pflag.ValueRequiredError
	var invalid *pflag.InvalidValueError
	switch {
	case errors.As(err, &unknown) && cmd.HasAvailableSubCommands() && cmd.Flags().NArg() > 0:
		return unknownCommand(cmd, cmd.Flags().Arg(0)) // whose flag it may be
	case errors.As(err, &unknown):
		name := "--" + unknown.GetSpecifiedName()
		if short := unknown.GetSpecifiedShortnames(); short != "" {
			name = "-" + short
		}
		return fmt.Errorf("%s has no flag %s%s", commandName(cmd), name, flagMeant(cmd, unknown.GetSpecifiedName()))
	case errors.As(err, &bare):
		what, _ := pflag.UnquoteUsage(bare.GetFlag())
		return fmt.Errorf("--%s needs a value: give it as --%[1]s %s", bare.GetFlag().Name, what)
	case errors.As(err, &invalid):
		return fmt.Errorf("--%s %q: %w", invalid.GetFlag().Name, text.Clip(invalid.GetValue(), 60), expectedValue(invalid))
	}
	return err
}

// insteadOf begins the annotations of a command that say what to do instead of a flag that
// it has not, and that may be looked for.
const insteadOf = "instead of --"

// flagMeant asks whether another flag of the command was meant.
func flagMeant(cmd *cobra.Command, name string) string {
	if instead := cmd.Annotations[insteadOf+name]; instead != "" {
		return ": " + instead
	}
	var names []string
	cmd.Flags().VisitAll(func(f *pflag.Flag) { names = append(names, f.Name) })
	if near := run.Near(name, names); near != "" {
		return ": did you mean --" + near + "?"
	}
	return ""
}

// expectedValue says what a flag takes, where the error comes from a library.
func expectedValue(invalid *pflag.InvalidValueError) error {
	switch invalid.GetFlag().Value.Type() {
	case "duration":
		return errors.New("want a time such as 250ms, 1.5s or 2m")
	case "bool":
		return errors.New("want true or false, or no value at all")
	case "int", "uint", "int64", "uint64":
		return errors.New("want a whole number")
	case "float64":
		return errors.New("want a number, such as 12.5")
	}
	return invalid.Unwrap()
}
