package schedule

import (
	"fmt"
	"maps"
	"math"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"
	"pgregory.net/rapid"

	"sweepd/analysis"
	"sweepd/run"
)

// ignoreLearnt leaves out what an Estimates has learnt.
var ignoreLearnt = cmpopts.IgnoreUnexported(Estimates{})

var morning = time.Date(2026, 5, 4, 8, 0, 0, 0, time.UTC)

// anyRequest draws test days of up to 2 devices, 2 workloads, 6 settings and 3
// variants.
func anyRequest(t *rapid.T) Request {
	q := Request{
		Devices:   []string{"unit-oak", "unit-elm"}[:rapid.IntRange(1, 2).Draw(t, "devices")],
		Workloads: []string{"harbour-flight", "tile-sort"}[:rapid.IntRange(1, 2).Draw(t, "workloads")],
		Settings:  []string{"8-28/4", "quiet", "35W"}[rapid.IntRange(0, 2).Draw(t, "from"):],
		Supplies:  [][]string{nil, {"mains"}, {"battery"}, {"battery", "mains"}}[rapid.IntRange(0, 3).Draw(t, "supplies")],
		Repeats:   rapid.IntRange(1, 5).Draw(t, "repeats"),
		Seed:      rapid.Uint64().Draw(t, "seed"),
	}
	if n := rapid.IntRange(0, 3).Draw(t, "variants"); n > 0 {
		q.Variants = []string{"cores=6,fan=quiet", "cores=12,fan=quiet", "cores=6,fan=loud"}[:n]
		q.Hard = [][]string{nil, {"cores"}, {"cores", "fan"}}[rapid.IntRange(0, 2).Draw(t, "hard")]
	}
	return q
}

func mustNew(t interface{ Fatal(...any) }, q Request, e Estimates) Plan {
	p, err := NewPlan(q, e, morning)
	if err != nil {
		t.Fatal(err)
	}
	return p
}

// byPass are the slots of each pass.
func byPass(p Plan) [][]Slot {
	out := make([][]Slot, p.passes())
	for _, s := range p.Slots {
		out[s.Pass-1] = append(out[s.Pass-1], s)
	}
	return out
}

func TestEveryPassHoldsEveryCellOnce(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		q := anyRequest(t)
		e := Estimates{}
		if rapid.Bool().Draw(t, "small battery") {
			e.Batteries = map[string]Battery{"": {FullWh: rapid.Float64Range(2, 60).Draw(t, "Wh")}}
		}
		p := mustNew(t, q, e)
		cells, _ := q.cells()
		want := map[run.Cell]int{}
		for _, c := range cells {
			want[c] = 1
		}
		passes := byPass(p)
		if len(passes) != q.Repeats {
			t.Fatalf("%d passes, want %d", len(passes), q.Repeats)
		}
		for i, pass := range passes {
			got := map[run.Cell]int{}
			for _, s := range pass {
				got[s.Cell]++
			}
			if !maps.Equal(got, want) {
				t.Fatalf("pass %d: %v", i+1, got)
			}
		}
		if !slices.IsSortedFunc(p.Slots, func(a, b Slot) int { return a.Pass - b.Pass }) {
			t.Fatal("passes overlap")
		}
	})
}

// levelsOf is the row of levels in a pass, each named once for every stretch.
func levelsOf(pass []Slot, of func(run.Cell) string) []string {
	var out []string
	for _, s := range pass {
		if v := of(s.Cell); len(out) == 0 || out[len(out)-1] != v {
			out = append(out, v)
		}
	}
	return out
}

func TestLevelsAreContiguousAndAlternate(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		q := anyRequest(t)
		p := mustNew(t, q, Estimates{}) // no battery known: one charge is taken to last
		var before []string
		for i, pass := range byPass(p) {
			levels := levelsOf(pass, func(c run.Cell) string { return levelKey(c, q.Hard) })
			if n := len(slices.Compact(slices.Sorted(slices.Values(levels)))); n != len(levels) {
				t.Fatalf("pass %d comes back to a level: %q", i+1, levels)
			}
			// The harder to change, the fewer the changes: never more than there
			// are combinations of what is harder still.
			devices := levelsOf(pass, func(c run.Cell) string { return c.Device })
			benches := levelsOf(pass, func(c run.Cell) string { return setupKey(c, q.Hard) })
			if len(devices) != len(q.Devices) || len(slices.Compact(slices.Sorted(slices.Values(benches)))) != len(benches) {
				t.Fatalf("pass %d changes devices or firmware to and fro: %q", i+1, levels)
			}
			// One change of supply for each bench, and none between two.
			supplies := levelsOf(pass, func(c run.Cell) string { return string(c.Supply) })
			if len(supplies) > 1 && len(supplies) != len(benches)+1 {
				t.Fatalf("pass %d of %d benches changes the supply %d times", i+1, len(benches), len(supplies)-1)
			}
			slices.Reverse(before)
			if i > 0 && !slices.Equal(levels, before) {
				t.Fatalf("pass %d has levels %q, want those of the pass before in the opposite order %q", i+1, levels, before)
			}
			before = levels
		}
	})
}

func TestSameSeedSamePlan(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		q := anyRequest(t)
		e := Estimates{Batteries: map[string]Battery{"": {FullWh: 20}}}
		p := mustNew(t, q, e)
		if diff := cmp.Diff(p, mustNew(t, q, e), ignoreLearnt); diff != "" {
			t.Fatal(diff)
		}
		// The order in which the request names things means nothing to the levels,
		// and passes appended later are those that a longer request has.
		cells, _ := q.cells()
		more := slices.Repeat([]int{2}, len(cells))
		p.Extend(cells, more, e)
		q.Repeats += 2
		if diff := cmp.Diff(p, mustNew(t, q, e), ignoreLearnt); diff != "" {
			t.Fatalf("extended: %s", diff)
		}
	})
}

func TestSeedsDiffer(t *testing.T) {
	q := Request{Devices: []string{"unit-oak"}, Workloads: []string{"harbour-flight"}, Settings: []string{"8-28/4"}}
	seen := map[string]bool{}
	first := map[run.Cell]int{}
	const n = 600
	for seed := range uint64(n) {
		q.Seed = seed
		p := mustNew(t, q, Estimates{})
		order := ""
		for _, s := range p.Slots {
			order += fmt.Sprintln(s.Cell)
		}
		seen[order] = true
		first[p.Slots[0].Cell]++
	}
	if len(seen) != n {
		t.Errorf("%d different plans of %d seeds", len(seen), n)
	}
	// Each of the 12 cells is first in 1/12 of the plans: 50 of 600, standard
	// deviation 6.8.
	for key, k := range first {
		if k < 50-5*7 || k > 50+5*7 {
			t.Errorf("%q is first in %d of %d plans, want about 50", key, k, n)
		}
	}
}

// Followed from full, no stretch on battery is planned to go below the reserve,
// unless a single run needs more than the battery holds; and the supplies take
// turns no more often than that demands.
func TestBatteryStretchesFitTheCharge(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		q := anyRequest(t)
		b := Battery{FullWh: rapid.Float64Range(6, 80).Draw(t, "Wh"), Reserve: 0.1, ChargeW: 30}
		e := Estimates{Batteries: map[string]Battery{"": b}}
		p := mustNew(t, q, e)
		content := map[string]float64{}
		for _, d := range q.Devices {
			content[d] = b.FullWh
		}
		for i, s := range p.Slots {
			if s.Supply == run.Mains {
				if s.NeedsCharge != nil || s.WaitS != 0 {
					t.Fatalf("slot %d on mains waits for charge", i)
				}
				content[s.Device] = min(content[s.Device]+b.ChargeW*e.slotS(s.Cell)/3600, b.FullWh)
				continue
			}
			have := min(content[s.Device]+b.ChargeW*s.WaitS/3600, b.FullWh)
			if need := *s.NeedsCharge * b.FullWh; have < need-1e-9 {
				t.Fatalf("slot %d starts with %.2f Wh, needs %.2f", i, have, need)
			}
			left := have - e.energyWh(s.Cell)
			if single := e.energyWh(s.Cell) <= b.FullWh*(1-b.Reserve); single && left < b.Reserve*b.FullWh-1e-9 {
				t.Fatalf("slot %d leaves %.2f Wh, below the reserve of %.2f", i, left, b.Reserve*b.FullWh)
			}
			content[s.Device] = max(left, 0)
		}
		for i, pass := range byPass(p) {
			stretches := levelsOf(pass, func(c run.Cell) string { return levelKey(c, q.Hard) })
			charges, devices := map[string]float64{}, map[string]string{}
			for _, s := range pass {
				if s.Supply == run.Battery {
					charges[setupKey(s.Cell, q.Hard)] += e.energyWh(s.Cell)
					devices[setupKey(s.Cell, q.Hard)] = s.Device
				}
			}
			usable, most := b.FullWh*0.9, 0.0
			for _, s := range pass {
				if s.Supply == run.Battery {
					most = max(most, e.energyWh(s.Cell))
				}
			}
			longest := map[string]float64{} // of any setup of a device: it may lie beside any other
			for bench, wh := range charges {
				longest[devices[bench]] = max(longest[devices[bench]], wh)
			}
			allowed := 0
			for _, bench := range slices.Compact(levelsOf(pass, func(c run.Cell) string { return setupKey(c, q.Hard) })) {
				wh := charges[bench]
				if wh+longest[devices[bench]] <= usable || len(q.Supplies) == 1 {
					allowed += 2
					continue
				}
				// A part of n has an n-th of the energy and less than a run's more, so
				// that it fits a charge for the n that leaves room for a run.
				turns := len(pass)
				if usable > most {
					turns = max(1, int(math.Ceil(wh/(usable-most))))
				}
				allowed += 2*turns + 1
			}
			if len(stretches) > allowed {
				t.Fatalf("pass %d has %d stretches, more than the charge demands (%d)", i+1, len(stretches), allowed)
			}
		}
	})
}

// row is the first letters of the supplies of a plan, with a stroke after each pass.
func row(p Plan) (text string) {
	for i, s := range p.Slots {
		if i > 0 && s.Pass != p.Slots[i-1].Pass {
			text += "|"
		}
		text += string(s.Supply[:1])
	}
	return text
}

// By hand: 10 Wh and a reserve of 10 % give 9 Wh. Each run of 6 min at 22 W + 8 W
// takes 3 Wh, so three fit a charge, and six take turns twice. The outer supply is cut
// at a quarter and three: after one and a half runs and four and a half, and the run in
// the middle goes with those before it.
func TestChargeByHand(t *testing.T) {
	q := Request{Devices: []string{"unit-oak"}, Workloads: []string{"a", "b", "c", "d", "e", "f"}, Settings: []string{"22W"}, Repeats: 1}
	e := Estimates{RunDuration: map[string]time.Duration{"": 5 * time.Minute}, Pause: time.Minute, Batteries: map[string]Battery{"unit-oak": {FullWh: 10, ChargeW: 30}}}
	for seed := range uint64(4) {
		q.Seed = seed
		p := mustNew(t, q, e)
		text := row(p)
		if text != "bbmmmbbbmmmb" && text != "mmbbbmmmbbbm" {
			t.Errorf("seed %d: %s", seed, text)
		}
		whole := strings.Index(text, "bbb")
		if got := *p.Slots[whole].NeedsCharge; got != 1 {
			t.Errorf("a stretch of 9 Wh and the reserve need %v", got)
		}
		if got := *p.Slots[whole+2].NeedsCharge; got < 0.4-1e-9 || got > 0.4+1e-9 {
			t.Errorf("the third run needs %v, want (3+1)/10", got)
		}
		// Charging on mains gives 3 × 3 Wh: all that was taken.
		for i, s := range p.Slots {
			if s.WaitS > 1e-6 {
				t.Errorf("slot %d waits %v s", i, s.WaitS)
			}
		}
	}
	// One charge each, no mains: charging is waited for. 9 Wh at 30 W are 18 min.
	q.Supplies = []string{"battery"}
	p := mustNew(t, q, e)
	if got := p.Slots[3].WaitS; got < 1080-1e-6 || got > 1080+1e-6 {
		t.Errorf("the fourth run waits %v s, want 1080", got)
	}
}

// A battery that lasts for one run at a time takes turns with mains run by run: 9 Wh
// are not enough for two runs of 6 min at 42 W + 8 W, 5 Wh each. Four of them have the
// energy of 2.2 charges. Where they are the outer supply, three turns cut them in half,
// one, one and half a share of a third: one run each. Inside, three shares of 4/3 runs
// would put two runs together, so it takes a fourth.
func TestBatteryThatLastsForOneRun(t *testing.T) {
	q := Request{Devices: []string{"unit-oak"}, Workloads: []string{"a", "b", "c", "d"}, Settings: []string{"42W"}, Repeats: 1}
	e := Estimates{RunDuration: map[string]time.Duration{"": 5 * time.Minute}, Pause: time.Minute, Batteries: map[string]Battery{"": {FullWh: 10, ChargeW: 60}}}
	seen := map[string]bool{}
	for q.Seed = range 20 {
		seen[row(mustNew(t, q, e))] = true
	}
	if len(seen) != 2 || !seen["mbmbmbmb"] || !seen["bmbmmbmb"] {
		t.Errorf("%v", seen)
	}
}

// A battery of 10 Wh with a reserve of 10 % lasts for six runs of 6 min at 7 W + 8 W,
// 1.5 Wh each, but not for six more on the next bench or in the next pass: half of the
// supply that is first goes last, and at 30 W the 18 min between give all of 9 Wh. With
// 20 Wh it lasts for both, and the supply is changed but once a bench.
func TestNoWaitBetweenBenches(t *testing.T) {
	q := Request{Devices: []string{"unit-oak"}, Workloads: []string{"a", "b", "c", "d", "e", "f"}, Settings: []string{"7W"}, Repeats: 3}
	e := func(wh float64) Estimates {
		return Estimates{RunDuration: map[string]time.Duration{"": 5 * time.Minute}, Pause: time.Minute, Batteries: map[string]Battery{"": {FullWh: wh, ChargeW: 30}}}
	}
	hard := q
	hard.Variants, hard.Hard = []string{"cores=6", "cores=12"}, []string{"cores"}
	const (
		mains, battery   = "mmmbbbbbbmmm", "bbbmmmmmmbbb" // which is first
		mainsB, batteryB = "mmmmmmbbbbbb", "bbbbbbmmmmmm"
	)
	for name, c := range map[string]struct {
		q    Request
		wh   float64
		want [2]string // by the seed
	}{
		"one bench":               {q, 10, [2]string{mains + "|" + battery + "|" + mains, battery + "|" + mains + "|" + battery}},
		"two benches":             {hard, 10, [2]string{mains + battery + "|" + mains + battery + "|" + mains + battery, battery + mains + "|" + battery + mains + "|" + battery + mains}},
		"a battery that lasts":    {q, 20, [2]string{mainsB + "|" + batteryB + "|" + mainsB, batteryB + "|" + mainsB + "|" + batteryB}},
		"for two benches":         {hard, 20, [2]string{mainsB + batteryB + "|" + mainsB + batteryB + "|" + mainsB + batteryB, batteryB + mainsB + "|" + batteryB + mainsB + "|" + batteryB + mainsB}},
		"a battery not known yet": {q, 0, [2]string{mainsB + "|" + batteryB + "|" + mainsB, batteryB + "|" + mainsB + "|" + batteryB}},
	} {
		seen := map[string]bool{}
		for c.q.Seed = range 20 {
			p := mustNew(t, c.q, e(c.wh))
			text := row(p)
			seen[text] = true
			for i, s := range p.Slots {
				if s.WaitS > 1e-6 {
					t.Errorf("%s, seed %d: slot %d of %s waits %v s", name, c.q.Seed, i+1, text, s.WaitS)
				}
			}
		}
		if len(seen) != 2 || !seen[c.want[0]] || !seen[c.want[1]] {
			t.Errorf("%s: %v, want %v", name, seen, c.want)
		}
	}
}

// Where the runs on mains give the battery twice what the others take, nothing ever
// waits for it, whatever the benches, the passes and the order; and of the passes of a
// bench every other one begins on the same supply, whether it is divided or not.
func TestEnoughMainsNoWait(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		q := anyRequest(t)
		q.Devices, q.Supplies, q.Settings = q.Devices[:1], nil, []string{"8-28/4", "35W"}
		e := Estimates{Batteries: map[string]Battery{"": {FullWh: rapid.Float64Range(12, 80).Draw(t, "Wh")}}}
		cells, err := q.cells()
		if err != nil {
			t.Fatal(err)
		}
		most := 0.0
		for _, c := range cells {
			most = max(most, e.DrawW(c))
		}
		e.Batteries[""] = Battery{FullWh: e.Batteries[""].FullWh, ChargeW: 2 * most}
		p := mustNew(t, q, e)
		first := map[string]run.Supply{}
		for i, s := range p.Slots {
			if s.WaitS > 1e-6 {
				t.Fatalf("slot %d of %s waits %v s", i+1, row(p), s.WaitS)
			}
			if i > 0 && s.Pass == p.Slots[i-1].Pass && setupKey(s.Cell, q.Hard) == setupKey(p.Slots[i-1].Cell, q.Hard) {
				continue
			}
			if bench := setupKey(s.Cell, q.Hard); first[bench] == s.Supply {
				t.Fatalf("pass %d of %s begins a bench on %s again", s.Pass, row(p), s.Supply)
			} else {
				first[bench] = s.Supply
			}
		}
	})
}

func TestRequestsThatCannotBePlanned(t *testing.T) {
	good := Request{Devices: []string{"unit-oak"}, Workloads: []string{"tile-sort"}, Settings: []string{"8W"}}
	for want, change := range map[string]func(*Request){
		"needs devices":           func(q *Request) { q.Devices = nil },
		"needs workloads":         func(q *Request) { q.Workloads = nil },
		"needs settings":          func(q *Request) { q.Settings = nil },
		"device is empty":         func(q *Request) { q.Devices = []string{" "} },
		"neither mains nor":       func(q *Request) { q.Supplies = []string{"solar"} },
		"not a pair":              func(q *Request) { q.Variants = []string{"cores"} },
		"given twice":             func(q *Request) { q.Variants = []string{"cores=6,cores=12"} },
		"named twice":             func(q *Request) { q.Workloads = []string{"tile-sort", "tile-sort"} },
		`said to be "fan", but`:   func(q *Request) { q.Variants, q.Hard = []string{"cores=6"}, []string{"fan"} },
		"want 1 to 100":           func(q *Request) { q.Repeats = 101 },
		"such as 8-28/4":          func(q *Request) { q.Settings = []string{"28-8/4"} },
		"at most 200":             func(q *Request) { q.Settings = []string{"1-900/1"} },
		"at most 20000":           func(q *Request) { q.Settings, q.Repeats = []string{"1-200/1"}, 100 },
		"at most 1000":            func(q *Request) { q.Settings = []string{"5000W"} },
		`"1.2.3" is not a number`: func(q *Request) { q.Settings = []string{"1.2.3-8/1"} },
	} {
		q := good
		change(&q)
		if _, err := NewPlan(q, Estimates{}, morning); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("got %v, want an error with %q", err, want)
		}
	}
}

func TestParseSettings(t *testing.T) {
	for text, want := range map[string]string{
		"8-28/4": "8W 12W 16W 20W 24W 28W", "8W-10W/0.5W": "8W 8.5W 9W 9.5W 10W", "5 - 9 / 3": "5W 8W", "7-7/1": "7W",
		"25": "25W", "quiet": "quiet", "4-5-6": "4-5-6",
	} {
		list, err := ParseSettings(text)
		got := ""
		for i, s := range list {
			if i > 0 {
				got += " "
			}
			got += s.String()
		}
		if err != nil || got != want {
			t.Errorf("%q: %q, %v, want %q", text, got, err, want)
		}
	}
}

// Runs done in the order of a plan are blocks by the analysis's own rule, also
// after rejected runs that were repeated when the plan said so; runs done side
// after side are not.
func TestAnalysisFindsTheBlocks(t *testing.T) {
	q := Request{Devices: []string{"unit-oak"}, Workloads: []string{"harbour-flight"}, Settings: []string{"8-28/4"}, Seed: 11}
	for i, rejected := range [][]int{nil, {0}, {3, 4, 5, 11}, {12, 13, 35}, nil, {0}, {3, 4, 5, 11}, {12, 13, 35}} {
		e := Estimates{}
		if i >= 4 { // the supplies take turns
			e.Batteries = map[string]Battery{"": {FullWh: 9}}
		}
		p := mustNew(t, q, e)
		runs := carryOut(t, &p, rejected)
		if got := blocksOf(t, runs); got != 3 {
			t.Errorf("%d blocks of 3 passes with runs %v rejected", got, rejected)
		}
		slices.SortStableFunc(runs, func(a, b run.Run) int { return len(a.Supply) - len(b.Supply) })
		for i := range runs {
			runs[i].StartedAt = run.Stamp(morning.Add(time.Duration(i) * time.Hour))
		}
		if got := blocksOf(t, runs); got != 0 {
			t.Errorf("%d blocks of runs done side after side", got)
		}
	}
}

// carryOut does what the plan says next until nothing is left; the runs of the
// given numbers are rejected.
func carryOut(t *testing.T, p *Plan, rejected []int) []run.Run {
	t.Helper()
	var done []run.Run
	var count []run.Run
	for n := 0; ; n++ {
		g := p.Progress(done, "", Estimates{}, morning)
		if g.Done+g.Left != len(p.Slots) || len(g.Outside) > 0 {
			t.Fatalf("done %d + left %d, outside %v", g.Done, g.Left, g.Outside)
		}
		if g.Next == 0 {
			if g.Left != 0 {
				t.Fatalf("%d left, but nothing next", g.Left)
			}
			return count
		}
		if n > len(p.Slots)+len(rejected) {
			t.Fatal("the plan does not end")
		}
		r := runOf(p.Slots[g.Next-1].Cell, n)
		if slices.Contains(rejected, n) {
			r.State, r.Why = run.Rejected, "planted"
		} else {
			count = append(count, run.Run{ID: r.ID, Labels: r.Labels, StartedAt: r.StartedAt, DurationS: new(60.0),
				Results: map[string]run.Result{"fps_mean": {Value: 60 + float64(n%5)}}})
		}
		done = append(done, r)
	}
}

func runOf(c run.Cell, n int) run.Run {
	duration := 60.0
	return run.Run{ID: fmt.Sprintf("run-%04d", n), Labels: labelsOf(c), State: run.Finished,
		StartedAt: run.Stamp(morning.Add(time.Duration(n) * 2 * time.Minute)), DurationS: &duration,
		Results: map[string]run.Result{"fps_mean": {Value: 60}}}
}

func blocksOf(t *testing.T, runs []run.Run) int {
	t.Helper()
	x, err := analysis.Compare(runs, analysis.CompareRequest{By: "supply"})
	if err != nil {
		t.Fatal(err)
	}
	return x.Comparisons[0].Blocks
}

// Over all combinations only one factor changes at a time, and the hardest as often
// as it has levels, less one.
func TestSerpentine(t *testing.T) {
	order := serpentine([]factor{{levels: []string{"a", "b"}}, {levels: []string{"c", "d", "e"}}, {levels: []string{"f", "g"}}})
	changes := []int{0, 0, 0}
	for i := 1; i < len(order); i++ {
		was, is := strings.Split(order[i-1], "\x00"), strings.Split(order[i], "\x00")
		for k := range is {
			if was[k] != is[k] {
				changes[k]++
			}
		}
	}
	// 12 combinations, 11 changes: 1 of the first, 2 × 2 of the second, 6 of the third.
	if len(slices.Compact(slices.Sorted(slices.Values(order)))) != 12 || !slices.Equal(changes, []int{1, 4, 6}) {
		t.Errorf("%q changes %v", order, changes)
	}
}

// A plan grows by whole passes, and no further than a plan may be long.
func TestExtendEndsWherePlansEnd(t *testing.T) {
	p := mustNew(t, Request{Devices: []string{"unit-oak"}, Workloads: []string{"tile-sort"}, Supplies: []string{"mains"}, Settings: []string{"1-200/1"}, Repeats: 98}, Estimates{})
	cells := p.Cells()
	if added := p.Extend(cells, slices.Repeat([]int{5}, len(cells)), Estimates{}); added != 400 || len(p.Slots) != 20000 || p.passes() != 100 {
		t.Errorf("%d slots added to 19600, %d passes; want the 2 passes of 200 that fit in 20000", added, p.passes())
	}
}

// Slots are of one stretch if nothing hard to change changes from one to the other:
// not the pass, the device, a hard key or the supply.
func TestStretchesAndDevices(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		q := anyRequest(t)
		p := mustNew(t, q, Estimates{Batteries: map[string]Battery{"": {FullWh: 20}}})
		for _, d := range p.Devices() {
			if !slices.Contains(q.Devices, d) {
				t.Fatalf("device %q was not asked for", d)
			}
		}
		if len(p.Devices()) != len(q.Devices) || p.Devices()[0] != p.Slots[0].Device {
			t.Fatalf("devices %v of %v, of which %s is first", p.Devices(), q.Devices, p.Slots[0].Device)
		}
		hard := func(s Slot) string {
			text := fmt.Sprint(s.Pass, s.Device, s.Supply)
			for _, key := range q.Hard {
				v, _ := s.Variant.Get(key)
				text += " " + v
			}
			return text
		}
		a := rapid.IntRange(1, len(p.Slots)).Draw(t, "a")
		slots := p.Progress(nil, "", Estimates{}, p.CreatedAt.Time).Slots
		for b, same := a, true; b <= len(p.Slots); b++ {
			same = same && hard(p.Slots[b-1]) == hard(p.Slots[a-1])
			if got := slots[a-1].Stretch == slots[b-1].Stretch; got != same {
				t.Fatalf("slots %d and %d of one stretch: %v, want %v", a, b, got, same)
			}
		}
	})
}

// labelsOf are the labels of a run of a cell.
func labelsOf(c run.Cell) run.Labels {
	return run.Labels{Device: c.Device, Workload: c.Workload, Setting: c.Setting.From(run.Declared), Supply: c.Supply, Variant: c.Variant}
}
