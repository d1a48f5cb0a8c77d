package main

import (
	"fmt"
	"maps"
	"slices"
	"strings"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"sweepd/report"
	"sweepd/run"
	"sweepd/testday"
)

// completeValues has the shell offer, for the flags and arguments of all commands, what
// they take: words of a fixed list, and names that the data have. What a command offers
// itself stays.
func (a *app) completeValues(c *cobra.Command) {
	c.Flags().VisitAll(func(f *pflag.Flag) {
		if offer := a.offers(f); offer != nil {
			_ = c.RegisterFlagCompletionFunc(f.Name, offer) // it fails where the command has its own
		}
	})
	if words := wordsTaken(c.Use); len(words) > 0 && c.ValidArgsFunction == nil {
		c.ValidArgsFunction = func(cmd *cobra.Command, args []string, typed string) ([]string, cobra.ShellCompDirective) {
			at := len(args)
			if last := words[len(words)-1]; at >= len(words) && strings.HasSuffix(last, "...") {
				at = len(words) - 1
			}
			if at >= len(words) {
				return nil, cobra.ShellCompDirectiveNoFileComp
			}
			offer := a.offer(strings.TrimSuffix(words[at], "..."))
			if offer == nil {
				return nil, cobra.ShellCompDirectiveDefault // files
			}
			return offer(cmd, args, typed)
		}
	}
	for _, sub := range c.Commands() {
		a.completeValues(sub)
	}
}

// wordsTaken are the words that a command takes, as its usage line calls them; one that
// may be repeated ends in "...".
func wordsTaken(use string) (words []string) {
	for _, word := range strings.Fields(use)[1:] {
		word = strings.Trim(word, "[]")
		if word == "|" || strings.Contains(word, "--") || word == "flags" {
			break
		}
		if cut, repeated := strings.CutSuffix(word, "]..."); repeated {
			word = cut + "..."
		}
		words = append(words, word)
	}
	return words
}

// offers are the values of a flag that can be known; nil: files, which the shell offers.
func (a *app) offers(f *pflag.Flag) cobra.CompletionFunc {
	if choice, ok := f.Value.(*choiceFlag); ok {
		return cobra.FixedCompletions(choice.words, cobra.ShellCompDirectiveNoFileComp)
	}
	switch what, _ := pflag.UnquoteUsage(f); what {
	case "": // a switch
		return nil
	case "FILE", "PATH", "NAME=FILE":
		return nil
	case "SHAPE":
		return cobra.FixedCompletions([]string{string(report.Wide), string(report.Square), string(report.Upright)}, cobra.ShellCompDirectiveNoFileComp)
	case "DIR":
		return cobra.FixedCompletions(nil, cobra.ShellCompDirectiveFilterDirs)
	}
	if offer := a.offer(strings.TrimPrefix(f.Name, "set-")); offer != nil {
		return offer
	}
	return cobra.NoFileCompletions
}

// offer are the values that can be known of a flag or an argument of this name; nil: none.
func (a *app) offer(name string) cobra.CompletionFunc {
	fixed := func(words ...string) cobra.CompletionFunc {
		return cobra.FixedCompletions(words, cobra.ShellCompDirectiveNoFileComp)
	}
	of := func(names func(run.Run) []string) cobra.CompletionFunc {
		return func(cmd *cobra.Command, _ []string, _ string) ([]string, cobra.ShellCompDirective) {
			return a.seen(cmd, names), cobra.ShellCompDirectiveNoFileComp
		}
	}
	switch name {
	case "finding":
		return fixed(run.Codes()...)
	case "state":
		return fixed(string(run.Recording), string(run.Finished), string(run.Interrupted), string(run.Rejected))
	case "supply":
		return fixed(string(run.Mains), string(run.Battery))
	case "frame-unit":
		return fixed("ms", "us", "s", "fps")
	case "SETTING": // of the simulated device
		return fixed(run.PlatformProfiles...)
	case "device", "same-device", "OLD", "NEW":
		return of(devices)
	case "workload":
		return of(workloads)
	case "setting", "settings", "25W":
		return of(func(r run.Run) []string { return []string{r.Setting.String()} })
	case "variant":
		return of(variants)
	case "remove-variant", "hard":
		return of(func(r run.Run) []string { return slices.Collect(maps.Keys(r.Variant.Map())) })
	case "metric", "lower", "remove-result":
		return of(metrics)
	case "result", "rename-result", "result-from", "NAME=VALUE[UNIT]":
		return before("=", of(metrics))
	case "price", "full-energy":
		return before("=", of(devices))
	case "run", "infer", "RUN":
		return a.newest
	case "PLAN":
		return a.plans
	case "PAIRED":
		return a.paired
	case "a", "b":
		return a.sides
	}
	return nil
}

// before are names with what the value follows: the cursor stays behind it.
func before(sign string, of cobra.CompletionFunc) cobra.CompletionFunc {
	return func(cmd *cobra.Command, args []string, typed string) ([]string, cobra.ShellCompDirective) {
		names, how := of(cmd, args, typed)
		for i := range names {
			names[i] += sign
		}
		return names, how | cobra.ShellCompDirectiveNoSpace
	}
}

// sides are what a side of a comparison may be, by what the sides differ in.
func (a *app) sides(cmd *cobra.Command, _ []string, _ string) ([]string, cobra.ShellCompDirective) {
	by := ""
	if f := cmd.Flag("by"); f != nil {
		by = f.Value.String()
	}
	var of func(run.Run) []string
	switch by {
	case "supply":
		return []string{string(run.Mains), string(run.Battery)}, cobra.ShellCompDirectiveNoFileComp
	case "device":
		of = devices
	case "variant":
		of = variants
	default: // pairs of any kind; the report's is a device
		of = func(r run.Run) []string {
			return append(variants(r), "device="+r.Device, "supply="+string(r.Supply))
		}
		if cmd.Flag("a") == nil {
			of = devices
		}
	}
	return a.seen(cmd, of), cobra.ShellCompDirectiveNoFileComp
}

func devices(r run.Run) []string   { return []string{r.Device} }
func workloads(r run.Run) []string { return []string{r.Workload} }
func variants(r run.Run) []string  { return strings.Split(string(r.Variant), ",") }

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
func (a *app) newest(cmd *cobra.Command, _ []string, _ string) (ids []string, how cobra.ShellCompDirective) {
	runs, _ := call(cmd.Context(), a, testday.ListRuns, testday.FilterRequest{Last: newestRuns}) // a completion has no errors
	for _, r := range slices.Backward(runs) {
		ids = append(ids, run.ShortID(r.ID)+"\t"+strings.Join([]string{r.Workload, r.Setting.String(), string(r.Supply), timeText(r.StartedAt)}, " "))
	}
	return append(ids, run.Last+"\tthe run recorded last"), cobra.ShellCompDirectiveNoFileComp | cobra.ShellCompDirectiveKeepOrder
}

// plans are the numbers of the plans that were made, the latest first.
func (a *app) plans(cmd *cobra.Command, _ []string, _ string) (ids []string, how cobra.ShellCompDirective) {
	list, _ := call(cmd.Context(), a, testday.PlansMade, testday.Nothing{})
	for _, p := range slices.Backward(list) {
		ids = append(ids, fmt.Sprintf("%d\t%s, %s, %d of %d done", p.ID, timeText(p.CreatedAt), strings.Join(p.Workloads, ", "), p.Done, p.Runs))
	}
	return ids, cobra.ShellCompDirectiveNoFileComp | cobra.ShellCompDirectiveKeepOrder
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
