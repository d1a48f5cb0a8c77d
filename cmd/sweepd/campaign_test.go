package main

import (
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/rivo/uniseg"

	"sweepd/run"
	"sweepd/store/sqlite"
)

// campaign fills the data folder with a test day of two invented devices, which
// differ by a known ratio: unit-elm is 8 % ahead below 14 W and 8 % behind above
// 22 W. Both draw 6 + 1.12 times the package's watts.
func campaign(t *testing.T, data string) {
	t.Helper()
	campaignOf(t, data, "unit-oak", "unit-elm")
}

// campaignOf keeps only the runs of some devices, as their own agents would.
func campaignOf(t *testing.T, data string, devices ...string) {
	t.Helper()
	random := rand.New(rand.NewPCG(7, 7))
	var runs []run.Record
	n := 0
	at := time.Date(2026, 5, 4, 8, 0, 0, 0, time.UTC)
	for range 3 {
		for _, device := range []string{"unit-oak", "unit-elm"} {
			for _, supply := range []run.Supply{run.Mains, run.Battery} {
				for _, w := range []float64{8, 10, 12, 15, 18, 22, 28, 35} {
					at = at.Add(7 * time.Minute)
					n++
					if r := campaignRun(random, fmt.Sprintf("%08x", n), device, supply, w, at); slices.Contains(devices, device) {
						runs = append(runs, r)
					}
				}
			}
		}
	}
	s, err := sqlite.Open(data, sqlite.Options{Unsynced: true})
	if err != nil {
		t.Fatal(err)
	}
	for _, r := range runs {
		begun := r
		begun.State = run.Recording
		if err := errors.Join(s.BeginRun(t.Context(), begun), s.FinishRun(t.Context(), r)); err != nil {
			t.Fatal(err)
		}
	}
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
}

func campaignRun(random *rand.Rand, id, device string, supply run.Supply, w float64, at time.Time) run.Record {
	noise := func() float64 { return math.Exp(0.006 * random.NormFloat64()) }
	fps := 100 * (1 - math.Exp(-(w-2)/11)) * noise()
	if device == "unit-elm" {
		switch {
		case w < 14:
			fps *= 1.08
		case w > 20:
			fps *= 0.92
		}
	}
	duration, packageW := 300.0, 1.01*w*noise()
	d := run.Record{Run: run.Run{
		ID: "019a0000-0000-7000-8000-0000" + id,
		Labels: run.Labels{Device: device, Workload: "harbour-flight", Setting: run.Watts(w).From(run.Declared),
			Supply: supply, Variant: "cores=6"},
		State: run.Finished, StartedAt: run.Stamp(at), DurationS: &duration, PackageW: &packageW,
		Results: map[string]run.Result{"fps_mean": {Value: fps, Unit: "fps", Better: run.Higher}},
		Facts:   map[string]string{"battery_full_wh": "48.6", "battery_design_wh": "54"},
	}}
	if supply == run.Battery {
		systemW := (6 + 1.12*packageW) * noise()
		d.SystemW = &systemW
		d.Discharge = &run.Discharge{Watts: &systemW}
	}
	return d
}

func TestAnalysesForPeople(t *testing.T) {
	campaign(t, alone(t))
	for _, c := range []struct {
		args string
		says []string
	}{
		{"compare --by device --supply mains", []string{
			"harbour-flight: unit-elm (a) against unit-oak (b = 100 %), on mains", "From 8 W to 12 W unit-elm is ahead by", "From 22 W to 35 W unit-elm is behind by", "The lead changes at"}},
		{"compare --by supply --device unit-oak", []string{"battery (a) against mains (b = 100 %), unit-oak", " mean "}},
		{"compare --a device=unit-oak --b device=unit-elm --per system --supply battery", []string{"mean frame rate per watt of the whole device"}},
		{"curve --device unit-oak --supply battery", []string{"per package W", "It follows every setting tested, from 8 W to 35 W"}},
		{"battery --reserve 5%", []string{"battery of 48.6 Wh when full (90 % of its design), down to a reserve of 5 %", "The rest of the device draws"}},
		{"run list --device unit-oak --supply mains", []string{"workload harbour-flight", "cores=6", "fps_mean"}},
	} {
		out := must(t, strings.Fields(c.args)...)
		flowing := strings.Join(strings.Fields(out), " ") // without line breaks
		for _, want := range c.says {
			if !strings.Contains(flowing, want) {
				t.Errorf("%s lacks %q:\n%s", c.args, want, out)
			}
		}
		widest := 80
		if strings.HasPrefix(c.args, "run list") { // where no terminal sets a bound, its rows have their own
			widest = widestRow
		}
		for line := range strings.Lines(out) {
			if n := uniseg.StringWidth(strings.TrimRight(line, "\n")); n > widest {
				t.Errorf("%s: %d columns: %s", c.args, n, line)
			}
			if strings.Contains(line, "NaN") || strings.Contains(line, "Inf") {
				t.Errorf("%s: %s", c.args, line)
			}
		}
	}
}

// TestTwoFoldersMergedAndCompared is the README's example: the folders of two
// devices are merged, again without effect, and compared as if one agent had
// recorded both.
func TestTwoFoldersMergedAndCompared(t *testing.T) {
	oak, elm := alone(t), t.TempDir()
	campaignOf(t, oak, "unit-oak")
	campaignOf(t, elm, "unit-elm")
	if o := sweepd(t, "compare", "--by", "device"); o.code != exitFailed || !strings.Contains(o.stderr, "a comparison needs two") {
		t.Errorf("before: exit %d, %s", o.code, o.stderr)
	}
	if out := must(t, "merge", elm); !strings.Contains(out, "48 runs added, 0 were here already") {
		t.Errorf("merge: %s", out)
	}
	if out := must(t, "merge", filepath.Join(elm, "sweepd.db")); !strings.Contains(out, "0 runs added, 48 were here already") {
		t.Errorf("again: %s", out)
	}
	merged := must(t, "compare", "--by", "device", "--supply", "mains", "--json")
	both := t.TempDir()
	t.Setenv("SWEEPD_DATA", both)
	campaign(t, both)
	if together := must(t, "compare", "--by", "device", "--supply", "mains", "--json"); together != merged {
		t.Errorf("merged\n%s\nrecorded together\n%s", merged, together)
	}
}

// TestBatteryFindsTheOverhead compares with what campaign has put in.
func TestBatteryFindsTheOverhead(t *testing.T) {
	campaign(t, alone(t))
	var r struct {
		Groups []struct {
			Overhead struct {
				InterceptLowerW float64 `json:"intercept_lower_w"`
				InterceptUpperW float64 `json:"intercept_upper_w"`
			} `json:"overhead"`
		} `json:"groups"`
	}
	if err := json.Unmarshal([]byte(must(t, "battery", "--json")), &r); err != nil || len(r.Groups) != 2 {
		t.Fatalf("%d groups, %v", len(r.Groups), err)
	}
	for _, g := range r.Groups {
		if o := g.Overhead; !(o.InterceptLowerW < 6 && 6 < o.InterceptUpperW) {
			t.Errorf("the intercept's interval %v to %v leaves out 6 W", o.InterceptLowerW, o.InterceptUpperW)
		}
	}
}

func TestAnalysisThatCannotBeDone(t *testing.T) {
	campaign(t, alone(t))
	for args, want := range map[string]string{
		"compare --by device --metric score":            `"score"`,
		"compare --by device --a unit-ash --b unit-elm": "unit-ash",
		"compare --by device --device unit-oak":         "a comparison needs two",
		"curve --workload tile-sort":                    "no run was selected",
		"battery --supply mains":                        "on battery",
		"compare --by supply --workload no-such":        "no run was selected",
	} {
		o := sweepd(t, strings.Fields(args)...)
		if o.code != exitFailed || !strings.Contains(o.stderr, want) || o.out != "" {
			t.Errorf("sweepd %s: exit %d, want a sentence with %q: %s%s", args, o.code, want, o.stderr, o.out)
		}
	}
}
