package sqlite

import (
	"fmt"
	"os"
	"slices"
	"testing"
	"time"

	"sweepd/collectors"
	"sweepd/internal/simdevice"
	"sweepd/judge"
	"sweepd/run"
)

// recording is sweeps that the real collectors read from a simulated device.
type recording struct {
	sensors []run.Sensor
	sweeps  []run.Sweep
}

// simulated samples a device at 4 Hz: it plays at one setting after the other,
// mostly on battery, with the clocks' tremble of a real machine.
func simulated(t testing.TB, seconds int) recording {
	t.Helper()
	dir, err := simdevice.MakeTempDir("store")
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { os.RemoveAll(dir) })
	dev, err := simdevice.New(dir, simdevice.UnitOak(), noon)
	if err != nil {
		t.Fatal(err)
	}
	defer dev.Close()
	roots := collectors.Roots{Sys: dev.SysRoot(), Proc: dev.ProcRoot(), Etc: dev.EtcRoot()}
	set := collectors.NewSet(collectors.SetOptions{},
		collectors.NewPowerSupply(roots), collectors.NewHwmon(roots), collectors.NewThermal(roots), collectors.NewDRM(roots),
		collectors.NewCPUFreq(roots), collectors.NewCPUs(roots), collectors.NewThrottle(roots), collectors.NewPressure(roots), collectors.NewHost(roots))
	defer set.Close()

	r := recording{sensors: slices.Clone(set.Sensors())}
	dev.StartWorkload(simdevice.HarbourFlight())
	tremble := uint32(1)
	for i := range 4 * seconds {
		setting := []float64{15, 25, 8, 40}[i/480%4]
		if i%480 == 0 {
			dev.SetLimit(setting)
		}
		dev.Advance(250 * time.Millisecond)
		if err := dev.Flush(); err != nil {
			t.Fatal(err)
		}
		tremble = tremble*1664525 + 1013904223
		mono := time.Hour + time.Duration(i)*250*time.Millisecond + time.Duration(tremble>>16)*time.Nanosecond // up to 65 us late
		if set.SlowDue(mono) {
			set.ReadSlow(mono)
		}
		r.sweeps = append(r.sweeps, run.Sweep{
			At:      run.Instant{Mono: mono, Boot: mono + time.Duration(tremble%3)*time.Microsecond, Wall: noon.Add(mono)},
			Values:  slices.Clone(set.Sweep(mono)),
			Setting: declaredWatts(setting), Supply: run.Battery,
		})
	}
	return r
}

// maxBytesPerReading is the design's bound on what a reading may add to the
// file, with everything else that a run adds.
const maxBytesPerReading = 2.5

// A day of short runs, with facts, summaries and findings, stays below the
// design's bytes a reading, counted as growth of the file.
func TestBytesPerReading(t *testing.T) {
	r := simulated(t, 480)
	s := openTest(t)
	empty := fileSize(t, s)
	readings := 0
	for n := range 40 {
		readings += recordRun(t, s, r, fmt.Sprintf("run-%04d", n), n%4*480, 480)
	}
	per := float64(fileSize(t, s)-empty) / float64(readings)
	t.Logf("%d sensors, %d readings: %.3f bytes a reading of file growth", len(r.sensors), readings, per)
	if per > maxBytesPerReading {
		t.Errorf("%.3f bytes a reading, want at most %v", per, maxBytesPerReading)
	}
}

// recordRun records sweeps as the agent does, and says how many readings.
func recordRun(t testing.TB, s *Store, r recording, id string, from, n int) int {
	t.Helper()
	ctx := t.Context()
	d := newRun(id)
	must(t, s.BeginRun(ctx, d))
	for i := from; i < from+n; i += 4 {
		must(t, s.Append(ctx, run.Batch{Device: "unit-oak", RunID: id, Sensors: r.sensors, Sweeps: r.sweeps[i : i+4]}))
	}
	trace, err := s.Trace(ctx, id)
	must(t, err)
	d.State = run.Finished
	judged, err := judge.Judge(d, trace, judge.Thresholds{})
	must(t, err)
	must(t, s.FinishRun(ctx, judged))
	return n * len(r.sensors)
}

func fileSize(t testing.TB, s *Store) int64 {
	t.Helper()
	must(t, s.Upkeep(t.Context(), 0, noon))
	info, err := os.Stat(s.Path())
	must(t, err)
	return info.Size()
}
