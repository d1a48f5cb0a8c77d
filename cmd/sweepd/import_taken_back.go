package main

import (
	"fmt"
	"strconv"

	"github.com/spf13/cobra"

	"sweepd/report/sentence"
	"sweepd/report/table"
	"sweepd/report/text"
	"sweepd/store"
	"sweepd/testday"
)

// takeImportBack lists imports, takes one back or has it back.
func (a *app) takeImportBack(cmd *cobra.Command, args []string, list, again bool) error {
	if list {
		if len(args) > 0 {
			return misused(fmt.Errorf("%q is one word too many: --list lists all imports", args[0]))
		}
		imports, err := call(cmd.Context(), a, testday.ListImports, struct{}{})
		if err != nil {
			return err
		}
		return a.printImports(imports)
	}
	q := testday.TakeBackRequest{Again: again}
	if len(args) > 0 {
		q.Import = args[0]
	}
	x, err := call(cmd.Context(), a, testday.TakeImportBack, q)
	if err != nil {
		return err
	}
	if a.json {
		return a.printJSON(x)
	}
	p := a.printer()
	did, other := "taken back: its %s are not counted", "--again %d` brings them back"
	if !again && x.Runs == 1 {
		did = "taken back: its %s is not counted"
	}
	if again {
		did, other = "back: its %s count again", "--undo %d` takes them back"
		if x.Runs == 1 {
			did = "back: its %s counts again"
		}
	}
	p.Say(fmt.Sprintf("import %d of %s is "+did+"; `sweepd import "+other, x.ID, sourceText(x), sentence.Counted(x.Runs, "run"), x.ID), "", text.Plain)
	return p.Err
}

func sourceText(x store.Import) string {
	if x.Source == "" {
		return "an unknown file"
	}
	return x.Source
}

func (a *app) printImports(list []store.Import) error {
	if a.json {
		return a.printJSON(list)
	}
	if len(list) == 0 {
		_, err := fmt.Fprintln(a.out, "nothing was imported or merged yet")
		return err
	}
	p := a.printer()
	t := table.Table{Columns: []table.Column{{Head: "import", Right: true}, {Head: "when"}, {Head: "runs", Right: true}, {Head: "file", Least: 12}, {Head: "", Optional: table.Terminal}}}
	for _, x := range list {
		when, taken := sentence.Dash, ""
		if !x.At.IsZero() {
			when = timeText(x.At)
		}
		if !x.TakenAt.IsZero() {
			taken = "taken back " + timeText(x.TakenAt)
		}
		t.Row(table.Text(strconv.FormatInt(x.ID, 10)), table.Text(when), table.Text(strconv.Itoa(x.Runs)), table.Text(sourceText(x)), table.Text(taken))
	}
	p.Table(&t)
	return p.Err
}
