package main

import (
	"strings"
	"testing"

	"sweepd/run"
	"sweepd/testday"
)

// A run that is recording shows what it has so far, from the data and from the agent.
func TestShowWhileRecording(t *testing.T) {
	for _, from := range []string{"the data", "the agent"} {
		t.Run(from, func(t *testing.T) {
			alone(t)
			d := liveDevice(t)
			d.Unplug()
			startAgent(t)
			if from == "the agent" {
				t.Setenv("SWEEPD_DATA", "")
			}
			must(t, "run", "start", "--workload", "tile-sort", "--setting", "15W")
			var k testday.KeptRun
			eventually(t, "sweeps are seen", func() bool {
				k = asked[testday.KeptRun](t, "run show last")
				return k.SoFar != nil && k.SoFar.Sweeps >= 12
			})
			if k.State != run.Recording || len(k.Summaries) == 0 || k.PackageW == nil || k.DurationS != nil || k.SoFar.Seconds < 0.5 || k.SoFar.At.IsZero() {
				t.Errorf("%+v, %d summaries, package %v", k.SoFar, len(k.Summaries), k.PackageW)
			}
			if out := must(t, "run", "show", "last"); !strings.Contains(out, "recording") || !strings.Contains(out, "so far: ") || !strings.Contains(out, "sweeps in ") || !strings.Contains(out, "package ") || !strings.Contains(out, "°C now") {
				t.Errorf("run show: %s", out)
			}
			if out := must(t, "run", "show", "last", "--all"); !strings.Contains(out, "battery_power_watts") {
				t.Errorf("run show --all: %s", out)
			}
			must(t, "run", "stop", "--result", "score=3")
			if k := asked[testday.KeptRun](t, "run show last"); k.SoFar != nil || k.DurationS == nil {
				t.Errorf("ended: %+v", k.Run)
			}
		})
	}
}
