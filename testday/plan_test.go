package testday

import (
	"errors"
	"fmt"
	"os"
	"slices"
	"strings"
	"testing"
	"time"

	"sweepd/analysis"
	"sweepd/run"
	"sweepd/schedule"
	"sweepd/store"
	"sweepd/store/contract"
)

// planFile is a file that says what a plan is.
func planFile(t *testing.T, name string) *PlanFile {
	t.Helper()
	f, err := ReadPlanFile(t.Context(), name)
	if err != nil {
		t.Fatal(err)
	}
	return f
}

func fullEnergy(wh float64) []string { return []string{fmt.Sprint(wh, "Wh")} }

func thisDevice() (string, error) { return "unit-oak", nil }

func cells(settings string) schedule.Request {
	return schedule.Request{Workloads: []string{"tile-sort"}, Settings: []string{settings}, Supplies: []string{"mains"}, Repeats: 1}
}

func settingsOf(p Plan) []float64 {
	return watts(p.Slots, func(s schedule.Slot) float64 { w, _ := s.Setting.Watts(); return w })
}

func TestNewPlan(t *testing.T) {
	s := openStore(t)
	seed := uint64(7)
	p, err := NewPlan(t.Context(), s, PlanRequest{Request: cells("8-16/4"), Seed: &seed}, thisDevice, morning)
	if err != nil || p.ID == 0 || p.Seed != 7 || !slices.Equal(settingsOf(p), []float64{8, 12, 16}) || !slices.Equal(p.Devices(), []string{"unit-oak"}) {
		t.Fatalf("%+v, %v", p, err)
	}
	again, err := ReadPlan(t.Context(), s)
	if err != nil || again.ID != p.ID || !slices.Equal(settingsOf(again), settingsOf(p)) {
		t.Errorf("read back: %+v, %v", again, err)
	}
	var replaces *ReplacesError
	if _, err := NewPlan(t.Context(), s, PlanRequest{Request: cells("8-16/4")}, thisDevice, morning); !errors.As(err, &replaces) || replaces.Plan != p.ID || replaces.Left != 3 {
		t.Errorf("in the place of a plan that is not done: %v", err)
	}
	first, _ := NewPlan(t.Context(), s, PlanRequest{Request: cells("8-16/4"), Replace: true}, thisDevice, morning)
	second, _ := NewPlan(t.Context(), s, PlanRequest{Request: cells("8-16/4"), Replace: true}, thisDevice, morning)
	if first.Seed == second.Seed || first.Seed >= 1<<32 {
		t.Errorf("seeds %d and %d", first.Seed, second.Seed)
	}
	if _, err := NewPlan(t.Context(), s, PlanRequest{Request: cells("8")}, func() (string, error) { return "", errAway }, morning); !errors.Is(err, errAway) {
		t.Errorf("a device without a name: %v", err)
	}
	named := cells("8")
	named.Devices = []string{"unit-elm"}
	if p, err := NewPlan(t.Context(), s, PlanRequest{Request: named}, thisDevice, morning); err != nil || !slices.Equal(p.Devices(), []string{"unit-elm"}) {
		t.Errorf("named: %v, %v", p.Devices(), err)
	}
	if _, err := NewPlan(t.Context(), s, PlanRequest{Request: cells("8-4/0")}, thisDevice, morning); err == nil {
		t.Error("settings that are none")
	}
	if p, err := ReadPlan(t.Context(), s); err != nil || !slices.Equal(p.Devices(), []string{"unit-elm"}) {
		t.Errorf("a plan that failed was kept: %v, %v", p.Devices(), err)
	}
	failsWhereItsStoreDoes(t, s, []string{"Devices"}, func(s store.Store) error {
		_, err := NewPlan(t.Context(), s, PlanRequest{Request: cells("8"), Replace: true}, thisDevice, morning)
		return err
	})
}

// What the request says goes before what the file says.
func TestNewPlanOfFile(t *testing.T) {
	s := openStore(t)
	file := writeFile(t, "day.yaml", "workloads: [harbour-flight]\ndevices: [unit-elm]\nsettings: [8-16/4]\nsupplies: [battery]\nvariants: [cores=6]\nhard: [cores]\nrepeats: 2\nseed: 11\n")
	p, err := NewPlan(t.Context(), s, PlanRequest{File: planFile(t, file)}, thisDevice, morning)
	if err != nil || p.Seed != 11 || len(p.Slots) != 6 || p.Slots[0].Cell.Device != "unit-elm" || p.Slots[0].Variant != "cores=6" || !slices.Equal(p.Hard, []string{"cores"}) || p.Slots[0].Supply != run.Battery {
		t.Errorf("%+v, %v", p, err)
	}
	seed := uint64(3)
	q := schedule.Request{Devices: []string{"unit-oak"}, Workloads: []string{"tile-sort"}, Settings: []string{"20"}, Supplies: []string{"mains"}, Variants: []string{"fan=loud"}, Hard: []string{"fan"}, Repeats: 1}
	p, err = NewPlan(t.Context(), s, PlanRequest{File: planFile(t, file), Request: q, Seed: &seed}, thisDevice, morning)
	if want := (run.Cell{Device: "unit-oak", Workload: "tile-sort", Setting: run.Watts(20), Supply: run.Mains, Variant: "fan=loud"}); err != nil || len(p.Slots) != 1 || p.Slots[0].Cell != want || p.Seed != 3 || !slices.Equal(p.Hard, []string{"fan"}) {
		t.Errorf("%+v, %v", p, err)
	}
	if _, err := ReadPlanFile(t.Context(), "/no/such.yaml"); !errors.Is(err, os.ErrNotExist) {
		t.Errorf("no file: %v", err)
	}
	if _, err := NewPlan(t.Context(), s, PlanRequest{File: planFile(t, writeFile(t, "bad.yaml", "worklods: [a]\n"))}, thisDevice, morning); err == nil || !strings.Contains(err.Error(), "worklods") {
		t.Errorf("a bad file: %v", err)
	}
}

func TestNewPlanOfTable(t *testing.T) {
	s := openStore(t)
	if !IsPlanTable("a/day.CSV") || IsPlanTable("day.yaml") || IsPlanTable("") {
		t.Error("a table ends in .csv")
	}
	file := writeFile(t, "day.csv", "pass,device,workload,supply,setting,hard,seed\n1,unit-oak,tile-sort,mains,12W,,5\n1,unit-oak,tile-sort,battery,8,,5\n")
	p, err := NewPlan(t.Context(), s, PlanRequest{File: planFile(t, file), EstimateRequest: EstimateRequest{FullEnergy: fullEnergy(48.6)}}, thisDevice, morning)
	if err != nil || p.ID == 0 || p.Seed != 5 || len(p.Slots) != 2 || p.Slots[0].Setting != run.Watts(12) || p.Slots[1].NeedsCharge == nil || p.UserEstimates.Batteries[""].FullWh != 48.6 {
		t.Errorf("%+v, %v", p, err)
	}
	again, err := ReadPlan(t.Context(), s)
	if err != nil || again.UserEstimates.Batteries[""].FullWh != 48.6 {
		t.Errorf("what was said of batteries is lost: %+v, %v", again.UserEstimates, err)
	}
	if _, err := ReadPlanFile(t.Context(), "/no/such.csv"); !errors.Is(err, os.ErrNotExist) {
		t.Errorf("no file: %v", err)
	}
	if _, err := NewPlan(t.Context(), s, PlanRequest{File: planFile(t, writeFile(t, "bad.csv", "device\n"))}, thisDevice, morning); err == nil {
		t.Error("a table without workloads")
	}
	reserve := 2.0
	var request *RequestError
	if _, err := NewPlan(t.Context(), s, PlanRequest{File: planFile(t, file), EstimateRequest: EstimateRequest{Reserve: &reserve}}, thisDevice, morning); !errors.As(err, &request) {
		t.Errorf("a reserve of 200 %%: %v", err)
	}
	failsWhereItsStoreDoes(t, s, []string{"Devices"}, func(s store.Store) error {
		_, err := NewPlan(t.Context(), s, PlanRequest{File: planFile(t, file), Replace: true}, thisDevice, morning)
		return err
	})
}

func TestEstimatesSaid(t *testing.T) {
	reserve := 0.2
	inFile := schedule.Estimates{RunDuration: map[string]time.Duration{"": time.Hour, "tile-sort": time.Minute}, Pause: time.Hour,
		Batteries: map[string]schedule.Battery{"": {FullWh: 40, Reserve: 0.3, ChargeW: 10}}}
	e, err := EstimateRequest{RunTime: "5m", Pause: "10s", Reserve: &reserve, ChargeW: 45,
		FullEnergy: []string{"50Wh", "unit-elm=60Wh"}}.override(inFile)
	if err != nil || len(e.RunDuration) != 1 || e.RunDuration[""] != 5*time.Minute || e.Pause != 10*time.Second {
		t.Errorf("%+v, %v", e, err)
	}
	if got := e.Batteries[""]; got != (schedule.Battery{FullWh: 50, Reserve: 0.2, ChargeW: 45}) {
		t.Errorf("all batteries: %+v", got)
	}
	if got := e.Batteries["unit-elm"]; got != (schedule.Battery{FullWh: 60, Reserve: 0.2, ChargeW: 45}) || len(e.Batteries) != 2 {
		t.Errorf("unit-elm's battery: %+v of %d", got, len(e.Batteries))
	}
	if e, err = (EstimateRequest{}).override(inFile); err != nil || e.RunDuration[""] != time.Hour || e.Pause != time.Hour || e.Batteries[""] != inFile.Batteries[""] {
		t.Errorf("nothing said: %+v, %v", e, err)
	}
	if e, err = (EstimateRequest{}).override(schedule.Estimates{}); err != nil || len(e.Batteries) != 0 {
		t.Errorf("nothing at all: %+v, %v", e, err)
	}
	for want, q := range map[string]EstimateRequest{"--run-time ": {RunTime: "long"}, "--pause ": {Pause: "short"}, "charge": {ChargeW: -1}} {
		var request *RequestError
		if _, err := q.override(inFile); !errors.As(err, &request) || !strings.Contains(err.Error(), want) {
			t.Errorf("%+v: %v, want %q", q, err, want)
		}
	}
}

// The plan is followed by the runs since it was made, and what those before have shown
// of durations counts.
func TestReadPlan(t *testing.T) {
	s := openStore(t)
	day(t, s)
	made := morning.Add(time.Hour)
	if _, err := NewPlan(t.Context(), s, PlanRequest{Request: cells("8-16/4")}, thisDevice, made); err != nil {
		t.Fatal(err)
	}
	minute := 60.0
	for i, w := range []float64{8, 12} {
		d := run.Record{Run: run.Run{ID: "019b0000-000" + string(rune('0'+i)), State: run.Finished, StartedAt: run.Stamp(made.Add(time.Duration(1+i) * time.Minute)), DurationS: &minute,
			Labels:  run.Labels{Device: "unit-oak", Workload: "tile-sort", Supply: run.Mains, Setting: run.Watts(w).From(run.Declared)},
			Results: map[string]run.Result{"seconds": {Value: 1, Better: run.Higher}}, Facts: map[string]string{"battery_full_wh": "48.6"}}}
		if _, _, err := s.Import(t.Context(), "", contract.Sequence(d), nil); err != nil {
			t.Fatal(err)
		}
	}
	p, err := ReadPlanOf(t.Context(), s, "unit-oak")
	if err != nil || len(p.Runs) != 2 {
		t.Fatalf("%d runs since, %v", len(p.Runs), err)
	}
	if g := p.Progress("unit-oak", made); g.Done != 2 || g.Left != 1 {
		t.Errorf("%+v", g)
	}
	// Runs of the day last 60 s and begin 180 s apart: a pause of 120 s.
	if g := p.Progress("", made); g.LeftS != 180 {
		t.Errorf("what is left takes %v s", g.LeftS)
	}
	status := p.Status("", made)
	if status.ID != p.ID || status.Hard == nil || status.Seed != p.Seed || status.Done != 2 || status.CreatedAt != p.CreatedAt {
		t.Errorf("%+v", status)
	}
	if p.Estimates.Batteries["unit-oak"].FullWh != 48.6 {
		t.Errorf("the battery's energy is not learnt: %+v", p.Estimates.Batteries)
	}
	if _, err := ReadPlanOf(t.Context(), s, "unit-elm"); err == nil || err.Error() != `the plan has no device "unit-elm": it has unit-oak` {
		t.Errorf("no such device: %v", err)
	}
	failsWhereItsStoreDoes(t, s, []string{"Devices", "Runs", "Records"}, func(s store.Store) error {
		_, err := ReadPlanOf(t.Context(), s, "")
		return err
	})
}

// Pauses are those between runs of one device: where runs of a minute begin two minutes
// apart, here and there in turn, each device pauses for three.
func TestPausesAcrossDevices(t *testing.T) {
	s := openStore(t)
	for i, device := range []string{"unit-oak", "unit-elm", "unit-oak", "unit-elm"} {
		keepRun(t, s, run.Run{ID: "019a0000-000" + string(rune('0'+i)), StartedAt: run.Stamp(morning.Add(time.Duration(2*i) * time.Minute)),
			Labels: run.Labels{Device: device, Workload: "tile-sort", Supply: run.Mains, Setting: run.Watts(8).From(run.Declared)}, Results: map[string]run.Result{"seconds": {Value: 1, Better: run.Lower}}})
	}
	p, err := NewPlan(t.Context(), s, PlanRequest{Request: cells("8")}, thisDevice, morning.Add(time.Hour))
	if err != nil {
		t.Fatal(err)
	}
	if g := p.Progress("", morning.Add(time.Hour)); g.LeftS != 240 {
		t.Errorf("one run is left, of %v s with its pause", g.LeftS)
	}
	if (&Plan{}).Status("", morning).Hard == nil {
		t.Error("a plan without keys that are hard to change lists none")
	}
}

func TestExtendPlan(t *testing.T) {
	s := openStore(t)
	if _, err := ExtendByPasses(t.Context(), s, 1); !errors.Is(err, store.ErrNoPlan) {
		t.Errorf("without a plan: %v", err)
	}
	if _, err := ExtendByComparison(t.Context(), s, store.Filter{}, analysis.CompareRequest{}, nil, 1); !errors.Is(err, store.ErrNoPlan) {
		t.Errorf("without a plan: %v", err)
	}
	day(t, s)
	q := cells("8-16/4")
	q.Supplies = nil // both
	if _, err := NewPlan(t.Context(), s, PlanRequest{Request: q}, thisDevice, morning.Add(time.Hour)); err != nil {
		t.Fatal(err)
	}
	x, err := ExtendByPasses(t.Context(), s, 2)
	if err != nil || x.Added != 12 || x.Cells != 6 || len(x.Plan.Slots) != 18 {
		t.Errorf("%d added of %d cells, %d slots, %v", x.Added, x.Cells, len(x.Plan.Slots), err)
	}
	if p, err := ReadPlan(t.Context(), s); err != nil || len(p.Slots) != 18 {
		t.Errorf("%d slots kept, %v", len(p.Slots), err)
	}
	// Battery and mains give the same results but for noise, which leaves it open.
	compare := analysis.CompareRequest{By: "supply"}
	result, err := analysis.Compare(mustSelect(t, s).Runs, compare)
	if err != nil {
		t.Fatal(err)
	}
	want := 0
	for _, c := range result.Comparisons {
		for _, x := range c.Settings {
			if x.MoreRuns != nil {
				want += 2 * min(*x.MoreRuns, 1)
			}
		}
	}
	if x, err = ExtendByComparison(t.Context(), s, store.Filter{}, compare, nil, 1); err != nil || want == 0 || x.Added != want {
		t.Errorf("%d added, want %d, %v", x.Added, want, err)
	}
	if x, err = ExtendByComparison(t.Context(), s, store.Filter{}, compare, nil, 0); err != nil || x.Added != 0 {
		t.Errorf("%d added of at most none, %v", x.Added, err)
	}
	if _, err := ExtendByComparison(t.Context(), s, store.Filter{}, analysis.CompareRequest{By: "supply", Metric: "none"}, nil, 1); err == nil {
		t.Error("a result that no run has")
	}
	failsWhereItsStoreDoes(t, s, []string{"AnalysisRuns", "Devices"}, func(s store.Store) error {
		_, err := ExtendByComparison(t.Context(), s, store.Filter{}, compare, nil, 1)
		return err
	})
}

func TestWhatIsNext(t *testing.T) {
	s := openStore(t)
	away := func() (Status, error) { return Status{}, errAway }
	if _, err := WhatIsNext(t.Context(), s, "", away, morning); !errors.Is(err, store.ErrNoPlan) {
		t.Errorf("without a plan: %v", err)
	}
	q := cells("12")
	q.Devices = []string{"unit-elm", "unit-oak"}
	if _, err := NewPlan(t.Context(), s, PlanRequest{Request: q}, thisDevice, morning); err != nil {
		t.Fatal(err)
	}
	oak := func() (Status, error) {
		return Status{Device: "unit-oak", Sweeps: 1, Supply: run.Battery, Setting: run.Watts(8).From(run.Declared)}, nil
	}
	n, err := WhatIsNext(t.Context(), s, "", oak, morning)
	if err != nil || n.Next == nil || n.Next.Device != "unit-oak" || n.Left != 1 || !slices.Equal(n.Changes, schedule.ManualSteps(run.Cell{Device: "unit-oak", Supply: run.Battery, Setting: run.Watts(8)}, n.Next.Slot)) {
		t.Errorf("%+v, %v", n, err)
	}
	if len(n.Changes) < 2 || n.Recording != nil {
		t.Errorf("changes %q: want the supply and the setting at least", n.Changes)
	}
	if n, err := WhatIsNext(t.Context(), s, "unit-elm", oak, morning); err != nil || n.Next == nil || n.Next.Device != "unit-elm" {
		t.Errorf("the other device: %+v, %v", n, err)
	}
	if n, err := WhatIsNext(t.Context(), s, "", away, morning); err != nil || n.Next == nil || n.Left != 2 {
		t.Errorf("no agent: %+v, %v", n, err)
	}
	// An agent that has not swept yet says nothing; a device that the plan lacks either.
	for _, status := range []Status{{Device: "unit-oak"}, {Device: "unit-ash", Sweeps: 1}} {
		if n, err := WhatIsNext(t.Context(), s, "", func() (Status, error) { return status, nil }, morning); err != nil || n.Left != 2 {
			t.Errorf("%+v: %+v, %v", status, n, err)
		}
	}
	if _, err := WhatIsNext(t.Context(), s, "unit-ash", oak, morning); err == nil {
		t.Error("a device that the plan lacks")
	}
	// The run before counts where no agent says otherwise.
	r := run.Run{ID: "019b0000-0001", Labels: run.Labels{Device: "unit-oak", Workload: "tile-sort", Supply: run.Mains, Setting: run.Watts(12).From(run.Declared)}, StartedAt: run.Stamp(morning)}
	keepRun(t, s, r)
	n, err = WhatIsNext(t.Context(), s, "unit-oak", away, morning)
	if err != nil || n.Next == nil || len(n.Changes) != 0 || len(n.Next.Attempts) != 1 {
		t.Errorf("after a run of the cell without a result: %+v, %v", n, err)
	}
	unset := func() (Status, error) { return Status{Device: "unit-oak", Sweeps: 1, Supply: run.Mains}, nil }
	if n, err = WhatIsNext(t.Context(), s, "unit-oak", unset, morning); err != nil || len(n.Changes) != 0 {
		t.Errorf("an agent without a setting: %+v, %v", n.Changes, err)
	}
	r.ID, r.State, r.StartedAt = "019b0000-0002", run.Recording, run.Stamp(morning.Add(time.Minute))
	if err := s.BeginRun(t.Context(), run.Record{Run: r}); err != nil {
		t.Fatal(err)
	}
	if n, err = WhatIsNext(t.Context(), s, "unit-oak", unset, morning); err != nil || n.Next != nil || n.Changes == nil || n.Recording == nil || n.Recording.Run != r.ID {
		t.Errorf("while it is recorded: %+v, %v", n, err)
	}
}

func mustSelect(t *testing.T, s store.AnalysisRuns) Selection {
	t.Helper()
	x, err := Select(t.Context(), s, store.Filter{}, nil)
	if err != nil {
		t.Fatal(err)
	}
	return x
}

// An earlier plan is taken up again with what was done for it, and listed once.
func TestEarlierPlans(t *testing.T) {
	s := openStore(t)
	if list, err := ListPlans(t.Context(), s, morning); err != nil || list == nil || len(list) != 0 {
		t.Errorf("of nothing: %v, %v", list, err)
	}
	first, err := NewPlan(t.Context(), s, PlanRequest{Request: cells("8-16/4")}, thisDevice, morning)
	if err != nil {
		t.Fatal(err)
	}
	done := run.Record{Run: run.Run{ID: "01f0e0a2-0000-7000-8000-00000000abcd", Labels: run.Labels{Device: "unit-oak", Workload: "tile-sort", Setting: run.Watts(12).From(run.Declared), Supply: run.Mains},
		State: run.Finished, StartedAt: run.Stamp(morning.Add(time.Minute)), DurationS: new(60.0), Results: map[string]run.Result{"score": {Value: 5, Better: run.Higher}}, Findings: []run.Finding{}}}
	if _, _, err := s.Import(t.Context(), "", func(yield func(*run.Record, error) bool) { yield(&done, nil) }, nil); err != nil {
		t.Fatal(err)
	}
	second, err := NewPlan(t.Context(), s, PlanRequest{Request: cells("20"), Replace: true}, thisDevice, morning.Add(time.Hour))
	if err != nil {
		t.Fatal(err)
	}
	of := func() string {
		t.Helper()
		list, err := ListPlans(t.Context(), s, morning.Add(2*time.Hour))
		if err != nil {
			t.Fatal(err)
		}
		text := ""
		for _, p := range list {
			text += fmt.Sprintf("%d: %d of %d left, %v %v in force %v\n", p.ID, p.Left, p.Runs, p.Devices, p.Workloads, p.InForce)
		}
		return text
	}
	if got, want := of(), "1: 2 of 3 left, [unit-oak] [tile-sort] in force false\n2: 1 of 1 left, [unit-oak] [tile-sort] in force true\n"; got != want {
		t.Errorf("%s, want %s", got, want)
	}
	again, err := FollowPlan(t.Context(), s, first.ID)
	if err != nil || again.ID != first.ID || again.Progress("", morning.Add(2*time.Hour)).Done != 1 {
		t.Fatalf("%+v, %v", again, err)
	}
	if got, want := of(), "1: 2 of 3 left, [unit-oak] [tile-sort] in force true\n2: 1 of 1 left, [unit-oak] [tile-sort] in force false\n"; got != want {
		t.Errorf("%s, want %s", got, want)
	}
	for id, want := range map[int64]string{again.ID: "in force already", 99: "there is no plan 99"} {
		if _, err := FollowPlan(t.Context(), s, id); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%d: %v", id, err)
		}
	}
	if p, err := FollowPlan(t.Context(), s, second.ID); err != nil || p.ID != second.ID || len(p.Slots) != 1 {
		t.Errorf("the other way: %+v, %v", p, err)
	}
	if got, want := of(), "1: 2 of 3 left, [unit-oak] [tile-sort] in force false\n2: 1 of 1 left, [unit-oak] [tile-sort] in force true\n"; got != want {
		t.Errorf("%s, want %s", got, want)
	}
}
