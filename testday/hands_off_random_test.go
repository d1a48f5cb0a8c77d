package testday

import (
	"context"
	"errors"
	"fmt"
	"math/rand/v2"
	"slices"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"testing/synctest"
	"time"

	"sweepd/actuators"
	"sweepd/run"
)

// Days with faults and people at random: whatever comes, no day is said to be paused or over
// while something is set, nothing is set that no guard watches, and once all is well again
// and nobody is in the way the day comes to its end with every slot done or skipped.
func TestRandomDays(t *testing.T) {
	for seed := range uint64(25) {
		t.Run(fmt.Sprint("seed ", seed), func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) { randomDay(t, rand.New(rand.NewPCG(seed, 17))) })
		})
	}
}

func randomDay(t *testing.T, r *rand.Rand) {
	b := newBench(t, request([]string{"8", "15", "25"}, []string{"mains", "battery"}, []string{"", "cores=6"}, 2))
	var rolls sync.Mutex
	chance := func(p float64) bool { rolls.Lock(); defer rolls.Unlock(); return r.Float64() < p }
	var well atomic.Bool
	b.applyErr = func(w actuators.Write) error {
		if !well.Load() && chance(0.03) {
			return errors.New("device or resource busy")
		}
		return nil
	}
	b.restoreErr = func() error {
		if !well.Load() && chance(0.2) {
			return errors.New("it does not answer")
		}
		return nil
	}
	b.watts = func(c run.Cell) float64 {
		w, _ := c.Setting.Watts()
		if !well.Load() && chance(0.05) {
			return 2 * w
		}
		return w
	}
	b.job = func(ctx context.Context, j Job) (JobDone, error) {
		done := JobDone{Results: map[string]run.Result{"fps_mean": {Value: 60, Unit: "fps"}}}
		switch {
		case well.Load():
		case chance(0.05):
			done = JobDone{Failure: "command \"game\": exit status 1"}
		case chance(0.05):
			done = JobDone{Missing: "no line matches"}
		case chance(0.03):
			<-ctx.Done()
			return JobDone{Failure: "ended"}, nil
		case chance(0.03):
			return JobDone{}, errors.New("the runner was not heard of for 5 s")
		}
		return b.works(ctx, j, done)
	}
	d := b.begin(t, dataDir(t), nil)
	watch := func(when string) HandsOff {
		h := d.at()
		if h.State == Paused || h.State == Over {
			d.b.restored(t, h)
		}
		if len(h.Told) > toldMost || len(h.Text) > toldBytes {
			t.Errorf("%s: %d told, %q", when, len(h.Told), h.Text)
		}
		return h
	}
	asked := []string{}
	for range 60 {
		rolls.Lock()
		pause, what := time.Duration(r.IntN(120_000))*time.Millisecond, r.IntN(12)
		rolls.Unlock()
		time.Sleep(pause)
		synctest.Wait()
		h := watch("in between")
		ask := ""
		switch what {
		case 0:
			ask = "pause"
		case 1, 2, 3:
			ask = "resume"
		case 4:
			if chance(0.2) {
				ask = "stop"
			}
		case 5:
			if chance(0.2) {
				ask = "now"
			}
		case 6:
			ask = "begin"
		case 7:
			d.b.mu.Lock()
			armed := d.b.trip != nil
			d.b.mu.Unlock()
			if armed {
				ask = "trip"
				d.b.trips(Tripped{Guard: "temperature", Text: "96 °C", Ends: chance(0.2), Waits: chance(0.5)})
			}
		case 8:
			d.b.mu.Lock()
			if d.b.supply == run.Mains {
				d.b.supply = run.Battery
			} else {
				d.b.supply = run.Mains
			}
			d.b.mu.Unlock()
		case 9:
			if chance(0.5) {
				d.b.comes(nil)
			} else {
				d.b.comes(&RunnerSeen{ID: "r2"})
			}
		}
		if ask != "" && ask != "trip" {
			_ = d.asks(ask) // whether it is in place or not
		}
		asked = append(asked, fmt.Sprintf("%s %s", h.State, ask))
	}
	well.Store(true)
	d.b.comes(&RunnerSeen{ID: "r3"})
	for end := time.Now().Add(24 * time.Hour); ; {
		h := watch("at the end")
		switch h.State {
		case Paused:
			_ = d.asks("resume")
		case Over:
			if h.Progress.Done+len(h.Skipped) == 24 {
				return
			}
			if err := d.asks("begin"); err != nil {
				t.Fatalf("cannot begin again: %v", err)
			}
		case Hand:
			d.b.mu.Lock()
			if slices.Contains(h.Hand, "plug in") {
				d.b.supply = run.Mains
			} else if slices.Contains(h.Hand, "unplug") {
				d.b.supply = run.Battery
			}
			d.b.mu.Unlock()
		}
		time.Sleep(5 * time.Second)
		synctest.Wait()
		if time.Now().After(end) {
			t.Fatalf("it does not end: %s (%s), %+v, skipped %v; asked %v; told:\n%s", h.State, h.Text, h.Progress, h.Skipped, asked, strings.Join(d.b.said, "\n"))
		}
	}
}
