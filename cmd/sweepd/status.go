package main

import (
	"context"
	"errors"
	"fmt"
	"time"

	"github.com/spf13/cobra"

	"sweepd/report/sentence"
	"sweepd/report/text"
	"sweepd/run"
	"sweepd/store/sqlite"
	"sweepd/testday"
)

// redrawEvery is how often `status --follow` looks again.
const redrawEvery = 2 * time.Second

func (a *app) statusCommand() *cobra.Command {
	var follow bool
	cmd := &cobra.Command{
		Use:   "status",
		Short: "Say on one screen how the test day stands",
		Long: `Say on one screen how the test day stands: the device and its agent, where runs are
kept, the setting, the supply, charge and watts, the run in progress, what the plan
wants next or a day without hands does now, and what needs a look among the runs of
the last 24 hours. Without an agent it says what the data tells.`,
		Example: `  sweepd status
  sweepd status --follow`,
		Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			if !follow {
				return a.showStatus(cmd.Context())
			}
			again := time.NewTicker(redrawEvery)
			defer again.Stop()
			for {
				if !a.json && !a.terminal(a.out).Unlimited {
					fmt.Fprint(a.out, "\x1b[H\x1b[2J") // ECMA-48: cursor home, erase in page
				}
				if err := a.showStatus(cmd.Context()); err != nil {
					return err
				}
				select {
				case <-cmd.Context().Done():
					return nil
				case <-again.C:
				}
			}
		},
	}
	cmd.Flags().BoolVar(&follow, "follow", false, "say it again every 2 s until Ctrl-C")
	return cmd
}

func (a *app) showStatus(ctx context.Context) error {
	o, err := a.overview(ctx)
	if err != nil {
		return err
	}
	if a.json {
		return a.printJSON(o)
	}
	return a.printOverview(o)
}

// overview asks the agent and the data, as far as there are any.
func (a *app) overview(ctx context.Context) (o testday.Overview, err error) {
	o = testday.Overview{Asked: "folder", Temperatures: []testday.Temperature{}, Standing: testday.Standing{Doubts: []*testday.Doubt{}}}
	a.found = nil // an agent may have come or gone since
	at, err := a.whom(ctx)
	if err != nil {
		return o, err
	}
	o.Data, o.DataFrom = at.folder, at.from
	if at.agent != nil {
		o.Asked = "agent"
	}
	client, status := at.agent, at.status
	if client == nil {
		if client, err = a.client(); err != nil {
			return o, misused(err)
		}
	}
	o.AgentURL = client.URL()
	asked, cancel := context.WithTimeout(ctx, agentWait)
	defer cancel()
	if at.agent == nil {
		status, err = client.Status(asked)
	}
	if err != nil {
		o.AgentError = err.Error()
	} else {
		sensors, err := client.Sensors(asked)
		if err != nil {
			return o, err
		}
		o.AddAgent(status, sensors)
		o.HandsOff = a.handsOffNow(ctx, client)
	}
	standing, err := call(ctx, a, testday.DayStands, testday.Nothing{})
	if errors.Is(err, sqlite.ErrNoData) {
		return o, nil
	}
	o.Standing = standing
	return o, err
}

// askedText says whom commands ask, and whose the data is.
func askedText(o testday.Overview) string {
	if o.Asked == "folder" {
		return fmt.Sprintf("asked: the data in %s (%s), by this command itself", o.Data, o.DataFrom)
	}
	text := fmt.Sprintf("asked: the agent at %s, which keeps its data in %s", o.AgentURL, o.Data)
	if s := o.Agent; s != nil && s.User != "" {
		text += fmt.Sprintf("; it runs as %s, and the group %s may correct", s.User, s.Group)
	}
	return text
}

func (a *app) printOverview(o testday.Overview) error {
	p := a.printer()
	say := func(text string, tone text.Tone) { p.Say(text, "  ", tone) }
	if s := o.Agent; s != nil {
		say(fmt.Sprintf("device: %s, watched by the agent at %s (version %s)", s.Device, o.AgentURL, s.Version), text.Plain)
	} else {
		say(o.AgentError, toneDoubt)
	}
	say(askedText(o), text.Plain)
	if s := o.Agent; s != nil {
		say("setting: "+settingNow(*s), text.Plain)
		if why := s.SettingCommandFailure; why != "" {
			say("setting_command tells nothing: "+why, toneDoubt)
		}
		say("supply: "+supplyNow(o), text.Plain)
		if s.Recording != nil {
			say("recording: "+runNow(o), toneGood)
		} else {
			say("no run is recording", text.Plain)
		}
		for _, r := range s.Unstored {
			say(fmt.Sprintf("not stored yet: run %s, %s, which ended; `sweepd run stop %[1]s` tries again", run.ShortID(r.ID), r.Cell()), toneBad)
		}
	}
	switch {
	case o.HandsOff != nil:
		p.sayDay(*o.HandsOff)
	case o.Next != nil:
		say("next: "+nextText(o.Next), text.Plain)
	}
	switch {
	case len(o.Doubts) > 0:
		say(fmt.Sprintf("%s in the last 24 hours. What needs a look:", sentence.Counted(o.Runs, "run")), text.Plain)
		sayDoubts(p, o.Doubts)
	case o.Runs > 0:
		say(fmt.Sprintf("%s in the last 24 hours; nothing needs a look", sentence.Counted(o.Runs, "run")), text.Plain)
	default:
		say("no run in the last 24 hours", text.Plain)
	}
	return p.Err
}

// supplyNow is the supply with charge, watts and the hottest temperature.
func supplyNow(o testday.Overview) string {
	s := o.Agent
	words := string(s.Supply)
	if s.Supply == run.SupplyUnknown {
		words = "unknown"
	}
	if s.ChargeRatio != nil {
		words += fmt.Sprintf(", battery at %.0f %%", 100**s.ChargeRatio)
	}
	if w := s.DischargeW; w != nil {
		switch {
		case *w > 0:
			words += fmt.Sprintf(", discharging with %s W", sentence.Significant(*w))
		case *w < 0:
			words += fmt.Sprintf(", charging with %s W", sentence.Significant(-*w))
		}
	}
	if o.PackageWatts != nil {
		words += fmt.Sprintf(", package %s W", sentence.Significant(*o.PackageWatts))
	}
	if len(o.Temperatures) > 0 {
		words += fmt.Sprintf(", hottest %.0f °C (%s)", o.Temperatures[0].Celsius, o.Temperatures[0].Instance)
	}
	return words
}

// runNow is the run in progress and for how long it has been.
func runNow(o testday.Overview) string {
	r := o.Agent.Recording
	words := run.ShortID(r.ID) + ", " + r.Cell().String()
	if o.ElapsedS != nil {
		words += fmt.Sprintf(", for %s", time.Duration(*o.ElapsedS*float64(time.Second)).Round(time.Second))
	}
	return words
}

func nextText(n *testday.Next) string {
	if n.Next == nil {
		return "nothing is left of the plan: " + progressText(n.Progress)
	}
	words := fmt.Sprintf("%d. %s (pass %d; %d left)", n.Next.Position, n.Next.Cell, n.Next.Pass, n.Left)
	for i, change := range n.Changes {
		if i == 0 {
			words += "; first: "
		} else {
			words += "; "
		}
		words += change
	}
	return words
}
