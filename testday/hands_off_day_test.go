package testday

import (
	"errors"
	"slices"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"sweepd/run"
	"sweepd/schedule"
)

// dayOn is a day on a bench, begun with consent.
type dayOn struct {
	*HandsOffDay
	b *bench
	t *testing.T
}

func (b *bench) begin(t *testing.T, dir string, change func(*HandsOffOptions)) dayOn {
	t.Helper()
	o := b.options(dir)
	if change != nil {
		change(&o)
	}
	d := NewHandsOffDay(o)
	if err := d.Start(t.Context()); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(d.Close)
	if _, err := d.BeginHandsOff(t.Context(), BeginHandsOff{Consent: true, By: "a test"}); err != nil {
		t.Fatal(err)
	}
	return dayOn{d, b, t}
}

func (d dayOn) at() HandsOff {
	h, err := d.HandsOff(d.t.Context())
	if err != nil {
		d.t.Fatal(err)
	}
	return h
}

// until waits for a state of the day, for at most so long of its time.
func (d dayOn) until(most time.Duration, what string, is func(HandsOff) bool) HandsOff {
	d.t.Helper()
	for end := time.Now().Add(most); time.Now().Before(end); time.Sleep(500 * time.Millisecond) {
		synctest.Wait()
		if h := d.at(); is(h) {
			return h
		}
	}
	h := d.at()
	d.t.Fatalf("never %s: it is %s (%s), told:\n%s", what, h.State, h.Text, strings.Join(d.b.said, "\n"))
	return h
}

func (d dayOn) untilState(most time.Duration, s HandsOffState) HandsOff {
	d.t.Helper()
	return d.until(most, string(s), func(h HandsOff) bool { return h.State == s })
}

// hands does what the day asks of a person, half a minute later, until it is over.
func (d dayOn) hands(most time.Duration) HandsOff {
	d.t.Helper()
	return d.until(most, "over", func(h HandsOff) bool {
		for _, text := range h.Hand {
			time.Sleep(30 * time.Second)
			d.b.mu.Lock()
			switch {
			case strings.HasPrefix(text, "plug in"):
				d.b.supply = run.Mains
			case text == "unplug":
				d.b.supply = run.Battery
			}
			d.b.mu.Unlock()
		}
		return h.State == Over
	})
}

func request(settings, supplies, variants []string, repeats int) schedule.Request {
	return schedule.Request{Settings: settings, Supplies: supplies, Variants: variants, Repeats: repeats, Seed: 7}
}

func TestHandsOffDay(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b := newBench(t, request([]string{"8", "15", "25"}, []string{"mains", "battery"}, []string{"", "cores=6"}, 2))
		d := b.begin(t, dataDir(t), nil)
		h := d.hands(12 * time.Hour)
		if len(b.plan.Slots) != 24 || h.Progress.Done != 24 || h.Progress.Left != 0 || len(h.Skipped) > 0 {
			t.Errorf("%d slots, %+v, skipped %v", len(b.plan.Slots), h.Progress, h.Skipped)
		}
		// On mains, on battery; the second pass begins where the first ends.
		if h.Hands > 3 {
			t.Errorf("%d hands", h.Hands)
		}
		if len(h.Changed) > 0 || b.setUnarmed || b.trip != nil || b.busy {
			t.Errorf("left: %v; set without guards: %v; armed: %v, busy: %v", h.Changed, b.setUnarmed, b.trip != nil, b.busy)
		}
		if h.Stopping || h.Pausing || h.Run != "" || h.Slot != nil || h.Why != "the plan is done" {
			t.Errorf("%+v", h)
		}
		if len(h.Summary) == 0 || len(h.Told) > toldMost {
			t.Errorf("summary %q, %d told", h.Summary, len(h.Told))
		}
		// A cell without cores has the first value of them.
		if !slices.Contains(b.applied, "cores=6") || !slices.Contains(b.applied, "cores=8") {
			t.Errorf("applied %v", b.applied)
		}
		// Twice is once; begun anew there is nothing left.
		if _, err := d.BeginHandsOff(t.Context(), BeginHandsOff{}); err == nil || !strings.Contains(err.Error(), "nothing left") {
			t.Errorf("begun again: %v", err)
		}
		if _, err := d.StopHandsOff(t.Context(), HandsOffRequest{}); !errors.Is(err, ErrNoDay) {
			t.Errorf("stopped too late: %v", err)
		}
	})
}
