package realkernel_test

import (
	"strings"
	"testing"

	"sweepd/internal/realkernel"
)

// An adapter tells of an edge at once, the battery up to 1 s later. A read of the
// battery just before an edge makes it as late as can be.
const edgeScript = `
on_edge() { echo "$1 online $(cat /sys/class/power_supply/ADP0/online) $(cat /sys/class/power_supply/BAT0/status)"; }
until_clock 39900; cat /sys/class/power_supply/BAT0/status
start unplugged 40020 10W; on_edge unplugged
stop  unplugged 48000 90
start steps     50000 10W; stop steps 90000 90
start last      90700 10W; stop last 100020 90; on_edge last
start plugged  100200 10W; on_edge plugged
stop  plugged  108000 100
`

// Neither edge lies inside a run as far as its supply can be known. The run
// between them meets three steps of the discharge.
func TestAgentAtEdges(t *testing.T) {
	t.Parallel()
	binary := realkernel.Build(t, "sweepd/cmd/sweepd")
	runs, left := agentRuns(t, realkernel.Options{Binary: binary, ChargeUnits: true}, edgeScript)
	for _, apart := range []string{"unplugged online 0 Full", "last online 1 Discharging", "plugged online 1 Discharging"} {
		if !strings.Contains(left.Stdout, apart) {
			t.Errorf("the battery was not late, so nothing is tested: no %q in\n%s", apart, left.Stdout)
		}
	}
	for name, supply := range map[string]string{"unplugged": "battery", "last": "battery", "plugged": "mains"} {
		r := runs.get(t, name)
		if r.State != "finished" || r.Supply != supply || r.has("supply_changed") {
			t.Errorf("run %s at an edge is %+v, want finished on %s", name, r, supply)
		}
	}
	// Each of the two steps, of 13 and 16 W, may be seen late.
	steps := runs.get(t, "steps")
	checkLabels(t, steps, "battery", 10)
	want := realkernel.Timeline{ChargeUnits: true}.Discharge(steps.start[1], steps.stop[0])
	got, half := number(steps.Discharge.Watts), number(steps.Discharge.UncertaintyWatts)
	near(t, "discharge over three steps", got, want, 0.02*want+(13+16)*late.Seconds()/steps.DurationS)
	near(t, "discharge over three steps by its 95 % interval", got, want, half)
}
