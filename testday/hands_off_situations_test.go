package testday

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"
	"syscall"
	"testing"
	"testing/synctest"
	"time"

	"sweepd/actuators"
	"sweepd/run"
	"sweepd/schedule"
	"sweepd/store"
)

// few is a plan of three settings on mains, each twice.
func few() schedule.Request {
	return request([]string{"8", "15", "25"}, []string{"mains"}, nil, 2)
}

// fails has f fail so many times; without a number for ever.
func fails(err error, n ...int) func() error {
	left := -1
	if len(n) > 0 {
		left = n[0]
	}
	return func() error {
		if left == 0 {
			return nil
		}
		left--
		return err
	}
}

// whenSet fails where a setting is written.
func whenSet(setting string, f func() error) func(actuators.Write) error {
	return func(w actuators.Write) error {
		if w.Text == setting {
			return f()
		}
		return nil
	}
}

// job is a workload that ends well after some that do not.
func (b *bench) after(n int, bad func(ctx context.Context, j Job) (JobDone, error)) func(context.Context, Job) (JobDone, error) {
	well := b.job
	return func(ctx context.Context, j Job) (JobDone, error) {
		if n == 0 {
			return well(ctx, j)
		}
		n--
		return bad(ctx, j)
	}
}

// whole is that a day of few ended, with all done but what is skipped, and nothing left set.
func whole(done, skipped int, words ...string) func(t *testing.T, b *bench, h HandsOff) {
	return func(t *testing.T, b *bench, h HandsOff) {
		t.Helper()
		if h.State != Over || h.Progress.Done != done || len(h.Skipped) != skipped {
			t.Errorf("%s: %d done, skipped %v", h.State, h.Progress.Done, h.Skipped)
		}
		for _, s := range h.Skipped {
			if s.Position < 1 || s.Why == "" || s.Cell == "" {
				t.Errorf("skipped %+v", s)
			}
		}
		says(t, b, words...)
	}
}

// stands is that a day is paused with the words as its reason.
func stands(words ...string) func(t *testing.T, b *bench, h HandsOff) {
	return func(t *testing.T, b *bench, h HandsOff) {
		t.Helper()
		if h.State != Paused {
			t.Errorf("%s: %s", h.State, h.Text)
		}
		for _, w := range words {
			if !strings.Contains(h.Why, w) {
				t.Errorf("no %q in why: %s", w, h.Why)
			}
		}
	}
}

// says is that the words were told.
func says(t *testing.T, b *bench, words ...string) {
	t.Helper()
	b.mu.Lock()
	defer b.mu.Unlock()
	for _, w := range words {
		if !strings.Contains(strings.Join(b.said, "\n"), w) {
			t.Errorf("nobody said %q:\n%s", w, strings.Join(b.said, "\n"))
		}
	}
}

// inOrder is that these events came in this order, perhaps with others between.
func inOrder(t *testing.T, events []string, want ...string) {
	t.Helper()
	i := 0
	for _, e := range events {
		if i < len(want) && e == want[i] {
			i++
		}
	}
	if i < len(want) {
		t.Errorf("no %q in its place: %v", want[i], events)
	}
}

// Each fault alone, on a plan of six runs: the day comes to its end, or pauses, with the
// first values back, and says why.
func TestSituations(t *testing.T) {
	for _, c := range []struct {
		name  string
		fault func(b *bench)
		want  func(t *testing.T, b *bench, h HandsOff)
	}{
		{"an actuator that lies", func(b *bench) {
			b.applyErr = whenSet("25W", fails(&actuators.NotObeyedError{Write: actuators.Write{Path: "/sys/setting", Text: "25W"}, Read: "15W"}))
		}, whole(4, 2, "was not obeyed")},
		{"EINVAL", func(b *bench) { b.applyErr = whenSet("8W", fails(syscall.EINVAL)) }, whole(4, 2, "invalid argument")},
		{"EACCES", func(b *bench) { b.applyErr = whenSet("8W", fails(syscall.EACCES)) }, whole(4, 2, "permission denied")},
		{"EBUSY for a while", func(b *bench) { b.applyErr = whenSet("8W", fails(syscall.EBUSY, 2)) }, whole(6, 0, "tried again (3 of 3)")},
		{"no steps to anything", func(b *bench) {
			b.stepsErr = func(key string) error { return map[string]error{"setting": syscall.EIO}[key] }
		}, whole(0, 6, "input/output error")},
		{"the first value cannot be kept", func(b *bench) {
			b.applyErr = func(actuators.Write) error { return fmt.Errorf("%w: %w", actuators.ErrNotKept, syscall.ENOSPC) }
		}, stands("no space left")},
		{"the guards cannot watch", func(b *bench) { b.armErr = errors.New("there is no temperature to watch") }, stands("no temperature to watch")},
		{"a guard would trip at once", func(b *bench) {
			b.armErr = &TrippedError{Tripped{Guard: "reserve", Text: "the battery is below its reserve", Waits: true}}
		}, func(t *testing.T, b *bench, h HandsOff) {
			stands("below its reserve")(t, b, h)
			if len(b.applied) > 0 || len(b.runs) > 0 {
				t.Errorf("set %v, %d runs, though a guard would trip at once", b.applied, len(b.runs))
			}
		}},
		{"a limit that reverts by itself, once", func(b *bench) {
			left := 3 // after settling, at the end of a run, after settling: the fourth is the end of the second run
			b.reverts = func() {
				if left--; left == 0 {
					b.set["setting"] = "reads 28W"
				} else if strings.HasPrefix(b.set["setting"], "reads") {
					delete(b.set, "setting")
				}
			}
		}, whole(6, 0, "reads \"reads 28W\"")},
		{"a limit that reverts in each run", func(b *bench) {
			n := 0
			b.reverts = func() {
				if n++; n%2 == 0 && b.set["setting"] != "" {
					b.set["setting"] = "reads 28W"
				}
			}
		}, stands("6 runs in a row")},
		{"power above the setting", func(b *bench) {
			b.watts = func(c run.Cell) float64 {
				if w, _ := c.Setting.Watts(); w > 8 {
					return w
				}
				return 12
			}
		}, whole(4, 2, "does not keep to it", "tried once more")},
		{"power above the setting once", func(b *bench) {
			n := 0
			b.watts = func(c run.Cell) float64 {
				if w, _ := c.Setting.Watts(); w == 8 {
					if n++; n == 1 {
						return 12
					}
				}
				return 7
			}
		}, whole(6, 0, "tried once more")},
		{"a runner that is lost each time", func(b *bench) {
			b.job = func(context.Context, Job) (JobDone, error) { return JobDone{}, &RunnerLostError{"it is gone"} }
		}, stands("6 runs in a row")},
		{"less power at a higher setting", func(b *bench) {
			b.watts = func(c run.Cell) float64 {
				if w, _ := c.Setting.Watts(); w < 25 {
					return w
				}
				return 10
			}
		}, func(t *testing.T, b *bench, h HandsOff) {
			whole(6, 0)(t, b, h)
			if text := strings.Join(h.Summary, "\n"); strings.Count(text, "10.0 W at 25W") != 2 || !strings.Contains(text, "15.0 W at 15W: the first one's limit may not have been in force") {
				t.Error(text)
			}
		}},
		{"power held below the setting, as a limiter does", func(b *bench) {
			b.held = true
			b.watts = func(run.Cell) float64 { return 7 }
		}, func(t *testing.T, b *bench, h HandsOff) {
			whole(6, 0, "doubted: setting_disobeyed")(t, b, h)
			if text := strings.Join(h.Summary, "\n"); !strings.Contains(text, "speaks against it: 6 runs") || !strings.Contains(text, "25W on mains") {
				t.Errorf("summary %s", text)
			}
		}},
		{"power far below the setting", func(b *bench) { b.watts = func(run.Cell) float64 { return 3 } }, whole(6, 0)},
		{"a workload that fails once", func(b *bench) {
			b.job = b.after(1, func(ctx context.Context, j Job) (JobDone, error) {
				return b.works(ctx, j, JobDone{Failure: "command \"game\": exit status 3", Results: map[string]run.Result{"fps_mean": {Value: 1}}})
			})
		}, func(t *testing.T, b *bench, h HandsOff) {
			whole(6, 0, "exit status 3", "repeated (2 of 3)")(t, b, h)
			if h.Progress.Rejected != 1 {
				t.Errorf("%+v", h.Progress)
			}
		}},
		{"a workload that fails for ever", func(b *bench) {
			b.job = func(ctx context.Context, j Job) (JobDone, error) {
				return b.works(ctx, j, JobDone{Failure: "command \"game\": exit status 3"})
			}
		}, stands("6 runs in a row")},
		{"a workload that prints no result at one setting", func(b *bench) {
			well := b.job
			b.job = func(ctx context.Context, j Job) (JobDone, error) {
				b.mu.Lock()
				w, _ := b.record.Setting.Watts()
				b.mu.Unlock()
				if w == 15 {
					return b.works(ctx, j, JobDone{Missing: "no line matches fps_mean"})
				}
				return well(ctx, j)
			}
		}, whole(4, 2, "no line matches fps_mean")},
		{"a workload that hangs", func(b *bench) {
			b.job = b.after(1, func(ctx context.Context, j Job) (JobDone, error) {
				<-ctx.Done()
				return JobDone{Job: j.ID, Failure: "ended"}, nil
			})
		}, whole(6, 0, "did not end it in time")},
		{"a workload that leaves children behind", func(b *bench) {
			b.job = b.after(1, func(ctx context.Context, j Job) (JobDone, error) {
				return b.works(ctx, j, JobDone{LeftBehind: true, Results: map[string]run.Result{"fps_mean": {Value: 60}}})
			})
		}, whole(6, 0, "outlived the command")},
		{"a runner that is lost in a run and comes back", func(b *bench) {
			b.job = b.after(1, func(ctx context.Context, j Job) (JobDone, error) {
				time.Sleep(20 * time.Second)
				b.comes(nil)
				go func() { time.Sleep(time.Minute); b.comes(&RunnerSeen{ID: "r2"}) }()
				return JobDone{}, &RunnerLostError{"the runner was not heard of for 5 s"}
			})
		}, func(t *testing.T, b *bench, h HandsOff) {
			whole(6, 0, "not heard of", "waiting for a runner")(t, b, h)
			if strings.Contains(strings.Join(b.said, "\n"), "repeated (2 of 3)") {
				t.Errorf("a runner that is gone was a try of the slot: %v", b.said)
			}
			inOrder(t, b.events, "restore", "stop run", "reject")
		}},
		{"a runner that leaves while it cools down", func(b *bench) {
			b.job = b.after(1, func(ctx context.Context, j Job) (JobDone, error) {
				go func() {
					time.Sleep(70 * time.Second)
					b.comes(nil)
					b.mu.Lock()
					n := len(b.applied)
					b.mu.Unlock()
					time.Sleep(10 * time.Minute)
					b.mu.Lock()
					if len(b.applied) != n || len(b.runs) != 1 {
						b.t.Errorf("set or run without a runner: %v, %d runs", b.applied[n:], len(b.runs))
					}
					b.mu.Unlock()
					b.comes(&RunnerSeen{ID: "r2"})
				}()
				return b.works(ctx, j, JobDone{Results: map[string]run.Result{"fps_mean": {Value: 60, Unit: "fps"}}})
			})
		}, whole(6, 0, "waiting for a runner")},
		{"a person starts a run in between", func(b *bench) {
			go func() {
				time.Sleep(75 * time.Second) // while it cools down after the first one
				b.mu.Lock()
				b.record = &run.Run{ID: "019a0000-9999", Labels: run.Labels{Workload: "tile-sort"}}
				b.mu.Unlock()
				time.Sleep(5 * time.Minute)
				b.mu.Lock()
				b.record = nil
				b.mu.Unlock()
			}()
		}, whole(6, 0)},
		{"a person stops the day's run", func(b *bench) {
			go func() {
				time.Sleep(40 * time.Second)
				if s, _ := b.Status(context.Background()); s.Recording == nil {
					b.t.Error("no run goes on")
				} else if _, err := b.StopRun(context.Background(), run.Stop{Run: s.Recording.ID}); err != nil {
					b.t.Error(err)
				}
			}()
		}, whole(6, 0, "somebody else ended the run")},
		{"no run can be started", func(b *bench) { b.refused = syscall.ENOSPC }, stands("no run could be started", "no space left")},
		{"a run cannot be rejected", func(b *bench) {
			b.rejectErr = syscall.ENOSPC
			b.watts = func(run.Cell) float64 { return 50 }
		}, stands("could not be rejected", "run reject")},
		{"a setting that changed in a run", func(b *bench) {
			b.found = []run.Finding{{Code: run.SettingChanged, Severity: run.SeverityDoubt, Text: "the setting changed from 8W to 9W"}}
		}, whole(6, 0, "changed from 8W to 9W", "repeated (2 of 3)")},
		{"no sensor of the package's power", func(b *bench) { b.watts = func(run.Cell) float64 { return 0 } }, func(t *testing.T, b *bench, h HandsOff) {
			whole(6, 0)(t, b, h)
			if text := strings.Join(h.Summary, "\n"); !strings.Contains(text, "6 runs is verified by reading it back alone") {
				t.Error(text)
			}
		}},
		{"the supply changes in a run", func(b *bench) {
			go func() { time.Sleep(30 * time.Second); b.mu.Lock(); b.supply = run.Battery; b.mu.Unlock() }()
			go func() { time.Sleep(10 * time.Minute); b.mu.Lock(); b.supply = run.Mains; b.mu.Unlock() }()
		}, func(t *testing.T, b *bench, h HandsOff) {
			whole(6, 0, "the supply changed", "a hand is needed: plug in")(t, b, h)
			if h.Hands != 1 || h.Progress.Rejected != 1 {
				t.Errorf("%d hands, %+v", h.Hands, h.Progress)
			}
		}},
		{"a run that cannot be stored and is kept", func(b *bench) {
			n := 0
			b.stopErr = func(d run.Record) (run.Record, error) {
				if n++; n > 1 {
					return d, nil
				}
				return run.Record{}, run.NotStored(&run.Ended{Record: d}, run.InJournal, syscall.ENOSPC)
			}
		}, whole(6, 0, "no space left")},
		{"results that cannot be used", func(b *bench) {
			b.stopErr = func(d run.Record) (run.Record, error) {
				return d, &EndedError{Run: d, Unusable: Unusable{Why: []string{"loss=nan is no number"}}}
			}
		}, whole(6, 0, "loss=nan is no number")},
		{"a stop that fails at first", func(b *bench) {
			b.stays = true
			fail := fails(errAway, 3)
			b.stopErr = func(d run.Record) (run.Record, error) { return d, fail() }
		}, whole(6, 0)},
		{"the battery does not charge", func(b *bench) {
			charge := 0.05
			b.charge = &charge
			for i := range b.plan.Slots {
				b.plan.Slots[i].Supply = run.Battery
			}
		}, stands("does not charge", "at 5 %", "15 % are needed")},
		{"the device is given another name", func(b *bench) {
			go func() {
				time.Sleep(40 * time.Second)
				b.mu.Lock()
				defer b.mu.Unlock()
				b.name = "unit-elm"
				for i := range b.plan.Slots {
					b.plan.Slots[i].Device = b.name
				}
				for i := range b.runs {
					b.runs[i].Device = b.name
				}
			}()
		}, func(t *testing.T, b *bench, h HandsOff) {
			whole(6, 0)(t, b, h)
			if h.Device != "unit-elm" || h.Consent == nil || h.Consent.Device != "unit-elm" {
				t.Errorf("%s, %+v", h.Device, h.Consent)
			}
		}},
		{"the device is not the plan's any more", func(b *bench) {
			go func() { time.Sleep(40 * time.Second); b.mu.Lock(); b.name = "unit-elm"; b.mu.Unlock() }()
		}, stands("no device \"unit-elm\"")},
		{"another plan takes the place", func(b *bench) {
			go func() {
				time.Sleep(40 * time.Second) // in a run
				b.mu.Lock()
				b.plan.ID, b.plan.CreatedAt = 4, run.Stamp(time.Now())
				b.mu.Unlock()
			}()
		}, stands("plan 4 is in force")},
		{"the plan is gone", func(b *bench) {
			go func() { time.Sleep(40 * time.Second); b.mu.Lock(); b.noPlan = store.ErrNoPlan; b.mu.Unlock() }()
		}, stands("no plan")},
		{"the plan cannot be read", func(b *bench) {
			go func() { time.Sleep(40 * time.Second); b.mu.Lock(); b.noPlan = errDisk; b.mu.Unlock() }()
		}, stands("disk full")},
		{"the clock is set back to before the plan", func(b *bench) { b.plan.CreatedAt = run.Stamp(time.Now().Add(time.Hour)) }, stands("clock", "set back")},
		{"the supply is not the run's", func(b *bench) { b.misread = true }, stands("no slot for unit-oak, harbour-flight")},
		{"it does not cool down", func(b *bench) {
			go func() {
				time.Sleep(5 * time.Second)
				b.mu.Lock()
				b.hot = time.Now().Add(24 * time.Hour)
				b.mu.Unlock()
			}()
		}, stands("not fit to start after 30 min", "target 50")},
	} {
		t.Run(c.name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				b := newBench(t, few())
				d := b.begin(t, dataDir(t), func(*HandsOffOptions) { c.fault(b) })
				h := d.until(3*time.Hour, "at an end", func(h HandsOff) bool { return h.State == Over || h.State == Paused })
				c.want(t, b, h)
				b.restored(t, h)
			})
		})
	}
}

// restored is that all is as it was before the day.
func (b *bench) restored(t *testing.T, h HandsOff) {
	t.Helper()
	b.mu.Lock()
	defer b.mu.Unlock()
	if len(b.set) > 0 || len(h.Changed) > 0 || b.trip != nil || b.busy || b.setUnarmed || b.declared.Setting.Known() {
		t.Errorf("left: %v, %v; guards armed: %v, a runner busy: %v; set without guards: %v; declared: %v", b.set, h.Changed, b.trip != nil, b.busy, b.setUnarmed, b.declared)
	}
	if h.Run != "" || b.record != nil {
		t.Errorf("run %q goes on, %v", h.Run, b.record)
	}
}

func TestGuardTrips(t *testing.T) {
	for _, c := range []struct {
		name string
		when func(h HandsOff) bool
		ends bool
	}{
		{"in a run", func(h HandsOff) bool { return h.Run != "" }, false},
		{"in a run, for good", func(h HandsOff) bool { return h.Run != "" }, true},
		{"while it settles", func(h HandsOff) bool { return h.State == Settling }, false},
		{"while it cools down", func(h HandsOff) bool { return h.State == Cooling && strings.Contains(h.Text, "target") }, false},
	} {
		t.Run(c.name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				b := newBench(t, few())
				d := b.begin(t, dataDir(t), nil)
				h := d.until(10*time.Minute, "there", c.when)
				b.events = nil
				at := time.Now()
				b.trips(Tripped{Guard: "temperature", Text: "the package is at 96 °C, the limit is 95 °C", Ends: c.ends})
				synctest.Wait()
				if len(b.set) > 0 || time.Since(at) > 0 {
					t.Errorf("after %v still set: %v", time.Since(at), b.set)
				}
				says(t, b, "96 °C")
				if h.Run != "" {
					d.until(time.Minute, "ended", func(h HandsOff) bool { return h.Run == "" })
					inOrder(t, b.events, "restore", "end job", "stop run", "reject")
					if r := b.runs[len(b.runs)-1]; r.State != run.Rejected || !strings.Contains(r.Why, "96 °C") {
						t.Errorf("%s: %s", r.State, r.Why)
					}
				}
				if !c.ends { // once it goes on by itself; the next time before a run counted it pauses
					d.until(10*time.Minute, "set again", func(h HandsOff) bool { return h.State == Settling })
					b.trips(Tripped{Guard: "temperature", Text: "the package is at 96 °C, the limit is 95 °C"})
				}
				want := Paused
				if c.ends {
					want = Over
				}
				after := d.untilState(time.Minute, want)
				if !strings.Contains(after.Why, "96 °C") {
					t.Errorf("why: %q", after.Why)
				}
				b.restored(t, after)
				if c.ends {
					return
				}
				if _, err := d.ResumeHandsOff(t.Context(), HandsOffRequest{By: "a person"}); err != nil {
					t.Fatal(err)
				}
				whole(6, 0)(t, b, d.untilState(time.Hour, Over))
			})
		})
	}
}

// A slot in which a guard trips each time is skipped in the end; one that waits for the plug
// goes on by itself, but not for ever.
func TestGuardTripsInEachRun(t *testing.T) {
	for _, waits := range []bool{false, true} {
		synctest.Test(t, func(t *testing.T) {
			b := newBench(t, request([]string{"8"}, []string{"mains"}, nil, 1))
			b.job = func(ctx context.Context, j Job) (JobDone, error) {
				time.Sleep(10 * time.Second)
				b.trips(Tripped{Guard: "one", Text: "it tripped", Waits: waits})
				<-ctx.Done()
				return JobDone{Failure: "ended"}, nil
			}
			d := b.begin(t, dataDir(t), nil)
			h := d.until(time.Hour, "at an end", func(h HandsOff) bool { return h.State == Paused || h.State == Over })
			want := 2
			if waits {
				want = 6
			}
			if h.State != Paused || len(b.runs) != want {
				t.Errorf("waits %v: %s after %d runs", waits, h.State, len(b.runs))
			}
			if waits {
				return
			}
			if err := d.asks("resume"); err != nil {
				t.Fatal(err)
			}
			whole(0, 1)(t, b, d.untilState(time.Hour, Over))
		})
	}
}

// A run whose stop fails for good pauses the day; it is ended when that works again, and
// never counts.
func TestStopFailsForGood(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b := newBench(t, few())
		b.stays = true
		away := errAway
		b.stopErr = func(d run.Record) (run.Record, error) { return d, away }
		d := b.begin(t, dataDir(t), nil)
		h := d.untilState(10*time.Minute, Paused)
		if !strings.Contains(h.Why, errAway.Error()) || len(h.Changed) > 0 || b.record == nil {
			t.Fatalf("%s, changed %v", h.Why, h.Changed)
		}
		b.mu.Lock()
		away = nil
		b.mu.Unlock()
		if err := d.asks("resume"); err != nil {
			t.Fatal(err)
		}
		h = d.untilState(time.Hour, Over)
		whole(6, 0)(t, b, h)
		b.restored(t, h)
		if r := b.runs[0]; r.State != run.Rejected || h.Progress.Rejected != 1 {
			t.Errorf("%s, %+v", r.State, h.Progress)
		}
	})
}

// A device that nothing can be set of, without guards, does what hands set.
func TestNothingCanBeSet(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b := newBench(t, request([]string{"8"}, []string{"mains"}, nil, 2))
		clear(b.first)
		b.armErr = errors.New("there is no temperature to watch")
		d := b.begin(t, dataDir(t), nil)
		d.untilState(time.Minute, Hand)
		if err := d.asks("resume"); err != nil {
			t.Fatal(err)
		}
		whole(2, 0, "no guard watches")(t, b, d.untilState(time.Hour, Over))
	})
}

// An Apply that hangs, and a restore that fails for a while: the day is not said to be
// paused before all is back.
func TestGuardTripsWhileThingsHang(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b := newBench(t, few())
		b.hangs = make(chan struct{})
		d := b.begin(t, dataDir(t), nil)
		d.untilState(time.Minute, Setting)
		time.Sleep(3 * time.Second)
		b.mu.Lock()
		b.set["setting"], b.restoreErr = "8W", fails(errors.New("it does not answer"), 20)
		b.mu.Unlock()
		b.trips(Tripped{Guard: "sensor", Text: "the temperature is gone"})
		for range 10 {
			time.Sleep(5 * time.Second)
			h := d.at()
			if h.State == Paused || len(h.Changed) == 0 || !strings.Contains(h.Text, "sweepd actuators restore") || !strings.Contains(h.Text, "was 28W") {
				t.Fatalf("%s, changed %v: %s", h.State, h.Changed, h.Text)
			}
		}
		// People are answered meanwhile.
		if h, err := d.StopHandsOff(t.Context(), HandsOffRequest{Now: true}); err != nil || !h.Stopping {
			t.Errorf("%+v, %v", h, err)
		}
		b.restored(t, d.untilState(5*time.Minute, Over))
	})
}

// Values are set in the order in which they hold, the setting last; what a cell does not
// name is there with its first value.
func TestOrderOfValues(t *testing.T) {
	b := newBench(t, few())
	for _, key := range []string{"governor", "energy_preference", "other"} {
		b.first[key] = "x"
	}
	d := NewHandsOffDay(b.options(t.TempDir()))
	var got []string
	for _, v := range d.values(run.Cell{Setting: run.Watts(8), Variant: "cores=6,energy_preference=power,smt=off"}, d.settable()) {
		got = append(got, v.String())
	}
	want := []string{"cores=6", "the first value of governor", "energy_preference=power", "the first value of other", "8W"}
	if !slices.Equal(got, want) {
		t.Errorf("%q, not %q", got, want)
	}
}

// A panic of any goroutine of the day has the first values put back before it goes on.
func TestPanicRestores(t *testing.T) {
	b := newBench(t, few())
	b.set["setting"] = "8W"
	d := NewHandsOffDay(b.options(dataDir(t)))
	func() {
		defer func() {
			if recover() == nil {
				t.Error("the panic was swallowed")
			}
			if len(b.set) > 0 {
				t.Errorf("still set: %v", b.set)
			}
		}()
		d.guarded(func() { panic("a fault") })
	}()
}

// A hand where the supply has to change, the battery to be charged, or a firmware menu to
// be changed.
func TestHand(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b := newBench(t, request([]string{"8"}, []string{"mains", "battery"}, []string{"", "smt=off"}, 1))
		charge := 0.05
		b.charge, b.supply = &charge, run.Battery
		d := b.begin(t, dataDir(t), nil)
		resume := func() error {
			_, err := d.ResumeHandsOff(t.Context(), HandsOffRequest{})
			return err
		}
		set := func(f func()) { b.mu.Lock(); f(); b.mu.Unlock() }

		// On battery, nearly empty: plugging in alone is the least.
		h := d.untilState(time.Minute, Hand)
		if !slices.Equal(h.Hand, []string{"plug in"}) || h.Hands != 1 {
			t.Fatalf("%v", h.Hand)
		}
		if err := resume(); err == nil || !strings.Contains(err.Error(), "plug in") || !strings.Contains(err.Error(), "by itself") {
			t.Errorf("said to be done what is not: %v", err)
		}
		set(func() { b.supply = run.Mains })
		h = d.until(10*time.Minute, "another hand", func(h HandsOff) bool { return h.State == Hand && h.Hand[0] != "plug in" })
		if h.Progress.Done != 1 || !slices.Equal(h.Hand, []string{"set smt=off"}) || len(h.Changed) > 0 {
			t.Fatalf("%d done; %v, changed %v", h.Progress.Done, h.Hand, h.Changed)
		}
		time.Sleep(3 * time.Hour) // nobody comes
		if h = d.at(); h.State != Hand || h.Hands != 2 {
			t.Fatalf("%s, %d hands", h.State, h.Hands)
		}
		if err := resume(); err != nil {
			t.Fatal(err)
		}
		// Both on battery are left: charging goes by waiting.
		h = d.until(10*time.Minute, "charging", func(h HandsOff) bool { return h.State == Waiting && strings.Contains(h.Text, "charging to 80 %") })
		if h.Progress.Done != 2 {
			t.Fatalf("%d done", h.Progress.Done)
		}
		set(func() { charge = 0.5 })
		time.Sleep(time.Minute)
		if h = d.at(); h.State != Waiting || !strings.Contains(h.Text, "50 % now") {
			t.Fatalf("%s: %s", h.State, h.Text)
		}
		time.Sleep(7 * time.Minute) // it is told to stop at 50 %, which is enough
		h = d.untilState(time.Minute, Hand)
		if !slices.Equal(h.Hand, []string{"unplug"}) {
			t.Fatalf("%v", h.Hand)
		}
		set(func() { b.supply = run.Battery })
		h = d.until(10*time.Minute, "the last hand", func(h HandsOff) bool { return h.State == Hand && h.Hand[0] != "unplug" })
		if !slices.Equal(h.Hand, []string{"take back smt=off"}) {
			t.Fatalf("%v", h.Hand)
		}
		if err := resume(); err != nil {
			t.Fatal(err)
		}
		h = d.untilState(10*time.Minute, Over)
		if h.Hands != 4 || h.Progress.Left != 0 {
			t.Errorf("%d hands, %+v", h.Hands, h.Progress)
		}
		b.restored(t, h)
	})
}

// A setting that only a hand can set is seen where the system reports it, else confirmed.
func TestHandSetsTheSetting(t *testing.T) {
	for _, reads := range []bool{false, true} {
		synctest.Test(t, func(t *testing.T) {
			b := newBench(t, request([]string{"8", "15"}, []string{"mains"}, nil, 1))
			delete(b.first, "setting")
			if reads {
				b.reads = &run.SourcedSetting{Setting: run.Watts(28), Source: run.Firmware}
			}
			d := b.begin(t, dataDir(t), nil)
			for range 2 {
				h := d.untilState(10*time.Minute, Hand)
				w := h.Slot.Setting
				if !slices.Equal(h.Hand, []string{"set " + w.String()}) {
					t.Fatalf("%v", h.Hand)
				}
				_, err := d.ResumeHandsOff(t.Context(), HandsOffRequest{})
				if reads != (err != nil) {
					t.Fatalf("confirmed: %v", err)
				}
				if reads {
					b.mu.Lock()
					b.reads.Setting = w
					b.mu.Unlock()
				}
				d.untilState(time.Minute, Running)
			}
			whole(2, 0)(t, b, d.untilState(10*time.Minute, Over))
		})
	}
}

// A limit that reads back and is not in force is noticed where it is above the one before:
// the power stays at that, though the workload takes more.
func TestNotTaken(t *testing.T) {
	watts := func(w float64) *float64 { return &w }
	ran := func(at, took float64) run.Run {
		return run.Run{State: run.Finished, PackageW: watts(took), Labels: run.Labels{Workload: "tile-sort", Supply: run.Mains, Setting: run.Watts(at).From(run.Declared)}}
	}
	held := run.Finding{Code: run.SettingDisobeyed}
	for _, c := range []struct {
		name    string
		r       run.Run
		before  float64
		earlier []run.Run
		held    bool
		want    bool
	}{
		{"it took more before", ran(36, 10.1), 10, []run.Run{ran(8, 8), ran(25, 24)}, false, true},
		{"held by a limiter", ran(36, 10), 10, nil, true, true},
		{"nothing shows that it wants more", ran(36, 10), 10, []run.Run{ran(8, 8), ran(25, 10.2)}, false, false},
		{"its own demand", ran(36, 12), 10, []run.Run{ran(25, 24)}, false, false},
		{"lowered", ran(8, 10), 10, []run.Run{ran(25, 24)}, false, false},
		{"hardly raised", ran(10.5, 10), 10, []run.Run{ran(25, 24)}, false, false},
		{"unknown before", ran(36, 10), 0, []run.Run{ran(25, 24)}, false, false},
	} {
		d := run.Record{Run: c.r}
		if c.held {
			d.Findings = []run.Finding{held}
		}
		var before *run.SourcedSetting
		if c.before > 0 {
			before = &run.SourcedSetting{Setting: run.Watts(c.before), Source: run.Firmware}
		}
		if got := settingNotTaken(&d, before, c.earlier); (got != "") != c.want {
			t.Errorf("%s: %q", c.name, got)
		}
	}
	battery := ran(25, 24)
	battery.Supply = run.Battery
	if got := settingNotTaken(&run.Record{Run: ran(36, 10)}, &run.SourcedSetting{Setting: run.Watts(10)}, []run.Run{battery}); got != "" {
		t.Errorf("on the other supply: %q", got)
	}
}

// What is said is bounded; of long paths the end stays.
func TestOneLine(t *testing.T) {
	path := "/dev/shm/simdevice-sweepd-demo-1962128873/sys/class/firmware-attributes/sim-firmware/attributes/ppt_pl3_fppt/current_value"
	text := strings.Repeat("some words. ", 15) + path + " is not set to \"25\": permission denied"
	if got := oneLine(text); !strings.HasSuffix(got, "…/attributes/ppt_pl3_fppt/current_value is not set to \"25\": permission denied") || len(got) > toldBytes {
		t.Error(got)
	}
	if got := oneLine("cat /sys/class/power"); got != "cat /sys/class/power" {
		t.Error(got)
	}
	if got := oneLine(strings.Repeat("ö", 400) + "\x1b"); len(got) > toldBytes || !strings.HasSuffix(got, "…") || strings.ContainsRune(got, '\uFFFD') {
		t.Errorf("%q", got)
	}
}
