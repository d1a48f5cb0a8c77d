package main

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"io/fs"
	"net"
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"time"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"sweepd/actuators"
	"sweepd/console"
	"sweepd/deploy"
	"sweepd/internal/simdevice"
	"sweepd/internal/simlab"
	"sweepd/run"
)

// liveDemo is `sweepd demo --live`: a simulated handheld in real time with the real
// agent on it, until the context ends.
func (a *app) liveDemo(ctx context.Context, out, device, listen string) (err error) {
	cfg := simdevice.UnitOak()
	if device == "unit-elm" {
		cfg = simdevice.UnitElm()
	}
	cfg.StartOnMains, cfg.ChargerW = true, 100
	cfg.BatteryDim = 0.6                               // as many systems do: battery against mains compares two screens
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
	if err := livePort(c); err != nil {
		return err
	}
	dir, err := liveFolder(out)
	if err != nil {
		return err
	}
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
	// The first values that a demonstration left which was killed are of a device that died
	// with it; this one is new.
	if err := os.Remove(filepath.Join(dir, actuators.FirstValuesFile)); err != nil && !errors.Is(err, fs.ErrNotExist) {
		live.Close()
		return err
	}
	defer live.Close()
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
	a.machine = &simlab.Machine{Device: d} // and nothing of this computer, whatever is configured
	if err := handsOffOfDemo(&c, dir); err != nil {
		return err
	}
	listeners := func(c config) ([]net.Listener, error) {
		f := agentFlags{listen: listen}
		l, err := f.listeners(c)
		if err != nil {
			return nil, err
		}
		address := console.Addresses(l)[0]
		if err := os.WriteFile(filepath.Join(dir, scrapeName), []byte(deploy.ScrapeConfiguration(address)), 0o644); err != nil {
			return nil, err
		}
		a.sayLive(cfg.Name, dir, address)
		return l, nil
	}
	tune()
	err = a.runAgent(ctx, c, listeners)
	cancel()
	return errors.Join(err, <-lived)
}

// scrapeName is the file that a Prometheus of its own reads.
const scrapeName = "prometheus.yml"

// livePort refuses before anything is made where somebody else answers.
func livePort(c config) error {
	err := portFree(c)
	if errors.Is(err, syscall.EADDRINUSE) {
		return fmt.Errorf("another agent, or another program, answers at %s: end it, or answer elsewhere with --listen 127.0.0.1:9746", cmp.Or(c.Listen, console.DefaultListen))
	}
	return err
}

// liveFolder is a new folder, or that of an earlier day.
func liveFolder(out string) (string, error) {
	if out == "" {
		return freshFolder("")
	}
	dir, err := filepath.Abs(out) // other commands run elsewhere
	if err != nil {
		return "", err
	}
	files, err := os.ReadDir(dir)
	if errors.Is(err, fs.ErrNotExist) {
		return dir, os.Mkdir(dir, 0o755)
	}
	if err != nil {
		return "", err
	}
	if _, err := os.Stat(filepath.Join(dir, scrapeName)); err != nil && len(files) > 0 {
		return "", fmt.Errorf("%s is no folder of an earlier `sweepd demo --live`, and not empty: name another with --out", out)
	}
	return dir, nil
}

// sayLive tells a newcomer what to do in another terminal.
func (a *app) sayLive(device, dir, address string) {
	program := "sweepd"
	if filepath.Base(os.Args[0]) != os.Args[0] { // as it was typed here
		program = quoted(os.Args[0])
	}
	host, port, _ := net.SplitHostPort(address)
	listen := ""
	switch ip := net.ParseIP(host); {
	case ip.IsLoopback():
		listen = "start this with --listen 0.0.0.0:" + port + " and "
	case ip.IsUnspecified(): // no browser takes it
		address = net.JoinHostPort("localhost", port)
	}
	agent := ""
	if address != console.DefaultListen {
		agent = "  export SWEEPD_AGENT=http://" + address + "\n"
	}
	asRoot := ""
	if os.Geteuid() == 0 {
		asRoot = " --as-root" // which plan run wants to be sure of
	}
	fmt.Fprintf(a.out, `%[2]s, a simulated handheld, is plugged in, and its limit is 15 W. The real agent watches it.
In another terminal, in this folder:

%[5]s  %[1]s status
  %[1]s demo set 20W
  %[1]s run watch --workload harbour-flight --result-from 'fps_mean=: (.*)' \
    -- %[1]s demo play harbour-flight
  %[1]s demo unplug
  %[1]s run list

Or let the day do itself, in some three minutes; you agree to the cautions once, and are the
hand at the plug, for which it asks:

  %[1]s demo plug
  %[1]s plan new --workload harbour-flight --settings 10W,20W --repeats 2 \
    --run-time 15s --pause 10s
  %[1]s plan run --dry-run
  %[1]s plan run%[9]s

and in a third terminal, set up like the second,

  %[1]s demo unplug
  %[1]s demo plug
  %[1]s demo heat

of which the last one shows a guard: what was set is put back, and the run ended.

The page for a phone is at http://%[4]s/, in a browser here; to open it on one,
%[8]spair it with
  %[1]s console pair

The metrics are at http://%[4]s/metrics; a Prometheus gathers them with
  prometheus --config.file=%[6]s --storage.tsdb.path=%[7]s

Ctrl-C here ends it; the runs stay in %[3]s.
`, program, device, dir, address, agent, quoted(filepath.Join(dir, scrapeName)), quoted(filepath.Join(dir, "prometheus")), listen, asRoot)
}

// liveCommands are what a hand does to the device of demo --live.
func (a *app) liveCommands() []*cobra.Command {
	work := func(cmd *cobra.Command, h simlab.Hand) (simlab.Felt, error) {
		at, err := a.whom(cmd.Context())
		if err != nil {
			return simlab.Felt{}, err
		}
		felt, err := simlab.Work(cmd.Context(), at.folder, h)
		if errors.Is(err, simlab.ErrNoLive) {
			return felt, fmt.Errorf("no simulated device lives in %s (%s): start one with `sweepd demo --live`, or name its folder with --data or SWEEPD_DATA", at.folder, at.from)
		}
		return felt, err
	}
	supply := func(use, short string, supply run.Supply) *cobra.Command {
		return &cobra.Command{
			Use: use, Short: short, Args: cobra.NoArgs, Example: "  sweepd demo " + use,
			RunE: func(cmd *cobra.Command, _ []string) error {
				felt, err := work(cmd, simlab.Hand{Supply: string(supply)})
				if err != nil {
					return err
				}
				_, err = fmt.Fprintf(a.out, "%s is on %s, its battery at %.0f %%\n", felt.Device, supply, 100*felt.Charge)
				return err
			},
		}
	}
	set := &cobra.Command{
		Use: "set SETTING", Short: "Set the power limit of the device of demo --live, in watts or by a profile's name",
		Example: "  sweepd demo set 20W\n  sweepd demo set low-power", Args: cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			s, err := run.ParseSetting(args[0])
			if err != nil {
				return misused(err)
			}
			h := simlab.Hand{Profile: s.Name()}
			h.Watts, _ = s.Watts()
			felt, err := work(cmd, h)
			if err != nil {
				return err
			}
			_, err = fmt.Fprintf(a.out, "the limit of %s is %g W\n", felt.Device, felt.LimitW)
			return err
		},
	}
	var seconds workloadTime = 20
	var celsius temperature = 100
	heat := &cobra.Command{
		Use: "heat", Short: "Heat the processor of the device of demo --live",
		Long: `Heat the processor of the simulated device at once, as if its fan had stood still; from
then on it cools down by itself. So a guard of a day without hands has something to see:
the first values are put back, the run is ended, and the day pauses.`,
		Example: "  sweepd demo heat\n  sweepd demo heat --to 90", Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			felt, err := work(cmd, simlab.Hand{HeatC: float64(celsius)})
			if err != nil {
				return err
			}
			_, err = fmt.Fprintf(a.out, "the processor of %s is at %.0f °C\n", felt.Device, felt.DieC)
			return err
		},
	}
	heat.Flags().Var(&celsius, "to", "`CELSIUS` to heat it to, 40 to 120")
	play := &cobra.Command{
		Use: "play WORKLOAD", Short: "Play harbour-flight or tile-sort on the device of demo --live, and print the result",
		Example: "  sweepd demo play harbour-flight --for 20s", Args: cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			if _, err := simlab.Workload(args[0]); err != nil {
				return misused(err)
			}
			felt, err := work(cmd, simlab.Hand{Play: args[0], Seconds: float64(seconds)})
			if err != nil {
				return err
			}
			_, err = fmt.Fprintf(a.out, "%s: %.4f %s\n", felt.Metric, felt.Value, felt.Unit)
			return err
		},
	}
	play.ValidArgsFunction = cobra.FixedCompletions([]string{"harbour-flight", "tile-sort"}, cobra.ShellCompDirectiveNoFileComp)
	play.Flags().Var(&seconds, "for", "`TIME` that harbour-flight plays, 1s to 1h; tile-sort takes as long as it takes")
	return []*cobra.Command{set, play, heat, supply("plug", "Plug the device of demo --live in", run.Mains), supply("unplug", "Unplug the device of demo --live", run.Battery)}
}

// temperature is one that the simulated processor is heated to, °C.
type temperature float64

var _ pflag.Value = (*temperature)(nil)

func (t *temperature) String() string { return fmt.Sprintf("%g", float64(*t)) }

func (*temperature) Type() string { return "celsius" }

// Set takes 90, 90C and 90°C.
func (t *temperature) Set(text string) error {
	c, err := run.ParseNumber(strings.TrimSuffix(strings.TrimSuffix(text, "C"), "°"))
	if err != nil || !(c >= 40 && c <= 120) {
		return errors.New("want a temperature from 40 to 120, in °C")
	}
	*t = temperature(c)
	return nil
}

// workloadTime is how long a workload plays, s.
type workloadTime float64

var _ pflag.Value = (*workloadTime)(nil)

func (t *workloadTime) String() string { return (time.Duration(*t) * time.Second).String() }

func (*workloadTime) Type() string { return "time" }

// Set takes 20s, 1m, and seconds alone.
func (t *workloadTime) Set(text string) error {
	d, err := time.ParseDuration(text)
	if seconds, e := run.ParseNumber(text); e == nil {
		d, err = time.Duration(seconds*float64(time.Second)), nil
	}
	if err != nil || d < time.Second || d > time.Hour {
		return errors.New("want a time from 1s to 1h, such as 20s or 2m")
	}
	*t = workloadTime(d.Seconds())
	return nil
}
