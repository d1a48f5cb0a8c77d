package main

import (
	"cmp"
	"context"
	"io"
	"sweepd/actuators"

	"github.com/spf13/cobra"

	"sweepd/console"
	"sweepd/store"
	"sweepd/store/sqlite"
)

// app is what all commands share: the streams and the flags that every command
// has.
type app struct {
	in       io.Reader
	out, err io.Writer
	getenv   func(string) string

	configPath string
	data       string
	agentURL   string
	json       bool

	machine actuators.Machine // on which the agent sets things; nil: this one

	tell func(state string) error // tells the service manager; nil: sd_notify(3)

	found  *respondent // whom this command asks, once it was looked for
	damage error       // what of the data is damaged and was left out
	slips  []slip      // in the command line of a run stop

	started bool // the command line was understood and its command is running
}

func (a *app) root() *cobra.Command {
	root := &cobra.Command{
		Use:   "sweepd",
		Short: "Watches portable computers under test and compares how they scale with power",
		Long: `sweepd watches a portable computer while workloads run on it, keeps each run with
the power setting that was active, and compares runs: by device, by supply, by
anything else that was changed.

Exit status: 0 when a command did what it was asked, 1 when it could not be done,
2 when the command line cannot be understood or a value in it is out of bounds.`,
		Example: `  sweepd agent                                    leave this running on the device
  sweepd run start --workload harbour-flight --setting 25W
  sweepd run stop --result fps_mean=61.3fps
  sweepd compare --by supply`,
		SilenceUsage:  true,
		SilenceErrors: true,
	}
	root.Flags().Bool("version", false, "print the version")
	flags := root.PersistentFlags()
	flags.StringVar(&a.configPath, "config", "", "configuration `FILE` (or SWEEPD_CONFIG; default the system's); none is needed")
	flags.StringVar(&a.data, "data", "", "`DIR` that runs are kept in (or SWEEPD_DATA)")
	flags.StringVar(&a.agentURL, "agent", "", "`URL` of the running agent (or SWEEPD_AGENT; default "+console.DefaultURL+")")
	flags.BoolVar(&a.json, "json", false, "print JSON")
	root.AddCommand(a.agentCommand(), a.statusCommand(), a.sensorsCommand(), a.actuatorsCommand(), a.settingCommand(), a.runCommand(), a.deviceCommand(),
		a.compareCommand(), a.curveCommand(), a.batteryCommand(), a.reportCommand(), a.planCommand(), a.scheduleCommand(), a.importCommand(), a.mergeCommand(), a.exportCommand(), a.checkCommand(), a.consoleCommand(), a.demoCommand(), a.versionCommand())
	root.AddCommand(a.serviceCommands()...)
	root.AddCommand(a.docsCommands()...)
	root.SetFlagErrorFunc(flagError)
	root.SetUsageFunc(usage)
	root.InitDefaultCompletionCmd()
	adoptHelp(root)
	a.prepare(root)
	a.completeValues(root)
	return root
}

// commandMeant is the command that a command line means, as far as it can be
// understood.
func (a *app) commandMeant(root *cobra.Command, args []string) string {
	if c, _, err := root.Find(args); err == nil {
		return c.CommandPath()
	}
	return root.CommandPath()
}

// config reads the configuration file that the command line or the environment
// names, else the system's where there is one.
func (a *app) config() (config, error) {
	path := a.configPath
	if path == "" {
		path = a.getenv("SWEEPD_CONFIG")
	}
	if path == "" {
		path = a.systemConfig()
	}
	return loadConfig(path)
}

// agentNamed is the URL of the agent that the command line or the environment names; ""
// where neither does.
func (a *app) agentNamed() string { return cmp.Or(a.agentURL, a.getenv("SWEEPD_AGENT")) }

// client is one of the running agent.
func (a *app) client() (*console.Client, error) {
	c, err := console.NewClient(a.agentNamed())
	if err == nil && a.agentNamed() != "" { // the token is for that agent
		c.Bearer = a.getenv("SWEEPD_TOKEN")
	}
	return c, err
}

// withStore opens the data for f and closes it.
func (a *app) withStore(o sqlite.Options, f func(store.Store, config) error) (err error) {
	c, err := a.config()
	if err != nil {
		return err
	}
	at, err := a.whom(context.Background())
	if err != nil {
		return err
	}
	s, err := sqlite.Open(at.folder, o)
	if err != nil {
		return ofOwner(at.folder, err)
	}
	defer func() {
		if cerr := s.Close(); err == nil {
			err = cerr
		}
	}()
	if err := f(s, c); err != nil {
		return err
	}
	return s.Damage() // what could be done was done, without it
}
