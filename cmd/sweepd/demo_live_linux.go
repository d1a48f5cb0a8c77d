package main

import (
	"context"
	"errors"
	"fmt"
	"net"
	"os"
	"path/filepath"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"sweepd/console"
	"sweepd/internal/simdevice"
	"sweepd/internal/simlab"
	"sweepd/run"
)

// liveDemo is `sweepd demo --live`: a simulated handheld in real time with the real
// agent on it, until the context ends.
func (a *app) liveDemo(ctx context.Context, dir, device, listen string) (err error) {
	cfg := simdevice.UnitOak()
	if device == "unit-elm" {
		cfg = simdevice.UnitElm()
	}
	cfg.StartOnMains, cfg.ChargerW = true, 100
	cfg.ChargeStop, cfg.Batteries[0].Charge = 0.8, 0.8 // at rest on mains, as a device that was left plugged in
	c, err := a.config()
	if err != nil {
		return err
	}
	c.Device = cfg.Name
	if c.Idle == "" {
		c.Idle = "@every 1s" // who tries things out wants to see them
	}
	agentFlags{listen: listen}.overrule(&c)
	tree, err := simdevice.MakeTempDir("sweepd-demo")
	if err != nil {
		return err
	}
	defer os.RemoveAll(tree)
	d, err := simdevice.New(tree, cfg, time.Now())
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, d.Close()) }()
	live, err := simlab.Listen(dir, d)
	if err != nil {
		return err
	}
	defer os.Remove(filepath.Join(dir, simlab.SocketName))
	ctx, cancel := context.WithCancel(ctx)
	defer cancel()
	lived := make(chan error, 1)
	go func() { lived <- live.Run(ctx); cancel() }()
	for _, pair := range d.Environ() {
		name, value, _ := strings.Cut(pair, "=")
		if err := os.Setenv(name, value); err != nil {
			return err
		}
	}
	a.data = dir
	listeners := func(c config) ([]net.Listener, error) {
		f := agentFlags{listen: listen}
		l, err := f.listeners(c)
		if err == nil {
			a.sayLive(cfg.Name, dir, console.Addresses(l)[0])
		}
		return l, err
	}
	tune()
	err = a.runAgent(ctx, c, listeners)
	cancel()
	return errors.Join(err, <-lived)
}

// sayLive tells a newcomer what to do in another terminal.
func (a *app) sayLive(device, dir, address string) {
	agent := ""
	if address != console.DefaultListen {
		agent = "\n  export SWEEPD_AGENT=http://" + address
	}
	fmt.Fprintf(a.out, `%[1]s, a simulated handheld, is plugged in and set to 15 W. The real agent watches it;
its metrics for Prometheus are at http://%[3]s/metrics. In another terminal:

  export SWEEPD_DATA=%[2]s%[4]s
  sweepd sensors
  sweepd demo set 20W                     # as in the firmware's settings
  sweepd run watch --workload harbour-flight --result-from 'fps_mean=fps_mean: ([0-9.]+)' -- sweepd demo play harbour-flight
  sweepd demo unplug                      # and "sweepd demo plug"
  sweepd run list
  sweepd compare --by supply

Ctrl-C here ends it; the runs stay in %[2]s.
`, device, dir, address, agent)
}

// liveCommands are what a hand does to the device of demo --live.
func (a *app) liveCommands() []*cobra.Command {
	work := func(cmd *cobra.Command, h simlab.Hand) (simlab.Felt, error) {
		c, err := a.config()
		if err != nil {
			return simlab.Felt{}, err
		}
		dir := a.dataDir(c)
		felt, err := simlab.Work(cmd.Context(), dir, h)
		if errors.Is(err, simlab.ErrNoLive) {
			return felt, fmt.Errorf("no simulated device lives in %s: start one with `sweepd demo --live`, and say where with --data or SWEEPD_DATA", dir)
		}
		return felt, err
	}
	supply := func(use, short string, supply run.Supply) *cobra.Command {
		return &cobra.Command{
			Use: use, Short: short, Args: cobra.NoArgs, Example: "  sweepd demo " + use,
			RunE: func(cmd *cobra.Command, _ []string) error {
				_, err := work(cmd, simlab.Hand{Supply: string(supply)})
				return err
			},
		}
	}
	set := &cobra.Command{
		Use: "set SETTING", Short: "Set the power limit of the device of demo --live, in watts or by a profile's name",
		Example: "  sweepd demo set 20W\n  sweepd demo set quiet", Args: cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			s, err := run.ParseSetting(args[0])
			if err != nil {
				return misused(err)
			}
			h := simlab.Hand{Profile: s.Name()}
			h.Watts, _ = s.Watts()
			_, err = work(cmd, h)
			return err
		},
	}
	var seconds float64
	play := &cobra.Command{
		Use: "play WORKLOAD", Short: "Play harbour-flight or tile-sort on the device of demo --live, and print the result",
		Example: "  sweepd demo play harbour-flight --for 20", Args: cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			if _, err := simlab.Workload(args[0]); err != nil {
				return misused(err)
			}
			if !(seconds >= 1 && seconds <= 3600) {
				return misused(fmt.Errorf("--for %v: want 1 to 3600 seconds", seconds))
			}
			felt, err := work(cmd, simlab.Hand{Play: args[0], Seconds: seconds})
			if err != nil {
				return err
			}
			_, err = fmt.Fprintf(a.out, "%s: %.4f %s\n", felt.Metric, felt.Value, felt.Unit)
			return err
		},
	}
	play.Flags().Float64Var(&seconds, "for", 20, "`SECONDS` that harbour-flight plays; tile-sort takes as long as it takes")
	return []*cobra.Command{set, play, supply("plug", "Plug the device of demo --live in", run.Mains), supply("unplug", "Unplug the device of demo --live", run.Battery)}
}
