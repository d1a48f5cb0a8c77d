package contract

import (
	"errors"
	"math"
	"slices"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"

	"sweepd/run"
	"sweepd/schedule"
	"sweepd/store"
)

func testPlan(t *testing.T) schedule.Plan {
	p, err := schedule.NewPlan(schedule.Request{Devices: []string{"unit-oak"}, Workloads: []string{"tile-sort"}, Settings: []string{"8-20/4", "quiet"},
		Variants: []string{"cores=6", "cores=12,fan=quiet"}, Hard: []string{"cores"}, Seed: 1<<64 - 1},
		schedule.Estimates{Batteries: map[string]schedule.Battery{"": {FullWh: 20}}}, noon)
	must(t, err)
	p.UserEstimates = schedule.Estimates{RunDuration: map[string]time.Duration{"": 4 * time.Minute}, Pause: time.Minute, Batteries: map[string]schedule.Battery{"unit-oak": {FullWh: 20, Reserve: 0.2}}}
	return p
}

func keepsPlans(t *testing.T, s store.Store) {
	if _, err := s.Plan(t.Context()); !errors.Is(err, store.ErrNoPlan) {
		t.Errorf("no plan: %v", err)
	}
	endless := testPlan(t)
	endless.UserEstimates = schedule.Estimates{Batteries: map[string]schedule.Battery{"unit-oak": {FullWh: math.Inf(1)}}}
	if _, err := s.NewPlan(t.Context(), endless); err == nil {
		t.Error("a battery without end was kept")
	}
	if _, err := s.Plan(t.Context()); !errors.Is(err, store.ErrNoPlan) {
		t.Errorf("after a plan that was refused: %v", err)
	}
	p := testPlan(t)
	var err error
	p.ID, err = s.NewPlan(t.Context(), p)
	must(t, err)
	got, err := s.Plan(t.Context())
	must(t, err)
	if diff := cmp.Diff(p, got, cmpopts.IgnoreUnexported(schedule.Estimates{})); diff != "" {
		t.Errorf("came back changed: %s", diff)
	}

	before := len(p.Slots)
	if added := p.Extend(p.Cells()[:3], []int{1, 2, 1}, schedule.Estimates{}); added != 4 {
		t.Fatalf("%d added", added)
	}
	must(t, s.ExtendPlan(t.Context(), p, before))
	got, err = s.Plan(t.Context())
	must(t, err)
	if diff := cmp.Diff(p, got, cmpopts.IgnoreUnexported(schedule.Estimates{})); diff != "" {
		t.Errorf("extended, it came back changed: %s", diff)
	}
	if err := s.ExtendPlan(t.Context(), p, before); err == nil {
		t.Error("a plan that changed meanwhile was overwritten")
	}
	second := testPlan(t)
	second.ID, err = s.NewPlan(t.Context(), second)
	must(t, err)
	if got, err := s.Plan(t.Context()); err != nil || got.ID != second.ID {
		t.Errorf("in force: %d, %v", got.ID, err)
	}
	if err := s.ExtendPlan(t.Context(), p, len(p.Slots)); err == nil {
		t.Error("a plan that is no longer in force was extended")
	}
	all, err := s.AllPlans(t.Context())
	must(t, err)
	if diff := cmp.Diff([]schedule.Plan{p, second}, all, cmpopts.IgnoreUnexported(schedule.Estimates{})); diff != "" {
		t.Errorf("all plans: %s", diff)
	}

	// The first one is taken up again, and stays what it is.
	id, err := s.NewPlan(t.Context(), p)
	must(t, err)
	got, err = s.Plan(t.Context())
	must(t, err)
	if id != p.ID || got.ID != p.ID {
		t.Errorf("plan %d is called %d, and %d is in force", p.ID, id, got.ID)
	}
	before = len(p.Slots)
	p.Extend(p.Cells()[:1], []int{1}, schedule.Estimates{})
	if err := s.ExtendPlan(t.Context(), second, len(second.Slots)); err == nil {
		t.Error("the one that gave way was extended")
	}
	must(t, s.ExtendPlan(t.Context(), p, before))
	all, err = s.AllPlans(t.Context())
	must(t, err)
	if diff := cmp.Diff([]schedule.Plan{p, second}, all, cmpopts.IgnoreUnexported(schedule.Estimates{})); diff != "" {
		t.Errorf("all plans: %s", diff)
	}
	if n, err := s.RenameInPlans(t.Context(), "unit-oak", "unit-ash", false); err != nil || n != 2 {
		t.Errorf("renamed in %d plans, %v, want 2", n, err)
	}
	if got, err := s.Plan(t.Context(), "unit-ash"); err != nil || got.ID != p.ID {
		t.Errorf("renamed, plan %d is in force, %v", got.ID, err)
	}
}

func keepsOutcomes(t *testing.T, s store.Store) {
	o := schedule.Outcome{Entry: "upkeep", DueAt: run.Stamp(noon), EndedAt: run.Stamp(noon.Add(time.Second)), Status: schedule.StatusFailed, Text: "no room"}
	must(t, s.KeepOutcome(t.Context(), o))
	o.Status, o.Text = schedule.StatusDone, ""
	must(t, s.KeepOutcome(t.Context(), o))
	all, err := s.Outcomes(t.Context())
	must(t, err)
	if diff := cmp.Diff(map[string]schedule.Outcome{"upkeep": o}, all); diff != "" {
		t.Error(diff)
	}
}

// Each device has one declared setting, or none.
func keepsDeclarations(t *testing.T, s store.Store) {
	ctx := t.Context()
	keep := func(device string, d run.Declaration) { t.Helper(); must(t, s.KeepDeclaration(ctx, device, d)) }
	wants := func(device string, want run.Declaration) {
		t.Helper()
		got, err := s.Declaration(ctx, device)
		must(t, err)
		same(t, want, got)
	}
	wants("unit-oak", run.Declaration{})
	watts := run.Declaration{Setting: run.Watts(12.5), At: run.Stamp(noon), By: "sweepd setting"}
	name := run.Declaration{Setting: run.Named("quiet"), At: run.Stamp(noon.Add(time.Hour)), By: "the plan"}
	keep("unit-oak", name)
	keep("unit-elm", name)
	keep("unit-oak", watts)
	wants("unit-oak", watts)
	wants("unit-elm", name)
	keep("unit-elm", run.Declaration{})
	keep("unit-elm", run.Declaration{})
	wants("unit-elm", run.Declaration{})
	wants("unit-oak", watts)
}

// A plan is in force for the devices that it has; without a device the newest of all
// is meant.
func plansOfDevices(t *testing.T, s store.Store) {
	ctx := t.Context()
	plan := func(devices ...string) schedule.Plan {
		p, err := schedule.NewPlan(schedule.Request{Devices: devices, Workloads: []string{"tile-sort"}, Settings: []string{"8-20/4"}, Seed: 1}, schedule.Estimates{}, noon)
		must(t, err)
		p.ID, err = s.NewPlan(ctx, p)
		must(t, err)
		return p
	}
	both, elm := plan("unit-oak", "unit-elm"), plan("unit-elm")
	inForce := func(want int64, devices ...string) {
		t.Helper()
		if p, err := s.Plan(ctx, devices...); err != nil || p.ID != want {
			t.Errorf("for %v plan %d is in force, %v, want %d", devices, p.ID, err, want)
		}
	}
	inForce(elm.ID)
	inForce(both.ID, "unit-oak")
	inForce(elm.ID, "unit-elm")
	inForce(elm.ID, "unit-oak", "unit-elm")
	if p, err := s.Plan(ctx, "unit-ash"); !errors.Is(err, store.ErrNoPlan) {
		t.Errorf("for a device without one: plan %d, %v", p.ID, err)
	}
	before := len(both.Slots)
	both.Extend(both.Cells()[:1], []int{1}, schedule.Estimates{})
	if err := s.ExtendPlan(ctx, both, before); err == nil {
		t.Error("a plan that is not the newest of all was extended for all")
	}
	must(t, s.ExtendPlan(ctx, both, before, "unit-oak"))
	p, err := s.Plan(ctx, "unit-oak")
	must(t, err)
	same(t, both.Slots, p.Slots)
}

// A device that is renamed keeps its plans, and what was said of its battery.
func renamesInPlans(t *testing.T, s store.Store) {
	p := testPlan(t)
	p.UserEstimates = schedule.Estimates{Batteries: map[string]schedule.Battery{"unit-oak": {FullWh: 48}}}
	var err error
	p.ID, err = s.NewPlan(t.Context(), p)
	must(t, err)
	for _, dryRun := range []bool{true, false} {
		if n, err := s.RenameInPlans(t.Context(), "unit-oak", "unit-ash", dryRun); err != nil || n != 1 {
			t.Fatalf("%d plans, %v", n, err)
		}
		if _, err := s.Plan(t.Context(), "unit-oak"); errors.Is(err, store.ErrNoPlan) == dryRun {
			t.Errorf("dry run %v: by the former name: %v", dryRun, err)
		}
	}
	want := p
	want.Slots = slices.Clone(p.Slots)
	for i := range want.Slots {
		if want.Slots[i].Device == "unit-oak" {
			want.Slots[i].Device = "unit-ash"
		}
	}
	want.UserEstimates = schedule.Estimates{Batteries: map[string]schedule.Battery{"unit-ash": {FullWh: 48}}}
	got, err := s.Plan(t.Context(), "unit-ash")
	must(t, err)
	if diff := cmp.Diff(want, got, cmpopts.IgnoreUnexported(schedule.Estimates{})); diff != "" {
		t.Errorf("-want +got:\n%s", diff)
	}
	if n, err := s.RenameInPlans(t.Context(), "nobody", "unit-ash", false); err != nil || n != 0 {
		t.Errorf("of nobody: %d plans, %v", n, err)
	}
}
