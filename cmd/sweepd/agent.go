package main

import (
	"context"
	"errors"
	"fmt"
	"net"
	"os/signal"
	"runtime"
	"strconv"
	"syscall"

	"github.com/spf13/cobra"

	"sweepd/console"
)

// agentFlags go before the configuration file.
type agentFlags struct {
	listen        string
	webConfig     string
	systemdSocket bool
	tlsSelf       bool
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
			if f.listen != "" {
				_, port, err := net.SplitHostPort(f.listen)
				if _, bad := strconv.ParseUint(port, 10, 16); err != nil || bad != nil {
					return misused(fmt.Errorf("--listen %q is not HOST:PORT, such as %s, with a port from 0 to 65535", f.listen, console.DefaultListen))
				}
			}
			err := a.watch(cmd.Context(), f)
			if cmd.Context().Err() != nil && errors.Is(err, context.Canceled) {
				return nil // it was told to end before it began
			}
			return err
		},
	}
	f.add(cmd)
	return cmd
}

// agentFlagNames are the options of the agent alone.
var agentFlagNames = []string{"listen", "web.config.file", "tls-self", "web.systemd-socket"}

func (f *agentFlags) add(cmd *cobra.Command) {
	cmd.Flags().StringVar(&f.listen, "listen", "", "`HOST:PORT` to answer on (default "+console.DefaultListen+"); other machines get /metrics, and paired phones the page")
	cmd.Flags().StringVar(&f.webConfig, "web.config.file", "", "`FILE` with TLS and basic authentication, as Prometheus exporters read it")
	cmd.Flags().BoolVar(&f.tlsSelf, "tls-self", false, "speak TLS to other machines with a certificate that this device makes itself")
	cmd.MarkFlagsMutuallyExclusive("tls-self", "web.config.file")
	if runtime.GOOS == "linux" {
		cmd.Flags().BoolVar(&f.systemdSocket, "web.systemd-socket", false, "answer on the sockets that systemd hands over (socket activation) instead of --listen")
	}
}

// watch is the agent's life.
func (a *app) watch(ctx context.Context, f agentFlags) error {
	if !signal.Ignored(syscall.SIGHUP) { // as nohup(1) has it: else a closed terminal would end it with things set
		var stop context.CancelFunc
		ctx, stop = signal.NotifyContext(ctx, syscall.SIGHUP)
		defer stop()
	}
	c, err := a.config()
	a.restoreFirst(ctx, a.dataDir(c), newLogger(a.err)) // whatever else is wrong
	if err != nil {
		return err
	}
	f.overrule(&c)
	tune()
	return a.runAgent(ctx, c, f.listeners)
}

func (f agentFlags) overrule(c *config) {
	if f.listen != "" {
		c.Listen = f.listen
	}
	if f.webConfig != "" {
		c.WebConfigFile = f.webConfig
	}
	c.TLSSelf = c.TLSSelf || f.tlsSelf
}

// listeners opens what the agent answers on.
func (f *agentFlags) listeners(c config) ([]net.Listener, error) {
	if f.systemdSocket {
		return console.ListenSystemd()
	}
	return console.Listen(c.Listen)
}
