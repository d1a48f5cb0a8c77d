package testday

import (
	"errors"
	"math"
	"slices"
	"strings"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"sweepd/run"
	"sweepd/store"
)

// laggingMachine has a value that is older than the sweep, and states when that of position
// 4 is too hot.
type laggingMachine struct {
	fakeMachine
	at  int
	lag time.Duration
}

func (m laggingMachine) Lag(i int) time.Duration {
	if i == m.at {
		return m.lag
	}
	return 0
}

func (m laggingMachine) HotLimit(i int) float64 {
	if i == 4 {
		return 44
	}
	return math.NaN()
}

func TestGlance(t *testing.T) {
	sensors := []run.Sensor{
		{ID: run.BatteryPower, Instance: "BAT0"}, {ID: run.BatteryCharge, Instance: "BAT0"}, {ID: run.PackageEnergy}, {ID: run.Temperature, Instance: "cpu"}, {ID: run.Temperature, Instance: "disk"}, {ID: run.FanSpeed},
	}
	l := run.Live{
		Now: run.Instant{Wall: morning.Add(2 * time.Second), Mono: 12 * time.Second}, At: run.Instant{Wall: morning, Mono: 10 * time.Second}, Sweeps: 1,
		Current: run.Labels{Device: "unit-oak", Supply: run.Battery, Setting: run.Watts(15).From(run.Declared)}, Sensors: sensors,
		Values: []float64{7.5, 0.8, 1000, 41, 44, math.NaN()}, DischargeWatts: 7.5, ChargeRatio: 0.8,
		Recording: &run.Run{ID: "019a", Labels: run.Labels{Workload: "tile-sort"}, StartedAt: run.Stamp(morning.Add(-time.Minute))},
	}
	var g Glancer
	var timer StopTimer
	m := laggingMachine{at: 0, lag: 700 * time.Millisecond}
	at := g.Look(l, m, &timer)
	if at.Discharge.AgeS != 2.7 || *at.Discharge.Value != 7.5 || at.Charge.AgeS != 2 || at.Package.Value != nil || at.Recording.ElapsedS != 62 || at.Recording.StopsInS != nil {
		t.Errorf("%+v", at)
	}
	if len(at.Temperatures) != 2 || at.Temperatures[0].Name != "disk" || *at.Temperatures[0].Value != 44 || strings.Join(at.Missing, ",") != run.FanSpeed {
		t.Errorf("%+v, missing %v", at.Temperatures, at.Missing)
	}
	if len(at.TooHot) != 1 || at.TooHot[0].Name != "disk" {
		t.Errorf("at what its maker states: %+v", at.TooHot)
	}
	if hot := (&Glancer{Limit: 41}).Look(l, m, &timer).TooHot; len(hot) != 2 { // the other by the configuration
		t.Errorf("%+v", hot)
	}
	// What the package draws is the rise of its counter since the sweep before.
	l.At.Mono, l.Now.Mono, l.Values = 12*time.Second, 12*time.Second, []float64{7.5, 0.8, 1030, 41, 44, 30}
	for range 2 { // looking twice changes nothing
		if at := g.Look(l, m, &timer); at.Package.Value == nil || *at.Package.Value != 15 || len(at.Missing) != 0 {
			t.Errorf("%+v", at.Package)
		}
	}
	l.At.Mono, l.Values = 14*time.Second, []float64{7.5, 0.8, 5, 41, 44, 30} // it began anew
	if at := g.Look(l, m, &timer); at.Package.Value != nil {
		t.Errorf("a counter that was reset: %v W", *at.Package.Value)
	}
	if at := (&Glancer{}).Look(run.Live{DischargeWatts: math.NaN(), ChargeRatio: math.NaN(), Current: run.Labels{Device: "unit-oak"}}, m, &timer); !at.At.IsZero() || at.Discharge.Value != nil || at.Temperatures == nil || at.Missing == nil {
		t.Errorf("before the first sweep: %+v", at)
	}
}

func TestStopTimer(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		var timer StopTimer
		var mu sync.Mutex
		var stopped []string
		stop := func(id string) { mu.Lock(); defer mu.Unlock(); stopped = append(stopped, id) }
		ended := func() []string { mu.Lock(); defer mu.Unlock(); return slices.Clone(stopped) }
		live := func() run.Live {
			return run.Live{Now: run.Instant{Wall: time.Now()}, Recording: &run.Run{ID: "a", StartedAt: run.Stamp(morning)}}
		}
		began := time.Now()
		l := live()
		l.Recording.StartedAt = run.Stamp(began)
		set := func(id string, s float64) error { l.Now.Wall = time.Now(); return timer.Set(l, id, s, stop) }
		var request *RequestError
		for _, s := range []float64{-1, 0.5, 90000, math.NaN(), math.Inf(1)} {
			if err := set("a", s); !errors.As(err, &request) {
				t.Errorf("%v s: %v", s, err)
			}
		}
		if err := set("b", 60); !errors.Is(err, run.ErrEnded) {
			t.Errorf("another run: %v", err)
		}
		if err := set("a", 60); err != nil {
			t.Fatal(err)
		}
		time.Sleep(20 * time.Second)
		if left := timer.left("a", time.Now()); left == nil || *left != 40 {
			t.Errorf("left %v", left)
		}
		if err := set("a", 10); !errors.As(err, &request) {
			t.Errorf("a time that is over: %v", err)
		}
		if err := set("a", 30); err != nil {
			t.Fatal(err)
		}
		time.Sleep(9 * time.Second)
		synctest.Wait()
		if len(ended()) != 0 {
			t.Error("stopped too early")
		}
		time.Sleep(2 * time.Second)
		synctest.Wait()
		if stopped := ended(); len(stopped) != 1 || stopped[0] != "a" {
			t.Errorf("stopped %v", stopped)
		}
		if err := set("a", 60); err != nil {
			t.Fatal(err)
		}
		if err := set("a", 0); err != nil || timer.left("a", time.Now()) != nil {
			t.Errorf("by hand again: %v", err)
		}
		time.Sleep(time.Hour)
		if stopped := ended(); len(stopped) != 1 {
			t.Errorf("stopped %v", stopped)
		}
	})
}

func TestCourse(t *testing.T) {
	s := openStore(t)
	recordRun(t, s, "019d0000-0001") // at morning: 3 sweeps, 1 s apart
	idle := run.Batch{Device: "unit-oak", Sensors: []run.Sensor{{ID: run.BatteryPower, Instance: "BAT0"}, {ID: run.PackageEnergy}, {ID: run.Temperature}}}
	for i, values := range [][]float64{{-2, 100, 40}, {-4, 130, 42}, {math.NaN(), 5, math.NaN()}} {
		at := time.Duration(i) * 10 * time.Second
		idle.Sweeps = append(idle.Sweeps, run.Sweep{At: run.Instant{Wall: morning.Add(-2*time.Minute + at), Mono: 30*time.Minute + at, Boot: 30*time.Minute + at}, Values: values})
	}
	if err := s.Append(t.Context(), idle); err != nil {
		t.Fatal(err)
	}
	day := &Day{Store: s, Now: morning.Add(time.Minute), Device: func() (string, error) { return "unit-oak", nil }}
	c, err := RecentCourse.Do(t.Context(), day, CourseRequest{})
	if err != nil || len(c.Points) != 6 || !c.To.Equal(day.Now) || c.From.Sub(day.Now) != -5*time.Minute {
		t.Fatalf("%+v, %v", c, err)
	}
	first, second, third, inRun := c.Points[0], c.Points[1], c.Points[2], c.Points[3]
	if first.Discharge != -2 || first.Celsius != 40 || !math.IsNaN(float64(first.Package)) || second.Package != 3 || !math.IsNaN(float64(third.Discharge)) || !math.IsNaN(float64(third.Package)) {
		t.Errorf("at rest: %+v %+v %+v", first, second, third)
	}
	if inRun.Discharge != 20 || inRun.Package != 12 || inRun.Celsius < 50 || inRun.At.Before(morning) {
		t.Errorf("in the run: %+v", inRun)
	}
	day.Now = morning.Add(time.Hour)
	if c, err := RecentCourse.Do(t.Context(), day, CourseRequest{Minutes: 1}); err != nil || len(c.Points) != 0 || c.Points == nil {
		t.Errorf("an hour later: %+v, %v", c, err)
	}
	for _, minutes := range []int{-1, 61} {
		var request *RequestError
		if _, err := RecentCourse.Do(t.Context(), day, CourseRequest{Minutes: minutes}); !errors.As(err, &request) {
			t.Errorf("%d minutes: %v", minutes, err)
		}
	}
	day.Now = morning.Add(time.Minute)
	failsWhereItsStoreDoes(t, s, []string{"IdleSweeps", "Runs", "Trace"}, func(s store.Store) error {
		broken := *day
		broken.Store = s
		_, err := RecentCourse.Do(t.Context(), &broken, CourseRequest{})
		return err
	})
}
