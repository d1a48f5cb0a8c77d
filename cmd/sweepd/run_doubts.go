package main

import (
	"fmt"
	"strings"

	"github.com/spf13/cobra"

	"sweepd/report/sentence"
	"sweepd/report/text"
	"sweepd/testday"
)

func (a *app) runDoubtsCommand() *cobra.Command {
	var f filterFlags
	cmd := &cobra.Command{
		Use:   "doubts",
		Short: "List what needs a look: the findings that cast doubt on runs or reject them, by kind",
		Long: `List what needs a look: the findings that cast doubt on runs or reject them, by kind
and device, the worst and commonest first, with an example and what can be done.
"run list --finding CODE" lists the runs that have one.`,
		Example: `  sweepd run doubts
  sweepd run doubts --since today`,
		Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			q := f.request()
			found, err := call(cmd.Context(), a, testday.FindDoubts, q)
			if err != nil {
				return err
			}
			if a.json {
				return a.printJSON(found.Doubts)
			}
			if found.Runs == 0 {
				a.hintNames(cmd.Context(), q.Named())
			}
			p := a.printer()
			switch {
			case found.Runs == 0:
				p.Say(noRuns(q), "", text.Plain)
			case len(found.Doubts) == 0:
				p.Say(fmt.Sprintf("nothing needs a look: no finding casts doubt on any of %s", sentence.Counted(found.Runs, "run")), "", toneGood)
			default:
				p.Say(fmt.Sprintf("%s. Those that need a look:", sentence.Counted(found.Runs, "run")), "", text.Plain)
			}
			sayDoubts(p, found.Doubts)
			return p.Err
		},
	}
	f.add(cmd)
	return cmd
}

// sayDoubts lists kinds of findings, each with an example.
func sayDoubts(p *printer, doubts []*testday.Doubt) {
	for _, d := range doubts {
		example := d.Example
		if len(d.Settings) > 1 {
			example = "for example at " + d.ExampleSetting + ", " + example
		}
		p.Say(fmt.Sprintf("  %s %s, %s of %s at %s: %s", d.Severity, d.Code, sentence.Counted(d.Runs, "run"), d.Device, strings.Join(d.Settings, ", "), example),
			"    ", severityTone(d.Severity))
	}
}
