package main

import (
	"errors"
	"fmt"

	"github.com/spf13/cobra"

	"sweepd/run"
	"sweepd/testday"
)

func (a *app) settingCommand() *cobra.Command {
	var clear bool
	var infer string
	cmd := &cobra.Command{
		Use:   "setting [25W | NAME]",
		Short: "Declare the active power setting, or show it",
		Long: `Declare the power setting that is active from now on, in watts or by name, until
it is declared anew. Nothing is changed on the device. Without a setting, show
the active one.`,
		Example: `  sweepd setting 25W
  sweepd setting quiet
  sweepd setting --clear      go by what the system reports
  sweepd setting --infer last which limit the last run seems to have obeyed`,
		Args: cobra.MaximumNArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			if clear && len(args) > 0 {
				return misused(errors.New("give a setting or --clear, not both"))
			}
			if infer != "" {
				if clear || len(args) > 0 {
					return misused(errors.New("--infer declares nothing: leave the setting and --clear away"))
				}
				return a.inferSetting(cmd.Context(), infer)
			}
			client, err := a.client()
			if err != nil {
				return misused(err)
			}
			var s testday.Status
			if len(args) == 0 && !clear {
				s, err = client.Status(cmd.Context())
			} else {
				var setting run.Setting
				if !clear {
					if setting, err = testday.ParseSetting(args[0]); err != nil {
						return err
					}
				}
				s, err = client.Declare(cmd.Context(), setting)
			}
			if err != nil {
				return err
			}
			if a.json {
				return a.printJSON(map[string]any{"setting": s.Setting, "setting_read": s.SettingRead})
			}
			_, err = fmt.Fprintln(a.shown(), describeSetting(s.Setting, s.SettingRead))
			return err
		},
	}
	cmd.Flags().BoolVar(&clear, "clear", false, "take the declaration back")
	cmd.Flags().StringVar(&infer, "infer", "", "say which limit `RUN` (any part of its id, or \"last\") seems to have obeyed, by a flat top of its power")
	return cmd
}

// describeSetting says which setting is active and what the system reports.
func describeSetting(active run.SourcedSetting, read *run.SourcedSetting) string {
	text := "no setting is known: declare it with `sweepd setting 25W`"
	if active.Known() {
		text = fmt.Sprintf("%s (%s)", active, active.Source)
	}
	if read != nil && read.Known() && (read.Source != active.Source || read.Setting != active.Setting) {
		text += fmt.Sprintf("; the system reports %s (%s)", read, read.Source)
	}
	return text
}
