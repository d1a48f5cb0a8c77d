package main

import (
	"errors"
	"fmt"
	"strings"

	"github.com/spf13/cobra"

	"sweepd/report/sentence"
	"sweepd/report/text"
	"sweepd/store"
	"sweepd/testday"
)

func (a *app) checkCommand() *cobra.Command {
	return &cobra.Command{
		Use:   "check",
		Short: "Tell what of the data is damaged and what is whole",
		Long: `Read all that is kept, with or without an agent running, and hold it against the
checksums it was stored with. Damage is told by run and by what of it is damaged, and
the structure of the file is checked too. Nothing is changed. The exit status is 1
where anything is damaged. Data of version 1 has no checksums: what cannot be read is
told, and that a changed byte cannot be noticed.

What is damaged is left out by every other command, which says so. A row that was
changed by hand counts as damaged. ` + "`sweepd merge`" + ` into another folder takes over the
runs that are whole.`,
		Example: `  sweepd check
  sweepd check --data /media/stick/unit-elm --json`,
		Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			r, err := call(cmd.Context(), a, testday.CheckData, testday.Nothing{})
			if err != nil {
				return err
			}
			if a.json {
				err = a.printJSON(r)
			} else {
				err = a.printCheck(r)
			}
			if err == nil && !r.Whole {
				err = errors.New("the data is damaged: keep a copy; `sweepd merge` into another folder takes over the runs that are whole")
			}
			return err
		},
	}
}

func (a *app) printCheck(r store.CheckReport) error {
	p := a.printer()
	for _, x := range r.Runs {
		if len(x.Damaged) > 0 {
			p.Say(fmt.Sprintf("damaged: run %s (%s, %s): %s", x.ID, x.Device, x.Workload, strings.Join(x.Damaged, ", ")), "  ", text.Bad)
		}
	}
	for _, d := range r.Damaged {
		p.Say("damaged: "+d, "  ", text.Bad)
	}
	damaged := r.DamagedRuns()
	if !r.Checksums {
		of := ""
		if damaged > 0 {
			of = fmt.Sprintf(", %d damaged", damaged)
		}
		p.Line("%s: %s of %s%s; this data is of version %d, which kept no checksums: a changed byte in it cannot be noticed; the first command that writes adds them",
			r.Path, sentence.Counted(len(r.Runs), "run"), sentence.Counted(r.Devices(), "device"), of, r.Version)
		return p.Err
	}
	p.Line("%s: %s whole, %d damaged", r.Path, sentence.Counted(len(r.Runs)-damaged, "run"), damaged)
	return p.Err
}
