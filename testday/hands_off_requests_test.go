package testday

import (
	"context"
	"encoding/json"
	"errors"
	"hash/crc32"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"sweepd/actuators"
	"sweepd/run"
	"sweepd/schedule"
)

// asks does what people ask of a day: "pause", "resume", "stop", "now".
func (d dayOn) asks(what string) error {
	d.t.Helper()
	q := HandsOffRequest{By: "a person"}
	var err error
	switch what {
	case "pause":
		_, err = d.PauseHandsOff(d.t.Context(), q)
	case "resume":
		_, err = d.ResumeHandsOff(d.t.Context(), q)
	case "now":
		q.Now = true
		fallthrough
	case "stop":
		_, err = d.StopHandsOff(d.t.Context(), q)
	case "begin":
		_, err = d.BeginHandsOff(d.t.Context(), BeginHandsOff{})
	case "wait":
		time.Sleep(5 * time.Second)
	case "a minute":
		time.Sleep(90 * time.Second)
	default:
		d.t.Fatal(what)
	}
	return err
}

// What people ask for in the first run, and while it cools down after it, in whatever order
// and however often.
func TestRequests(t *testing.T) {
	for _, c := range []struct {
		ask   string        // in order; what ends in an error has ! behind it
		state HandsOffState // a second after
		then  HandsOffState // in the end
		done  int           // runs that count in the end
	}{
		{"pause", Running, Paused, 1},
		{"pause pause", Running, Paused, 1},
		{"pause resume", Running, Over, 6},
		{"resume!", Running, Over, 6},
		{"begin!", Running, Over, 6},
		{"stop", Running, Over, 1},
		{"stop stop", Running, Over, 1},
		{"stop pause!", Running, Over, 1},
		{"stop resume", Running, Over, 6},
		{"pause stop", Running, Over, 1},
		{"pause stop resume", Running, Over, 6},
		{"now", Over, Over, 0},
		{"stop now", Over, Over, 0},
		{"now stop now", Over, Over, 0},
		{"now resume!", Over, Over, 0},
		{"now wait stop!", Over, Over, 0},
		{"now wait resume!", Over, Over, 0},
		{"now wait begin", Waiting, Over, 6},
		{"pause now", Over, Over, 0},
		{"pause a minute resume resume!", Settling, Over, 6},
		{"pause a minute pause", Paused, Paused, 1},
		{"pause a minute begin!", Paused, Paused, 1},
		{"pause a minute stop", Over, Over, 1},
		{"pause a minute now", Over, Over, 1},
		{"pause a minute resume pause", Paused, Paused, 1},
	} {
		t.Run(c.ask, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				b := newBench(t, few())
				d := b.begin(t, dataDir(t), nil)
				d.untilState(time.Minute, Running)
				for _, what := range strings.Split(strings.ReplaceAll(c.ask, "a minute", "a_minute"), " ") {
					err := d.asks(strings.ReplaceAll(strings.TrimSuffix(what, "!"), "_", " "))
					if (err != nil) != strings.HasSuffix(what, "!") {
						t.Errorf("%s: %v", what, err)
					}
				}
				time.Sleep(time.Second)
				synctest.Wait()
				if h := d.at(); h.State != c.state {
					t.Errorf("a second later: %s (%s)", h.State, h.Text)
				}
				if c.then == Paused {
					d.untilState(5*time.Minute, Paused)
					time.Sleep(time.Hour)
				}
				h := d.untilState(time.Hour, c.then)
				if h.Progress.Done != c.done || h.Stopping || h.Pausing {
					t.Errorf("%+v, stopping %v, pausing %v", h.Progress, h.Stopping, h.Pausing)
				}
				b.restored(t, h)
				if c.then == Paused && !strings.Contains(h.Why, "a person") {
					t.Errorf("why: %q", h.Why)
				}
			})
		})
	}
}

func TestRequestsWithoutADay(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b := newBench(t, few())
		d := dayOn{NewHandsOffDay(b.options(dataDir(t))), b, t}
		if err := d.Start(t.Context()); err != nil {
			t.Fatal(err)
		}
		for _, what := range []string{"pause", "resume", "stop", "now"} {
			if err := d.asks(what); !errors.Is(err, ErrNoDay) {
				t.Errorf("%s: %v", what, err)
			}
		}
		if h := d.at(); h.State != Idle || h.Plan != 0 || h.Slot != nil || h.Hand == nil || h.Skipped == nil || h.Told == nil || h.Changed == nil || h.Summary == nil || h.Device != "unit-oak" {
			t.Errorf("%+v", h)
		}
		var consent *ConsentError
		if err := d.asks("begin"); !errors.As(err, &consent) || consent.Device != "unit-oak" || len(consent.Cautions) == 0 {
			t.Fatalf("without consent: %v", err)
		}
		if _, err := d.PauseHandsOff(t.Context(), HandsOffRequest{By: "a\nb"}); err == nil {
			t.Error("a name of two lines")
		}
		begun := time.Now()
		if _, err := d.BeginHandsOff(t.Context(), BeginHandsOff{Consent: true, By: "sweepd plan run"}); err != nil {
			t.Fatal(err)
		}
		d.untilState(time.Hour, Over)
		b.mu.Lock()
		b.runs = nil // another plan, as it were
		b.mu.Unlock()
		if _, err := d.BeginHandsOff(t.Context(), BeginHandsOff{Consent: true, By: "another"}); err != nil {
			t.Fatal(err)
		}
		if c := d.at().Consent; c == nil || !c.At.Equal(run.Stamp(begun).Time) || c.By != "sweepd plan run" || c.Device != "unit-oak" {
			t.Errorf("consent %+v", c)
		}
		d.Close()
	})
}

// A day is not begun that cannot do anything.
func TestBeginLacks(t *testing.T) {
	for _, c := range []struct {
		fault func(b *bench, o *HandsOffOptions)
		want  string
	}{
		{func(b *bench, _ *HandsOffOptions) { b.noPlan = errDisk }, "disk full"},
		{func(b *bench, _ *HandsOffOptions) {
			for i := range b.plan.Slots {
				b.plan.Slots[i].Device = "unit-elm"
			}
		}, "no device \"unit-oak\": it has unit-elm"},
		{func(_ *bench, o *HandsOffOptions) { o.Workloads = nil }, "no command for harbour-flight"},
		{func(_ *bench, o *HandsOffOptions) { o.Dir = filepath.Join(o.Dir, "gone") }, "consent cannot be kept"},
	} {
		synctest.Test(t, func(t *testing.T) {
			b := newBench(t, few())
			o := b.options(dataDir(t))
			c.fault(b, &o)
			d := NewHandsOffDay(o)
			if err := d.Start(t.Context()); err != nil {
				t.Fatal(err)
			}
			defer d.Close()
			_, err := d.BeginHandsOff(t.Context(), BeginHandsOff{Consent: true})
			if err == nil || !strings.Contains(err.Error(), c.want) {
				t.Errorf("%v, not %s", err, c.want)
			}
			if h, _ := d.HandsOff(t.Context()); h.State != Idle || h.Consent != nil && c.want == "consent cannot be kept" {
				t.Errorf("%+v", h)
			}
			r, err := d.DryRunHandsOff(t.Context(), BeginHandsOff{})
			if err != nil || c.want != "consent cannot be kept" && !strings.Contains(strings.Join(r.Lacks, "; "), c.want) {
				t.Errorf("dry: %v, %v", r.Lacks, err)
			}
		})
	}
}

// restart kills the agent of a day, or has it end: the next one goes on from the folder.
func (d dayOn) restart(kill bool) dayOn {
	d.t.Helper()
	b, dir := d.b, dataDir(d.t)
	if !kill {
		d.Close()
	}
	text, err := os.ReadFile(filepath.Join(d.o.Dir, handsOffFileName))
	if err != nil {
		d.t.Fatal(err)
	}
	if err := os.WriteFile(filepath.Join(dir, handsOffFileName), text, 0o600); err != nil {
		d.t.Fatal(err)
	}
	// The device, the runs and the runner live on; the first values are put back first of all.
	b.mu.Lock()
	next := &bench{t: b.t, supply: b.supply, plan: b.plan, runs: append([]run.Run{}, b.runs...), ids: b.ids, first: b.first, set: map[string]string{}, changed: make(chan struct{}),
		runner: b.runner, job: nil, watts: b.watts, declared: b.declared}
	b.mu.Unlock()
	next.job = func(ctx context.Context, j Job) (JobDone, error) {
		return next.works(ctx, j, JobDone{Results: map[string]run.Result{"fps_mean": {Value: 60, Unit: "fps"}}})
	}
	for i := range next.runs {
		if next.runs[i].State == run.Recording {
			next.runs[i].State = run.Interrupted
		}
	}
	if kill {
		d.Close() // what was killed does nothing any more that anybody sees
	}
	o := next.options(dir)
	again := dayOn{NewHandsOffDay(o), next, d.t}
	if err := again.Start(d.t.Context()); err != nil {
		d.t.Fatal(err)
	}
	d.t.Cleanup(again.Close)
	return again
}

// The agent is killed, or ends, wherever the day stands: the next one goes on with it, and
// repeats the run that was in progress.
func TestRestart(t *testing.T) {
	for _, kill := range []bool{true, false} {
		for after := time.Second; after < 4*time.Minute; after += 17 * time.Second {
			synctest.Test(t, func(t *testing.T) {
				b := newBench(t, few())
				d := b.begin(t, dataDir(t), nil)
				time.Sleep(after)
				synctest.Wait()
				before := d.at()
				next := d.restart(kill)
				h := next.untilState(time.Hour, Over)
				if h.Progress.Done != 6 || len(h.Skipped) > 0 || h.Hands != 0 || !h.BegunAt.Equal(before.BegunAt.Time) {
					t.Errorf("killed %v after %v in %s: %+v, skipped %v", kill, after, before.State, h.Progress, h.Skipped)
				}
				says(t, next.b, "started anew")
				next.b.restored(t, h)
			})
		}
	}
}

// A day that is paused, waits for a hand, or is over is so after a restart, too.
func TestRestartStays(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b := newBench(t, request([]string{"8"}, []string{"mains"}, []string{"", "smt=off"}, 1))
		d := b.begin(t, dataDir(t), nil)
		d.untilState(10*time.Minute, Hand)
		d = d.restart(true)
		h := d.untilState(10*time.Minute, Hand)
		if h.Progress.Done != 1 {
			t.Errorf("%+v", h.Progress)
		}
		if err := d.asks("pause"); err != nil {
			t.Fatal(err)
		}
		d.untilState(time.Minute, Paused)
		d = d.restart(false)
		h = d.untilState(time.Minute, Paused)
		if !strings.Contains(h.Why, "a person") || h.Progress.Done != 1 || h.Slots != 2 {
			t.Errorf("why %q, %+v of %d", h.Why, h.Progress, h.Slots)
		}
		if err := d.asks("resume"); err != nil {
			t.Fatal(err)
		}
		d.untilState(time.Minute, Hand)
		if err := d.asks("stop"); err != nil {
			t.Fatal(err)
		}
		h = d.untilState(time.Minute, Over)
		d = d.restart(false)
		again := d.at()
		if again.State != Over || strings.Join(again.Summary, "\n") != strings.Join(h.Summary, "\n") || again.Progress.Left != 1 || again.Consent == nil {
			t.Errorf("%s, %v, %+v", again.State, again.Summary, again.Progress)
		}
	})
}

// A day whose agent was away for long, or seems to come from the future, waits for somebody
// who is in reach; one that waited for a hand all night was not away.
func TestLongAway(t *testing.T) {
	for _, away := range []time.Duration{time.Second, 10 * time.Minute, 3 * time.Hour, 9 * 24 * time.Hour, -2 * time.Hour} {
		synctest.Test(t, func(t *testing.T) {
			b := newBench(t, request([]string{"8"}, []string{"mains"}, []string{"", "smt=off"}, 1))
			d := b.begin(t, dataDir(t), nil)
			d.untilState(10*time.Minute, Hand)
			time.Sleep(11 * time.Hour)
			d.Close()
			path := filepath.Join(d.o.Dir, handsOffFileName)
			kept, err := readHandsOff(d.o.Dir)
			if err != nil {
				t.Fatal(err)
			}
			if away > 0 {
				time.Sleep(away)
			} else {
				kept.SavedAt = run.Stamp(time.Now().Add(-away))
				day, err := json.Marshal(kept)
				if err != nil {
					t.Fatal(err)
				}
				text, err := json.Marshal(handsOffFile{crc32.ChecksumIEEE(day), day})
				if err != nil {
					t.Fatal(err)
				}
				if err := os.WriteFile(path, text, 0o600); err != nil {
					t.Fatal(err)
				}
			}
			next := d.restart(false)
			if away > 0 && away < awayMost {
				next.untilState(time.Minute, Hand)
				return
			}
			if h := next.untilState(time.Minute, Paused); !strings.Contains(h.Why, "with somebody in reach") || len(next.b.applied) > 0 {
				t.Errorf("%v: %s, set %v", away, h.Why, next.b.applied)
			}
			if err := next.asks("resume"); err != nil {
				t.Fatal(err)
			}
			next.untilState(time.Minute, Hand)
		})
	}
}

// An agent that ends again and again before a run does is looked at by a person.
func TestRestartLoop(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		d := newBench(t, few()).begin(t, dataDir(t), nil)
		for range mostRestarts {
			time.Sleep(5 * time.Second)
			d = d.restart(true)
		}
		h := d.untilState(time.Minute, Paused)
		if !strings.Contains(h.Why, "3 times") {
			t.Errorf("why %q", h.Why)
		}
		if err := d.asks("resume"); err != nil {
			t.Fatal(err)
		}
		whole(6, 0)(t, d.b, d.untilState(time.Hour, Over))
	})
}

// Whatever is wrong with the file: it is set aside, no day goes on by itself, and a new one
// may begin, with consent.
func TestDamagedFile(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b := newBench(t, few())
		d := b.begin(t, dataDir(t), nil)
		time.Sleep(30 * time.Second)
		d.Close()
		whole, err := os.ReadFile(filepath.Join(d.o.Dir, handsOffFileName))
		if err != nil {
			t.Fatal(err)
		}
		damages := map[string][]byte{"empty": {}, "cut": whole[:len(whole)/2], "no JSON": []byte("hello"), "null": []byte("null")}
		for i := 20; i < len(whole); i += 97 {
			flipped := []byte(string(whole))
			flipped[i] ^= 4
			damages["a bit at "+time.Duration(i).String()] = flipped
		}
		for name, text := range damages {
			o := newBench(t, few()).options(dataDir(t))
			path := filepath.Join(o.Dir, handsOffFileName)
			if err := os.WriteFile(path, text, 0o600); err != nil {
				t.Fatal(err)
			}
			d := NewHandsOffDay(o)
			if err := d.Start(t.Context()); err == nil || !strings.Contains(err.Error(), "damaged") || !strings.Contains(err.Error(), path) {
				t.Errorf("%s: %v", name, err)
			}
			if h, _ := d.HandsOff(t.Context()); h.State != Idle || h.Why == "" || h.Consent != nil {
				t.Errorf("%s: %+v", name, h)
			}
			if aside, err := os.ReadFile(path + ".damaged"); err != nil || string(aside) != string(text) {
				t.Errorf("%s: set aside: %v", name, err)
			}
			d.Close()
		}
	})
}

// A file that cannot be written ends no day: it is said once.
func TestFileCannotBeWritten(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b := newBench(t, few())
		d := b.begin(t, dataDir(t), nil)
		time.Sleep(30 * time.Second)
		// One by one, for os.RemoveAll does not work in Wine 8.
		if err := errors.Join(os.Remove(filepath.Join(d.o.Dir, handsOffFileName)), os.Remove(d.o.Dir)); err != nil {
			t.Fatal(err)
		}
		whole(6, 0, "could not be kept")(t, b, d.untilState(time.Hour, Over))
		b.mu.Lock()
		defer b.mu.Unlock()
		if n := strings.Count(strings.Join(b.said, "\n"), "could not be kept"); n != 1 {
			t.Errorf("said %d times", n)
		}
	})
}

// What was skipped stays so when the day is begun again, unless it is to be tried again.
func TestRetry(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b := newBench(t, few())
		broken := errors.New("does not work today")
		b.applyErr = whenSet("8W", func() error { return broken })
		d := b.begin(t, dataDir(t), nil)
		whole(4, 2)(t, b, d.untilState(time.Hour, Over))
		if err := d.asks("begin"); err != nil {
			t.Fatal(err)
		}
		whole(4, 2)(t, b, d.untilState(time.Minute, Over))
		broken = nil
		if _, err := d.BeginHandsOff(t.Context(), BeginHandsOff{Retry: true}); err != nil {
			t.Fatal(err)
		}
		h := d.untilState(time.Hour, Over)
		whole(6, 0)(t, b, h)
		if h.Consent == nil || h.Progress.LeftS != 0 {
			t.Errorf("%+v, %v s left", h.Consent, h.Progress.LeftS)
		}
	})
}

// What the configuration allows and this process may not write is said before the day asks
// hands for it all day long.
func TestBeginLacksTheRight(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b := newBench(t, few())
		o := b.options(dataDir(t))
		o.Panel = unwritablePanel{b}
		d := NewHandsOffDay(o)
		if err := d.Start(t.Context()); err != nil {
			t.Fatal(err)
		}
		defer d.Close()
		if _, err := d.BeginHandsOff(t.Context(), BeginHandsOff{Consent: true}); err == nil || !strings.Contains(err.Error(), "setting may set it, but cannot: run it as the service") {
			t.Error(err)
		}
		r, err := d.DryRunHandsOff(t.Context(), BeginHandsOff{})
		if err != nil || len(r.Lacks) != 1 || !strings.Contains(r.Writes[0].Cannot, "run it as the service") {
			t.Errorf("%v, %+v, %v", r.Lacks, r.Writes, err)
		}
	})
}

// unwritablePanel is one of a process that may not write.
type unwritablePanel struct{ *bench }

func (p unwritablePanel) Sets(string) bool { return false }
func (p unwritablePanel) Offers() []actuators.Offer {
	list := p.bench.Offers()
	for i := range list {
		list[i].Writable, list[i].Needs = false, "run it as the service"
	}
	return list
}

// A dry run says what would be written and done by hand, and writes nothing.
func TestDryRun(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b := newBench(t, schedule.Request{Settings: []string{"8", "40"}, Supplies: []string{"mains", "battery"}, Variants: []string{"", "cores=6", "smt=off"}, Repeats: 2, Seed: 7, Workloads: []string{"tile-sort"}})
		d := NewHandsOffDay(b.options(dataDir(t)))
		if err := d.Start(t.Context()); err != nil {
			t.Fatal(err)
		}
		defer d.Close()
		r, err := d.DryRunHandsOff(t.Context(), BeginHandsOff{})
		if err != nil || r.Slots != 24 || r.LeftS <= 0 || len(r.Lacks) > 0 || r.Consent != nil || len(r.Cautions) == 0 {
			t.Errorf("%+v, %v", r, err)
		}
		values := map[string]DryWrite{}
		for _, w := range r.Writes {
			values[w.Value] = w
		}
		if w := values["40W"]; len(values) != 4 || len(w.Steps) != 2 || w.Steps[1].Text != "40W" || w.Steps[1].Was != "28W" || w.Cannot != "" {
			t.Errorf("%+v", values)
		}
		if w := values["smt=off"]; len(w.Steps) > 0 || !strings.Contains(w.Cannot, "a hand") {
			t.Errorf("%+v", w)
		}
		// smt goes off and back, each pass at the other end; the plug changes within each.
		times := map[string]int{}
		for _, x := range r.Hands {
			times[x.What] = x.Times
		}
		if times["set smt=off"] < 1 || times["set smt=off"] > 2 || times["unplug"] < 1 || times["unplug"]+times["plug in"] > 6 {
			t.Errorf("%v", r.Hands)
		}
		if len(r.Workloads) != 1 || r.Workloads[0].Command[0] != "sort" {
			t.Errorf("%+v", r.Workloads)
		}
		if len(b.applied) > 0 || b.arms > 0 || len(b.runs) > 0 || b.restores > 0 {
			t.Error("something was done")
		}
	})
}
