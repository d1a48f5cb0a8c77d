package main

import (
	"fmt"
	"os"

	"github.com/spf13/cobra"
)

func (a *app) demoCommand() *cobra.Command {
	var out string
	cmd := &cobra.Command{
		Use:   "demo",
		Short: "Play a whole simulated test day in seconds, then show what comes of it",
		Long: `Simulate a test day: two invented handhelds, two workloads, every setting on mains
and on battery, three times. The simulated devices serve kernel files that the
real collectors read, and the real agent and store keep the runs, under a clock
that runs fast. Then come the tables that a real day would give.`,
		Example: `  sweepd demo
  sweepd demo --out my-demo`,
		Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			dir, err := freshFolder(out)
			if err != nil {
				return err
			}
			if err := a.playDemo(cmd.Context(), dir); err != nil {
				return err
			}
			return a.showDemo(cmd.Context(), dir)
		},
	}
	cmd.Flags().StringVar(&out, "out", "", "`DIR` to keep the data in, which may not exist yet (default: a new one in "+os.TempDir()+")")
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
