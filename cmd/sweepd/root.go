package main

import (
	"fmt"
	"io"
	"strings"

	"github.com/spf13/cobra"

	"sweepd/console"
	"sweepd/store"
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

	started bool // the command line was understood and its command is running
}

func (a *app) root() *cobra.Command {
	root := &cobra.Command{
		Use:   "sweepd",
		Short: "Watches portable computers under test and compares how they scale with power",
		Long: `sweepd watches a portable computer while workloads run on it, keeps each run with
the power setting that was active, and compares runs: by device, by supply, by
anything else that was changed.`,
		Example: `  sweepd agent                                    leave this running on the device
  sweepd run start --workload harbour-flight --setting 25W
  sweepd run stop --result fps_mean=61.3fps
  sweepd compare --by supply`,
		SilenceUsage:  true,
		SilenceErrors: true,
	}
	flags := root.PersistentFlags()
	flags.StringVar(&a.configPath, "config", "", "configuration `FILE` (or SWEEPD_CONFIG; default the system's); none is needed")
	flags.StringVar(&a.data, "data", "", "`DIR` that runs are kept in (or SWEEPD_DATA)")
	flags.StringVar(&a.agentURL, "agent", "", "`URL` of the running agent (or SWEEPD_AGENT; default "+console.DefaultURL+")")
	flags.BoolVar(&a.json, "json", false, "print JSON")
	root.AddCommand(a.agentCommand(), a.sensorsCommand(), a.settingCommand(), a.runCommand(),
		a.compareCommand(), a.curveCommand(), a.batteryCommand(), a.reportCommand(), a.planCommand(), a.scheduleCommand(), a.importCommand(), a.mergeCommand(), a.exportCommand(), a.demoCommand(), a.versionCommand())
	root.AddCommand(a.docsCommands()...)
	a.watchStart(root)
	return root
}

// watchStart notes when a command begins: every error before that is one of the
// command line, every error after it is not.
func (a *app) watchStart(c *cobra.Command) {
	if run := c.RunE; run != nil {
		c.RunE = func(cmd *cobra.Command, args []string) error {
			a.started = true
			return run(cmd, args)
		}
	} else if c.HasSubCommands() && c != c.Root() {
		c.Args = cobra.ArbitraryArgs
		c.RunE = func(cmd *cobra.Command, args []string) error {
			if len(args) == 0 {
				return misused(fmt.Errorf("%s needs to know what to do: %s", cmd.CommandPath(), names(cmd)))
			}
			return misused(fmt.Errorf("unknown command %q for %s: it knows %s", args[0], cmd.CommandPath(), names(cmd)))
		}
	}
	for _, sub := range c.Commands() {
		a.watchStart(sub)
	}
}

func names(c *cobra.Command) string {
	var list []string
	for _, sub := range c.Commands() {
		if sub.IsAvailableCommand() {
			list = append(list, sub.Name())
		}
	}
	return strings.Join(list, ", ")
}

// asked is the command that a command line means, as far as it can be
// understood.
func (a *app) asked(root *cobra.Command, args []string) string {
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

// client is one of the running agent.
func (a *app) client() (*console.Client, error) {
	url := a.agentURL
	if url == "" {
		url = a.getenv("SWEEPD_AGENT")
	}
	return console.NewClient(url)
}

// withStore opens the data for f and closes it.
func (a *app) withStore(o store.Options, f func(*store.Store, config) error) (err error) {
	c, err := a.config()
	if err != nil {
		return err
	}
	s, err := store.Open(a.dataDir(c), o)
	if err != nil {
		return err
	}
	defer func() {
		if cerr := s.Close(); err == nil {
			err = cerr
		}
	}()
	return f(s, c)
}
