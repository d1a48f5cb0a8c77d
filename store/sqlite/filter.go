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
}

// and is the selection of those that fit another condition too.
func (c selection) and(condition string) selection {
	c.where = condition + " AND (" + c.where + ")"
	return c
}

// selected are the runs that a filter selects.
func selected(f store.Filter) selection {
	var conditions []string
	var args []any
	need := func(condition string, arg any) {
		conditions = append(conditions, condition)
		args = append(args, arg)
	}
	if f.Device != "" {
		need("device = ?", f.Device)
	}
	if f.Workload != "" {
		need("workload = ?", f.Workload)
	}
	if f.Supply != "" {
		need("supply = ?", string(f.Supply))
	}
	for k, v := range f.Variant.Pairs() {
		need("instr(',' || variant || ',', ?) > 0", ","+k+"="+v+",")
	}
	if f.State != "" {
		need("state = ?", string(f.State))
	}
	if !f.Since.IsZero() {
		need("started_at >= ?", run.Stamp(f.Since).String())
	}
	if !f.Until.IsZero() {
		need("started_at < ?", run.Stamp(f.Until).String())
	}
	all := "1"
	if len(conditions) > 0 {
		all = strings.Join(conditions, " AND ")
	}
	if f.Limit > 0 {
		all = fmt.Sprintf("n IN (SELECT n FROM runs WHERE %s ORDER BY started_at DESC, n DESC LIMIT %d)", all, f.Limit)
	}
	return selection{where: all, args: args, most: f == store.Filter{}}
}
