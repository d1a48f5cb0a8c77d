package main

import (
	"errors"
	"fmt"
	"os"

	"github.com/spf13/cobra"

	"sweepd/console"
)

func (a *app) demoCommand() *cobra.Command {
	var out, device, listen string
	var live bool
	cmd := &cobra.Command{
		Use:   "demo",
		Short: "Play a whole simulated test day in seconds, then show what comes of it",
		Long: `Simulate a test day: two invented handhelds, two workloads, every setting on mains
and on battery, three times. The simulated devices serve kernel files that the
real collectors read, and the real agent and store keep the runs, under a clock
that runs fast. Then come the tables that a real day would give. --device plays the
day of one device alone, as its own agent would record it.

--live lets one of the two live in real time instead, with the real agent on it, and
"sweepd demo set", "play", "plug" and "unplug" are the hands: a test day without
hardware. Its agent may set it, so that "sweepd plan run" does a plan by itself there, and
"demo heat" shows a guard at work. It goes on where --out names the folder of an
earlier one, and writes a prometheus.yml into it, with which a Prometheus gathers its metrics.`,
		Example: `  sweepd demo
  sweepd demo --live
  sweepd demo --out my-demo
  sweepd demo --device unit-elm --out elm`,
		Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			if device != "" && device != "unit-oak" && device != "unit-elm" {
				return misused(fmt.Errorf("the demonstration has no device %q: it has unit-oak and unit-elm", device))
			}
			if err := isFolder(out); err != nil {
				return err
			}
			if listen != "" && !live {
				return misused(errors.New("--listen is for --live"))
			}
			if live {
				return a.liveDemo(cmd.Context(), out, device, listen)
			}
			dir, err := freshFolder(out)
			if err != nil {
				return err
			}
			if err := a.playDemo(cmd.Context(), dir, device); err != nil {
				return err
			}
			if a.json {
				return a.printDemo(cmd.Context(), dir, device == "")
			}
			if device != "" {
				return a.countDemo(cmd.Context(), dir)
			}
			return a.showDemo(cmd.Context(), dir)
		},
	}
	cmd.Flags().StringVar(&out, "out", "", "`DIR` to keep the data in, a new one but for --live (default: a new one in "+os.TempDir()+")")
	cmd.Flags().StringVar(&device, "device", "", "`NAME` of the only device to play: unit-oak or unit-elm")
	_ = cmd.RegisterFlagCompletionFunc("device", cobra.FixedCompletions([]string{"unit-oak", "unit-elm"}, cobra.ShellCompDirectiveNoFileComp))
	cmd.Flags().BoolVar(&live, "live", false, "let one device live in real time, with the real agent on it, until Ctrl-C")
	cmd.Flags().StringVar(&listen, "listen", "", "`HOST:PORT` that the agent of --live answers on (default "+console.DefaultListen+")")
	cmd.AddCommand(a.liveCommands()...)
	return cmd
}

// freshFolder makes the folder that the demonstration's data goes to.
func freshFolder(dir string) (string, error) {
	if dir == "" {
		dir, err := os.MkdirTemp("", "sweepd-demo-")
		if err != nil {
			return "", fmt.Errorf("make a folder for the demonstration: %w; name one with --out", err)
		}
		return dir, nil
	}
	if err := os.Mkdir(dir, 0o755); err != nil {
		return "", fmt.Errorf("make a fresh folder for the demonstration: %w; name one that does not exist yet", err)
	}
	return dir, nil
}
