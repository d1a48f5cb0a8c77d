package collectors

import (
	"math"
	"testing"
	"time"

	"github.com/shirou/gopsutil/v3/cpu"

	"sweepd/run"
)

// One interval worked by hand: 200 ticks of 1/100 s, 130 of them idle or
// waiting. Guest time is in user time already (proc(5)) and is not added.
func TestBusyRatio(t *testing.T) {
	from := cpu.TimesStat{User: 10, Nice: 1, System: 5, Idle: 100, Iowait: 7, Irq: 1, Softirq: 2, Steal: 3, Guest: 4}
	for name, c := range map[string]struct {
		to   cpu.TimesStat
		want float64
		ok   bool
	}{
		"0.7 of 2 s":   {cpu.TimesStat{User: 10.3, Nice: 1.1, System: 5.1, Idle: 101.2, Iowait: 7.1, Irq: 1, Softirq: 2.1, Steal: 3.1, Guest: 4.3}, 0.35, true},
		"iowait fell":  {cpu.TimesStat{User: 10.5, Nice: 1, System: 5, Idle: 100.5, Iowait: 6, Irq: 1, Softirq: 2, Steal: 3, Guest: 4}, 0.5, true},
		"all idle":     {cpu.TimesStat{User: 10, Nice: 1, System: 5, Idle: 101, Iowait: 7, Irq: 1, Softirq: 2, Steal: 3, Guest: 4}, 0, true},
		"all busy":     {cpu.TimesStat{User: 11, Nice: 1, System: 5, Idle: 100, Iowait: 7, Irq: 1, Softirq: 2, Steal: 3, Guest: 5}, 1, true},
		"nothing":      {from, 0, false},
		"clocks reset": {cpu.TimesStat{}, 0, false},
	} {
		got, ok := busyRatio(from, c.to)
		if ok != c.ok || ok && math.Abs(got-c.want) > 1e-12 {
			t.Errorf("%s: %v, %v; want %v, %v", name, got, ok, c.want, c.ok)
		}
	}
}

// This machine, whatever it is: a probe gives a ratio once time has passed.
func TestHostHere(t *testing.T) {
	offers, absences := NewHost(Roots{}).Scan()
	if len(offers) != 2 || len(absences) != 0 {
		t.Fatalf("offers %v, absences %v", offers, absences)
	}
	for _, o := range offers {
		if o.MinInterval < time.Second {
			t.Errorf("%s: read every %v", o.Sensors[0].ID, o.MinInterval)
		}
		p, err := o.Open()
		if err != nil {
			t.Fatal(err)
		}
		v := []float64{0}
		deadline := time.Now().Add(10 * time.Second)
		for err = p.Read(0, v); err == nil && math.IsNaN(v[0]) && time.Now().Before(deadline); err = p.Read(0, v) {
		}
		if high := map[string]float64{run.CPUBusy: 1, run.MemoryAvailable: 1 << 50}[o.Sensors[0].ID]; err != nil || !(v[0] >= 0 && v[0] <= high) {
			t.Errorf("%s = %v, %v", o.Sensors[0].ID, v[0], err)
		}
		if err := p.Close(); err != nil {
			t.Error(err)
		}
	}
}
