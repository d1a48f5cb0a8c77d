package main

import (
	"errors"
	"fmt"
	"strings"

	"github.com/spf13/cobra"

	"sweepd/report/sentence"
	"sweepd/report/text"
	"sweepd/run"
	"sweepd/testday"
)

func (a *app) settingCommand() *cobra.Command {
	var clear, isNew bool
	var infer string
	cmd := &cobra.Command{
		Use:   "setting [25W | NAME]",
		Short: "Declare the active power setting, or show it",
		Long: `Declare the power setting that is active from now on, in watts or by name, until
it is declared anew or taken back with --clear; it is kept across restarts of the agent
and of the machine. Nothing is changed on the device. Without a setting, show the
active one, where it is known from and since when.`,
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
			switch {
			case clear:
				s, err = testday.Declare(cmd.Context(), client, "", testday.BySetting)
			case len(args) == 0:
				s, err = client.Status(cmd.Context())
			case strings.TrimSpace(args[0]) == "":
				return misused(errors.New("the setting is empty: give watts (25W) or a name (quiet), or --clear"))
			default:
				use, unmeant := a.settle(cmd.Context(), testday.Named{Settings: args[:1]}, isNew, "")
				if unmeant != nil {
					return unmeant
				}
				for _, d := range use {
					args[0] = d.Near
				}
				s, err = testday.Declare(cmd.Context(), client, args[0], testday.BySetting)
			}
			if err != nil {
				return err
			}
			if a.json {
				return a.printJSON(map[string]any{"setting": s.Setting, "setting_read": s.SettingRead, "declared": s.Declared})
			}
			p := a.printer()
			p.Say(settingNow(s), "  ", text.Plain)
			return p.Err
		},
	}
	newFlag(cmd.Flags(), &isNew)
	cmd.Flags().BoolVar(&clear, "clear", false, "take the declaration back")
	cmd.Flags().StringVar(&infer, "infer", "", "say which limit `RUN` (any part of its id, or \"last\") seems to have obeyed, by a flat top of its power")
	return cmd
}

// describeSetting says which setting is active and what the system reports.
func describeSetting(active run.SourcedSetting, read *run.SourcedSetting) string {
	if !active.Known() {
		return noSetting + reported(active, read)
	}
	return fmt.Sprintf("%s (%s)", active, active.Source) + reported(active, read)
}

const noSetting = "no setting is known: declare it with `sweepd setting 25W`"

// reported is what the system reports where that is something else.
func reported(active run.SourcedSetting, read *run.SourcedSetting) string {
	if read == nil || !read.Known() || read.Source == active.Source && read.Setting == active.Setting {
		return ""
	}
	return fmt.Sprintf("; the system reports %s (%s)", read, read.Source)
}

// settingNow is describeSetting of what an agent says, with the age of a declaration.
func settingNow(s testday.Status) string {
	if s.Declared == nil {
		return describeSetting(s.Setting, s.SettingRead)
	}
	text := fmt.Sprintf("%s (declared %s)", s.Setting, declaredWhen(s)) + reported(s.Setting, s.SettingRead)
	if s.Declared.Restarted {
		text += "; the machine was started anew since, and its firmware may have gone back to another setting: look, and declare it again"
	}
	return text
}

// declaredWhen is when and by what the setting was declared.
func declaredWhen(s testday.Status) string {
	when := sentence.Ago(s.Now.Sub(s.Declared.At.Time))
	if s.Declared.By == "" {
		return when
	}
	return when + " by " + s.Declared.By
}
