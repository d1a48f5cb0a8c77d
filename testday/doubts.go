package testday

import (
	"context"
	"maps"
	"slices"
	"strings"

	"sweepd/report/sentence"
	"sweepd/run"
)

// Doubt is a kind of finding about the runs of a device that needs a look.
type Doubt struct {
	Severity run.Severity `json:"severity"`
	Code     run.Code     `json:"code"`
	Device   string       `json:"device"`
	Runs     int          `json:"runs"`
	Settings []string     `json:"settings"` // the lowest first, names last
	// Example is the text of one finding, at ExampleSetting.
	Example        string `json:"example"`
	ExampleSetting string `json:"example_setting"`
	// Where names the runs and ExampleWhere the one of the example, as a person knows them:
	// "harbour-flight at 10 W and 15 W; tile-sort at 20 W".
	Where        string   `json:"where"`
	ExampleWhere string   `json:"example_where"`
	RunIDs       []string `json:"run_ids"`

	levels map[string][]run.Setting // of each workload
}

// DoubtsAnswer is what needs a look among the runs that were selected.
type DoubtsAnswer struct {
	Runs   int      `json:"runs"` // that were looked at
	Doubts []*Doubt `json:"doubts"`
}

// FindDoubts lists what needs a look.
var FindDoubts = &Operation[FilterRequest, DoubtsAnswer]{
	About{Method: "GET", Path: "/doubts", Summary: "Lists what needs a look among runs, by kind."},
	func(ctx context.Context, d *Day, q FilterRequest) (a DoubtsAnswer, err error) {
		f, err := q.Filter(d.Now)
		if err != nil {
			return a, err
		}
		runs, err := List(ctx, d.Store, f)
		return DoubtsAnswer{len(runs), Doubts(runs)}, err
	},
}

// interrupted stands for the state of that name among the findings.
var interrupted = run.Finding{Code: run.Code(run.Interrupted), Severity: run.SeverityDoubt, Text: "the agent ended in the middle of it, so it does not count",
	Advice: "if it was good, keep it to its last stored sweep with sweepd run keep RUN --why TEXT (sweepd run list --state interrupted lists them)"}

// Doubts gathers the findings that are worse than a note, the worst and commonest
// first.
func Doubts(runs []run.Run) []*Doubt {
	list := []*Doubt{}
	for _, r := range runs {
		if r.State == run.Interrupted {
			list = addDoubt(list, r, interrupted)
		}
		for _, f := range r.Findings {
			// Of a run that does not count nobody misses the result.
			lacks := f.Code == run.ResultMissing && r.State != run.Finished
			if f.Severity != run.SeverityNote && !lacks {
				list = addDoubt(list, r, f)
			}
		}
	}
	for _, d := range list {
		d.sayWhere()
	}
	slices.SortStableFunc(list, func(x, y *Doubt) int {
		if x.Severity != y.Severity {
			return strings.Compare(string(y.Severity), string(x.Severity)) // "reject" before "doubt"
		}
		return y.Runs - x.Runs
	})
	return list
}

// sayWhere says of which workloads the runs are, at which settings.
func (d *Doubt) sayWhere() {
	var parts []string
	var all []run.Setting
	for _, workload := range slices.Sorted(maps.Keys(d.levels)) {
		var words []string
		slices.SortFunc(d.levels[workload], run.Setting.Compare)
		all = append(all, d.levels[workload]...)
		for _, s := range d.levels[workload] {
			if s.Known() {
				words = append(words, sentence.SettingOf(s))
			}
		}
		if len(words) > 0 {
			workload += " at " + sentence.Listed(words, len(words))
		}
		parts = append(parts, workload)
	}
	d.Where = strings.Join(parts, "; ")
	slices.SortFunc(all, run.Setting.Compare)
	for _, s := range slices.Compact(all) {
		d.Settings = append(d.Settings, s.String())
	}
}

func addDoubt(list []*Doubt, r run.Run, f run.Finding) []*Doubt {
	i := slices.IndexFunc(list, func(d *Doubt) bool { return d.Code == f.Code && d.Device == r.Device })
	if i < 0 {
		i = len(list)
		list = append(list, &Doubt{Severity: f.Severity, Code: f.Code, Device: r.Device, Example: f.WithAdvice(), ExampleSetting: r.Setting.String(), ExampleWhere: runSaid(r.Labels), levels: map[string][]run.Setting{}})
	}
	d := list[i]
	d.Runs++
	d.RunIDs = append(d.RunIDs, r.ID)
	if !slices.Contains(d.levels[r.Workload], r.Setting.Setting) {
		d.levels[r.Workload] = append(d.levels[r.Workload], r.Setting.Setting)
	}
	return list
}
