package judge

import (
	"fmt"
	"math"
	"strings"
	"testing"
	"time"

	"sweepd/internal/scripted"
	"sweepd/run"
)

func TestReadiness(t *testing.T) {
	for _, c := range []struct {
		want run.Want
		says string
	}{
		{run.Want{}, ""},
		{run.Want{Supply: run.Battery}, ""},
		{run.Want{Supply: run.Mains}, "the device is on battery, the run wants mains; plug it in"},
		{run.Want{MinCharge: 0.8}, ""},
		{run.Want{MinCharge: 0.81}, "the battery is at 80 %, the run needs 81 %"},
		{run.Want{Setting: run.Watts(15)}, ""},
		{run.Want{Setting: run.Watts(25)}, "the run wants 25W, but the system reports 15W"},
	} {
		r := fit().Readiness(c.want)
		if r.Fit != (c.says == "") || len(r.Reasons) > 1 || r.Reasons == nil || c.says != "" && !strings.Contains(r.Reasons[0].WithAdvice(), c.says) {
			t.Errorf("%+v: %+v, want %q", c.want, r, c.says)
		}
		if r.Celsius == nil || *r.Celsius != 45 || *r.AboveBaseline != 0 {
			t.Errorf("%+v: %v °C, %v K above its baseline", c.want, deref(r.Celsius), deref(r.AboveBaseline))
		}
	}
	// The needed charge counts for a run on battery alone.
	m := fit()
	m.Values[0] = 1
	if r := m.Readiness(run.Want{MinCharge: 0.7, Supply: run.Battery}); len(r.Reasons) != 1 || !strings.Contains(r.Reasons[0].WithAdvice(), "on mains, the run wants battery; unplug it") {
		t.Errorf("on mains: %+v", r)
	}
	if r := m.Readiness(run.Want{MinCharge: 0.9}); !r.Fit {
		t.Errorf("on mains, on any supply: %+v", r)
	}
	m = fit()
	m.Values[0], m.Values[3] = nan, nan
	if r := m.Readiness(run.Want{Supply: run.Mains}); len(r.Reasons) != 1 || !strings.Contains(r.Reasons[0].Text, "the device is on an unknown supply") {
		t.Errorf("nobody says what feeds it: %+v", r)
	}
	m = fit()
	m.Values[8] = 0.05
	if r := m.Readiness(run.Want{MinCharge: 0.1}); len(r.Reasons) != 1 || !r.ByHand() {
		t.Errorf("a need of the reserve itself: %+v", r.Reasons)
	}
}

// A temperature comes with its target, and with the time until then where the latest idle
// sweeps tell.
func TestReadinessTemperature(t *testing.T) {
	m := fit()
	m.Values[9] = 58.4
	r := m.Readiness(run.Want{})
	if len(r.Reasons) != 1 || r.Reasons[0].Text != "package is at 59 °C, target 55 °C" || *r.Target != 55 || r.ExpectedS != nil || r.ByHand() {
		t.Errorf("at once: %+v", r)
	}
	// Newton's law: 45 + 35 e^(-t/100 s) is at 55 °C after 100 ln(35/10) = 125.3 s.
	for i := range 7 {
		x := scripted.OnBattery(0)
		x.Celsius = 45 + 35*math.Exp(-float64(i)/10)
		m.Boot = time.Hour + time.Duration(i)*10*time.Second
		m.Values = x.Values()
		m.Baseline.Observe(m.Index, m.Values, m.Boot)
	}
	r = m.Readiness(run.Want{})
	if len(r.Reasons) != 1 || r.Reasons[0].ExpectedS == nil || math.Abs(*r.ExpectedS-(125.3-60)) > 2 || *r.Reasons[0].ExpectedS != *r.ExpectedS {
		t.Errorf("it cools: %+v, %v", r, deref(r.ExpectedS))
	}
	m.Values[9] = 55
	if r := m.Readiness(run.Want{}); !r.Fit || *r.ExpectedS != 0 || *r.Target != 55 {
		t.Errorf("cooled down: %+v", r)
	}
}

// On mains, a run on battery waits for the charge that it needs before it is unplugged.
func TestReadinessCharge(t *testing.T) {
	const online, power, charge, direction = 0, 1, 8, 3 // places in scripted.Sensors
	m := fit()
	m.Values[online], m.Values[charge], m.Values[direction], m.Values[power] = 1, 0.5, -1, -30
	r := m.Readiness(run.Want{Supply: run.Battery, MinCharge: 0.6})
	if len(r.Reasons) != 1 || r.Reasons[0].Code != run.BatteryReserve || r.ByHand() || !strings.Contains(r.Reasons[0].WithAdvice(), "the battery is at 50 %, the run needs 60 %; leave it plugged in until then") {
		t.Errorf("charging: %+v", r)
	}
	m.Values[direction] = 0
	if r := m.Readiness(run.Want{Supply: run.Battery, MinCharge: 0.6}); len(r.Reasons) != 1 || !r.ByHand() || !strings.Contains(r.Reasons[0].WithAdvice(), "it does not charge") {
		t.Errorf("not charging: %+v", r)
	}
	// 3600 J a share of 0.01 of 360 kJ go in at 30 W in 120 s.
	index := NewSensorIndex([]run.Sensor{{ID: run.BatteryPower, Instance: "BAT0"}, {ID: run.BatteryEnergyFull, Instance: "BAT0"}, {ID: run.BatteryDirection, Instance: "BAT0"}})
	m = &Moment{Index: &index, Values: []float64{-30, 360000, -1}}
	if got := m.charging(0.01); math.Abs(got-120) > 1e-9 {
		t.Errorf("charging takes %v s", got)
	}
	for what, values := range map[string][]float64{"at rest": {0, 360000, 0}, "full content unknown": {-30, nan, -1}, "power unknown": {nan, 360000, -1}} {
		m.Values = values
		if got := m.charging(0.01); !math.IsNaN(got) {
			t.Errorf("%s: %v s", what, got)
		}
	}
}

// How long all of it takes is known where it is known of each that goes by waiting.
func TestExpected(t *testing.T) {
	minute, hour, hand, unknown := run.Reason{ExpectedS: new(60.0)}, run.Reason{ExpectedS: new(3600.0)}, run.Reason{ByHand: true}, run.Reason{}
	for want, r := range map[string]run.Readiness{
		"0": {Fit: true}, "60": {Reasons: []run.Reason{minute}}, "3600": {Reasons: []run.Reason{minute, hour, hand}},
		"<nil>": {Reasons: []run.Reason{minute, unknown}}, " <nil>": {Reasons: []run.Reason{hand}},
	} {
		if got := fmt.Sprint(deref(expected(r))); got != strings.TrimSpace(want) {
			t.Errorf("%+v: %s, want %s", r, got, want)
		}
	}
}
