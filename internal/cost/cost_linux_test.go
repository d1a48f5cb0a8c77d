package main

import (
	"bytes"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"sweepd/collectors"
	"sweepd/internal/simdevice"
	"sweepd/run"
)

// TestMain lets the test's own program be the child, as the benchmark's is.
func TestMain(m *testing.M) {
	if len(os.Args) == 3 && os.Args[1] == childArg {
		if err := runChild(os.Args[2], os.Stdout); err != nil {
			fmt.Fprintln(os.Stderr, err)
			os.Exit(1)
		}
		return
	}
	m.Run()
}

// The parts that take the real program, as short as can be.
func TestShortMeasurement(t *testing.T) {
	if testing.Short() {
		t.Skip("builds the program")
	}
	var out, progress bytes.Buffer
	err := measure(t.Context(), []string{"--parts", "start,agent,watchers,disturb", "--minutes", "0.03", "--starts", "1", "--pairs", "3", "--load", "20ms"}, &out, &progress)
	if err != nil {
		t.Fatalf("%v\n%s", err, &progress)
	}
	written := out.String()
	for _, want := range []string{"Program and start", "The whole agent", "Open pages", "A load on every CPU", "\n| 160 | 10 | this | "} {
		if !strings.Contains(written, want) {
			t.Errorf("%q is missing in\n%s", want, written)
		}
	}
	if strings.Contains(written, "NaN") || strings.Contains(written, "Inf") {
		t.Errorf("a figure is none:\n%s", written)
	}
	if left, _ := filepath.Glob("/dev/shm/simdevice-cost-*"); len(left) > 0 {
		t.Logf("folders left, by this or another measurement: %v", left)
	}
}

func TestCommandLine(t *testing.T) {
	for _, args := range [][]string{{"--parts", "sums"}, {"--minutes", "0"}, {"--pairs", "1"}, {"--turn", "1ms"}, {"more"}, {"--nonsense"}} {
		if _, err := parse(args, io.Discard); err == nil {
			t.Errorf("%q is accepted", args)
		}
	}
}

// Ticks on a grid of 100 ms from 7 ms on; one came 60 ms late, which is not 40
// ms early.
func TestLatenessAgainstTheGrid(t *testing.T) {
	ms := func(x float64) time.Duration { return time.Duration(x * float64(time.Millisecond)) }
	at := []time.Duration{ms(167), ms(207.5), ms(307), ms(407.25), ms(607), ms(707)}
	if d := cmp.Diff([]float64{60_000, 500, 0, 250, 0, 0}, lateness(at, 100*time.Millisecond)); d != "" {
		t.Errorf("lateness (-want +got):\n%s", d)
	}
	if lateness(nil, time.Second) != nil {
		t.Error("lateness of no sweep")
	}
}

func TestSweepsTakenReadsAScrape(t *testing.T) {
	const text = "# TYPE sweepd_sweep_duration_seconds summary\nsweepd_sweep_duration_seconds_sum 0.5\nsweepd_sweep_duration_seconds_count 6000\n"
	if n := sweepsTaken(text); n != 6000 {
		t.Errorf("%d sweeps, want 6000", n)
	}
	if n := sweepsTaken("# EOF\n"); n != 0 {
		t.Errorf("%d sweeps, want none", n)
	}
}

// loads are pairs of times with and without the agent; slower is its effect,
// and the noise is 0.1 % up and down.
func loads(pairs int, slower float64) []run.Run {
	var runs []run.Run
	begin := time.Date(2026, 11, 24, 12, 0, 0, 0, time.UTC)
	for i := range pairs {
		for k, side := range []struct {
			variant run.Variant
			seconds float64
		}{{"agent=none", 2}, {"agent=this", 2 * (1 + slower)}} {
			noise := 0.001 * float64((i*7+k*3)%5-2) / 2
			runs = append(runs, run.Run{ID: fmt.Sprint(i, side.variant), Labels: run.Labels{Device: "d", Workload: "load", Setting: run.Named("s").From(run.Declared), Variant: side.variant},
				StartedAt: run.Timestamp{Time: begin.Add(time.Duration(2*i+k) * time.Minute)},
				Results: map[string]run.Result{
					wallSeconds: {Value: side.seconds * (1 + noise), Unit: "s", Better: run.Lower},
					cpuSeconds:  {Value: 4 * (1 + noise), Unit: "s", Better: run.Lower},
				}})
		}
	}
	return runs
}

func TestDisturbanceIsFoundAndItsAbsenceToo(t *testing.T) {
	for slower, want := range map[float64]string{0.02: "slower with the agent", 0: "tie"} {
		out, err := disturbanceTable(loads(20, slower), []build{{name: "this"}})
		if err != nil {
			t.Fatal(err)
		}
		time, cpu := out.rows[0], out.rows[1]
		if time[len(time)-1] != want || time[2] != "20 and 20" {
			t.Errorf("slower by %v: %q, want %s", slower, time, want)
		}
		if cpu[len(cpu)-1] != "tie" {
			t.Errorf("CPU time that is the same: %q, want a tie", cpu)
		}
	}
}

// The kernel's release may name who built it.
func TestMachineClassNamesNobody(t *testing.T) {
	for release, want := range map[string]string{"6.18.44-builder-v6": "6.18", "6.1": "6.1", "7": "7"} {
		if got := majorMinor(release); got != want {
			t.Errorf("%s becomes %s, want %s", release, got, want)
		}
	}
}

func TestDeviceHasTheSensorsThatAreWanted(t *testing.T) {
	for _, c := range agentCases {
		h, err := startHandheld(filepath.Join(t.TempDir(), "device"), c.sensors)
		if err != nil {
			t.Fatal(err)
		}
		if n := countSensors(h.Device); n != c.sensors {
			t.Errorf("the device offers %d sensors, %d are wanted", n, c.sensors)
		}
		if err := h.Close(); err != nil {
			t.Error(err)
		}
	}
}

// countSensors is how many sensors the program's collectors find on a device.
func countSensors(d *simdevice.Device) int {
	r := collectors.Roots{Sys: d.SysRoot(), Proc: d.ProcRoot(), Etc: d.EtcRoot()}
	set := collectors.NewSet(collectors.SetOptions{},
		collectors.NewPowerSupply(r), collectors.NewPowercap(r), collectors.NewFirmwareAttributes(r), collectors.NewPlatformProfile(r),
		collectors.NewHwmon(r), collectors.NewThermal(r), collectors.NewDRM(r), collectors.NewCPUFreq(r), collectors.NewCPUs(r),
		collectors.NewThrottle(r), collectors.NewPressure(r), collectors.NewHost(r))
	defer set.Close()
	return len(set.Sensors())
}
