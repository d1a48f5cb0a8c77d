package realkernel

import (
	"math"
	"testing"
	"time"
)

// The figures are worked out by hand from the table in battery.asl: 18 W take
// 20 s to charge the missing 360 kJ/1000 = 0.1 Wh, 12 W drain 12·20/3600 =
// 0.0667 Wh in 20 s, and so on; the firmware rounds what remains down to 1 mWh.
func TestTimelineStates(t *testing.T) {
	for _, c := range []struct {
		at     time.Duration
		status string
		rate   int64 // µW
		energy int64 // µWh
		temp   int64 // 0.001 °C
	}{
		{0, "Charging", 18e6, 59_900_000, 40_000},
		{10 * time.Second, "Charging", 18e6, 59_950_000, 45_000},
		{20 * time.Second, "Full", 0, 60_000_000, 50_000},
		{39999 * time.Millisecond, "Full", 0, 60_000_000, 59_900},
		{40 * time.Second, "Discharging", 12e6, 60_000_000, 60_000},
		{60 * time.Second, "Discharging", 25e6, 59_933_000, 70_000},
		{80 * time.Second, "Discharging", 41e6, 59_794_000, 60_000},
		{100 * time.Second, "Charging", 30e6, 59_566_000, 50_000},
		{120 * time.Second, "Charging", 30e6, 59_733_000, 40_000},
		{152 * time.Second, "Full", 0, 60_000_000, 56_000},
	} {
		got := Timeline{}.At(c.at)
		meter := int64(10e6)
		if c.status == "Discharging" {
			meter = c.rate
		}
		want := State{c.status != "Discharging", c.status, c.rate, c.energy, c.temp, meter}
		if got != want {
			t.Errorf("at %v: got %+v, want %+v", c.at, got, want)
		}
		charge := Timeline{ChargeUnits: true}.At(c.at)
		want.ReportedRate = int64(math.Floor(float64(c.rate)/12e3)) * 1000
		want.ReportedContent = int64(math.Floor(float64(c.energy)/12e3)) * 1000
		if charge != want {
			t.Errorf("in charge units at %v: got %+v, want %+v", c.at, charge, want)
		}
	}
}

func TestTimelineMeans(t *testing.T) {
	for _, c := range []struct {
		name  string
		got   float64
		want  float64
		slack float64
	}{
		{"half at rest, half at 12 W", Timeline{}.Discharge(30*time.Second, 50*time.Second), 6, 1e-9},
		{"charging is negative", Timeline{}.Discharge(2*time.Second, 10*time.Second), -18, 1e-9},
		{"three steps", Timeline{}.Discharge(40*time.Second, 100*time.Second), 26, 1e-9},
		{"meter on both supplies", Timeline{}.MeterPower(30*time.Second, 50*time.Second), 11, 1e-9},
		// The zone shows the triangle rounded down to 0.1 K: 0.05 K low, half a
		// millisecond of its slope less.
		{"temperature", Timeline{}.MeanTemperature(20*time.Second, 40*time.Second), 55 - 0.05, 1e-3},
	} {
		if math.Abs(c.got-c.want) > c.slack {
			t.Errorf("%s: got %v, want %v", c.name, c.got, c.want)
		}
	}
	if got := (Timeline{}).Discharge(time.Second, time.Second); !math.IsNaN(got) {
		t.Errorf("mean over no time: got %v, want NaN", got)
	}
}

// What the means say flows out of the battery is what its content loses.
func TestTimelineEnergyBalance(t *testing.T) {
	for _, l := range []Timeline{{}, {ChargeUnits: true}} {
		unit := float64(l.scale()) // Wh in one unit of content
		for from := time.Duration(0); from < End; from += 7 * time.Second {
			for to := from + time.Second; to < End+20*time.Second; to += 11 * time.Second {
				fall := float64(l.At(from).ReportedContent-l.At(to).ReportedContent) * 1e-6 * unit
				flow := l.Discharge(from, to) * (to - from).Hours()
				if math.Abs(fall-flow) > 0.001*unit {
					t.Fatalf("%+v, %v to %v: content falls by %v Wh, %v Wh flow", l, from, to, fall, flow)
				}
			}
		}
	}
}
