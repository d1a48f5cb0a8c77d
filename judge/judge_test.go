package judge

import (
	"math"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"sweepd/internal/scripted"
	"sweepd/run"
)

// TestFindings provokes each finding alone: the right one and no other.
func TestFindings(t *testing.T) {
	const lasting = 30 * time.Second
	for _, c := range []struct {
		name  string
		trace *scripted.Trace
		want  []run.Code
		says  string
	}{
		{"nothing, on battery", scripted.Play(lasting, scripted.OnBattery), nil, ""},
		{"nothing, on mains", scripted.Play(lasting, scripted.OnMains), nil, ""},
		{"too short", scripted.Play(4*time.Second, scripted.OnMains), []run.Code{run.TooShort}, "lasted 4.0 s, less than 5 s"},
		{"unplugged in mid-run", scripted.Play(lasting, func(t time.Duration) scripted.State {
			if t < 10*time.Second {
				return scripted.OnMains(t)
			}
			return scripted.OnBattery(t)
		}), []run.Code{run.SupplyChanged}, "from mains to battery 10.0 s after the start"},
		{"unplugged for a second", scripted.Play(lasting, func(t time.Duration) scripted.State {
			if t < 10*time.Second || t > 11*time.Second {
				return scripted.OnMains(t)
			}
			return scripted.OnBattery(t)
		}), []run.Code{run.SupplyChanged}, "from mains to battery"},
		{"limit changed", scripted.Play(lasting, func(t time.Duration) scripted.State {
			s := scripted.OnMains(t)
			if t > 20*time.Second {
				s.Limit = 25
			}
			return s
		}), []run.Code{run.SettingChanged}, "from 15W (firmware) to 25W (firmware) 20.2 s after the start"},
		{"declared anew", scripted.Play(lasting, func(t time.Duration) scripted.State {
			s := scripted.OnMains(t)
			if t > 20*time.Second {
				s.Setting = watts(25)
			}
			return s
		}), []run.Code{run.SettingChanged}, "the declared setting changed from 15W to 25W"},
		{"profile changed", scripted.Play(lasting, func(t time.Duration) scripted.State {
			s := scripted.OnMains(t)
			if t > 20*time.Second {
				s.Profile = 5
			}
			return s
		}), []run.Code{run.SettingChanged}, "profile changed from balanced to performance"},
		{"declared otherwise", scripted.Play(lasting, func(t time.Duration) scripted.State {
			s := scripted.OnMains(t)
			s.Setting = watts(20)
			return s
		}), []run.Code{run.SettingDisagrees}, "20W was declared, but the system reports 15W (firmware)"},
		{"declared within tolerance", scripted.Play(lasting, func(t time.Duration) scripted.State {
			s := scripted.OnMains(t)
			s.Setting = watts(15.5)
			return s
		}), nil, ""},
		{"profile declared otherwise", scripted.Play(lasting, func(t time.Duration) scripted.State {
			s := scripted.OnMains(t)
			s.Setting = run.Named("quiet").From(run.Declared)
			return s
		}), []run.Code{run.SettingDisagrees}, "profile quiet was declared, but the platform profile is balanced"},
		{"own name cannot be compared", scripted.Play(lasting, func(t time.Duration) scripted.State {
			s := scripted.OnMains(t)
			s.Setting = run.Named("my fast mode").From(run.Declared)
			return s
		}), nil, ""},
		{"limit unknown for a while", scripted.Play(lasting, func(t time.Duration) scripted.State {
			s := scripted.OnMains(t)
			if t > 20*time.Second && t < 22*time.Second {
				s.Limit = nan
			}
			return s
		}), nil, ""},
		{"charging", scripted.Play(lasting, func(t time.Duration) scripted.State {
			s := scripted.OnMains(t)
			s.Power, s.Direction, s.Energy = -18, -1, 100000+18*math.Floor(t.Seconds())
			return s
		}), []run.Code{run.Charging}, "charging for 30 s with 18.0 W"},
		{"battery pulled", scripted.Play(lasting, func(t time.Duration) scripted.State {
			s := scripted.OnMains(t)
			if t > 10*time.Second {
				s.Power, s.Energy, s.Direction = nan, nan, nan
			}
			return s
		}), []run.Code{run.SensorGone}, "battery_power_watts of BAT0"},
		{"short hole in a sensor", scripted.Play(lasting, func(t time.Duration) scripted.State {
			s := scripted.OnMains(t)
			if t > 10*time.Second && t < 12*time.Second {
				s.Watts = nan
			}
			return s
		}), nil, ""},
		{"sensor that appears late", scripted.Play(lasting, func(t time.Duration) scripted.State {
			s := scripted.OnMains(t)
			if t < 10*time.Second {
				s.Watts = nan
			}
			return s
		}), nil, ""},
		{"charger too weak", scripted.Play(lasting, func(t time.Duration) scripted.State {
			s := scripted.OnBattery(t)
			s.Online, s.Power, s.Energy = 1, 3, 180000-3*math.Floor(t.Seconds())
			return s
		}), []run.Code{run.ChargerWeak}, "the battery gave 3.0 W for 30 s although the device was on mains"},
		{"near empty", scripted.Play(lasting, func(t time.Duration) scripted.State {
			s := scripted.OnBattery(t)
			s.Charge = 0.1 - t.Seconds()/10000
			return s
		}), []run.Code{run.BatteryReserve}, "the battery was at 10 % at its lowest (reserve: 10 %)"},
		{"stuck gauge", scripted.Play(2*time.Minute, func(t time.Duration) scripted.State {
			s := scripted.OnBattery(t)
			s.Energy = 180000
			return s
		}), []run.Code{run.SensorStale}, "BAT0 reported the same power and content for 120 s"},
		{"throttle counter", scripted.Play(lasting, func(t time.Duration) scripted.State {
			s := scripted.OnMains(t)
			s.Throttles = 7 + math.Floor(t.Seconds()/10)
			return s
		}), []run.Code{run.Throttled}, "entered thermal throttling 3 times"},
		{"power falls at the temperature limit", scripted.Play(time.Minute, func(t time.Duration) scripted.State {
			s := scripted.OnMains(t)
			if s.Celsius = 91; t > 20*time.Second {
				s.Watts = 12
			}
			return s
		}), []run.Code{run.Throttled}, "package power fell by 17 % while the device was at 91.0 °C"},
		{"power falls, and it is hot now and then", scripted.Play(time.Minute, func(t time.Duration) scripted.State {
			s := scripted.OnMains(t)
			if t > 20*time.Second {
				s.Watts = 12 + math.Sin(t.Seconds())
			}
			if int(t.Seconds())%3 == 0 {
				s.Celsius = 91
			}
			return s
		}), nil, ""},
		{"power falls, but it is cool", scripted.Play(time.Minute, func(t time.Duration) scripted.State {
			s := scripted.OnMains(t)
			if s.Watts = 15; t > 20*time.Second {
				s.Watts = 12 + math.Sin(t.Seconds()) // the workload wants less
			}
			return s
		}), nil, ""},
		{"hot, but nothing falls", scripted.Play(time.Minute, func(t time.Duration) scripted.State {
			s := scripted.OnMains(t)
			s.Celsius = 93
			return s
		}), nil, ""},
		{"more than the setting", scripted.Play(lasting, func(t time.Duration) scripted.State {
			s := scripted.OnMains(t)
			s.Watts = 18
			return s
		}), []run.Code{run.SettingDisobeyed}, "package power was 18.0 W at a setting of 15 W: the device does not go that low"},
		{"more than the setting, for too short to tell", scripted.Play(5*time.Second, func(t time.Duration) scripted.State {
			s := scripted.OnMains(t)
			s.Watts = 18
			return s
		}), nil, ""},
		{"held below the setting", scripted.Play(lasting, func(t time.Duration) scripted.State {
			s := scripted.OnMains(t)
			s.Watts = 11
			return s
		}), []run.Code{run.SettingDisobeyed}, "package power was held at 11.0 W at a setting of 15 W"},
		{"a workload that wants less", scripted.Play(lasting, func(t time.Duration) scripted.State {
			s := scripted.OnMains(t)
			s.Watts = 8 + 3*math.Sin(t.Seconds())
			return s
		}), nil, ""},
		{"short-term allowance above the setting", scripted.Play(time.Minute, func(t time.Duration) scripted.State {
			s := scripted.OnMains(t)
			if t < 20*time.Second {
				s.Watts = 25
			}
			return s
		}), nil, ""},
		{"whole device below the setting", scripted.Play(lasting, func(t time.Duration) scripted.State {
			s := scripted.OnBattery(t)
			s.Watts, s.Joules, s.Power, s.Energy = nan, nan, 12, 180000-12*math.Floor(t.Seconds())
			return s
		}), []run.Code{run.SettingDisobeyed}, "the discharge of the whole device was held at 12.0 W"},
		{"the declaration is wrong, the device obeys what it was set to", scripted.Play(lasting, func(t time.Duration) scripted.State {
			s := scripted.OnMains(t)
			s.Setting = watts(25)
			return s
		}), []run.Code{run.SettingDisagrees}, "25W was declared"},
		{"resting battery without a power", scripted.Play(lasting, func(t time.Duration) scripted.State {
			s := scripted.OnMains(t)
			if t > time.Second {
				s.Power = nan
			}
			return s
		}), nil, ""},
	} {
		t.Run(c.name, func(t *testing.T) { wantFindings(t, c.trace, c.want, c.says) })
	}
}

func wantFindings(t *testing.T, s *scripted.Trace, want []run.Code, says string) run.Record {
	t.Helper()
	d, err := judged(s)
	if err != nil {
		t.Fatal(err)
	}
	var codes []run.Code
	for _, f := range d.Findings {
		codes = append(codes, f.Code)
	}
	if diff := cmp.Diff(want, codes); diff != "" {
		t.Fatalf("findings (-want +got):\n%s%v", diff, d.Findings)
	}
	if len(want) > 0 && !strings.Contains(d.Findings[0].Text, says) {
		t.Errorf("finding says %q, want it to hold %q", d.Findings[0].Text, says)
	}
	return d
}

func TestResultMissing(t *testing.T) {
	s := scripted.Play(10*time.Second, scripted.OnMains)
	length := 10.0
	d, err := Judge(run.Record{Run: run.Run{ID: "x-0123456789", State: run.Finished, DurationS: &length}}, s, Thresholds{})
	if err != nil {
		t.Fatal(err)
	}
	if len(d.Findings) != 1 || d.Findings[0].Code != run.ResultMissing || d.Findings[0].Severity != run.SeverityDoubt || d.Findings[0].WithAdvice() != "no result was given; add it with sweepd run result RUN NAME=VALUE" {
		t.Errorf("findings %v, want result_missing with its advice", d.Findings)
	}
}

// Clocks: the sweeps after the tenth second are moved on one or two clocks.
func TestClockFindings(t *testing.T) {
	for _, c := range []struct {
		name             string
		wall, mono, boot time.Duration
		want             []run.Code
		state            run.State
		says             string
	}{
		{"suspended", 60 * time.Second, 0, 60 * time.Second, []run.Code{run.Suspended}, run.Rejected, "slept for 60.0 s"},
		{"clock set forward", time.Hour, 0, 0, []run.Code{run.ClockStepped}, run.Finished, "jumped by +3600.0 s"},
		{"clock set back", -time.Hour, 0, 0, []run.Code{run.ClockStepped}, run.Finished, "jumped by -3600.0 s"},
		{"hung", 3 * time.Second, 3 * time.Second, 3 * time.Second, []run.Code{run.SamplingGap}, run.Finished, "the longest 3.2 s"},
		{"slewed", 20 * time.Millisecond, 0, 0, nil, run.Finished, ""},
	} {
		t.Run(c.name, func(t *testing.T) {
			s := scripted.Play(20*time.Second, scripted.OnMains)
			for i := range s.Sweeps {
				if i > 40 {
					at := &s.Sweeps[i].At
					at.Wall, at.Mono, at.Boot = at.Wall.Add(c.wall), at.Mono+c.mono, at.Boot+c.boot
				}
			}
			d := wantFindings(t, s, c.want, c.says)
			if d.State != c.state {
				t.Errorf("state %s, want %s", d.State, c.state)
			}
		})
	}
}

// An adapter and a battery report one event up to a second apart. At a run's
// edge that is no change of supply.
func TestSupplyAtTheEdges(t *testing.T) {
	const lag = time.Second
	t.Run("battery late at the start", func(t *testing.T) {
		d := wantFindings(t, scripted.Play(20*time.Second, func(t time.Duration) scripted.State {
			s := scripted.OnBattery(t)
			if t < lag { // still shows the charging of before
				s.Power, s.Direction = -10, -1
			}
			return s
		}), nil, "")
		if d.Supply != run.Battery {
			t.Errorf("supply %q, want battery", d.Supply)
		}
	})
	t.Run("adapter late at the start", func(t *testing.T) {
		d := wantFindings(t, scripted.Play(20*time.Second, func(t time.Duration) scripted.State {
			s := scripted.OnBattery(t)
			if t < lag {
				s.Online = 1
			}
			return s
		}), nil, "")
		if d.Supply != run.Battery {
			t.Errorf("supply %q, want battery, which the battery said from the first sweep on", d.Supply)
		}
	})
	t.Run("adapter early at the end", func(t *testing.T) {
		wantFindings(t, scripted.Play(20*time.Second, func(t time.Duration) scripted.State {
			s := scripted.OnBattery(t)
			if t > 20*time.Second-lag {
				s.Online = 1
			}
			return s
		}), nil, "")
	})
	t.Run("a battery that drains on mains is no change", func(t *testing.T) {
		wantFindings(t, scripted.Play(20*time.Second, func(t time.Duration) scripted.State {
			s := scripted.OnBattery(t)
			s.Online = 1
			return s
		}), []run.Code{run.ChargerWeak}, "the battery gave 20.0 W for 20 s")
	})
}

func TestSettlingSetting(t *testing.T) {
	d := wantFindings(t, scripted.Play(20*time.Second, func(t time.Duration) scripted.State {
		s := scripted.OnMains(t)
		s.Setting = run.Watts(s.Limit).From(run.Firmware)
		if t < time.Second {
			s.Limit = 25 // read a second late
		}
		return s
	}), nil, "")
	if got := d.Setting.String(); got != "15W" {
		t.Errorf("setting %s, want the settled 15W", got)
	}
	if d.SettingRead == nil || d.SettingRead.String() != "15W" || d.SettingRead.Source != run.Firmware {
		t.Errorf("setting read %+v, want 15W from the firmware", d.SettingRead)
	}
}

func TestSummaries(t *testing.T) {
	// P = 5 + 2t over unequal steps is integrated exactly by the trapezoid:
	// 150 J over 10 s (any text of numerical analysis; Burden & Faires 4.3).
	s := &scripted.Trace{Of: []run.Sensor{
		{ID: run.PackagePower, Unit: "watts"}, {ID: run.PackageEnergy, Unit: "joules", Kind: run.Counter}}}
	for _, sec := range []float64{0, 1, 3, 7, 10} {
		s.Sweeps = append(s.Sweeps, run.Sweep{At: scripted.After(scripted.Start, time.Duration(sec*1e9)), Values: []float64{5 + 2*sec, 1000 + 5*sec + sec*sec}})
	}
	d, err := Judge(run.Record{Run: run.Run{State: run.Finished}}, s, Thresholds{Gone: 5 * time.Second})
	if err != nil {
		t.Fatal(err)
	}
	p, e := d.Summaries[0], d.Summaries[1]
	for _, c := range []struct {
		what string
		got  *float64
		want float64
	}{
		{"energy by trapezoid", p.EnergyJoules, 150}, {"mean", p.Mean, 15}, {"min", p.Min, 5}, {"max", p.Max, 25},
		{"first", p.First, 5}, {"last", p.Last, 25},
		{"energy by counter", e.EnergyJoules, 150}, {"package_w", d.PackageW, 15},
	} {
		if c.got == nil || math.Abs(*c.got-c.want) > 1e-9 {
			t.Errorf("%s is %v, want %v", c.what, deref(c.got), c.want)
		}
	}
	// Weights .5 1.5 3 3.5 1.5 s: 8.5 s lie below 25 W, 95 % is 9.5 s.
	if p.P95 == nil || *p.P95 != 25 {
		t.Errorf("p95 %v, want 25", deref(p.P95))
	}
	if e.Mean != nil || e.P95 != nil {
		t.Errorf("a counter has no mean (%v) and no p95 (%v)", deref(e.Mean), deref(e.P95))
	}
}

func deref(p *float64) any {
	if p == nil {
		return nil
	}
	return *p
}

func TestEnergyOfHoles(t *testing.T) {
	hole := func(from, to time.Duration, counter bool) run.Record {
		d, err := judged(scripted.Play(20*time.Second, func(t time.Duration) scripted.State {
			s := scripted.OnMains(t)
			if t > from && t < to {
				s.Watts, s.Joules = nan, nan
			}
			if !counter {
				s.Joules = nan
			}
			return s
		}))
		if err != nil {
			t.Fatal(err)
		}
		return d
	}
	energyOf := func(d run.Record, id string) *float64 {
		for _, s := range d.Summaries {
			if s.Sensor == id {
				return s.EnergyJoules
			}
		}
		return nil
	}
	short, long := hole(5*time.Second, 7*time.Second, false), hole(5*time.Second, 15*time.Second, false)
	counted := hole(5*time.Second, 15*time.Second, true)
	if e := energyOf(short, run.PackagePower); e == nil || math.Abs(*e-290) > 1e-9 {
		t.Errorf("energy over a short hole is %v, want 290", deref(e))
	}
	if e := energyOf(long, run.PackagePower); e != nil {
		t.Errorf("energy by power over a long hole is %v, want unknown", *e)
	}
	if e := energyOf(counted, run.PackageEnergy); e == nil || math.Abs(*e-290) > 1e-9 {
		t.Errorf("energy by counter over a long hole is %v, want 290: a counter loses nothing", deref(e))
	}
}

// Where readings begin a little late or end a little early, the rest of the run is
// taken to be like them: 19.25 s of 20 s at 14.5 W are 290 J. Of less than 95 % nothing
// is said.
func TestEnergyBeyondTheReadings(t *testing.T) {
	for _, c := range []struct {
		from, to time.Duration
		want     any
	}{{0, 20 * time.Second, 290.0}, {500 * time.Millisecond, 19750 * time.Millisecond, 290.0}, {time.Second, 19750 * time.Millisecond, nil}} {
		for _, counter := range []bool{true, false} {
			d, err := judged(scripted.Play(20*time.Second, func(t time.Duration) scripted.State {
				s := scripted.OnMains(t)
				if !counter || t < c.from || t > c.to {
					s.Joules = nan
				}
				if counter || t < c.from || t > c.to {
					s.Watts = nan
				}
				return s
			}))
			if err != nil {
				t.Fatal(err)
			}
			got := deref(d.Summaries[slices.IndexFunc(d.Summaries, func(s run.Summary) bool {
				return s.Sensor == run.PackagePower || s.Sensor == run.PackageEnergy
			})].EnergyJoules)
			if joules, known := got.(float64); known != (c.want != nil) || known && math.Abs(joules-290) > 1e-9 {
				t.Errorf("from %v to %v, counter %v: %v J, want %v", c.from, c.to, counter, got, c.want)
			}
		}
	}
}

// Package power is by counter, else by power, else unknown.
func TestPackagePower(t *testing.T) {
	for _, c := range []struct {
		joules, watts float64 // per second
		want          any
	}{{14.5, 12, 14.5}, {nan, 12, 12.0}, {14.5, nan, 14.5}, {nan, nan, nil}} {
		trace := scripted.Play(20*time.Second, func(t time.Duration) scripted.State {
			s := scripted.OnMains(t)
			s.Joules, s.Watts = c.joules*t.Seconds(), c.watts
			return s
		})
		d, err := judged(trace)
		if err != nil || deref(d.PackageW) != c.want {
			t.Errorf("%v J and %v W: package_w %v, want %v; %v", c.joules, c.watts, deref(d.PackageW), c.want, err)
		}
		// The same of a device that has no such sensors at all.
		for place, there := range map[int]bool{4: c.joules == c.joules, 5: c.watts == c.watts} {
			if !there {
				trace.Of = slices.Clone(trace.Of)
				trace.Of[place] = run.Sensor{ID: run.FanSpeed, Instance: trace.Of[place].ID}
			}
		}
		if d, err = judged(trace); err != nil || deref(d.PackageW) != c.want {
			t.Errorf("without the sensors: package_w %v, want %v; %v", deref(d.PackageW), c.want, err)
		}
	}
}

func TestInterruptedEndsAtItsLastSweep(t *testing.T) {
	s := scripted.Play(12*time.Second, scripted.OnMains)
	s.Sweeps = s.Sweeps[:41]
	d, err := Judge(run.Record{Run: run.Run{State: run.Interrupted}}, s, Thresholds{})
	if err != nil {
		t.Fatal(err)
	}
	if d.State != run.Interrupted || d.DurationS == nil || *d.DurationS != 10 {
		t.Errorf("state %s, duration %v; want interrupted after 10 s", d.State, deref(d.DurationS))
	}
}

func TestJudgeWithoutSweeps(t *testing.T) {
	commanded := run.Watts(25).From(run.Command)
	d, err := Judge(run.Record{Run: run.Run{State: run.Interrupted, Labels: run.Labels{Setting: watts(15)}, SettingRead: &commanded}},
		&scripted.Trace{Of: scripted.Sensors}, Thresholds{})
	if err != nil {
		t.Fatal(err)
	}
	if d.HasFinding(run.SettingDisagrees) || d.Setting != watts(15) {
		t.Errorf("setting %v, findings %v: nothing was seen that disagrees", d.Setting, d.Findings)
	}
	if len(d.Summaries) != 0 || d.PackageW != nil || d.Discharge.Watts != nil || *d.DurationS != 0 {
		t.Errorf("a run without sweeps has %+v", d)
	}
}

// One sweep is no run to speak of: values, but neither energy nor power.
func TestJudgeOneSweep(t *testing.T) {
	d, err := judged(scripted.Play(0, scripted.OnBattery))
	if err != nil {
		t.Fatal(err)
	}
	if d.PackageW != nil || *d.DurationS != 0 || len(d.Summaries) != len(scripted.Sensors) {
		t.Errorf("%+v", d)
	}
	for _, s := range d.Summaries {
		if s.EnergyJoules != nil || s.First == nil || s.P95 != nil && *s.P95 != *s.First {
			t.Errorf("%s: energy %v, p95 %v, first %v", s.Sensor, deref(s.EnergyJoules), deref(s.P95), deref(s.First))
		}
	}
}

// Doubts stand before notes, whichever was found first.
func TestOrderOfFindings(t *testing.T) {
	wantFindings(t, scripted.Play(30*time.Second, func(t time.Duration) scripted.State {
		s := scripted.OnMains(t)
		if s.Power, s.Direction = -18, -1; t > 15*time.Second {
			s.Power, s.Direction = 9, 1
		}
		s.Energy = nan
		return s
	}), []run.Code{run.ChargerWeak, run.Charging}, "the battery gave 9.0 W for 15 s")
}

// A warm-up is found where power falls to its steady value, and cut from the
// steady means alone.
func TestWarmUp(t *testing.T) {
	warming := scripted.Play(5*time.Minute, func(t time.Duration) scripted.State {
		s := scripted.OnMains(t)
		s.Watts, s.Joules = 14+0.1*math.Sin(7*t.Seconds()), nan
		if t < 40*time.Second {
			s.Watts = 24 - t.Seconds()/4
		}
		return s
	})
	d, err := judged(warming)
	if err != nil {
		t.Fatal(err)
	}
	if d.WarmUpS == nil || *d.WarmUpS < 35 || *d.WarmUpS > 50 {
		t.Fatalf("warm-up %v s, want about 40", deref(d.WarmUpS))
	}
	for _, s := range d.Summaries {
		if s.Sensor == run.PackagePower {
			near(t, "steady mean", *s.SteadyMean, 14, 0.005)
			near(t, "mean of the whole run", *s.Mean, (19*40+14*260)/300.0, 0.005)
		}
	}
	given := 100.0
	d, err = Judge(run.Record{Run: run.Run{State: run.Finished}, WarmUpS: &given}, warming, Thresholds{})
	if err != nil || *d.WarmUpS != 100 {
		t.Errorf("given warm-up became %v, error %v", deref(d.WarmUpS), err)
	}
}

// A power whose energy is counted has the counter's mean and energy: the two
// rows of a table may not contradict each other.
func TestPowerFollowsItsCounter(t *testing.T) {
	d, err := judged(scripted.Play(10*time.Second, func(t time.Duration) scripted.State {
		s := scripted.OnMains(t)
		s.Watts = 14 // as if every reading were 3 % low
		return s
	}))
	if err != nil {
		t.Fatal(err)
	}
	for _, s := range d.Summaries {
		if s.Sensor == run.PackagePower {
			near(t, "mean", *s.Mean, 14.5, 1e-12)
			near(t, "energy", *s.EnergyJoules, 145, 1e-12)
		}
		if s.Sensor == run.PowerLimit && s.EnergyJoules != nil {
			t.Errorf("a limit has the energy %v J", *s.EnergyJoules)
		}
	}
	short, err := judged(scripted.Play(500*time.Millisecond, scripted.OnMains))
	if err != nil || short.PackageW != nil {
		t.Errorf("package power of half a second is %v, error %v; want unknown", deref(short.PackageW), err)
	}
}
