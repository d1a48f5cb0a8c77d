package main

import (
	"errors"
	"time"

	"github.com/spf13/cobra"

	"sweepd/report/table"
	"sweepd/report/text"
	"sweepd/run"
	"sweepd/schedule"
	"sweepd/store/sqlite"
	"sweepd/testday"
)

// entryJSON is an entry of the schedule in a listing; the names are a contract.
type entryJSON struct {
	Entry  string            `json:"entry"`
	Do     string            `json:"do"`
	When   string            `json:"when"`
	NextAt run.Timestamp     `json:"next_at"`
	Last   *schedule.Outcome `json:"last"` // null before the first time
}

func (a *app) scheduleCommand() *cobra.Command {
	return &cobra.Command{
		Use:   "schedule",
		Short: "List what the agent does by itself: when next, and how it went last",
		Long: `List what the agent does by itself, as the configuration says: idle sweeps, upkeep,
idle-drain runs and exports, with the time when each is due next and how it went
last. It is done only while an agent runs.`,
		Example: `  sweepd schedule --config /etc/sweepd.yaml`,
		Args:    cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			outcomes, err := call(cmd.Context(), a, testday.ScheduleWent, testday.Nothing{})
			if err != nil && !errors.Is(err, sqlite.ErrNoData) {
				return err
			}
			c, err := a.config()
			if err != nil {
				return err
			}
			list, err := listEntries(c, outcomes, time.Now())
			if err != nil {
				return err
			}
			if a.json {
				return a.printJSON(list)
			}
			return a.printEntries(list)
		},
	}
}

// doIdle is what the listing calls the idle sweeps, whose outcomes are not kept:
// their readings are.
const doIdle = "idle"

func listEntries(c config, outcomes map[string]schedule.Outcome, now time.Time) ([]entryJSON, error) {
	spec := c.Idle
	if spec == "" {
		spec = schedule.DefaultIdleSweeps
	}
	idle, err := schedule.ParseIdleSweeps(spec)
	if err != nil {
		return nil, err
	}
	list := []entryJSON{{Entry: doIdle, Do: doIdle, When: spec, NextAt: run.Stamp(schedule.Next(idle, now))}}
	for _, s := range c.Schedule {
		when, err := schedule.ParseSchedule(s.When)
		if err != nil {
			return nil, err
		}
		e := entryJSON{Entry: s.name(), Do: s.Do, When: s.When, NextAt: run.Stamp(schedule.Next(when, now))}
		if o, known := outcomes[e.Entry]; known {
			e.Last = &o
		}
		list = append(list, e)
	}
	return list, nil
}

func (a *app) printEntries(list []entryJSON) error {
	p := a.printer()
	t := table.Table{Columns: []table.Column{{Head: "entry", Least: 8}, {Head: "when", Least: 9}, {Head: "next"}, {Head: "last due", Optional: table.Terminal}, {Head: "outcome", Optional: table.Terminal}}}
	for _, e := range list {
		row := []table.Cell{{Text: e.Entry}, {Text: e.When}, {Text: e.NextAt.Local().Format("2006-01-02 15:04:05")}}
		if o := e.Last; o != nil {
			row = append(row, table.Text(o.DueAt.Short(time.Now(), time.Local)), table.Cell{Text: string(o.Status), Tone: wentTone(o.Status)})
		}
		t.Row(row...)
	}
	p.Table(&t)
	for _, e := range list {
		if o := e.Last; o != nil && o.Text != "" {
			p.Say(e.Entry+": "+o.Text, "  ", wentTone(o.Status))
		}
	}
	return p.Err
}

func wentTone(w schedule.Status) text.Tone {
	switch w {
	case schedule.StatusFailed:
		return toneBad
	case schedule.StatusLeftOut:
		return toneDoubt
	}
	return text.Plain
}
