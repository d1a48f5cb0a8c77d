package main

import (
	"context"
	"errors"
	"fmt"
	"strings"

	"github.com/spf13/pflag"

	"sweepd/run"
	"sweepd/testday"
)

// newFlag adds --new, which says that names are meant.
func newFlag(flags *pflag.FlagSet, isNew *bool) {
	flags.BoolVar(isNew, "new", false, "names are meant as they are given, also where they are almost those of before")
}

// settle finds the names that are probably slips of others. At a terminal it asks which
// is meant, and gives those for which what was seen is; elsewhere it warns. Where nobody
// can tell what was seen, nothing is asked: what comes next says why. later names the run
// that will have the names, to correct it; "" for none.
func (a *app) settle(ctx context.Context, n testday.Named, isNew bool, later string) (use []testday.NameDoubt, err error) {
	if isNew {
		return nil, nil
	}
	answer, err := call(ctx, a, testday.CheckNames, n)
	if err != nil {
		return nil, nil
	}
	return a.settleDoubts(answer.Doubts, later)
}

// errNothingDone is what ends a command whose names are not meant.
var errNothingDone = errors.New("nothing was done: give the command again with the name that is meant, or with --new")

func (a *app) settleDoubts(doubts []testday.NameDoubt, later string) (use []testday.NameDoubt, err error) {
	for _, d := range doubts {
		answer, asked := a.reply(question(d))
		switch {
		case !asked:
			a.warn(d.String() + "; if it is meant, say --new" + correction(d, later))
		case d.Usable() && (answer == "" || agreed(answer)):
			use = append(use, d)
		case answer == "new" || !d.Usable() && agreed(answer):
		default:
			return nil, errNothingDone
		}
	}
	return use, nil
}

// question asks whether what was seen is meant.
func question(d testday.NameDoubt) string {
	switch {
	case !d.Usable():
		return fmt.Sprintf("%s. Keep it in %s? [y/N] ", d, d.Typed)
	case d.Factor != nil:
		return fmt.Sprintf("%s. Convert it to %s? [Y/n/new] ", d, d.Near)
	}
	return fmt.Sprintf("%s. Use %s? [Y/n/new] ", d, d.Near)
}

// warn says something on standard error that a person should read.
func (a *app) warn(text string) {
	terminal := a.terminal(a.err)
	fmt.Fprintln(a.err, terminal.PaintLines(terminal.Wrap("warning: "+text, "  "), toneDoubt))
}

// hintNames says of names that select runs, and that no run has, which were probably meant.
func (a *app) hintNames(ctx context.Context, n testday.Named) {
	if n.None() {
		return
	}
	answer, err := call(ctx, a, testday.CheckNames, n)
	if err != nil {
		return
	}
	for _, d := range answer.Doubts {
		of := ""
		if d.Of != "" {
			of = d.Of + "="
		}
		fmt.Fprintf(a.err, "no run has the %s %q: did you mean %s%s?\n", d.What, of+d.Typed, of, d.Near)
	}
}

// settleRules settles the names of results that are read from a command's output.
func (a *app) settleRules(ctx context.Context, rules *testday.OutputRules, isNew bool) error {
	named := testday.Named{Results: map[string]string{}}
	for _, name := range rules.Names() {
		named.Results[name] = ""
	}
	use, err := a.settle(ctx, named, isNew, "")
	for _, d := range use {
		rules.Rename(d.Typed, d.Near)
	}
	return err
}

// correction says how a run's name is put right, as the end of a sentence.
func correction(d testday.NameDoubt, id string) string {
	if d.Correction() == "" || id == "" {
		return ""
	}
	return fmt.Sprintf("; to put it right: `sweepd run correct %s %s`", id, d.Correction())
}

// settleResults finds which results that a run has got are probably slips. The run has
// ended and has them as they were given, whatever is answered and whether anybody does.
func (a *app) settleResults(ctx context.Context, d run.Record, isNew bool) {
	if isNew || len(d.Results) == 0 {
		return
	}
	named := testday.NamedInResults(d.Results)
	named.Run = d.ID
	answer, err := call(ctx, a, testday.CheckNames, named)
	if err != nil {
		return
	}
	for _, doubt := range answer.Doubts {
		id := run.ShortID(d.ID)
		right := correction(doubt, id)
		if doubt.Correction() == "" {
			right = fmt.Sprintf("; to put it right: `sweepd run result %s %q`", id, doubt.InUnit(d.Results))
		}
		answer, asked := a.reply(question(doubt))
		switch {
		case asked && doubt.Usable() && (answer == "" || agreed(answer)):
			a.putRight(ctx, d, doubt, right)
		case asked && (doubt.Usable() || agreed(answer)):
		default:
			a.warn(fmt.Sprintf("%s; run %s has it as it was given%s", doubt, id, right))
		}
	}
}

// putRight gives a run's result the name that was seen, or converts it to the unit that was.
func (a *app) putRight(ctx context.Context, d run.Record, doubt testday.NameDoubt, right string) {
	id := run.ShortID(d.ID)
	said := fmt.Sprintf("%s is now called %s", doubt.Typed, doubt.Near)
	var err error
	if doubt.Correction() != "" {
		q := testday.CorrectRequest{Runs: []string{d.ID}, Set: testday.NewTyped{RenameResult: []string{doubt.Typed + "=" + doubt.Near}}, Who: typist(), New: true}
		_, err = call(ctx, a, testday.CorrectRuns, q)
	} else {
		list := testday.Results{doubt.Of: doubt.InResults(d.Results)[doubt.Of]}
		_, err = a.giveResults(ctx, d.ID, list, nil)
		said = "it is now " + resultsText(list)
	}
	if err != nil {
		a.warn(fmt.Sprintf("the result stays as it was given: %v%s", err, right))
		return
	}
	fmt.Fprintf(a.err, "run %s: %s\n", id, said)
}

// answered is what a person typed, in small letters; "n" where the input ended.
func answered(line string, err error) string {
	if err != nil {
		return "n"
	}
	return strings.ToLower(strings.TrimSpace(line))
}
