package realkernel_test

import (
	"math"
	"path/filepath"
	"testing"
	"time"

	"sweepd/internal/realkernel"
)

// The day's runs, by the rig's clock: mains while charging and at rest, one
// across the edge at 40 s, battery at the same setting, then the further steps
// of the discharge. In units of charge the content moves every few seconds while it
// charges: shorter than some 12 s the run says little of it, by luck of where it begins.
const dayScript = `
start charging 4000 10W; stop charging 18000 100
start full     22000 10W; stop full     30000 102
start crossing 33000 10W; stop crossing 41600 500
start first    43000 10W; stop first    51000 90
start second   51200 10W; stop second   59200 92
start third    62000 20W
until_clock 66000; before=$(clock); set_sensor 0x0019; echo "set third $before $(clock)"
stop third     70000 110
start fourth   82000 35W; stop fourth   90000 120
sweepd compare --by supply --json >/out/compare.json
`

// The kernel's battery in both of its units against the agent's report of it:
// labels, findings, power, energy and temperature of every run.
func TestAgentFollowsTimeline(t *testing.T) {
	t.Parallel()
	binary := realkernel.Build(t, "sweepd/cmd/sweepd")
	for _, c := range []struct {
		name     string
		timeline realkernel.Timeline
	}{{"energy", realkernel.Timeline{}}, {"charge", realkernel.Timeline{ChargeUnits: true}}} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			runs, got := agentRuns(t, realkernel.Options{Binary: binary, ChargeUnits: c.timeline.ChargeUnits}, dayScript)
			for _, want := range []struct {
				name, supply string
				watts        float64 // setting
			}{
				{"charging", "mains", 10}, {"full", "mains", 10}, {"first", "battery", 10},
				{"second", "battery", 10}, {"third", "battery", 20}, {"fourth", "battery", 35},
			} {
				r := runs.get(t, want.name)
				checkLabels(t, r, want.supply, want.watts)
				checkDischarge(t, r, c.timeline)
				checkEnergy(t, r, c.timeline)
				checkTemperature(t, r, c.timeline)
			}
			checkStubSensor(t, runs.get(t, "third"))
			checkCrossing(t, runs.get(t, "crossing"))
			checkComparison(t, filepath.Join(got.OutDir, "compare.json"))
		})
	}
}

// late is how old a value of the battery or of the firmware's thermal zone may
// be in a sweep: the kernel keeps it 1 s, the agent asks once a second.
const late = 2100 * time.Millisecond

func checkLabels(t *testing.T, r *agentRun, supply string, watts float64) {
	t.Helper()
	if r.State != "finished" || r.Supply != supply || number(r.Setting.Watts) != watts || r.Setting.Source != "declared" {
		t.Errorf("run %s is %s on %q at %v W (%s), want finished on %s at %v W (declared); findings %v", r.Note,
			r.State, r.Supply, number(r.Setting.Watts), r.Setting.Source, supply, watts, r.Findings)
	}
	shortest, longest := (r.stop[0] - r.start[1]).Seconds(), (r.stop[1] - r.start[0]).Seconds()
	if r.DurationS < shortest-0.004 || r.DurationS > longest+0.004 { // one step of the rig's clock
		t.Errorf("run %s lasted %v s, by the rig's clock %v to %v s", r.Note, r.DurationS, shortest, longest)
	}
	if charging := r.Note == "charging"; r.has("charging") != charging {
		t.Errorf("run %s: findings %v, the battery charges: %v", r.Note, r.Findings, charging)
	}
	// The rig's temperature is a triangle from 40 to 70 °C: a run in its warm half
	// does start hot.
	hot := realkernel.Timeline{}.At(r.start[0]).Temperature > 52_000
	for _, f := range r.Findings {
		if f.Severity != "note" && !(hot && f.Code == "hot_start") {
			t.Errorf("run %s has the finding %s (%s): %s", r.Note, f.Code, f.Severity, f.Text)
		}
	}
}

func checkDischarge(t *testing.T, r *agentRun, l realkernel.Timeline) {
	t.Helper()
	want := l.Discharge(r.start[1], r.stop[0])
	slack := max(0.02*math.Abs(want), 0.02)
	near(t, "discharge of run "+r.Note, number(r.Discharge.Watts), want, slack)
	near(t, "its 95 % interval", number(r.Discharge.Watts), want, number(r.Discharge.UncertaintyWatts))
	near(t, "the part of it from power", number(r.Discharge.FromPowerWatts), want, slack)
	power := r.summary(t, "battery_power_watts", "BAT0")
	near(t, "mean power of run "+r.Note, number(power.Mean), want, slack)
	near(t, "energy from the power of run "+r.Note, number(power.EnergyJoules), want*r.DurationS, slack*r.DurationS)
}

// checkEnergy compares the battery's content at the run's edges, and its fall,
// with what the timeline had until late before. The content of a battery that
// counts charge lies between charge times nominal and times present voltage; its
// fall is at the present voltage.
func checkEnergy(t *testing.T, r *agentRun, l realkernel.Timeline) {
	t.Helper()
	content := r.summary(t, "battery_energy_joules", "BAT0")
	first, last := number(content.First), number(content.Last)
	firstLo, firstHi := contentBounds(l, r.start)
	lastLo, lastHi := contentBounds(l, r.stop)
	nominal := 1.0
	if l.ChargeUnits {
		nominal = 0.99 * realkernel.DesignVoltage / realkernel.Voltage // 1 %: it fell faster than at nominal
	}
	within(t, "first content of run "+r.Note+" in J", first, firstLo*nominal, firstHi)
	within(t, "last content of run "+r.Note+" in J", last, lastLo*nominal, lastHi)
	within(t, "fall of the content of run "+r.Note+" in J", first-last, firstLo-lastHi, firstHi-lastLo)
}

// contentBounds are the least and the most that the battery said to hold from
// late before an edge to its end, in J at the present voltage.
func contentBounds(l realkernel.Timeline, edge [2]time.Duration) (lo, hi float64) {
	unit := 3600e-6 // J in a µWh
	if l.ChargeUnits {
		unit *= realkernel.Voltage
	}
	lo, hi = math.Inf(1), math.Inf(-1)
	for at := edge[0] - late; at <= edge[1]; at += time.Millisecond {
		joules := float64(l.At(at).ReportedContent) * unit
		lo, hi = min(lo, joules), max(hi, joules)
	}
	return lo, hi
}

// within allows for the rounding of a float.
func within(t *testing.T, what string, got, lo, hi float64) {
	t.Helper()
	near(t, what, got, (lo+hi)/2, (hi-lo)/2+1e-3)
}

func checkTemperature(t *testing.T, r *agentRun, l realkernel.Timeline) {
	t.Helper()
	now := l.MeanTemperature(r.start[0], r.stop[1])
	before := l.MeanTemperature(r.start[0]-late, r.stop[1]-late)
	slack := math.Abs(now-before)/2 + 0.1 // the zone's step
	near(t, "mean temperature of run "+r.Note, number(r.summary(t, "temperature_celsius", "acpitz").Mean), (now+before)/2, slack)
}

// checkStubSensor: 61.5 °C until the script set 25 °C in the run. The slack is
// one sampling interval and the time that the command took.
func checkStubSensor(t *testing.T, r *agentRun) {
	t.Helper()
	s := r.summary(t, "temperature_celsius", "lm75")
	share := (r.set[0] - r.start[0]).Seconds() / r.DurationS
	slack := (0.25 + (r.set[1] - r.set[0] + r.start[1] - r.start[0]).Seconds()) / r.DurationS
	near(t, "mean of the sensor on the stub bus", number(s.Mean), 25+share*36.5, slack*36.5)
	near(t, "its first value", number(s.First), 61.5, 1e-9)
	near(t, "its last value", number(s.Last), 25, 1e-9)
}

func checkCrossing(t *testing.T, r *agentRun) {
	t.Helper()
	if r.State != "rejected" || r.Supply != "mains" || !r.has("supply_changed") {
		t.Errorf("the run that crosses the edge of the supply is %+v, want rejected with supply_changed", r)
	}
}

// checkComparison: two runs on each supply at 10 W, of which those on battery
// scored 90 and 92, those on mains 100 and 102; ratios of geometric means. The
// rejected run, which scored 500, does not count.
func checkComparison(t *testing.T, file string) {
	t.Helper()
	c := readJSON[struct {
		Comparisons []struct {
			Metric, Workload string
			Settings         []struct {
				SettingW *float64 `json:"setting_w"`
				NA       int      `json:"n_a"`
				NB       int      `json:"n_b"`
				Diff     *float64
			}
		}
	}](t, file)
	if len(c.Comparisons) != 1 || c.Comparisons[0].Metric != "score" || c.Comparisons[0].Workload != "tile-sort" {
		t.Fatalf("compare --by supply gives %+v, want one comparison of the score of tile-sort", c)
	}
	found := false
	for _, s := range c.Comparisons[0].Settings {
		if number(s.SettingW) != 10 {
			continue
		}
		found = true
		if s.NA != 2 || s.NB != 2 {
			t.Errorf("compare: %d runs on battery, %d on mains at 10 W, want 2 and 2", s.NA, s.NB)
		}
		near(t, "battery against mains", number(s.Diff), math.Sqrt(90*92/(100*102.0))-1, 1e-9)
	}
	if !found {
		t.Errorf("compare: no setting of 10 W in %+v", c.Comparisons[0].Settings)
	}
}
