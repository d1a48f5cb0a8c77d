package report

import (
	"fmt"
	"maps"
	"math"
	"slices"
	"time"

	"sweepd/report/chart"
	"sweepd/report/sentence"
	"sweepd/run"
)

// dayCharts draw how far every run of a workload lies from the mean of its
// repeats, in the order of time, a row for each device, variant and supply: a drift
// shows as a slope, a bad run as a point apart.
func (b *builder) dayCharts(t *Topic, workload string) []chart.Chart {
	place := b.timeAxis(workload)
	if place.n < 2 {
		return nil
	}
	rows, crosses := b.dayRows(t, workload, place)
	reach := (&chart.Panel{Series: rows}).ReachY()
	high := max(1.15*max(-reach.From, reach.To), 0.1)
	return inParts(rows, func(part []chart.Series, which string) chart.Chart {
		return b.dayChart(t, workload, place, part, crosses, high, which)
	})
}

// mostTickedRows is how many rows leave room for numbers besides 0 on each one's
// axis.
const mostTickedRows = 4

func (b *builder) dayChart(t *Topic, workload string, place timePlace, rows []chart.Series, crosses map[string][]chart.Point, high float64, which string) chart.Chart {
	low := -high // zero is in the middle
	c := chart.Chart{
		Name: b.unique(fileName("day", workload, t.Metric)), Title: b.dayTitle(t, workload, rows) + which,
		Lines:   []string{fmt.Sprintf("%s: %s, each run against the mean of its repeats, in the order of time; %s", workload, sentence.MetricName(t.Metric), sentence.Counted(place.n, "run"))},
		Sharing: true,
	}
	c.Alt = c.Title + ". " + c.Lines[0] + "."
	crossed := false
	for i, row := range rows {
		zero := 0.0
		p := chart.Panel{
			X: place.axis, Y: chart.Axis{Signed: true, From: &low, To: &high},
			Guides: []chart.Guide{{Y: &zero, Thick: true}}, Series: []chart.Series{row},
		}
		for _, d := range place.days {
			if i > 0 {
				d.Text = "" // the first row says it
			}
			p.Guides = append(p.Guides, d)
		}
		if i == 0 {
			p.Y.Label = "run against the mean of its repeats, %"
			if len(rows) > mostTickedRows {
				p.Y.Label += fmt.Sprintf("; each row from −%[1]s to +%[1]s", sentence.Fixed(high, sentence.Decimals(high, high/10)))
			}
		}
		if star := b.unlikeOf(t, workload, row, place); len(star.Points) > 0 {
			p.Series = append(p.Series, star)
		}
		if out := crosses[row.Name]; len(out) > 0 {
			for k := range out {
				out[k].Y = low + 0.12*(high-low)
			}
			p.Series = append(p.Series, chart.Series{Crossed: true, Points: out})
			crossed = true
		}
		c.Panels = append(c.Panels, p)
	}
	c.Footer = b.footer(source{runs: func(r *run.Run) bool { return r.Workload == workload }})
	c.Key = markItems(c.Panels)
	if crossed {
		c.Key = append(c.Key, chart.Item{Symbol: chart.SymbolCross, Text: "rejected, unfinished or without this result: in no number"})
	}
	return c
}

// dayTitle says how near the runs lie to their repeats, and how many do not.
func (b *builder) dayTitle(t *Topic, workload string, rows []chart.Series) string {
	ids, name := b.unlike(t, workload), b.dayNames(workload)
	n, all, most, apart := 0, 0, 0.0, 0.0
	for i := range b.in.Runs {
		r := &b.in.Runs[i]
		if !slices.ContainsFunc(rows, func(s chart.Series) bool { return s.Name == name(r) }) || !b.isDrawn(t, workload, r) {
			continue
		}
		away := 100 * math.Abs(b.deviation(t, r))
		all, most = all+1, max(most, away)
		if ids[r.ID] {
			n, apart = n+1, max(apart, away)
		}
	}
	switch n {
	case 0:
		return "Every run within " + sentence.Fixed(most, 1) + " % of its repeats"
	case 1:
		return fmt.Sprintf("One of %d runs lies further from its repeats than noise explains: %s %% from their mean", all, sentence.Fixed(apart, 1))
	}
	return fmt.Sprintf("%d of %d runs lie further from their repeats than noise explains: up to %s %% from their mean", n, all, sentence.Fixed(apart, 1))
}

// isDrawn tells whether a run is a point of a workload's day chart.
func (b *builder) isDrawn(t *Topic, workload string, r *run.Run) bool {
	return r.Workload == workload && !r.StartedAt.IsZero() && r.State == run.Finished && !math.IsNaN(b.deviation(t, r)) && !b.alone(r)
}

// unlike are the runs of a workload that are unlike their repeats, by their ids.
func (b *builder) unlike(t *Topic, workload string) map[string]bool {
	ids := map[string]bool{}
	for i := range t.Curve.Groups {
		if g := &t.Curve.Groups[i]; g.Workload == workload {
			for _, f := range g.Flagged {
				ids[f.Run] = true
			}
		}
	}
	return ids
}

// unlikeOf are the runs of a row that are unlike their repeats.
func (b *builder) unlikeOf(t *Topic, workload string, row chart.Series, place timePlace) chart.Series {
	star := chart.Series{Starred: true, Style: row.Style}
	name, ids := b.dayNames(workload), b.unlike(t, workload)
	for i := range b.in.Runs {
		if r := &b.in.Runs[i]; ids[r.ID] && name(r) == row.Name {
			star.Points = append(star.Points, flat(place.at(i, r.StartedAt.Time), 100*b.deviation(t, r)))
		}
	}
	return star
}

// dayRows are the runs of a workload by name, and those that are in no number.
func (b *builder) dayRows(t *Topic, workload string, place timePlace) (rows []chart.Series, crosses map[string][]chart.Point) {
	name := b.dayNames(workload)
	series := map[string]*chart.Series{}
	crosses = map[string][]chart.Point{}
	for i := range b.in.Runs {
		r := &b.in.Runs[i]
		if r.Workload != workload || r.StartedAt.IsZero() {
			continue
		}
		n := name(r)
		away := b.deviation(t, r)
		counts := r.State == run.Finished && !math.IsNaN(away)
		if counts && b.alone(r) {
			continue
		}
		if series[n] == nil {
			series[n] = &chart.Series{Name: n, Style: b.legend.style(r.Device, string(r.Variant)), Small: true}
		}
		if counts {
			series[n].Points = append(series[n].Points, flat(place.at(i, r.StartedAt.Time), 100*away))
		} else {
			crosses[n] = append(crosses[n], flat(place.at(i, r.StartedAt.Time), 0))
		}
	}
	for _, n := range slices.Sorted(maps.Keys(series)) {
		rows = append(rows, *series[n])
	}
	if !slices.ContainsFunc(rows, func(s chart.Series) bool { return len(s.Points) > 0 }) {
		return nil, nil
	}
	return rows, crosses
}

// dayNames gives the runs of a workload names of which there are, if possible, not
// more than a chart has room for: with all that differs, else without the supply,
// else by device.
func (b *builder) dayNames(workload string) func(*run.Run) string {
	ways := []func(*run.Run) string{
		func(r *run.Run) string {
			return b.legend.name(r.Device, string(r.Variant)) + supplyWord(string(r.Supply))
		},
		func(r *run.Run) string { return b.legend.name(r.Device, string(r.Variant)) },
		func(r *run.Run) string { return r.Device },
	}
	for _, way := range ways {
		seen := map[string]bool{}
		for i := range b.in.Runs {
			if r := &b.in.Runs[i]; r.Workload == workload {
				seen[way(r)] = true
			}
		}
		if len(seen) <= mostCurves {
			return way
		}
	}
	return ways[len(ways)-1]
}

// alone tells whether a run has no repeat, so that it cannot lie apart from them.
func (b *builder) alone(r *run.Run) bool {
	return len(b.cells[cellOf(r)]) < 2
}

func flat(x, y float64) chart.Point {
	return chart.Point{X: x, Y: y, Lower: math.NaN(), Upper: math.NaN()}
}

func supplyWord(s string) string {
	if s == "" {
		return ""
	}
	return " " + onSupply(s)
}

// deviation is how far a run's result lies from the mean of its repeats, as a
// share; NaN where it has none.
func (b *builder) deviation(t *Topic, r *run.Run) float64 {
	x, ok := r.Results[t.Metric]
	if !ok {
		return math.NaN()
	}
	mean := b.means[t.Metric][cellOf(r)]
	if !(mean > 0) {
		return math.NaN()
	}
	return x.Value/mean - 1
}

// reportedSetting is the setting that the system reported, "" where that is the run's.
func reportedSetting(r *run.Run) string {
	if r.SettingRead == nil || !r.HasFinding(run.SettingDisagrees) {
		return ""
	}
	return sentence.SettingOf(r.SettingRead.Setting)
}

// oneDay is how long runs may last together to be shown against the clock.
const oneDay = 36 * time.Hour

type timePlace struct {
	axis  chart.Axis
	n     int
	order map[int]int   // by number, where the runs take longer than a day
	days  []chart.Guide // there: where each new day begins
}

// timeAxis is the clock where all runs of a workload fit a day, else the number
// of the run.
func (b *builder) timeAxis(workload string) timePlace {
	var first, last time.Time
	t := timePlace{order: map[int]int{}}
	var began []int // runs that are the first of a day
	day := ""
	for i := range b.in.Runs {
		r := &b.in.Runs[i]
		if r.Workload != workload || r.StartedAt.IsZero() {
			continue
		}
		last = r.StartedAt.Time
		if t.n == 0 {
			first = last
		}
		t.n++
		t.order[i] = t.n
		if d := b.day(r.StartedAt.Time); d != day {
			day = d
			began = append(began, i)
		}
	}
	if last.Sub(first) <= oneDay {
		t.order = nil
		from, to := first.In(b.zone), last.In(b.zone)
		day := from.Format("2 January 2006")
		if from.Day() != to.Day() {
			day = from.Format("2 January") + " to " + to.Format("2 January 2006")
		}
		t.axis = chart.Axis{Label: "start of the run, " + day + ", times in " + from.Format("MST"), Clock: b.zone}
		return t
	}
	before := 0.5 // the first run
	t.axis = chart.Axis{From: &before, Label: fmt.Sprintf("number of the run, from %s to %s", b.day(first), b.day(last))}
	t.days = b.newDays(began, t)
	return t
}

// mostDays is how many beginnings of days can be told apart.
const mostDays = 12

// newDays are upright lines before the first runs of days, besides the very first;
// of very many days, of every so many.
func (b *builder) newDays(began []int, t timePlace) []chart.Guide {
	var list []chart.Guide
	step := (len(began)-2)/mostDays + 1
	for k := step; k < len(began); k += step {
		x := float64(t.order[began[k]]) - 0.5
		list = append(list, chart.Guide{X: &x, Text: b.in.Runs[began[k]].StartedAt.In(b.zone).Format("2 Jan")})
	}
	return list
}

func (t timePlace) at(i int, started time.Time) float64 {
	if t.order != nil {
		return float64(t.order[i])
	}
	return float64(started.UnixMilli()) / 1000
}
