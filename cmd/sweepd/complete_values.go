package main

import (
	"slices"
	"strings"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"sweepd/run"
	"sweepd/testday"
)

// completeValues has the shell offer, for the flags and arguments of all commands, what
// they take: words of a fixed list, and names that the data have.
func (a *app) completeValues(c *cobra.Command) {
	c.Flags().VisitAll(func(f *pflag.Flag) {
		if offer := a.offers(f); offer != nil {
			_ = c.RegisterFlagCompletionFunc(f.Name, offer) // it fails for a flag that is not there
		}
	})
	if _, arg, _ := strings.Cut(c.Use, " "); (strings.HasPrefix(arg, "RUN") || strings.HasPrefix(arg, "[RUN")) && c.ValidArgsFunction == nil {
		c.ValidArgsFunction = func(cmd *cobra.Command, args []string, typed string) ([]string, cobra.ShellCompDirective) {
			if len(args) > 0 {
				return nil, cobra.ShellCompDirectiveNoFileComp
			}
			return append(a.newest(cmd), "last\tthe run recorded last"), cobra.ShellCompDirectiveNoFileComp | cobra.ShellCompDirectiveKeepOrder
		}
	}
	for _, sub := range c.Commands() {
		a.completeValues(sub)
	}
}

// offers are the values of a flag that can be known; nil: none.
func (a *app) offers(f *pflag.Flag) cobra.CompletionFunc {
	if choice, ok := f.Value.(*choiceFlag); ok {
		return cobra.FixedCompletions(choice.words, cobra.ShellCompDirectiveNoFileComp)
	}
	switch f.Name {
	case "finding":
		return cobra.FixedCompletions(run.Codes(), cobra.ShellCompDirectiveNoFileComp)
	case "state":
		return cobra.FixedCompletions([]string{string(run.Recording), string(run.Finished), string(run.Interrupted), string(run.Rejected)}, cobra.ShellCompDirectiveNoFileComp)
	case "supply":
		return cobra.FixedCompletions([]string{string(run.Mains), string(run.Battery)}, cobra.ShellCompDirectiveNoFileComp)
	case "frame-unit":
		return cobra.FixedCompletions([]string{"ms", "us", "s", "fps"}, cobra.ShellCompDirectiveNoFileComp)
	case "run", "infer":
		return func(cmd *cobra.Command, _ []string, _ string) ([]string, cobra.ShellCompDirective) {
			return a.newest(cmd), cobra.ShellCompDirectiveNoFileComp | cobra.ShellCompDirectiveKeepOrder
		}
	case "result":
		return func(cmd *cobra.Command, _ []string, _ string) ([]string, cobra.ShellCompDirective) {
			names := a.seen(cmd, metrics)
			for i := range names {
				names[i] += "="
			}
			return names, cobra.ShellCompDirectiveNoFileComp | cobra.ShellCompDirectiveNoSpace
		}
	}
	names, known := map[string]func(run.Run) []string{
		"device":   func(r run.Run) []string { return []string{r.Device} },
		"workload": func(r run.Run) []string { return []string{r.Workload} },
		"setting":  func(r run.Run) []string { return []string{r.Setting.String()} },
		"variant":  func(r run.Run) []string { return strings.Split(string(r.Variant), ",") },
		"metric":   metrics, "lower": metrics,
	}[f.Name]
	if !known {
		return nil
	}
	return func(cmd *cobra.Command, _ []string, _ string) ([]string, cobra.ShellCompDirective) {
		return a.seen(cmd, names), cobra.ShellCompDirectiveNoFileComp
	}
}

func metrics(r run.Run) (names []string) {
	for name := range r.Results {
		names = append(names, name)
	}
	return names
}

// newestRuns are as many as a person can choose from.
const newestRuns = 50

// newest are the ids of the newest runs, the latest first; what tells them apart stands
// behind a tab, which the shell shows as a remark.
func (a *app) newest(cmd *cobra.Command) (ids []string) {
	runs, _ := call(cmd.Context(), a, testday.ListRuns, testday.FilterRequest{Last: newestRuns}) // a completion has no errors
	for _, r := range slices.Backward(runs) {
		ids = append(ids, run.ShortID(r.ID)+"\t"+strings.Join([]string{r.Workload, r.Setting.String(), string(r.Supply), timeText(r.StartedAt)}, " "))
	}
	return ids
}

// seen are the names that runs have, each once. Where there are no data there are none: a
// completion has no errors.
func (a *app) seen(cmd *cobra.Command, of func(run.Run) []string) (names []string) {
	runs, _ := call(cmd.Context(), a, testday.ListRuns, testday.FilterRequest{})
	for _, r := range runs {
		names = append(names, of(r)...)
	}
	slices.Sort(names)
	return slices.DeleteFunc(slices.Compact(names), func(name string) bool { return name == "" })
}
