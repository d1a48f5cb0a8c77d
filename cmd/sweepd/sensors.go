package main

import (
	"time"

	"github.com/spf13/cobra"
	"go.uber.org/zap"

	"sweepd/testday"
)

func (a *app) sensorsCommand() *cobra.Command {
	var during time.Duration
	cmd := &cobra.Command{
		Use:   "sensors",
		Short: "List what this machine offers, and what is missing and why",
		Long: `List every sensor of this machine with its value, how long it takes to read, how
often its value changes, and where it comes from; then what is missing and why.
It reads the machine itself for a moment and needs no agent; a setting_command of
the configuration is run once.`,
		Example: `  sweepd sensors
  sweepd sensors --for 10s --json`,
		Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			c, err := a.config()
			if err != nil {
				return err
			}
			set := openMachine(zap.NewNop())
			defer set.Close()
			rows := testday.SampleSensors(cmd.Context(), set, during)
			if read := newSettingCommand(c.SettingCommand); read != nil {
				if _, err := read(cmd.Context()); err != nil {
					rows = testday.WithSettingCommand(rows, err.Error())
				}
			}
			if a.json {
				return a.printJSON(rows)
			}
			return a.printSensors(rows)
		},
	}
	cmd.Flags().DurationVar(&during, "for", 3*time.Second, "`TIME` to watch how often values change")
	return cmd
}
