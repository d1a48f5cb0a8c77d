package main

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"os"
	"os/user"
	"slices"
	"strings"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"sweepd/report/sentence"
	"sweepd/report/table"
	"sweepd/report/text"
	"sweepd/run"
	"sweepd/testday"
)

// newFlags say what was typed wrong and is right now; they begin with --set, --remove or
// --rename, so that none is taken for a filter.
type newFlags struct {
	texts                                              map[string]*string // by what they set
	variant, removeVariant, renameResult, removeResult []string
}

// setFlags are the flags that set one text.
var setFlags = []struct{ what, usage string }{
	{"workload", "the workload is `NAME`"},
	{"setting", "the setting is so many watts (`25W`) or that name; unknown: nobody knows"},
	{"supply", "the supply is `mains`, battery or unknown"},
	{"device", "the device of these runs is `NAME`"},
	{"note", "the note is `TEXT`; empty takes it away"},
	{"room", "the temperature of the room was `23C` or 73F; none takes it away"},
	{"refresh", "the refresh rate of the display was `120Hz`; none takes it away"},
	{"workload-version", "the workload was of this `VERSION`; none takes it away"},
}

func (f *newFlags) add(cmd *cobra.Command) {
	f.texts = map[string]*string{}
	for _, x := range setFlags {
		f.texts[x.what] = cmd.Flags().String("set-"+x.what, "", x.usage)
	}
	cmd.Flags().StringArrayVar(&f.variant, "set-variant", nil, "the variant has this `k=v` pair; other pairs stay (repeatable)")
	cmd.Flags().StringArrayVar(&f.removeVariant, "remove-variant", nil, "the variant has no pair of this `KEY` (repeatable)")
	cmd.Flags().StringArrayVar(&f.renameResult, "rename-result", nil, "the result `OLD=NEW` has another name (repeatable)")
	cmd.Flags().StringArrayVar(&f.removeResult, "remove-result", nil, "the run has no result called `NAME` (repeatable)")
}

// given are the flags that are on the command line.
func (f *newFlags) given(cmd *cobra.Command) (testday.NewTyped, error) {
	for _, what := range []string{"setting", "supply"} {
		if cmd.Flags().Changed("set-"+what) && strings.TrimSpace(*f.texts[what]) == "" { // as of a variable that is not set
			return testday.NewTyped{}, misused(fmt.Errorf("--set-%s is empty: give the right %[1]s, or unknown where nobody knows it", what))
		}
	}
	condition := func(what string) string {
		if cmd.Flags().Changed("set-" + what) {
			return cmp.Or(*f.texts[what], testday.TakeBack)
		}
		return ""
	}
	conditions, err := testday.ParseTyped(condition("room"), condition("refresh"), condition("workload-version"))
	text := func(what string) *string {
		if !cmd.Flags().Changed("set-" + what) {
			return nil
		}
		return f.texts[what]
	}
	return testday.NewTyped{Device: text("device"), Workload: text("workload"), Setting: text("setting"), Supply: text("supply"), Note: text("note"),
		Variant: f.variant, RemoveVariant: f.removeVariant, RenameResult: f.renameResult, RemoveResult: f.removeResult, Conditions: conditions}, err
}

func (a *app) runCorrectCommand() *cobra.Command {
	var f filterFlags
	var n newFlags
	var why string
	var dryRun, yes, undo, isNew bool
	cmd := &cobra.Command{
		Use:   "correct [RUN]...",
		Short: "Correct what was typed of runs, or take a correction back",
		Long: `Correct what was typed of runs: of those that are named, or of all that the filters
select, which are those of run list. Flags that begin with --set, --remove and
--rename say what is right; all others say which runs are meant. --dry-run shows what
would become of which run. More than one run is asked about, or needs --yes.

What depends on a label is judged again from the run's sweeps: a run that was
rejected for a wrong label counts again, and plans and comparisons see it where it
belongs. Nothing is lost: run history shows what was corrected, by whom and why, and
--undo takes the last correction back as a whole, or the one whose id follows.
` + whichRun,
		Example: `  sweepd run correct last --set-setting 25W
  sweepd run correct --workload harbor-flight --set-workload harbour-flight --dry-run
  sweepd run correct --since 14:00 --set-variant cores=6 --why "forgot to say so" --yes
  sweepd run correct --undo`,
		Args: cobra.ArbitraryArgs,
		RunE: func(cmd *cobra.Command, args []string) error {
			if undo {
				return a.undoCorrection(cmd, args, why, dryRun)
			}
			set, err := n.given(cmd)
			if err != nil {
				return err
			}
			q := testday.CorrectRequest{Runs: args, Filter: f.request(), Set: set, Why: why, Who: typist(), DryRun: dryRun}
			x, err := a.askAndCorrect(cmd.Context(), q, yes, isNew)
			if err != nil {
				return err
			}
			return a.printCorrected(x, dryRun)
		},
	}
	f.add(cmd)
	f.addListed(cmd)
	n.add(cmd)
	cmd.Flags().StringVar(&why, "why", "", "`TEXT` that says why, kept with the correction")
	cmd.Flags().BoolVar(&dryRun, "dry-run", false, "show what would be corrected, and change nothing")
	cmd.Flags().BoolVar(&yes, "yes", false, "do not ask, however many runs there are")
	cmd.Flags().BoolVar(&undo, "undo", false, "take the last correction back, or the one whose id is given")
	newFlag(cmd.Flags(), &isNew)
	return cmd
}

// askAndCorrect asks about names that are probably slips, and about many runs, before any
// is corrected.
func (a *app) askAndCorrect(ctx context.Context, q testday.CorrectRequest, yes, isNew bool) (x testday.CorrectAnswer, err error) {
	ask := !yes && len(q.Runs) != 1
	only := ""
	if len(q.Runs) == 1 {
		only = q.Runs[0]
	}
	q.New = isNew
	for look := q.DryRun || ask || !isNew; look; { // again, where another name is meant
		dry := q
		dry.DryRun = true
		if x, err = call(ctx, a, testday.CorrectRuns, dry); err != nil {
			a.hintNames(ctx, q.Filter.Named())
			return x, err
		}
		if len(x.Runs) == 0 {
			return x, nil
		}
		if q.DryRun {
			for _, d := range x.Doubts {
				a.warn(d.String())
			}
			return x, nil
		}
		use, err := a.settleDoubts(x.Doubts, only)
		if err != nil {
			return x, err
		}
		for _, d := range use {
			q.Set = d.InTyped(q.Set)
		}
		q.New = true
		look = len(use) > 0
	}
	if n := len(x.Runs); ask && n > 1 {
		said, asked := a.ask(fmt.Sprintf("Correct %s? (--dry-run shows them)", sentence.Counted(n, "run")))
		switch {
		case !asked:
			return x, fmt.Errorf("%s would be corrected, and nothing was changed: say --yes if that is meant; --dry-run shows them", sentence.Counted(n, "run"))
		case !said:
			return x, errors.New("nothing was changed")
		}
	}
	return call(ctx, a, testday.CorrectRuns, q)
}

// undoCorrection takes a correction back.
func (a *app) undoCorrection(cmd *cobra.Command, args []string, why string, dryRun bool) error {
	q := testday.UndoRequest{Why: why, Who: typist(), DryRun: dryRun}
	if len(args) > 0 {
		q.Correction = args[0]
	}
	var given error
	cmd.Flags().Visit(func(f *pflag.Flag) {
		if !slices.Contains([]string{"undo", "why", "dry-run", "yes"}, f.Name) && cmd.InheritedFlags().Lookup(f.Name) == nil {
			given = misused(fmt.Errorf("--%s: --undo takes a correction back as a whole, and nothing else is said with it", f.Name))
		}
	})
	if given != nil {
		return given
	}
	if len(args) > 1 {
		return misused(fmt.Errorf("%q is one word too many: --undo takes the id of one correction (`sweepd run history` lists them)", args[1]))
	}
	x, err := call(cmd.Context(), a, testday.UndoCorrection, q)
	if err != nil {
		return err
	}
	return a.printCorrected(x, dryRun)
}

// typist is who types, as the system calls them; "" where it does not say.
func typist() string {
	u, err := user.Current()
	if err != nil {
		return os.Getenv("USER")
	}
	return u.Username
}

// printCorrected says what was corrected, or would be.
func (a *app) printCorrected(x testday.CorrectAnswer, dryRun bool) error {
	if a.json {
		return a.printJSON(x)
	}
	p := a.printer()
	runs := sentence.Counted(len(x.Runs), "run")
	switch {
	case len(x.Runs) == 0:
		p.Say("nothing to correct: "+sentence.Counted(len(x.Unchanged), "run")+" as it should be already", "", text.Plain)
	case dryRun && x.Undoes != "":
		p.Say("correction "+run.ShortID(x.Undoes)+" would be taken back of "+runs+":", "", text.Plain)
	case dryRun:
		p.Say(runs+" would be corrected:", "", text.Plain)
	case x.Undoes != "":
		p.Say(fmt.Sprintf("correction %s is taken back, of %s; `sweepd run correct --undo %s` has it again:", run.ShortID(x.Undoes), runs, run.ShortID(x.ID)), "", text.Plain)
	default:
		p.Say(fmt.Sprintf("%s corrected; `sweepd run correct --undo %s` takes that back:", runs, run.ShortID(x.ID)), "", text.Plain)
	}
	p.corrected(x.Runs)
	if n := len(x.Unchanged); n > 0 && len(x.Runs) > 0 {
		p.Say(sentence.Counted(n, "run")+" already as it should be", "", text.Plain)
	}
	for _, l := range x.Left {
		p.Say("run "+run.ShortID(l.Run)+" is left out: "+l.Why, "  ", toneDoubt)
	}
	return p.Err
}

// corrected lists runs with what changes of them.
func (p *printer) corrected(list []testday.CorrectedRun) {
	started := make([]run.Run, len(list))
	for i, r := range list {
		started[i].StartedAt = r.StartedAt
	}
	zone, times := startTimes(started)
	t := table.Table{Columns: []table.Column{{Head: "run"}, {Head: "started (" + zone + ")", Least: 16}, {Head: "it was", Least: 12}, {Head: "correction", Least: 20}, {Head: "follows", Least: 8, Optional: table.Terminal}}}
	for i, r := range list {
		t.Row(table.Text(run.ShortID(r.Run)), table.Text(times[i]), table.Text(r.Cell.String()), table.Text(changesText(r.Changes)), table.Text(followsText(r)))
	}
	p.Table(&t)
}

// changesText are changes of a run in words; a result that moved to another name is one.
func changesText(list []run.Change) string {
	var texts []string
	renamed := map[string]bool{}
	for _, c := range list {
		for _, to := range list {
			if c.What == run.FieldResult && to.What == c.What && c.New == "" && to.Old == "" && to.New == c.Old && !renamed[to.Name] && !renamed[c.Name] {
				texts = append(texts, "result "+c.Name+" → "+to.Name)
				renamed[c.Name], renamed[to.Name] = true, true
			}
		}
	}
	for _, c := range list {
		if c.What != run.FieldSource && !renamed[c.Name] {
			texts = append(texts, changeText(c))
		}
	}
	return strings.Join(texts, "; ")
}

// changeText is a change in words.
func changeText(c run.Change) string {
	if c.What == run.FieldCondition {
		return sentence.FactName(c.Name) + " " + conditionText(c.Name, c.Old) + " → " + conditionText(c.Name, c.New)
	}
	if c.What != run.FieldResult {
		return c.Thing() + " " + orNothing(c.Old) + " → " + orNothing(c.New)
	}
	old, _ := run.ParseResultText(c.Old)
	x, _ := run.ParseResultText(c.New)
	switch {
	case c.New == "":
		return c.Thing() + " " + valueText(old) + " removed"
	case c.Old == "":
		return c.Thing() + " " + valueText(x) + " added"
	case valueText(old) == valueText(x):
		return c.Thing() + " " + c.Old + " → " + c.New
	}
	return c.Thing() + " " + valueText(old) + " → " + valueText(x)
}

func conditionText(key, value string) string {
	if value == "" {
		return orNothing(value)
	}
	return sentence.FactValue(key, value)
}

func orNothing(text string) string {
	if text == "" {
		return "(none)"
	}
	return strings.ReplaceAll(text, "\n", " / ")
}

// followsText is what a correction changes of a run beside what was typed.
func followsText(r testday.CorrectedRun) string {
	var parts []string
	if r.State != r.Was {
		parts = append(parts, string(r.Was)+" → "+string(r.State))
	}
	for _, code := range r.Gone {
		parts = append(parts, string(code)+" gone")
	}
	for _, code := range r.Found {
		parts = append(parts, string(code)+" found")
	}
	return strings.Join(parts, ", ")
}
