package contract

import (
	"errors"
	"math"
	"testing"

	"sweepd/run"
	"sweepd/store"
)

// setsReadings: one more sensor comes beside those of a run and goes again, and everything
// else stays.
func setsReadings(t *testing.T, s store.Store) {
	ctx := t.Context()
	want := someSweeps()
	meter := run.Sensor{ID: run.ExternalPower, Unit: "watts", Source: "bench.csv", Resolution: 0.001}
	values := make([]float64, len(want))
	for i := range values {
		values[i] = 30 + 0.125*float64(i)
	}
	values[1] = math.NaN()

	must(t, s.BeginRun(ctx, startedRun("run-a")))
	must(t, s.Append(ctx, run.Batch{Device: "unit-oak", RunID: "run-a", Sensors: sensors, Sweeps: want}))
	if err := s.SetReadings(ctx, judgedRun("run-a"), meter, values); !errors.Is(err, store.ErrStillRecording) {
		t.Errorf("of a run that is recording: %v", err)
	}
	must(t, s.FinishRun(ctx, judgedRun("run-a")))
	before, err := s.Run(ctx, "run-a")
	must(t, err)

	d := before
	d.SystemW, d.SystemWSource = new(33.5), run.FromExternal
	d.Summaries = append(d.Summaries[:len(d.Summaries):len(d.Summaries)], run.Summary{Sensor: meter.ID, Unit: "watts", Mean: new(33.5)})
	must(t, s.SetReadings(ctx, d, meter, values))
	after, err := s.Run(ctx, "run-a")
	must(t, err)
	same(t, d, after)
	trace, err := s.Trace(ctx, "run-a")
	must(t, err)
	same(t, append(sensors[:len(sensors):len(sensors)], meter), trace.Sensors())
	for i, x := range walk(t, trace) {
		if got := x.Values[len(sensors)]; got != values[i] && !(math.IsNaN(got) && math.IsNaN(values[i])) {
			t.Errorf("sweep %d: %v, want %v", i, got, values[i])
		}
	}
	must(t, s.SetReadings(ctx, d, meter, values)) // in the place of those before
	for _, wrong := range [][]float64{values[:3], append(values[:len(values):len(values)], 1)} {
		if err := s.SetReadings(ctx, d, meter, wrong); !errors.Is(err, run.ErrRefused) {
			t.Errorf("%d values for %d sweeps: %v", len(wrong), len(values), err)
		}
	}

	must(t, s.SetReadings(ctx, before, meter, nil))
	after, err = s.Run(ctx, "run-a")
	must(t, err)
	same(t, before, after)
	trace, err = s.Trace(ctx, "run-a")
	must(t, err)
	same(t, sensors, trace.Sensors())
	sameSweeps(t, want, walk(t, trace))

	imported(t, s, finished("run-b", 1))
	if err := s.SetReadings(ctx, finished("run-b", 1), meter, values); !errors.Is(err, run.ErrRefused) {
		t.Errorf("of a run without sweeps: %v", err)
	}
	if err := s.SetReadings(ctx, finished("run-z", 1), meter, values); !errors.Is(err, run.ErrNoRun) {
		t.Errorf("of no run: %v", err)
	}
}
