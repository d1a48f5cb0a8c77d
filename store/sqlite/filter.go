package sqlite

import (
	"fmt"
	"strings"

	"sweepd/run"
	"sweepd/store"
)

// selection is a condition on `runs`.
type selection struct {
	where string
	args  []any
	most  bool // nearly all runs fit
	// named says that the condition names the runs, so that others need not be looked at.
	// Whether a run fits another one cannot be told where that run is damaged.
	named bool
}

// and is the selection of those that fit another condition too.
func (c selection) and(condition string) selection {
	c.where = condition + " AND (" + c.where + ")"
	return c
}

// underWay is what an import fulfils that is not done: two columns say so, since a flipped
// bit of one would hide all its runs, or have them taken out as broken off.
const underWay = "NOT done AND alive_until_ms > 0"

// takenBack is what an import fulfils that a user took back; two columns, as above.
const takenBack = "taken_back AND taken_back_at IS NOT NULL"

// keptRuns is what the runs that are there fulfil: not those of an import that is not
// done, or that was taken back.
const keptRuns = "(import IS NULL OR import NOT IN (SELECT id FROM imports WHERE " + underWay + " OR " + takenBack + "))"

// hiddenRuns are the runs of imports that were taken back.
const hiddenRuns = "import IN (SELECT id FROM imports WHERE " + takenBack + ")"

// kept is keptRuns, or, of a file that is read in an older version, what comes to the same.
func (s *Store) kept() string {
	switch s.version {
	case 1:
		return "1"
	case 2:
		return "(import IS NULL OR import NOT IN (SELECT id FROM imports WHERE " + underWay + "))"
	}
	return keptRuns
}

// textOf is a text to compare with: one flipped bit makes a text of the file a string of
// the same bytes, which no text is equal to.
func textOf(column string) string { return "CAST(" + column + " AS TEXT)" }

// selected are the runs that a filter selects.
func (s *Store) selected(f store.Filter) selection {
	conditions := []string{s.kept()}
	var args []any
	need := func(condition string, arg any) {
		conditions = append(conditions, condition)
		args = append(args, arg)
	}
	if f.Device != "" {
		need(textOf("device")+" = ?", f.Device)
	}
	if f.Workload != "" {
		need(textOf("workload")+" = ?", f.Workload)
	}
	if f.Supply != "" {
		need(textOf("supply")+" = ?", string(f.Supply))
	}
	for k, v := range f.Variant.Pairs() {
		need("instr(',' || variant || ',', ?) > 0", ","+k+"="+v+",")
	}
	if w, known := f.Setting.Watts(); known {
		need("abs(setting_w - ?) < 0.005", w)
	} else if name := f.Setting.Name(); name != "" {
		need("setting = ?", name)
	}
	if f.Finding != "" {
		need("EXISTS (SELECT 1 FROM findings AS f WHERE f.run = runs.n AND f.code = ?)", string(f.Finding))
	}
	if f.State != "" {
		need(textOf("state")+" = ?", string(f.State))
	}
	if !f.Since.IsZero() {
		need(textOf("started_at")+" >= ?", run.Stamp(f.Since).String())
	}
	if !f.Until.IsZero() {
		need(textOf("started_at")+" < ?", run.Stamp(f.Until).String())
	}
	all := strings.Join(conditions, " AND ")
	if f.Limit > 0 {
		all = fmt.Sprintf("n IN (SELECT n FROM runs WHERE %s ORDER BY %s DESC, n DESC LIMIT %d)", all, textOf("started_at"), f.Limit)
	}
	return selection{where: all, args: args, most: f == store.Filter{}}
}
