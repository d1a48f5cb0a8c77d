package schedule

import (
	"fmt"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"sweepd/analysis"
	"sweepd/run"
)

// testDay is one workload at two settings on both supplies, three passes.
func testDay(t *testing.T) Plan {
	return mustNew(t, Request{Devices: []string{"unit-oak"}, Workloads: []string{"tile-sort"}, Settings: []string{"8W", "12W"}, Seed: 5}, Estimates{})
}

func TestFollow(t *testing.T) {
	p := testDay(t)
	at := func(slot, n int) run.Run { return runOf(p.Slots[slot].Cell, n) }
	ok, rejected, noResult, interrupted := at(0, 0), at(1, 1), at(1, 2), at(1, 3)
	rejected.State, rejected.Why = run.Rejected, "supply_changed: it was pulled"
	noResult.Results = nil
	interrupted.State = run.Interrupted
	before := at(2, -1)
	foreign := at(0, 4)
	foreign.Workload = "harbour-flight"
	g := p.Progress([]run.Run{before, ok, rejected, noResult, interrupted, foreign}, "", Estimates{}, morning)
	if g.Done != 1 || g.Left != 11 || g.Rejected != 1 || g.Repeat != 1 || g.Next != 2 {
		t.Errorf("%+v", g)
	}
	if len(g.Outside) != 1 || g.Outside[0] != foreign.ID {
		t.Errorf("outside: %v", g.Outside)
	}
	s := g.Slots[1]
	if s.State != Repeat || len(s.Attempts) != 3 || s.Attempts[0].Why != "rejected: supply_changed: it was pulled" ||
		!strings.Contains(s.Attempts[1].Why, "run result") || !strings.Contains(s.Attempts[2].Why, "interrupted") {
		t.Errorf("%+v", s)
	}
	// 11 × (5 min + 90 s), the stated defaults.
	if want := 11 * 390.0; g.LeftS != want || !g.ExpectedEnd.Equal(morning.Add(time.Duration(want)*time.Second)) {
		t.Errorf("%v s left, end %v", g.LeftS, g.ExpectedEnd)
	}
	// Slots that are given up take no time; what is done takes none anyway.
	g.LeaveOut([]int{1, 2, 5}, Estimates{}, morning)
	if want := 9 * 390.0; g.LeftS != want || g.Left != 11 || !g.ExpectedEnd.Equal(morning.Add(time.Duration(want)*time.Second)) {
		t.Errorf("left out: %v s left, end %v", g.LeftS, g.ExpectedEnd)
	}
	// A result given later fills the slot; the interrupted run is then one too many
	// of pass 1 and stands where it would be tried next, in pass 2.
	noResult.Results = ok.Results
	g = p.Progress([]run.Run{ok, rejected, noResult}, "", Estimates{}, morning)
	if g.Done != 2 || g.Slots[1].Run != noResult.ID || g.Repeat != 0 || g.Rejected != 1 || g.Next != 3 {
		t.Errorf("%+v", g)
	}
	recording := at(2, 9)
	recording.State = run.Recording
	g = p.Progress([]run.Run{ok, recording}, "", Estimates{}, morning)
	if g.Slots[2].State != Recording || g.Next != 0 {
		t.Errorf("while a run records: %+v", g)
	}
	// Its slot is taken: a run of the same cell that another machine recorded
	// meanwhile is that of the next pass.
	meanwhile := at(2, 10)
	g = p.Progress([]run.Run{ok, recording, meanwhile}, "", Estimates{}, morning)
	if g.Slots[2].Run != recording.ID || g.Done != 2 || len(g.Outside) != 0 {
		t.Errorf("a run beside the one that records: %+v", g)
	}
	if g := p.Progress(nil, "unit-elm", Estimates{}, morning); len(g.Slots) != 0 || g.Next != 0 {
		t.Errorf("another device: %+v", g)
	}
}

// A slot to be repeated waits until its stretch has nothing new left, and comes
// before the next stretch and the next pass.
func TestRepeatsComeAtTheEndOfTheirStretch(t *testing.T) {
	p := testDay(t)
	bad := runOf(p.Slots[0].Cell, 0)
	bad.State = run.Rejected
	runs := []run.Run{bad}
	if g := p.Progress(runs, "", Estimates{}, morning); g.Next != 2 {
		t.Errorf("next %d, want the other slot of the stretch", g.Next)
	}
	runs = append(runs, runOf(p.Slots[1].Cell, 1))
	if g := p.Progress(runs, "", Estimates{}, morning); g.Next != 1 {
		t.Errorf("next %d, want the repeat", g.Next)
	}
	runs[0].State = run.Finished // the user kept it
	if g := p.Progress(runs, "", Estimates{}, morning); g.Next != 3 {
		t.Errorf("next %d, want the next stretch", g.Next)
	}
	runs[0].State = run.Rejected
	for i := 2; i < 4; i++ { // it was noticed late, in the next stretch
		runs = append(runs, runOf(p.Slots[i].Cell, i))
	}
	if g := p.Progress(runs, "", Estimates{}, morning); g.Next != 1 {
		t.Errorf("next %d, want the repeat before the next pass", g.Next)
	}
}

func TestChanges(t *testing.T) {
	charge := 0.8
	slot := Slot{Cell: run.Cell{Device: "unit-oak", Workload: "tile-sort", Setting: run.Watts(18), Supply: run.Battery, Variant: "cores=6"}}
	now := run.Cell{Device: "unit-oak", Workload: "tile-sort", Setting: run.Watts(8), Supply: run.Mains, Variant: "cores=6"}
	waits := slot
	waits.NeedsCharge, waits.WaitS = &charge, 1800
	charged := slot // enough is in the battery already
	charged.NeedsCharge = &charge
	onBattery := slot.Cell
	other := slot.Cell
	other.Device = "unit-elm"
	fan := slot.Cell
	fan.Variant = "cores=6,fan=quiet"
	for _, c := range []struct {
		now  run.Cell
		slot Slot
		want string
	}{
		{now, slot, "unplug; set 18W"},
		{onBattery, slot, ""},
		{run.Cell{}, slot, "unplug; set cores=6; set 18W; make tile-sort ready"},
		{other, slot, "go to unit-oak; unplug; set cores=6; set 18W; make tile-sort ready"},
		{now, waits, "charge to 80 % (about 30 min); unplug; set 18W"},
		{onBattery, waits, "plug in, charge to 80 % (about 30 min), unplug"},
		{now, charged, "unplug; set 18W"},
		{onBattery, charged, ""},
		{fan, slot, "take back fan=quiet"},
	} {
		if got := strings.Join(ManualSteps(c.now, c.slot), "; "); got != c.want {
			t.Errorf("got %q, want %q", got, c.want)
		}
	}
	if w := waits.Want(); w.Supply != run.Battery || w.MinCharge != 0.8 || w.Setting != slot.Setting {
		t.Errorf("%+v", w)
	}
}

// A comparison that cannot tell at some settings has the cells of both sides
// there repeated, and no others.
func TestMore(t *testing.T) {
	p := mustNew(t, Request{Devices: []string{"unit-oak"}, Workloads: []string{"tile-sort"}, Settings: []string{"8-24/4"}, Seed: 3}, Estimates{})
	random := rand.New(rand.NewPCG(1, 2))
	var runs []run.Run
	for i, s := range p.Slots {
		v := 100.0
		if s.Supply == run.Battery {
			v = 80 // clear
			if w, _ := s.Setting.Watts(); w >= 20 {
				v = 97.2 // not clear with this noise
			}
		}
		v *= 1 + 0.015*random.NormFloat64()
		runs = append(runs, run.Run{ID: fmt.Sprint(s.Cell, s.Pass), Labels: labelsOf(s.Cell),
			StartedAt: run.Timestamp{Time: morning.Add(time.Duration(i) * time.Hour)}, Results: map[string]run.Result{"score": {Value: v}}})
	}
	x, err := analysis.Compare(runs, analysis.CompareRequest{By: "supply"})
	if err != nil {
		t.Fatal(err)
	}
	want := map[string]int{}
	for _, s := range x.Comparisons[0].Settings {
		if *s.MoreRuns > 0 {
			want[run.Watts(float64(s.SettingW)).String()] = min(*s.MoreRuns, 4)
		}
	}
	if len(want) == 0 || len(want) == 5 {
		t.Fatalf("the example is no test: %v", want)
	}
	suggested := p.Suggest(x.Comparisons, 4)
	cells, repeats := suggested.Cells, suggested.Repeats
	if len(cells) != 2*len(want) {
		t.Errorf("%d cells, want both sides of %v", len(cells), want)
	}
	total := 0
	for i, c := range cells {
		if repeats[i] != want[c.Setting.String()] {
			t.Errorf("%s: %d more, want %v", c, repeats[i], want)
		}
		total += repeats[i]
	}
	if added := p.Extend(cells, repeats, Estimates{}); added != total || len(p.Slots) != 30+total {
		t.Errorf("%d added, want %d", added, total)
	}
}

// A named setting is asked for by its name, and by that alone, in the workload that
// is unclear there and in no other. Nothing is asked for where nothing was compared.
func TestMoreOfNamedSettings(t *testing.T) {
	p := mustNew(t, Request{Devices: []string{"unit-oak"}, Workloads: []string{"harbour-flight", "tile-sort"}, Settings: []string{"quiet", "loud", "15W"}, Seed: 3}, Estimates{})
	var runs []run.Run
	for i, s := range p.Slots {
		if s.Setting == run.Named("quiet") && s.Supply == run.Battery {
			continue // not done yet
		}
		v := 100 + 0.1*float64(s.Pass)
		if s.Supply == run.Battery {
			v *= 0.8 // clear
			if s.Setting == run.Named("loud") && s.Workload == "tile-sort" {
				v *= 1.22 + 0.03*float64(s.Pass) // -2, 0 and 3 %: not clear
			}
		}
		runs = append(runs, run.Run{ID: fmt.Sprint(s.Cell, s.Pass), Labels: labelsOf(s.Cell),
			StartedAt: run.Timestamp{Time: morning.Add(time.Duration(i) * time.Hour)}, Results: map[string]run.Result{"score": {Value: v}}})
	}
	x, err := analysis.Compare(runs, analysis.CompareRequest{By: "supply"})
	if err != nil {
		t.Fatal(err)
	}
	suggested := p.Suggest(x.Comparisons, 7)
	cells, repeats := suggested.Cells, suggested.Repeats
	for i, c := range cells {
		if c.Setting != run.Named("loud") || c.Workload != "tile-sort" || repeats[i] < 1 || repeats[i] > 7 {
			t.Errorf("%d more of %s", repeats[i], c)
		}
	}
	if len(cells) != 2 {
		t.Errorf("%v, want the two cells of loud", cells)
	}
}

// resultsOf are runs of a plan's cells, one after the other, and what compare says of
// mains and battery.
type resultsOf struct{ runs []run.Run }

func (r *resultsOf) add(c run.Cell, v float64) {
	i := len(r.runs)
	r.runs = append(r.runs, run.Run{ID: fmt.Sprint(i), Labels: labelsOf(c), StartedAt: run.Timestamp{Time: morning.Add(time.Duration(i) * time.Hour)},
		Results: map[string]run.Result{"score": {Value: v}}})
}

func (r *resultsOf) compare(t *testing.T) []analysis.Comparison {
	t.Helper()
	x, err := analysis.Compare(r.runs, analysis.CompareRequest{By: "supply"})
	if err != nil {
		t.Fatal(err)
	}
	return x.Comparisons
}

// Where nothing was repeated the comparison cannot say how many runs it takes: one more
// each tells the noise. Settings that the plan does not have are counted.
func TestSuggestWhereNothingWasRepeated(t *testing.T) {
	p := mustNew(t, Request{Devices: []string{"unit-oak"}, Workloads: []string{"tile-sort"}, Settings: []string{"8-16/4"}, Repeats: 1, Seed: 3}, Estimates{})
	var r resultsOf
	for i, s := range p.Slots {
		r.add(s.Cell, 100+float64(i%3))
	}
	outside := p.Slots[0].Cell
	outside.Setting = run.Watts(35)
	for i, supply := range []run.Supply{run.Mains, run.Battery} {
		outside.Supply = supply
		r.add(outside, 100+float64(i))
	}
	s := p.Suggest(r.compare(t), 4)
	if len(s.Cells) != 6 || !slices.Equal(s.Repeats, []int{1, 1, 1, 1, 1, 1}) || s.Outside != 1 || len(s.Flagged) != 0 {
		t.Errorf("%+v", s)
	}
}

// Where a run unlike its repeats stands in the way, more runs are not the remedy:
// compare and plan extend say the same.
func TestSuggestNothingBesideAnOddRun(t *testing.T) {
	p := mustNew(t, Request{Devices: []string{"unit-oak"}, Workloads: []string{"tile-sort"}, Settings: []string{"8-28/4"}, Repeats: 4, Seed: 3}, Estimates{})
	var r resultsOf
	odd := p.Slots[0].Cell
	for i, s := range p.Slots {
		w, _ := s.Setting.Watts()
		v := 20 + 4*w + 0.05*float64(i%3)
		if i == 0 {
			v *= 0.8
		}
		r.add(s.Cell, v)
	}
	x := r.compare(t)
	if len(x[0].Flagged) != 1 {
		t.Fatalf("the example is no test: flagged are %v", x[0].Flagged)
	}
	s := p.Suggest(x, 4)
	if len(s.Flagged) != 2 || s.Flagged[0].Setting != odd.Setting || s.Flagged[1].Setting != odd.Setting ||
		slices.ContainsFunc(s.Cells, func(c run.Cell) bool { return c.Setting == odd.Setting }) {
		t.Errorf("with an odd run at %s: %+v", odd, s)
	}
}

func TestLearn(t *testing.T) {
	p := testDay(t)
	var runs []run.Record
	for i, s := range p.Slots {
		r := runOf(s.Cell, i) // 60 s every 120 s
		if s.Supply == run.Battery {
			w, _ := s.Setting.Watts()
			r.SystemW = new(7 + w)
		}
		r.Facts = map[string]string{"battery_full_wh": "48.6"}
		runs = append(runs, run.Record{Run: r})
	}
	e := Estimates{}.Learn(runs)
	if e.runDuration("tile-sort") != time.Minute || e.pauseDuration() != time.Minute || e.runDuration("harbour-flight") != DefaultRun {
		t.Errorf("run %v, pause %v", e.runDuration("tile-sort"), e.pauseDuration())
	}
	if b, ok := e.battery("unit-oak"); !ok || b.FullWh != 48.6 || b.Reserve != run.LowCharge || b.ChargeW != 24.3 {
		t.Errorf("%+v", b)
	}
	for w, want := range map[float64]float64{8: 15, 10: 17, 12: 19, 20: 27, 5: 12} {
		c := run.Cell{Device: "unit-oak", Setting: run.Watts(w)}
		if got := e.DrawW(c); got != want {
			t.Errorf("at %v W: %v W, want %v", w, got, want)
		}
		c.Device = "unit-elm"
		if got := e.DrawW(c); got != w+8 {
			t.Errorf("unknown device at %v W: %v W", w, got)
		}
	}
	// A device that draws little is not taken to draw nothing below what was seen.
	low := []run.Record{runs[0]}
	w30, w14 := 30.0, 14.0
	low[0].Supply, low[0].Setting, low[0].SystemW = run.Battery, run.Watts(w30).From(run.Declared), &w14
	for w, want := range map[float64]float64{30: 14, 20: 4, 8: 1} {
		if got := (Estimates{}).Learn(low).DrawW(run.Cell{Device: "unit-oak", Setting: run.Watts(w)}); got != want {
			t.Errorf("a device that draws 14 W at 30 W, at %v W: %v W, want %v", w, got, want)
		}
	}
	// Of runs and pauses that differ it is the middle one, or the mean of two.
	uneven := slices.Clone(runs[:4])
	for i, d := range []float64{50, 90, 70, 110} {
		uneven[i].DurationS = &d
	}
	// They end after 50, 210, 310 and 470 s, and the next begin at 120, 240 and 360 s.
	if e := (Estimates{}).Learn(uneven); e.runDuration("tile-sort") != 80*time.Second || e.pauseDuration() != 50*time.Second {
		t.Errorf("run %v, pause %v, want 80 s and 50 s", e.runDuration("tile-sort"), e.pauseDuration())
	}
	if e := (Estimates{}).Learn(uneven[:3]); e.runDuration("tile-sort") != 70*time.Second || e.pauseDuration() != 50*time.Second {
		t.Errorf("run %v, pause %v, want 70 s and (70 + 30)/2 s", e.runDuration("tile-sort"), e.pauseDuration())
	}
	// One run has no pause before it.
	if e := (Estimates{}).Learn(runs[:1]); e.pauseDuration() != DefaultPause || e.Pause != 0 {
		t.Errorf("after one run the pause is %v, want %v", e.pauseDuration(), DefaultPause)
	}
	// What the user says goes before what was seen.
	e = Estimates{RunDuration: map[string]time.Duration{"": 10 * time.Minute}, Pause: time.Second, Batteries: map[string]Battery{"": {FullWh: 30, Reserve: 0.2}}}.Learn(runs)
	if b, _ := e.battery("unit-oak"); e.runDuration("tile-sort") != 10*time.Minute || e.pauseDuration() != time.Second || b.FullWh != 30 || b.Reserve != 0.2 {
		t.Errorf("said: %+v", e)
	}
	e = Estimates{Batteries: map[string]Battery{"": {Reserve: 0.2}}}.Learn(runs)
	if b, _ := e.battery("unit-oak"); b.FullWh != 48.6 || b.Reserve != 0.2 {
		t.Errorf("a reserve alone: %+v", b)
	}
}

// A day on which all goes well follows the plan from slot to slot, also where a
// battery that does not last makes a level come back.
func TestAGoodDayFollowsThePlan(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		q := anyRequest(t)
		q.Devices = q.Devices[:1]
		e := Estimates{Batteries: map[string]Battery{"": {FullWh: rapid.Float64Range(6, 80).Draw(t, "Wh"), ChargeW: 30}}}
		p := mustNew(t, q, e)
		var done []run.Run
		for i := range p.Slots {
			if g := p.Progress(done, "", e, morning); g.Next != i+1 {
				t.Fatalf("after %d slots next is %d", i, g.Next)
			}
			done = append(done, runOf(p.Slots[i].Cell, i))
		}
	})
}
