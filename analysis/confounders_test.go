package analysis

import (
	"slices"
	"strings"
	"testing"
	"time"
)

// twoDevices are interleaved runs of two like devices: nothing differs.
func twoDevices() []Run {
	return grid([]Group{{"unit-oak", "tile-sort", "mains", ""}, {"unit-elm", "tile-sort", "mains", ""}}, oneLevel)
}

func TestConfoundersNone(t *testing.T) {
	runs := twoDevices()
	for i := range runs {
		runs[i].Facts = map[string]string{"kernel": "7.1"}
		runs[i].StartTempC, runs[i].ChargeRatio = pointer(40+float64(i%3)), pointer(0.9)
	}
	if c := compareOne(t, runs, CompareRequest{By: "device"}); len(c.Confounders) != 0 {
		t.Errorf("confounders %q, want none", c.Confounders)
	}
}

// One thing differs between the sides at a time, and that is what is said.
func TestConfounders(t *testing.T) {
	for _, c := range []struct {
		name   string
		change func(r *Run, i int) // of unit-oak's runs
		want   string
	}{
		{"fact", func(r *Run, _ int) { r.Facts = map[string]string{"kernel": "7.2"} }, "different kernel: 7.1 with unit-elm, 7.2 with unit-oak"},
		{"fact within a side", func(r *Run, i int) {
			if i%2 == 0 {
				r.Facts = map[string]string{"kernel": "7.2"}
			}
		}, "different kernel: 7.1 with unit-elm, 7.1 and 7.2 with unit-oak"},
		{"charger", func(r *Run, _ int) { r.Facts = map[string]string{"kernel": "7.1", "charger": "45 W"} }, "different charger: 65 W with unit-elm, 45 W with unit-oak"},
		{"temperature", func(r *Run, _ int) { *r.StartTempC += 9 }, "different start temperature: unit-elm 41.0 °C on average, unit-oak 50.0 °C"},
		{"charge", func(r *Run, _ int) { r.ChargeRatio = pointer(0.5) }, "different charge: unit-elm starts at 90 % on average, unit-oak at 50 %"},
		{"charging", func(r *Run, _ int) { r.Findings = []string{"charging", "charging"} }, "charging: 0 of 9 runs of unit-elm, 9 of 9 of unit-oak"},
		{"duration", func(r *Run, _ int) { r.DurationS = 90 }, "different duration: runs of unit-elm last 60 s on average, of unit-oak 90 s"},
		{"time of day", func(r *Run, _ int) { r.StartedAt = r.StartedAt.Add(5 * time.Hour) }, "different time of day: unit-elm ran around 08:"},
		{"another day", func(r *Run, _ int) { r.StartedAt = r.StartedAt.Add(24 * time.Hour) }, "not interleaved in time: the last run of unit-elm began before the first of unit-oak"},
		{"unit", func(r *Run, _ int) {
			r.Results = map[string]Result{"score": {Value: r.Results["score"].Value, Unit: "points"}}
		}, "different unit of score: no unit with unit-elm, points with unit-oak"},
	} {
		runs := twoDevices()
		for i := range runs {
			r := &runs[i]
			r.Facts = map[string]string{"kernel": "7.1", "charger": "65 W"}
			r.StartTempC, r.ChargeRatio = pointer(40+float64(i%3)), pointer(0.9)
			if r.Device == "unit-oak" {
				c.change(r, i)
			}
		}
		got := compareOne(t, runs, CompareRequest{By: "device"}).Confounders
		if !slices.ContainsFunc(got, func(s string) bool { return strings.Contains(s, c.want) }) {
			t.Errorf("%s: %q, want %q in it", c.name, got, c.want)
		}
	}
}

// What nobody could have made equal between two devices is named in one short
// sentence; versions and policies are told in full. Within a device everything
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
	want := []string{
		"different cpu_governor: powersave with unit-elm, performance with unit-oak",
		"different memory_total_bytes: 8 GiB with unit-elm, 16 GiB with unit-oak",
		"by nature the devices also differ in battery, cores, processor, model (sweepd run show lists the facts)",
	}
	if got := compareOne(t, runs, CompareRequest{By: "device"}).Confounders; !slices.Equal(got, want) {
		t.Errorf("between devices:\n%q\nwant\n%q", got, want)
	}
	runs = grid([]Group{{"unit-oak", "tile-sort", "mains", "cores=6"}, {"unit-oak", "tile-sort", "mains", "cores=8"}}, oneLevel)
	for i := range runs {
		if runs[i].Facts = oak; runs[i].Variant == "cores=6" {
			runs[i].Facts = map[string]string{"cores_active": "6", "battery_full_wh": "48.2"}
		}
	}
	want = []string{"different cores_active: 6 with cores=6, 8 with cores=8"}
	if got := compareOne(t, runs, CompareRequest{By: "variant"}).Confounders; !slices.Equal(got, want) {
		t.Errorf("within a device %q, want %q", got, want)
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
	_, cells := inPasses(z)
	between := 0.0
	for _, b := range fitBlocks(cells, 5) {
		between += 5 * b * b
	}
	near(t, "sum of squares between", between, 0.0511462616, 1e-9)
}

// A device that warms up from pass to pass, and one that does not.
func TestMovesBetweenPasses(t *testing.T) {
	runs := twoDevices()
	for i := range runs {
		if pass := i / 6; runs[i].Device == "unit-oak" {
			runs[i].Results = map[string]Result{"score": {Value: runs[i].Results["score"].Value * (1 + 0.02*float64(pass))}}
		}
	}
	got := compareOne(t, runs, CompareRequest{By: "device"}).Confounders
	moves := slices.IndexFunc(got, func(s string) bool { return strings.Contains(s, "results of unit-oak move from pass to pass, by +4") })
	if moves < 0 || slices.ContainsFunc(got, func(s string) bool { return strings.Contains(s, "results of unit-elm move") }) {
		t.Errorf("confounders %q", got)
	}
	if !slices.ContainsFunc(got, func(s string) bool { return strings.Contains(s, "results of unit-oak drift over the") }) {
		t.Errorf("confounders %q, want the drift over the day too", got)
	}
}

// Where nothing drifts, the tests for drift fire as often as they say: in 1 % of
// campaigns, each. 1000 campaigns, four standard errors.
func TestDriftLevel(t *testing.T) {
	rng, passes, drifts := studyRandom(600, 0), 0, 0
	c := campaign{n: 3, cv: 0.01, watts: studyWatts[:6]}
	const campaigns = 1000
	for range campaigns {
		for _, s := range c.compare(t, rng).Confounders {
			switch {
			case strings.Contains(s, "unit-oak move from pass"):
				passes++
			case strings.Contains(s, "unit-oak drift over"):
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
		runs[i].SystemW, runs[i].SystemU = pointer(20.0), 0.01
	}
	if c := compareOne(t, runs, CompareRequest{By: "device", Per: AtSystem}); !hasNote(c.Notes, "about 1 % for each device, is not in the bounds") {
		t.Errorf("notes %q", c.Notes)
	}
	if c := compareOne(t, runs, CompareRequest{By: "device"}); hasNote(c.Notes, "gauge") {
		t.Errorf("results alone: notes %q", c.Notes)
	}
}

func TestNotesSayWeakSpots(t *testing.T) {
	interleaved := compareOne(t, twoDevices(), CompareRequest{By: "device"})
	if hasNote(interleaved.Notes, "only interleaving") || hasNote(interleaved.Notes, "two runs per setting") {
		t.Errorf("notes %q", interleaved.Notes)
	}
	runs := append(sameSettings("unit-oak", []float64{10, 15}, [][]float64{{50, 50.1}, {60, 60.2}}), sameSettings("unit-elm", []float64{10, 15}, [][]float64{{50, 50.1}, {60}})...)
	for i := range runs {
		if runs[i].Device == "unit-oak" {
			runs[i].StartedAt = runs[i].StartedAt.Add(48 * time.Hour)
		}
	}
	c := compareOne(t, runs, CompareRequest{By: "device"})
	for _, want := range []string{"only interleaving their runs helps", "noise that changes strongly", "a slow run cannot be told", "single run on a side"} {
		if !hasNote(c.Notes, want) {
			t.Errorf("notes %q lack %q", c.Notes, want)
		}
	}
}
