package main

import (
	"bytes"
	"context"
	"fmt"
	"maps"
	"slices"
	"time"

	"github.com/spf13/cobra"

	"sweepd/exporter"
	"sweepd/report"
	"sweepd/run"
	"sweepd/store"
	"sweepd/store/sqlite"
	"sweepd/testday"
)

// reportFlags are what the report can be told.
type reportFlags struct {
	analysisFlags
	out       string
	png       bool
	runs      []string
	metrics   []string
	reference string
	margin    share
	full      energies
	reserve   share
	prices    priceList
	frames    frameSets
}

func (a *app) reportCommand() *cobra.Command {
	var f reportFlags
	cmd := &cobra.Command{
		Use:   "report --out DIR",
		Short: "Write charts, tables and sentences as a page to publish",
		Long: `Write a report of the selected runs: DIR/report.html, one file that opens without
a network and prints on A4, and every chart as SVG, light and dark, in DIR/charts.
--png adds pictures for videos, 1920x1080 and 3840x2160. Single runs are drawn
where --run names them, else those with the worst findings.`,
		Example: `  sweepd report --out report
  sweepd report --out report --png --workload harbour-flight --full-energy 48.6Wh
  sweepd report --out report --price unit-oak=749EUR --price unit-elm=549EUR`,
		Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			if f.out == "" {
				return misused(fmt.Errorf("where shall the report go? Give --out DIR"))
			}
			written, err := a.writeReport(cmd.Context(), &f)
			if err != nil {
				return err
			}
			if a.json {
				return a.printJSON(map[string]any{"page": written.Page, "files": written.Files})
			}
			_, err = fmt.Fprintf(a.out, "%s and %d pictures\n", written.Page, written.Files-1)
			return err
		},
	}
	f.analysisFlags.add(cmd, false)
	cmd.Flags().StringVar(&f.out, "out", "", "`DIR` to write into; a former report there is replaced")
	cmd.Flags().BoolVar(&f.png, "png", false, "also write every chart as PNG, 1920x1080 and 3840x2160, light and dark")
	cmd.Flags().StringArrayVar(&f.runs, "run", nil, "`RUN` whose course is drawn (repeatable); unless given, those with the worst findings")
	cmd.Flags().StringArrayVar(&f.metrics, "metric", nil, "`NAME` of a result (repeatable); unless given, of each workload the one that most of its runs have")
	cmd.Flags().StringArrayVar(&f.lower, "lower", nil, "`NAME` of a result of which less is better (repeatable)")
	cmd.Flags().StringVar(&f.reference, "b", "", "`DEVICE` that the others are compared with, where there are more than two (default: the best on the whole)")
	f.frames.add(cmd)
	cmd.Flags().Var(&f.margin, "margin", "difference that does not matter (default 2%)")
	cmd.Flags().Var(&f.full, "full-energy", "`[DEVICE=]Wh` that the battery holds when full (repeatable); unless given, what the device says")
	cmd.Flags().Var(&f.reserve, "reserve", "`SHARE` of the full energy that is kept back, such as 5% (default 0%)")
	cmd.Flags().Var(&f.prices, "price", "`DEVICE=AMOUNT` that a device costs, such as unit-oak=749EUR (repeatable); unless given, the configuration's prices")
	return cmd
}

// writeReport fetches the runs, asks the analysis, and writes the page and the
// charts.
func (a *app) writeReport(ctx context.Context, f *reportFlags) (w report.Written, err error) {
	filter, err := f.filter()
	if err != nil {
		return w, err
	}
	var page *report.Page
	err = a.withStore(sqlite.Options{ReadOnly: true}, func(s store.Store, c config) error {
		in, err := reportInput(ctx, s, c, filter, f)
		if err != nil {
			return err
		}
		in.Made, in.Version, in.Zone = time.Now(), currentVersion(), time.Local
		page = report.Compose(in)
		return nil
	})
	if err != nil {
		return w, err
	}
	o := report.Options{PNG: f.png}
	if f.png {
		bar := progress(a.err, -1, "drawing")
		defer func() { _ = bar.Finish() }()
		o.Progress = func(done, total int) {
			bar.ChangeMax(total)
			_ = bar.Set(done)
		}
	}
	return report.Write(ctx, f.out, page, o)
}

// reportInput reads what the report is made of.
func reportInput(ctx context.Context, s store.Store, c config, filter store.Filter, f *reportFlags) (in report.Input, err error) {
	if in.Frames, err = f.frames.read(); err != nil {
		return in, err
	}
	x, err := testday.Select(ctx, s, filter, slices.Concat(c.Lower, f.lower))
	if err != nil {
		return in, err
	}
	all, err := s.Runs(ctx, filter)
	if err != nil {
		return in, err
	}
	q := report.Questions{
		Metrics: f.metrics, Reference: f.reference, Margin: f.margin.pointer(), Declared: f.noise.value,
		Full: f.full, Reserve: f.reserve.value, Prices: f.prices.or(c.Prices), SwitchedOff: x.SwitchedOff,
	}
	if in.Study, err = report.Ask(x.Runs, q); err != nil {
		return in, err
	}
	var tidy bytes.Buffer
	if err := exporter.WriteTidy(&tidy, all); err != nil {
		return in, err
	}
	in.Tidy = tidy.Bytes()
	in.Runs = all
	in.Devices = deviceFacts(x.Runs)
	in.Traces, err = traces(ctx, s, all, f.runs)
	return in, err
}

// deviceFacts gathers what each device said of itself over all runs.
func deviceFacts(runs []run.Run) []report.Device {
	facts := map[string]map[string][]string{}
	for i := range runs {
		r := &runs[i]
		if facts[r.Device] == nil {
			facts[r.Device] = map[string][]string{}
		}
		for name, value := range r.Facts {
			if !slices.Contains(facts[r.Device][name], value) {
				facts[r.Device][name] = append(facts[r.Device][name], value)
			}
		}
	}
	var list []report.Device
	for _, name := range slices.Sorted(maps.Keys(facts)) {
		list = append(list, report.Device{Name: name, Facts: facts[name]})
	}
	return list
}

// worstRuns is how many single runs are drawn unless some are named.
const worstRuns = 12

// traces reads the course of the named runs, else of those with the worst
// findings.
func traces(ctx context.Context, s store.Store, all []run.Run, named []string) ([]report.Trace, error) {
	var ids []string
	for _, name := range named {
		id, err := s.FindRun(ctx, name)
		if err != nil {
			return nil, err
		}
		if !slices.ContainsFunc(all, func(r run.Run) bool { return r.ID == id }) {
			return nil, fmt.Errorf("run %s is not among the selected ones: change --device, --workload, --supply or --variant", id)
		}
		ids = append(ids, id)
	}
	if len(named) == 0 {
		ids = worst(all)
	}
	var list []report.Trace
	for _, id := range ids {
		t, err := readTrace(ctx, s, id)
		if err != nil {
			return nil, err
		}
		list = append(list, t)
	}
	return list, nil
}

// worst are the runs whose findings weigh most, the worst first; notes alone do
// not make a run worth a picture.
func worst(all []run.Run) []string {
	weight := func(r run.Run) int {
		w := 0
		for _, f := range r.Findings {
			w += map[run.Severity]int{run.SeverityReject: 10000, run.SeverityDoubt: 100, run.SeverityNote: 1}[f.Severity]
		}
		return w
	}
	const least = 100
	found := slices.DeleteFunc(slices.Clone(all), func(r run.Run) bool { return weight(r) < least })
	slices.SortStableFunc(found, func(x, y run.Run) int { return weight(y) - weight(x) })
	var ids []string
	shown := map[run.Code]int{}
	for _, r := range found {
		if code := heaviest(r); len(ids) < worstRuns && shown[code] < alike {
			shown[code]++
			ids = append(ids, r.ID)
		}
	}
	return ids
}

// alike is how many runs with the same finding are drawn: more say nothing new.
const alike = 3

// heaviest is the code of a run's first finding that is more than a note.
func heaviest(r run.Run) run.Code {
	code := run.Code("")
	for _, f := range r.Findings {
		if f.Severity == run.SeverityReject {
			return f.Code
		}
		if f.Severity == run.SeverityDoubt && code == "" {
			code = f.Code
		}
	}
	return code
}

func readTrace(ctx context.Context, s store.Store, id string) (report.Trace, error) {
	t := report.Trace{Run: id}
	trace, err := s.Trace(ctx, id)
	if err != nil {
		return t, err
	}
	lines := chooseLines(trace)
	var start time.Duration
	first := true
	err = trace.Each(func(x run.Sweep) error {
		if first {
			start, first = x.At.Mono, false
		}
		at := (x.At.Mono - start).Seconds()
		for i := range lines {
			lines[i].add(at, x.Values)
		}
		return nil
	})
	if err != nil {
		return t, err
	}
	for i := range lines {
		l := &lines[i]
		if !l.seen {
			continue
		}
		switch l.panel {
		case panelTemperature:
			t.Temperature = append(t.Temperature, l.Line)
		case panelPower:
			t.Power = append(t.Power, l.Line)
		default:
			t.Clock = append(t.Clock, l.Line)
		}
	}
	return t, nil
}
