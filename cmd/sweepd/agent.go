package main

import (
	"context"
	"errors"
	"fmt"
	"net"
	"os"
	"time"

	"github.com/spf13/cobra"
	"go.uber.org/zap"

	"sweepd/agent"
	"sweepd/collectors"
	"sweepd/console"
	"sweepd/schedule"
	"sweepd/store"
)

// agentFlags go before the configuration file.
type agentFlags struct {
	listen    string
	webConfig string
}

func (a *app) agentCommand() *cobra.Command {
	var f agentFlags
	cmd := &cobra.Command{
		Use:   "agent",
		Short: "Watch this device until told to stop",
		Long: `Watch this device until told to stop (Ctrl-C, or a signal to end). The other
commands start and stop runs through the agent; it keeps their readings, results
and findings under --data. One agent can record into a folder at a time.`,
		Example: `  sweepd agent
  sweepd agent --config /etc/sweepd.yaml --listen 0.0.0.0:9745   for a scraper elsewhere`,
		Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			c, err := a.config()
			if err != nil {
				return err
			}
			f.overrule(&c)
			tune()
			return a.runAgent(cmd.Context(), c)
		},
	}
	cmd.Flags().StringVar(&f.listen, "listen", "", "`HOST:PORT` to answer on (default "+console.DefaultListen+"); only /metrics answers to other machines")
	cmd.Flags().StringVar(&f.webConfig, "web.config.file", "", "`FILE` with TLS and basic authentication, as Prometheus exporters read it")
	return cmd
}

func (f agentFlags) overrule(c *config) {
	if f.listen != "" {
		c.Listen = f.listen
	}
	if f.webConfig != "" {
		c.WebConfigFile = f.webConfig
	}
}

// runAgent builds the parts, runs them until the context ends or one of them
// fails, and takes them down in the opposite order.
func (a *app) runAgent(ctx context.Context, c config) (err error) {
	device, err := deviceName(c)
	if err != nil {
		return err
	}
	log := newLogger(a.err)
	defer log.Sync() //nolint:errcheck // nothing is left to tell it to
	down := func(what string, f func() error) {
		if e := f(); e != nil {
			err = errors.Join(err, fmt.Errorf("%s: %w", what, e))
		}
	}

	if err := console.CheckWebConfig(c.WebConfigFile); err != nil {
		return err
	}
	dir := a.dataDir(c)
	lock, err := store.LockAgent(dir)
	if err != nil {
		return err
	}
	defer down("unlock", lock.Release)
	listener, err := console.Listen(c.Listen)
	if err != nil {
		return err
	}
	defer listener.Close()
	data, err := store.Open(dir, store.Options{})
	if err != nil {
		return err
	}
	defer down("close data", data.Close)
	set := openMachine(log)
	defer down("close sensors", set.Close)
	sampler, err := newSampler(device, c, set, data, log)
	if err != nil {
		return err
	}
	log.Info("watching", zap.String("device", device), zap.String("data", data.Path()),
		zap.String("address", listener.Addr().String()), zap.Int("sensors", len(set.Sensors())), zap.String("version", currentVersion()))
	err = a.serveAgent(ctx, c, listener, set, sampler, log)
	log.Info("stopped")
	return err
}

// serveAgent samples and answers until the context ends or a part fails. Requests
// in progress may finish before the sampling ends.
func (a *app) serveAgent(ctx context.Context, c config, l net.Listener, set *collectors.Set, sampler *agent.Agent, log *zap.Logger) error {
	serving, stopServing := context.WithCancel(ctx)
	defer stopServing()
	sampling, stopSampling := context.WithCancel(context.WithoutCancel(ctx))
	defer stopSampling()
	idle, err := schedule.StartIdle(c.Idle, sampler, log)
	if err != nil {
		return err
	}
	sampled := make(chan error, 1)
	go func() {
		sampled <- sampler.Run(sampling)
		stopServing()
	}()
	handler := console.New(console.Options{Agent: sampler, Machine: set, Lower: c.Lower, Version: currentVersion(), Log: log})
	err = console.Serve(serving, l, handler, c.WebConfigFile, slogger(log))
	idle.Stop()
	stopSampling()
	return errors.Join(err, <-sampled)
}

func newSampler(device string, c config, set *collectors.Set, data *store.Store, log *zap.Logger) (*agent.Agent, error) {
	roots := collectors.HostRoots()
	return agent.New(agent.Options{
		Device:      device,
		Sensors:     set,
		Recorder:    data,
		Interval:    c.Interval.Duration,
		Thresholds:  c.Thresholds.forAgent(),
		ReadSetting: settingCommand(c.SettingCommand),
		Facts: func() map[string]string {
			facts := collectors.ReadFacts(roots)
			facts["agent_version"] = currentVersion()
			return facts
		},
		Log: log,
	})
}

// openMachine opens every source that this system has.
func openMachine(log *zap.Logger) *collectors.Set {
	set := collectors.NewSet(collectors.SetOptions{
		OnError: func(collector string, s collectors.Sensor, err error) {
			log.Warn("reading missing", zap.String("collector", collector), zap.String("sensor", s.ID), zap.String("instance", s.Instance), zap.Error(err))
		},
	}, machine(collectors.HostRoots())...)
	return set
}

// deviceName is the configured name, else the host's.
func deviceName(c config) (string, error) {
	if c.Device != "" {
		return c.Device, nil
	}
	name, err := os.Hostname()
	if err != nil {
		return "", fmt.Errorf("the device needs a name (device: in the configuration), for the host has none: %w", err)
	}
	return name, nil
}

// settingTimeout is how long the configured command may take.
const settingTimeout = 5 * time.Second
