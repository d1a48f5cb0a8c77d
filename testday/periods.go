package testday

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"sweepd/analysis"
	"sweepd/run"
)

// startedKey stands in the variants of runs whose sides differ in when they started.
const startedKey = "started"

// period is when runs of a side started; zero times leave it open.
type period struct {
	since, until time.Time
	name         string // such as "since 2026-05-05"; "" where the side says nothing of time
}

func (p period) has(r *run.Run) bool {
	return !r.StartedAt.IsZero() && !r.StartedAt.Before(p.since) && (p.until.IsZero() || r.StartedAt.Before(p.until))
}

// nothing says that no run started then, and when the runs did.
func (p period) nothing(runs []run.Run, now time.Time) error {
	var first, last time.Time
	for i := range runs {
		if at := runs[i].StartedAt.Time; !at.IsZero() && (first.IsZero() || at.Before(first)) {
			first = at
		}
		if at := runs[i].StartedAt.Time; at.After(last) {
			last = at
		}
	}
	const minutes = "2006-01-02 15:04"
	name, when := p.name, "it is not known when the selected runs did"
	if !last.IsZero() {
		when = fmt.Sprintf("those selected did from %s to %s", first.In(now.Location()).Format(minutes), last.In(now.Location()).Format(minutes))
	}
	if p.since.After(now) {
		name = strings.Replace(ahead(strings.TrimPrefix(name, "since "), p.since, now), " lies", ", which lies", 1)
	}
	return fmt.Errorf("%w: no run started %s; %s", analysis.ErrNoComparison, name, when)
}

// cutPeriod takes since=... and until=... out of the text of a side.
func cutPeriod(side string, now time.Time) (p period, rest string, err error) {
	var others []string
	var since, until string
	for pair := range strings.SplitSeq(side, ",") {
		switch key, value, _ := strings.Cut(strings.TrimSpace(pair), "="); key {
		case "since":
			if p.since, _, err = ParseSpan(value, now); err != nil {
				return p, side, requestError(fmt.Errorf("side %q: since %w", side, err))
			}
			since = value
		case "until":
			if _, p.until, err = ParseSpan(value, now); err != nil {
				return p, side, requestError(fmt.Errorf("side %q: until %w", side, err))
			}
			until = value
		default:
			others = append(others, pair)
		}
	}
	switch {
	case since != "" && until != "" && !p.since.Before(p.until):
		return p, side, requestError(fmt.Errorf("side %q: since is not before until: no run can be between them", side))
	case since != "" && since == until:
		p.name = "on " + since
	case since != "" && until != "":
		p.name = since + " to " + until
	case since != "":
		p.name = "since " + since
	case until != "":
		p.name = "until " + until
	}
	return p, strings.Join(others, ","), nil
}

// splitByTime prepares a comparison whose sides say when their runs started
// (since=2026-05-05, until=yesterday): it leaves out the runs of neither, and says of
// the others by their variant which of the two they are of. A side that says nothing of
// time takes the runs that are not of the other. Where no side does, all stays as it is.
func splitByTime(runs []run.Run, q analysis.CompareRequest, now time.Time) ([]run.Run, analysis.CompareRequest, error) {
	a, restA, err := cutPeriod(q.A, now)
	if err != nil {
		return runs, q, err
	}
	b, restB, err := cutPeriod(q.B, now)
	if err != nil || a.name == "" && b.name == "" {
		return runs, q, err
	}
	const others = "at other times"
	var list []run.Run
	ofA, ofB := 0, 0
	for _, r := range runs {
		if _, has := r.Variant.Get(startedKey); has {
			return runs, q, requestError(fmt.Errorf("run %s has the variant key %q, which stands for the time where sides differ in it", run.ShortID(r.ID), startedKey))
		}
		inA, inB := a.name != "" && a.has(&r), b.name != "" && b.has(&r)
		name := ""
		switch {
		case inA && inB:
			return runs, q, requestError(fmt.Errorf("the sides overlap: run %s, which started at %s, is of both", run.ShortID(r.ID), r.StartedAt))
		case inA:
			name = a.name
			ofA++
		case inB:
			name = b.name
			ofB++
		case a.name == "" || b.name == "":
			name = others
		default:
			continue
		}
		pairs := r.Variant.Map()
		pairs[startedKey] = name
		r.Variant = run.NewVariant(pairs)
		list = append(list, r)
	}
	for _, side := range []struct {
		period
		n int
	}{{a, ofA}, {b, ofB}} {
		if side.name != "" && side.n == 0 && len(runs) > 0 {
			return runs, q, side.nothing(runs, now)
		}
	}
	for _, side := range []struct {
		text *string
		rest string
		name string
	}{{&q.A, restA, a.name}, {&q.B, restB, b.name}} {
		name := side.name
		if name == "" {
			name = others
		}
		*side.text = strings.Join(slices.DeleteFunc([]string{namedSide(q.By, side.rest), startedKey + "=" + name}, func(s string) bool { return s == "" }), ",")
	}
	q.By = ""
	return list, q, nil
}

// namedSide is a side that is only a name as a pair.
func namedSide(by, side string) string {
	if side == "" || strings.Contains(side, "=") {
		return side
	}
	return by + "=" + side
}
