package analysis

import (
	"math"
	"slices"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"sweepd/run"
)

// twoDevices are interleaved runs of two like devices: nothing differs.
func twoDevices() []run.Run {
	return grid([]Group{{"unit-oak", "tile-sort", "mains", ""}, {"unit-elm", "tile-sort", "mains", ""}}, oneLevel)
}

func TestConfoundersNone(t *testing.T) {
	runs := twoDevices()
	for i := range runs {
		runs[i].Facts = map[string]string{"kernel": "7.1"}
		runs[i].StartCelsius, runs[i].StartCharge = pointer(40+float64(i%3)), pointer(0.9)
	}
	if c := compareOne(t, runs, CompareRequest{By: "device"}); len(c.Confounders) != 0 {
		t.Errorf("confounders %+v, want none", c.Confounders)
	}
}

// halfAnHour is how exactly the runs' time of day is planted.
var halfAnHour = cmp.Comparer(func(a, b time.Duration) bool { return (a - b).Abs() <= 30*time.Minute })

// One thing differs between the sides at a time, and that is what is said.
func TestConfounders(t *testing.T) {
	for _, c := range []struct {
		name   string
		change func(r *run.Run, i int) // of unit-oak's runs
		want   Note
	}{
		{"fact", func(r *run.Run, _ int) { r.Facts = map[string]string{"kernel": "7.2"} }, Note{Code: ConfounderFacts, Name: "kernel", A: NoteSide{Side: "unit-elm", Values: []string{"7.1"}}, B: NoteSide{Side: "unit-oak", Values: []string{"7.2"}}}},
		{"fact within a side", func(r *run.Run, i int) {
			if i%2 == 0 {
				r.Facts = map[string]string{"kernel": "7.2"}
			}
		}, Note{Code: ConfounderFacts, Name: "kernel", A: NoteSide{Side: "unit-elm", Values: []string{"7.1"}}, B: NoteSide{Side: "unit-oak", Values: []string{"7.1", "7.2"}}}},
		{"charger", func(r *run.Run, _ int) { r.Facts = map[string]string{"kernel": "7.1", "charger": "45 W"} }, Note{Code: ConfounderFacts, Name: "charger", A: NoteSide{Side: "unit-elm", Values: []string{"65 W"}}, B: NoteSide{Side: "unit-oak", Values: []string{"45 W"}}}},
		{"temperature", func(r *run.Run, _ int) { *r.StartCelsius += 9 }, Note{Code: ConfounderStartTemperatures, A: NoteSide{Side: "unit-elm", Mean: 41}, B: NoteSide{Side: "unit-oak", Mean: 50}}},
		{"charge", func(r *run.Run, _ int) { r.StartCharge = pointer(0.5) }, Note{Code: ConfounderCharges, A: NoteSide{Side: "unit-elm", Mean: 0.9}, B: NoteSide{Side: "unit-oak", Mean: 0.5}}},
		{"charging", func(r *run.Run, _ int) { r.Findings = []run.Finding{{Code: run.Charging}, {Code: run.Charging}} }, Note{Code: ConfounderFindings, Name: "charging", A: NoteSide{Side: "unit-elm", Count: 0, Of: 9}, B: NoteSide{Side: "unit-oak", Count: 9, Of: 9}}},
		{"duration", func(r *run.Run, _ int) { r.DurationS = new(90.0) }, Note{Code: ConfounderDurations, A: NoteSide{Side: "unit-elm", Mean: 60}, B: NoteSide{Side: "unit-oak", Mean: 90}}},
		{"time of day", func(r *run.Run, _ int) { r.StartedAt = run.Timestamp{Time: r.StartedAt.Add(5 * time.Hour)} }, Note{Code: ConfounderTimesOfDay, A: NoteSide{Side: "unit-elm", TimeOfDay: 8 * time.Hour}, B: NoteSide{Side: "unit-oak", TimeOfDay: 13 * time.Hour}}},
		{"before dawn", func(r *run.Run, _ int) { r.StartedAt = run.Timestamp{Time: r.StartedAt.Add(-6 * time.Hour)} }, Note{Code: ConfounderTimesOfDay, A: NoteSide{Side: "unit-elm", TimeOfDay: 8 * time.Hour}, B: NoteSide{Side: "unit-oak", TimeOfDay: 2 * time.Hour}}},
		{"another day", func(r *run.Run, _ int) { r.StartedAt = run.Timestamp{Time: r.StartedAt.Add(24 * time.Hour)} }, Note{Code: ConfounderApart, A: NoteSide{Side: "unit-elm"}, B: NoteSide{Side: "unit-oak"}}},
		{"unit", func(r *run.Run, _ int) {
			r.Results = map[string]run.Result{"score": {Value: r.Results["score"].Value, Unit: "points"}}
		}, Note{Code: ConfounderUnits, Metric: "score", A: NoteSide{Side: "unit-elm", Values: []string{""}}, B: NoteSide{Side: "unit-oak", Values: []string{"points"}}}},
	} {
		runs := twoDevices()
		for i := range runs {
			r := &runs[i]
			r.Facts = map[string]string{"kernel": "7.1", "charger": "65 W"}
			r.StartCelsius, r.StartCharge = pointer(40+float64(i%3)), pointer(0.9)
			if r.Device == "unit-oak" {
				c.change(r, i)
			}
		}
		got := compareOne(t, runs, CompareRequest{By: "device"}).Confounders
		if !slices.ContainsFunc(got, func(n Note) bool { return cmp.Equal(n, c.want, approximately, halfAnHour) }) {
			t.Errorf("%s: %+v, want %+v in it", c.name, got, c.want)
		}
	}
}

// Measured facts that differ by less than 2 % say the same; text says the same only
// where it is the same, and so does what should be a number but is none.
func TestSameFact(t *testing.T) {
	for _, c := range []struct {
		key  string
		a, b []string
		want bool
	}{
		{"battery_full_wh", []string{"48.6"}, []string{"48.5", "49"}, true},
		{"battery_full_wh", []string{"48.6"}, []string{"50"}, false},
		{"battery_full_wh", []string{"48.6"}, []string{"unknown"}, false},
		{"battery_full_wh", []string{"48.6"}, []string{"48.6", "0"}, false},
		{"cpu_governor", []string{"100"}, []string{"101"}, false},
		{"cpu_governor", []string{"performance"}, []string{"performance"}, true},
	} {
		if got := sameFact(c.key, c.a, c.b); got != c.want {
			t.Errorf("%s %v and %v: same %v", c.key, c.a, c.b, got)
		}
	}
}

// What nobody could have made equal between two devices is named in one
// note; versions and policies are told in full. Within a device everything
// is told, but not that a battery's content moved by a percent.
func TestConfoundersByNature(t *testing.T) {
	oak := map[string]string{"host_model": "oak 1", "cpu_model": "p8", "cores_active": "8", "battery_full_wh": "48.6", "cpu_governor": "performance", "firmware_version": "1.02", "memory_total_bytes": "17179869184"}
	elm := map[string]string{"host_model": "elm 2", "cpu_model": "p6", "cores_active": "6", "battery_full_wh": "40.2", "cpu_governor": "powersave", "firmware_version": "1.02", "memory_total_bytes": "8589934592"}
	runs := twoDevices()
	for i := range runs {
		if runs[i].Facts = oak; runs[i].Device == "unit-elm" {
			runs[i].Facts = elm
		}
	}
	want := []Note{
		{Code: ConfounderFacts, Name: "cpu_governor", A: NoteSide{Side: "unit-elm", Values: []string{"powersave"}}, B: NoteSide{Side: "unit-oak", Values: []string{"performance"}}},
		{Code: ConfounderFacts, Name: "memory_total_bytes", A: NoteSide{Side: "unit-elm", Values: []string{"8589934592"}}, B: NoteSide{Side: "unit-oak", Values: []string{"17179869184"}}},
		{Code: ConfounderDevices, Names: []string{"battery_full_wh", "cores_active", "cpu_model", "host_model"}},
	}
	if got := compareOne(t, runs, CompareRequest{By: "device"}).Confounders; !cmp.Equal(got, want) {
		t.Errorf("between devices: %s", cmp.Diff(want, got))
	}
	runs = grid([]Group{{"unit-oak", "tile-sort", "mains", "cores=6"}, {"unit-oak", "tile-sort", "mains", "cores=8"}}, oneLevel)
	for i := range runs {
		if runs[i].Facts = oak; runs[i].Variant == "cores=6" {
			runs[i].Facts = map[string]string{"cores_active": "6", "battery_full_wh": "48.2"}
		}
	}
	want = []Note{{Code: ConfounderFacts, Name: "cores_active", A: NoteSide{Side: "cores=6", Values: []string{"6"}}, B: NoteSide{Side: "cores=8", Values: []string{"8"}}}}
	if got := compareOne(t, runs, CompareRequest{By: "variant"}).Confounders; !cmp.Equal(got, want) {
		t.Errorf("within a device: %s", cmp.Diff(want, got))
	}
}

// NIST StRD SiRstv, one-way analysis of variance of five instruments with five
// repeats each: F(4, 20) = 1.18046237440255. As five passes over five cells the
// effects of the instruments are blocks; against the residual of this layout
// the test statistic is that of the two-way table, computed here from its
// definition, and the one-way F only fixes the sum of squares between blocks:
// 0.0511462616. rel 1e-9.
func TestBlocksSiRstv(t *testing.T) {
	offsets := [][]float64{
		{.3052, .1240, .1890, .2569, .3403}, {.3042, .3825, .1669, .3257, .0422}, {.1303, .2005, .2889, .0343, .1811},
		{.2795, .1748, .1494, .1485, -.0115}, {.2119, .1051, .1850, .0052, .2090},
	}
	z := make([][]float64, 5)
	for instrument := range offsets {
		for repeat, v := range offsets[instrument] {
			z[repeat] = append(z[repeat], 196+v)
		}
	}
	_, samples := inPasses(z)
	between := 0.0
	for _, b := range fitBlocks(samples, 5) {
		between += 5 * b * b
	}
	near(t, "sum of squares between", between, 0.0511462616, 1e-9)
}

// A device that warms up from pass to pass, and one that does not.
func TestMovesBetweenPasses(t *testing.T) {
	runs := twoDevices()
	for i := range runs {
		if pass := i / 6; runs[i].Device == "unit-oak" {
			runs[i].Results = map[string]run.Result{"score": {Value: runs[i].Results["score"].Value * (1 + 0.02*float64(pass))}}
		}
	}
	got := compareOne(t, runs, CompareRequest{By: "device"}).Confounders
	moves := 0
	for _, n := range got {
		if n.Code == ConfounderPasses {
			moves++
			if n.Side != "unit-oak" || n.Count != 3 || math.Abs(float64(n.Ratio)-0.04) > 0.005 {
				t.Errorf("%+v, planted: unit-oak rises by 4 %% over three passes", n)
			}
		}
	}
	if drift, ok := oneOf(got, ConfounderDrift); moves != 1 || !ok || drift.Side != "unit-oak" || !(drift.Ratio > 0.03 && drift.Ratio < 0.06) {
		t.Errorf("confounders %+v, want the drift over the day too", got)
	}
}

// Where nothing drifts, the tests for drift fire as often as they say: in 1 % of
// campaigns, each. 1000 campaigns, four standard errors.
func TestDriftLevel(t *testing.T) {
	rng, passes, drifts := studyRandom(600, 0), 0, 0
	c := campaign{n: 3, cv: 0.01, watts: studyWatts[:6]}
	const campaigns = 1000
	for range campaigns {
		for _, n := range c.compare(t, rng).Confounders {
			switch {
			case n.Side != "unit-oak":
			case n.Code == ConfounderPasses:
				passes++
			case n.Code == ConfounderDrift:
				drifts++
			}
		}
	}
	for name, count := range map[string]int{"pass to pass": passes, "drift": drifts} {
		if count > 23 || count == 0 { // 10 expected, SD 3.1
			t.Errorf("%s: said in %d of %d campaigns without drift, want about 10", name, count, campaigns)
		}
	}
}

// Between devices a gauge's own error is in no bounds, and is said where results
// are divided by its watts.
func TestNotesSayGauges(t *testing.T) {
	runs := twoDevices()
	for i := range runs {
		runs[i].SystemW = pointer(20.0)
		uncertain(&runs[i], 0.01)
	}
	c := compareOne(t, runs, CompareRequest{By: "device", Per: AtSystem})
	if gauges, ok := oneOf(c.Notes, NoteGaugesLeftOut); !ok || math.Abs(float64(gauges.Ratio)-0.01) > 1e-12 {
		t.Errorf("notes %+v, want gauges of 1 %%", c.Notes)
	}
	c = compareOne(t, runs, CompareRequest{By: "device"})
	if _, ok := oneOf(c.Notes, NoteGaugesLeftOut); ok {
		t.Errorf("results alone: notes %+v", c.Notes)
	}
}

// The gauges' note comes above 0.2 %, root mean square of the runs that are used:
// a single one, of the only side with watts, counts whole.
func TestNoteOfGaugesComesAboveItsThreshold(t *testing.T) {
	for _, c := range []struct {
		name          string
		oak, elm      float64 // uncertainty of the run's watts
		elmHasNoWatts bool
		want          float64 // 0: no note
	}{
		{"one run with watts", 0.0025, 0.0025, true, 0.0025},
		{"one run with watts, below", 0.0019, 0.0025, true, 0},
		{"one run a side", 0.0025, 0.0025, false, 0.0025},
		{"one run a side, below", 0.0019, 0.0019, false, 0},
		{"one side alone, 0.003/√2", 0.003, 0, false, 0.0021213203},
		{"one side alone, below", 0.0025, 0, false, 0},
	} {
		oak := sameSettings("unit-oak", []float64{10}, [][]float64{{50}})
		elm := sameSettings("unit-elm", []float64{10}, [][]float64{{52}})
		oak[0].SystemW = pointer(20.0)
		uncertain(&oak[0], c.oak)
		if !c.elmHasNoWatts {
			elm[0].SystemW = pointer(20.0)
			uncertain(&elm[0], c.elm)
		}
		got := compareOne(t, append(oak, elm...), CompareRequest{By: "device", A: "unit-oak", B: "unit-elm", Per: AtSystem})
		gauges, ok := oneOf(got.Notes, NoteGaugesLeftOut)
		if ok != (c.want > 0) || ok && math.Abs(float64(gauges.Ratio)-c.want) > 1e-9 {
			t.Errorf("%s: notes %+v, want gauges of %v", c.name, got.Notes, c.want)
		}
	}
}

func TestNotesSayWeakSpots(t *testing.T) {
	interleaved := compareOne(t, twoDevices(), CompareRequest{By: "device"})
	if notes := interleaved.Notes; has(notes, Note{Code: NoteDaysLeftOut}) || has(notes, Note{Code: NoteUnevenNoiseUnseen}) || has(notes, Note{Code: NoteSlowRunUnseen}) {
		t.Errorf("notes %+v", notes)
	}
	runs := append(sameSettings("unit-oak", []float64{10, 15}, [][]float64{{50, 50.1}, {60, 60.2}}), sameSettings("unit-elm", []float64{10, 15}, [][]float64{{50, 50.1}, {60}})...)
	for i := range runs {
		if runs[i].Device == "unit-oak" {
			runs[i].StartedAt = run.Timestamp{Time: runs[i].StartedAt.Add(48 * time.Hour)}
		}
	}
	c := compareOne(t, runs, CompareRequest{By: "device"})
	for _, want := range []Note{{Code: NoteDaysLeftOut}, {Code: NoteUnevenNoiseUnseen}, {Code: NoteSlowRunUnseen}, {Code: NoteSingleRunSupported}} {
		if !has(c.Notes, want) {
			t.Errorf("notes %+v lack %s", c.Notes, want.Code)
		}
	}
}
