package main

import (
	"errors"
	"slices"
	"strings"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"sweepd/testday"
)

// slip is a flag of run stop that cannot be understood.
type slip struct {
	testday.Slip
	unknown bool // there is no such flag
}

// forgive takes out of the command line of a run stop the flags that cannot be
// understood, and notes them: the run is to end before anything is said of them. Other
// command lines stay as they are, and so does one that asks for help.
func (a *app) forgive(root *cobra.Command, args []string) []string {
	stop, rest, err := root.Find(args)
	if err != nil || stop.CommandPath() != root.Name()+" run stop" {
		return args
	}
	trial, _, _ := (&app{getenv: a.getenv}).root().Find([]string{"run", "stop"}) // it parses, and nothing comes of it
	trial.InitDefaultHelpFlag()
	kept := []string{"run", "stop"}
	for len(rest) > 0 && rest[0] != "--" {
		n := 1
		if len(rest) > 1 && takesNext(trial, rest[0], rest[1]) {
			n = 2
		}
		if err := trial.ParseFlags(rest[:n]); err != nil {
			a.slips = append(a.slips, newSlip(stop, rest[:n], err))
		} else {
			kept = append(kept, rest[:n]...)
		}
		rest = rest[n:]
	}
	if help := trial.Flags().Lookup("help"); help.Changed {
		a.slips = nil
		return args
	}
	return slices.Concat(kept, rest)
}

// takesNext tells whether a flag takes the word after it as its value. Of a flag that is
// not known that is a guess: whatever is no other flag and no part of an id of a run.
func takesNext(cmd *cobra.Command, word, next string) bool {
	if len(word) < 2 || word[0] != '-' || strings.Contains(word, "=") {
		return false
	}
	if f := cmd.Flags().Lookup(strings.TrimPrefix(word, "--")); f != nil && strings.HasPrefix(word, "--") {
		return f.NoOptDefVal == ""
	}
	return !strings.HasPrefix(next, "-") && !testday.MayNameRun(next)
}

// newSlip says what is wrong with a flag, and what may have been meant.
func newSlip(cmd *cobra.Command, words []string, err error) slip {
	var unknown *pflag.NotExistError
	s := slip{testday.Slip{Text: flagError(cmd, err).Error()}, errors.As(err, &unknown)}
	name, value, _ := strings.Cut(strings.TrimLeft(words[0], "-"), "=")
	if len(words) > 1 {
		value = words[1]
	}
	switch {
	case strings.Contains(name, "frame"):
		s.Meant = testday.MeantFrames
	case strings.Contains(value, "="):
		s.Meant = value
	case s.unknown:
		s.Meant = name + "=" + value
	}
	return s
}
