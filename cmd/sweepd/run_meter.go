package main

import (
	"errors"
	"fmt"
	"path/filepath"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"sweepd/internal/userfile"
	"sweepd/report/sentence"
	"sweepd/report/text"
	"sweepd/run"
	"sweepd/testday"
)

// largestMeterLog is how many bytes the log of a meter may have: a day of 100 values a second.
const largestMeterLog = 1 << 30

func (a *app) runMeterCommand() *cobra.Command {
	var q testday.MeterRequest
	var offset string
	cmd := &cobra.Command{
		Use:   "meter RUN FILE",
		Short: "Join the log of a power meter to a run",
		Long: `Join the log of a meter between the device and what feeds it to a run that has ended.
The log is a table (commas, semicolons with decimal commas, tabs) with a line that names its
columns: one of times (RFC 3339, 2026-05-04 09:30:00, 04.05.2026 09:30:00, a time of day, Unix
time, or seconds since any moment) and one of watts, milliwatts, or volts and amperes.

Where the log lies is found by correlation with the power that the run measured of
itself, and is told; where that is not clear nothing is joined. An offset that is given is
not taken where the log clearly fits elsewhere, unless --force is; where the log's power does
not follow the run's there, the run is doubted (meter_disagrees). The readings are
kept as external_power_watts beside the run's own, and on mains they give system_w, marked
external.
` + whichRun,
		Example: `  sweepd run meter last bench.csv
  sweepd run meter 3f9c21ab bench.csv --offset 3.2s
  sweepd run meter 3f9c21ab --undo`,
		Args: func(cmd *cobra.Command, args []string) error {
			switch {
			case q.Undo && len(args) == 1, !q.Undo && len(args) == 2:
				return nil
			case q.Undo:
				return errors.New("--undo takes the run alone")
			}
			return errors.New("it takes a run and a file: sweepd run meter RUN FILE")
		},
		RunE: func(cmd *cobra.Command, args []string) error {
			if q.Force && offset == "" {
				return misused(errors.New("--force is for an --offset that does not fit"))
			}
			if offset != "" {
				d, err := time.ParseDuration(strings.Replace(offset, ",", ".", 1))
				if err != nil {
					return misused(fmt.Errorf("--offset %q: give it with its unit, such as 3.2s or -2h", run.Shorten(offset)))
				}
				seconds := d.Seconds()
				q.OffsetS = &seconds
			}
			q.ID = args[0]
			b := bytesOf{in: strings.NewReader("")}
			if !q.Undo {
				in, err := userfile.Open(cmd.Context(), args[1], largestMeterLog)
				if err != nil {
					return err
				}
				defer in.Close()
				q.File, b.in = filepath.Base(args[1]), in
			}
			m, err := callWith(cmd.Context(), a, testday.JoinMeter, q, b)
			if err != nil {
				return err
			}
			if a.json {
				return a.printJSON(m)
			}
			return a.printMetered(m, q.Undo)
		},
	}
	cmd.Flags().StringVar(&offset, "offset", "", "what is added to the log's times, `3.2s` or -2h, in place of finding it")
	cmd.Flags().StringVar(&q.Time, "time", "", "`COLUMN` of times, where its name does not tell")
	cmd.Flags().StringVar(&q.Watts, "watts", "", "`COLUMN` of watts, where its name does not tell")
	cmd.Flags().BoolVar(&q.Replace, "replace", false, "put this log in the place of the one that was joined before")
	cmd.Flags().BoolVar(&q.Force, "force", false, "join it at --offset also where it clearly fits elsewhere; the run is doubted then")
	cmd.Flags().BoolVar(&q.Undo, "undo", false, "take the log out again")
	return cmd
}

// printMetered says what the run is with the log, or without it again.
func (a *app) printMetered(m testday.MeterAnswer, undone bool) error {
	p := a.printer()
	id := run.ShortID(m.Run.ID)
	if undone {
		p.Say(fmt.Sprintf("run %s is without the meter's log again%s", id, systemWords(&m.Run)), "  ", text.Plain)
		return p.Err
	}
	how := fmt.Sprintf("offset %+.2f s as given", m.OffsetS)
	if m.Found {
		how = fmt.Sprintf("found at an offset of %+.2f s", m.OffsetS)
	}
	if m.TimeUnit != "" {
		how += ", its times being in " + m.TimeUnit
	}
	if m.Correlation != nil {
		how += fmt.Sprintf(" (correlation %.2f)", *m.Correlation)
	} else {
		how += "; the run measured no power of its own that could tell whether that is right"
	}
	p.Say(fmt.Sprintf("run %s has the meter's log: %s", id, how), "  ", text.Plain)
	covers := fmt.Sprintf("  it covers %.0f %% of the run%s", 100*m.Covered, systemWords(&m.Run))
	if m.LeftOut > 0 {
		covers += fmt.Sprintf("; %s without a value left out", sentence.Counted(m.LeftOut, "row"))
	}
	p.Say(covers, "    ", text.Plain)
	for _, f := range m.Run.Findings {
		if f.Code == run.MeterDisagrees {
			p.Say(fmt.Sprintf("  %s %s: %s", f.Severity, f.Code, f.WithAdvice()), "    ", severityTone(f.Severity))
		}
	}
	return p.Err
}

func systemWords(d *run.Record) string {
	if d.SystemW == nil {
		return ""
	}
	by := ""
	if d.SystemWSource != "" {
		by = " (" + string(d.SystemWSource) + ")"
	}
	return fmt.Sprintf("; whole device %.2f W%s", *d.SystemW, by)
}
