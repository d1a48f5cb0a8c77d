package main

import (
	"cmp"
	"fmt"
	"strconv"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"sweepd/actuators"
	"sweepd/collectors"
	"sweepd/report/sentence"
	"sweepd/report/table"
	"sweepd/report/text"
	"sweepd/testday"
)

func (a *app) actuatorsCommand() *cobra.Command {
	cmd := &cobra.Command{
		Use:   "actuators",
		Short: "List what of this machine can be set, and what would be needed",
		Long: `List what of this machine sweepd could set by itself (sweepd plan run): the range of
each, its present value, what the configuration allows, whether it may be written, and
what would be needed. Nothing is written by looking; a read command that the
configuration names under hands_off is run once. The agent that answers says what it may
do; without one, this process looks itself.`,
		Example: `  sweepd actuators
  sweepd actuators --json`,
		Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			offers, err := call(cmd.Context(), a, testday.ListActuators, testday.Nothing{})
			if err != nil {
				return err
			}
			if a.json {
				return a.printJSON(offers)
			}
			at, err := a.whom(cmd.Context())
			if err != nil {
				return err
			}
			return a.printActuators(offers, at.agent != nil)
		},
	}
	cmd.AddCommand(a.actuatorsRestoreCommand())
	return cmd
}

// actuatorOffers tells what of this machine can be set. Nothing is written by it.
func actuatorOffers(c config) testday.ActuatorOffers {
	return func() []actuators.Offer {
		return actuators.Offers(machineActuators(collectors.HostRoots(), c), c.HandsOff.allowed())
	}
}

// commandTimeout is how long the command of the configuration that sets something may take.
func (c *config) commandTimeout() time.Duration {
	if h := c.HandsOff; h != nil && h.Actuators.Command != nil && h.Actuators.Command.Timeout.Duration > 0 {
		return h.Actuators.Command.Timeout.Duration
	}
	return defaultCommandTimeout
}

// commandActuator is what sets by the user's own command; it says so where there is none.
func (c *config) commandActuator() actuators.Actuator {
	if c.HandsOff == nil || c.HandsOff.Actuators.Command == nil {
		return actuators.NewCommand(actuators.Command{Key: actuators.SetsSetting})
	}
	x := c.HandsOff.Actuators.Command
	return actuators.NewCommand(actuators.Command{Key: x.Sets, Set: x.Set, Back: x.Back, Read: x.Read, Within: *x.limits(), Run: runBounded(c.commandTimeout())})
}

// printActuators prints what can be set, then what would be needed to set the rest; asked
// tells whether an agent says so.
func (a *app) printActuators(offers []actuators.Offer, asked bool) error {
	p := a.printer()
	t := table.Table{Columns: []table.Column{
		{Head: "actuator", Least: 17}, {Head: "sets", Least: 8}, {Head: "now", Least: 8}, {Head: "takes", Least: 20}, {Head: "allowed", Least: 14}, {Head: "may be set"},
		{Head: "source", Below: true},
	}}
	for _, o := range offers {
		if o.Missing == "" {
			t.Row(table.Text(o.Actuator), table.Text(o.Sets), table.Text(cmp.Or(o.Now, sentence.Dash)), table.Text(takesText(o)),
				table.Text(allowedText(o)), table.Text(mayText(o)), table.Text(sourcesText(o.Sources)))
		}
	}
	if len(t.Rows) > 0 {
		p.Table(&t)
	} else {
		p.Line("nothing of this machine can be set")
	}
	list := func(head string, why func(actuators.Offer) string) {
		for _, o := range offers {
			if text := why(o); text != "" {
				p.Line("\n%s", head)
				break
			}
		}
		for _, o := range offers {
			if what := why(o); what != "" {
				p.Say("  "+o.Actuator+": "+what, "    ", text.Plain)
			}
		}
	}
	list("needed", func(o actuators.Offer) string {
		if o.Missing != "" && o.Allowed == nil {
			return ""
		}
		return o.Needs
	})
	list("missing", func(o actuators.Offer) string { return o.Missing })
	if !asked {
		p.Line("")
		p.Say("No agent answers: this is what this process finds, and may write itself.", "", text.Plain)
	}
	return p.Err
}

// takesText is what a thing can be set to.
func takesText(o actuators.Offer) string {
	unit := o.Unit
	switch unit {
	case "":
		return strings.Join(o.Choices, ", ")
	case "1":
		unit = ""
	case "cores":
		unit = " cores"
	}
	takes := rangeText(o.Min, o.Max, unit)
	if o.Increment != nil {
		takes += " in steps of " + plainNumber(*o.Increment) + strings.TrimSuffix(unit, " cores")
	}
	return takes
}

// plainNumber is a limit as somebody wrote it.
func plainNumber(v float64) string { return strconv.FormatFloat(v, 'f', -1, 64) }

func rangeText(least, most *float64, unit string) string {
	switch {
	case least != nil && most != nil:
		return plainNumber(*least) + " to " + plainNumber(*most) + unit
	case most != nil:
		return "up to " + plainNumber(*most) + unit
	case least != nil:
		return "from " + plainNumber(*least) + unit
	}
	return "no limits stated"
}

// allowedText is what the configuration allows.
func allowedText(o actuators.Offer) string {
	l := o.Allowed
	switch {
	case l == nil:
		return "no"
	case len(l.Choices) > 0:
		return strings.Join(l.Choices, ", ")
	}
	unit := map[string]string{"W": "W", "cores": " cores"}[o.Unit]
	allowed := rangeText(l.Min, l.Max, unit)
	if l.StepUp != nil {
		allowed += ", up by " + plainNumber(*l.StepUp) + unit
	}
	return allowed
}

func mayText(o actuators.Offer) string {
	if o.Writable && o.Allowed != nil {
		return "yes"
	}
	return "no"
}

// sourcesText is the first place, and how many there are beside it.
func sourcesText(sources []string) string {
	if len(sources) < 2 {
		return strings.Join(sources, "")
	}
	return fmt.Sprintf("%s and %d more", sources[0], len(sources)-1)
}
