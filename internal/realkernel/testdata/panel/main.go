// Command panel sets what its arguments say on the machine that it runs on, through
// everything that a day without hands uses, says how it stands, and puts all back.
//
//	panel DATA KEY=VALUE...
package main

import (
	"context"
	"fmt"
	"os"
	"strings"

	"sweepd/actuators"
	"sweepd/run"
)

func main() {
	first, err := actuators.OpenFirstValues(os.Args[1], actuators.FirstValuesOptions{})
	if err != nil {
		fmt.Println("panel:", err)
		os.Exit(1)
	}
	least := 1.0
	panel := actuators.NewPanel(actuators.PanelOptions{
		Actuators: []actuators.Actuator{
			actuators.NewFirmware(""), actuators.NewPowercap(""), actuators.NewGPU(""), actuators.NewProfile(""), actuators.NewCores(""),
			actuators.NewGovernor(""), actuators.NewEnergyPreference(""),
		},
		Machine: actuators.Host{}, FirstValues: first,
		Allowed: map[string]actuators.Limits{"cores": {Min: &least}, "governor": {}, "energy_preference": {}},
	})
	say := func(when string) {
		fmt.Print(when, ":")
		for _, o := range panel.Offers() {
			if o.Missing == "" {
				fmt.Printf(" %s=%s", o.Actuator, o.Now)
			}
		}
		fmt.Println(" changed", len(panel.Changed()), "not in force", len(panel.NotInForce(context.Background())))
	}
	say("first")
	for _, arg := range os.Args[2:] {
		key, value, _ := strings.Cut(arg, "=")
		v := actuators.Value{Text: value}
		if key == actuators.SetsSetting {
			v = actuators.Value{Setting: run.Named(value)}
		}
		writes, err := panel.Steps(key, v)
		if err != nil {
			fmt.Println(arg, "does not go:", err)
			continue
		}
		for _, w := range writes {
			if err := panel.Apply(context.Background(), w); err != nil {
				fmt.Println(arg, "failed:", err)
				break
			}
		}
		say(arg)
	}
	if err := panel.Restore(context.Background()); err != nil {
		fmt.Println("panel:", err)
		os.Exit(1)
	}
	say("restored")
}
