package testday

import (
	"context"
	"slices"
	"strings"

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

	levels []run.Setting
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
			if f.Severity != run.SeverityNote {
				list = addDoubt(list, r, f)
			}
		}
	}
	for _, d := range list {
		slices.SortFunc(d.levels, run.Setting.Compare)
		for _, s := range d.levels {
			d.Settings = append(d.Settings, s.String())
		}
	}
	slices.SortStableFunc(list, func(x, y *Doubt) int {
		if x.Severity != y.Severity {
			return strings.Compare(string(y.Severity), string(x.Severity)) // "reject" before "doubt"
		}
		return y.Runs - x.Runs
	})
	return list
}

func addDoubt(list []*Doubt, r run.Run, f run.Finding) []*Doubt {
	i := slices.IndexFunc(list, func(d *Doubt) bool { return d.Code == f.Code && d.Device == r.Device })
	if i < 0 {
		i = len(list)
		list = append(list, &Doubt{Severity: f.Severity, Code: f.Code, Device: r.Device, Example: f.WithAdvice(), ExampleSetting: r.Setting.String()})
	}
	d := list[i]
	d.Runs++
	if !slices.Contains(d.levels, r.Setting.Setting) {
		d.levels = append(d.levels, r.Setting.Setting)
	}
	return list
}
