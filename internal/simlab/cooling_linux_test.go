package simlab_test

import (
	"context"
	"testing"
	"time"

	"sweepd/collectors"
	"sweepd/internal/simdevice"
	"sweepd/run"
)

// The time that the ready check expects is held against the time that the device takes,
// whoever looks how often. It comes out short, by up to half, while the fan slows down.
func TestExpectedCoolDown(t *testing.T) {
	for _, every := range []time.Duration{2 * time.Second, 10 * time.Second} {
		cfg := simdevice.UnitOak()
		cfg.SettingW = 45
		b := newBenchWith(t, cfg, newStore(t), func(r collectors.Roots) []collectors.Collector {
			return []collectors.Collector{collectors.NewPowerSupply(r), collectors.NewPowercap(r), collectors.NewFirmwareAttributes(r), collectors.NewHwmon(r)}
		})
		if err := b.Rest(5 * time.Minute); err != nil {
			t.Fatal(err)
		}
		if _, _, err := b.Play(simdevice.HarbourFlight(), run.Start{Workload: "harbour-flight", Setting: run.Watts(45)}, 2*time.Minute); err != nil {
			t.Fatal(err)
		}
		type look struct{ at, expected float64 }
		var looks []look
		took := 0.0
		for ; took < 900; took += every.Seconds() {
			r, err := b.Agent.Ready(context.Background(), run.Want{})
			if err != nil {
				t.Fatal(err)
			}
			if r.Fit {
				break
			}
			if r.ExpectedS != nil {
				looks = append(looks, look{took, *r.ExpectedS})
			}
			if err := b.Pass(every); err != nil {
				t.Fatal(err)
			}
		}
		if len(looks) < 5 || took < 40 {
			t.Fatalf("each %v: fit after %.0f s, told %d times", every, took, len(looks))
		}
		for _, l := range looks {
			left := took - l.at
			if left > 20 && (l.expected < 0.4*left || l.expected > 1.5*left) {
				t.Errorf("each %v, after %.0f s: expected %.0f s, it took %.0f s", every, l.at, l.expected, left)
			}
		}
	}
}
