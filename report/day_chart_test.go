package report

import (
	"math"
	"slices"
	"testing"
	"time"

	"sweepd/analysis"
	"sweepd/report/sentence"
	"sweepd/run"
)

// startedAt is a run of a workload that started so many hours after noon of 4 May.
func startedAt(workload string, hours float64) run.Run {
	noon := time.Date(2026, 5, 4, 12, 0, 0, 0, time.UTC)
	return run.Run{Labels: run.Labels{Workload: workload, Device: "unit-oak"}, State: run.Finished, StartedAt: run.Stamp(noon.Add(time.Duration(hours * float64(time.Hour))))}
}

// Up to 36 hours are shown against the clock, more against the number of the run; runs of
// other workloads and runs whose time is not known do not count.
func TestTimeAxis(t *testing.T) {
	other, unknown := startedAt("tile-sort", 900), run.Run{Labels: run.Labels{Workload: "harbour-flight"}}
	for _, c := range []struct {
		name  string
		hours []float64
		label string
		days  string
		third float64 // place of the third run of the workload, were it by number
	}{
		{"a day", []float64{0, 2, 4}, "start of the run, 4 May 2026, times in UTC", "", math.NaN()},
		{"over midnight", []float64{0, 13, 36}, "start of the run, 4 May to 6 May 2026, times in UTC", "", math.NaN()},
		{"three days", []float64{0, 2, 24, 48}, "number of the run, from 4 May 2026 to 6 May 2026", "2.5 5 May, 3.5 6 May", 3},
	} {
		b := &builder{zone: time.UTC, in: &Input{Runs: []run.Run{other, unknown}}}
		for _, h := range c.hours {
			b.in.Runs = append(b.in.Runs, startedAt("harbour-flight", h))
		}
		got := b.timeAxis("harbour-flight")
		days := ""
		for _, d := range got.days {
			days += sentence.Fixed(*d.X, 1) + " " + d.Text + ", "
		}
		if days != "" {
			days = days[:len(days)-2]
		}
		if got.n != len(c.hours) || got.axis.Label != c.label || days != c.days {
			t.Errorf("%s: %d runs, %q, days %q, want %q, %q", c.name, got.n, got.axis.Label, days, c.label, c.days)
		}
		third := b.in.Runs[4].StartedAt.Time
		want := c.third
		if math.IsNaN(want) {
			want = float64(third.Unix())
		}
		if at := got.at(4, third); at != want {
			t.Errorf("%s: the third run stands at %v, want %v", c.name, at, want)
		}
		if (got.axis.Clock != nil) != math.IsNaN(c.third) {
			t.Errorf("%s: clock %v", c.name, got.axis.Clock)
		}
	}
}

// Twelve lines can be told apart: of 24 new days every second has one, of 13 too.
func TestManyDays(t *testing.T) {
	for _, c := range []struct {
		runs, lines int
		first, last string
	}{{13, 12, "5 May", "16 May"}, {14, 6, "6 May", "16 May"}, {25, 12, "6 May", "28 May"}} {
		b := &builder{zone: time.UTC, in: &Input{}}
		for k := range c.runs {
			b.in.Runs = append(b.in.Runs, startedAt("harbour-flight", 24*float64(k)))
		}
		days := b.timeAxis("harbour-flight").days
		if len(days) != c.lines || days[0].Text != c.first || days[len(days)-1].Text != c.last {
			t.Errorf("a run on each of %d days: %d lines, from %s to %s", c.runs, len(days), days[0].Text, days[len(days)-1].Text)
		}
	}
}

// Six rows fit a chart: with the supply, else without, else by device alone.
func TestNamesOfRows(t *testing.T) {
	for _, c := range []struct {
		devices, variants int
		want              string
	}{{1, 1, "unit-0 on mains"}, {1, 3, "0=1 on mains"}, {1, 4, "0=1"}, {2, 3, "unit-0, 0=1"}, {2, 4, "unit-0"}} {
		var runs []run.Run
		for d := range c.devices {
			for v := range c.variants {
				for _, supply := range []run.Supply{"mains", "battery"} {
					runs = append(runs, run.Run{Labels: run.Labels{Workload: "w", Device: "unit-" + string(rune('0'+d)), Variant: run.Variant(string(rune('0'+v)) + "=1"), Supply: supply}})
				}
			}
		}
		b := &builder{in: &Input{Runs: runs}, legend: newLegend(&Study{runs: runs}, nil)}
		if got := b.dayNames("w")(&runs[0]); got != c.want {
			t.Errorf("%d devices, %d variants: %q, want %q", c.devices, c.variants, got, c.want)
		}
	}
}

// The supplies of a workload: mains first.
func TestBySupply(t *testing.T) {
	topic := &Topic{Curve: analysis.CurveResult{Groups: []analysis.CurveGroup{
		{Workload: "w", Supply: "battery", Device: "a"}, {Workload: "other", Supply: "mains"}, {Workload: "w", Supply: "mains", Device: "a"}, {Workload: "w", Supply: "battery", Device: "b"}, {Workload: "w"}}}}
	var got []string
	for supply, groups := range bySupply(topic, "w") {
		got = append(got, supply+sentence.Counted(len(groups), "group"))
	}
	if want := []string{"mains1 group", "battery2 groups", "1 group"}; !slices.Equal(got, want) {
		t.Errorf("got %q, want %q", got, want)
	}
	for supply := range bySupply(topic, "w") {
		if supply != "mains" {
			t.Errorf("went on to %q", supply)
		}
		break
	}
}

// Findings of single runs: a note is plain, what is worse is a doubt; a run that is not
// there has no section.
func TestSingleRunsSayTheirFindings(t *testing.T) {
	b := &builder{zone: time.UTC, names: map[string]bool{}, in: &Input{Runs: []run.Run{{ID: "a", Findings: []run.Finding{{Code: "throttled", Severity: run.SeverityNote, Text: "it throttled"}, {Code: "hot_start", Severity: run.SeverityDoubt, Text: "it began hot."}}}},
		Traces: []Trace{{Run: "gone"}, {Run: "a"}}}}
	got := b.singleRuns()
	want := []Statement{{About: "note, throttled", Sentence: sentence.Sentence{Tone: sentence.Plain, Text: "It throttled."}}, {About: "doubt, hot_start", Sentence: sentence.Sentence{Tone: sentence.Doubtful, Text: "It began hot."}}}
	if len(got.Sections) != 1 || got.Sections[0].Title != "Run a" || !slices.Equal(got.Sections[0].Sentences, want) {
		t.Errorf("got %+v", got)
	}
}
