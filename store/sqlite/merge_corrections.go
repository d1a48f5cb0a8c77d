package sqlite

import (
	"cmp"
	"fmt"
	"maps"
	"slices"

	"sweepd/run"
	"sweepd/store"
)

// known is a run that is here, with what happened to it.
type known struct {
	run.Record
	history store.History
}

// combination is a run that two files have and that was corrected in either: what was
// corrected last counts, thing by thing.
type combination struct {
	taken     []store.Corrected // corrections that are not here
	typed     run.Run           // labels, note and results as they are with all corrections
	overruled []string          // what was corrected in both, to different ends
	// different says how the two differ where corrections do not explain all of it: the
	// run is left as it is.
	different []string
	judgedBy  side // whose findings hold for what is typed now
}

type side int

const (
	byHere side = iota
	byThere
	byNobody
)

// thing is what a correction corrects.
type thing struct {
	what run.Field
	name string
}

func thingOf(c store.Corrected) thing { return thing{c.What, c.Name} }

// combine combines what two files tell of one run.
func combine(here *known, there *foreignRun) (c combination) {
	mine, theirs := byThing(here.history.Corrections), byThing(there.history.Corrections)
	c.taken = lacking(here.history.Corrections, there.history.Corrections)
	lacks := len(c.taken) > 0 || len(lacking(there.history.Corrections, here.history.Corrections)) > 0
	a, b := here.Record, there.Record
	a.Results, b.Results = maps.Clone(a.Results), maps.Clone(b.Results)
	a.Facts, b.Facts = maps.Clone(a.Facts), maps.Clone(b.Facts)
	for _, what := range slices.SortedFunc(maps.Keys(joined(mine, theirs)), compareThings) {
		x, inHere := mine[what]
		y, inThere := theirs[what]
		last := x
		if !inHere || inThere && laterThan(y, x) {
			last = y
		}
		if inHere && inThere && x.New != y.New {
			c.overruled = append(c.overruled, fmt.Sprintf("%s: %q here (corrected at %s), %q there (at %s)", last.Thing(), run.Shorten(x.New), x.At, run.Shorten(y.New), y.At))
		}
		// What does not fit was checked when the runs were read.
		_, _ = last.Apply(&a.Run), last.Apply(&b.Run)
	}
	c.typed = a.Run
	if lacks && slices.Equal(byUser(here.history), byUser(there.history)) {
		for _, r := range []*run.Record{&a, &b} { // they follow from what is typed
			r.State, r.Why, r.Findings, r.SystemW = "", "", nil, nil
		}
	}
	if len(differences(&a, &b)) > 0 {
		c.different = differences(&here.Record, &there.Record)
	}
	switch {
	case sameJudgement(&here.Run, &c.typed):
		c.judgedBy = byHere
	case sameJudgement(&there.Run, &c.typed):
		c.judgedBy = byThere
	default:
		c.judgedBy = byNobody
	}
	return c
}

// sameJudgement tells whether what the findings depend on is the same.
func sameJudgement(a, b *run.Run) bool {
	return a.Supply == b.Supply && a.Setting == b.Setting && (len(a.Results) == 0) == (len(b.Results) == 0)
}

// byThing is the last correction of each thing.
func byThing(list []store.Corrected) map[thing]store.Corrected {
	last := map[thing]store.Corrected{}
	for _, c := range list {
		if before, there := last[thingOf(c)]; !there || laterThan(c, before) {
			last[thingOf(c)] = c
		}
	}
	return last
}

func joined[K comparable, V any](a, b map[K]V) map[K]V {
	all := maps.Clone(a)
	maps.Copy(all, b)
	return all
}

func compareThings(a, b thing) int {
	return cmp.Or(cmp.Compare(a.what, b.what), cmp.Compare(a.name, b.name))
}

func laterThan(a, b store.Corrected) bool {
	return cmp.Or(a.At.Compare(b.At.Time), cmp.Compare(a.Batch, b.Batch)) > 0
}

// lacking are those of other that list does not have.
func lacking(list, other []store.Corrected) (missing []store.Corrected) {
	type key struct {
		batch string
		thing
	}
	has := map[key]bool{}
	for _, c := range list {
		has[key{c.Batch, thingOf(c)}] = true
	}
	for _, c := range other {
		if !has[key{c.Batch, thingOf(c)}] {
			missing = append(missing, c)
		}
	}
	return missing
}

func byUser(h store.History) (list []store.Decided) {
	for _, d := range h.Decisions {
		if d.Who == "user" {
			list = append(list, d)
		}
	}
	return list
}

// takeCorrections has the merge take the other file's corrections of a run that is here.
func (m *merger) takeCorrections(x *foreignRun) {
	m.atEnd = append(m.atEnd, func(w *runWriter) error {
		n, _, err := runState(w.ctx, w.tx, x.ID, keptRuns)
		if err != nil {
			return err
		}
		r, err := readRuns(w.ctx, w.tx, Version, runNumber(n), whole)
		if err != nil {
			return err
		}
		c := combine(&known{r.records()[0], r.others[0].history}, x) // again, with the lock held
		if len(c.different) > 0 {
			return nil
		}
		err = w.change(n, func(before *run.Record) error { return w.takeCorrections(n, before, x, c) })
		if err != nil {
			return fmt.Errorf("run %s: %w", x.ID, err)
		}
		return nil
	})
}

func (w *runWriter) takeCorrections(n int64, before *run.Record, x *foreignRun, c combination) error {
	last := before.StartedAt.Time
	for _, y := range c.taken {
		if err := w.keepCorrection(n, y); err != nil {
			return err
		}
		last = y.At.Time
	}
	if err := w.writeTyped(n, before, &c.typed, last, false); err != nil {
		return err
	}
	if c.judgedBy != byThere {
		return nil
	}
	if _, err := w.exec(`DELETE FROM findings WHERE run = ?`, n); err != nil {
		return err
	}
	for _, f := range x.Findings {
		if err := w.addFinding(n, f); err != nil {
			return err
		}
	}
	if before.State != x.State {
		for _, d := range x.history.Decisions {
			if d.Who == "finding" && d.At.Compare(c.taken[0].At.Time) >= 0 {
				if err := w.decide(n, d.At.Time, d.What, d.Who, d.Why); err != nil {
					return err
				}
			}
		}
	}
	_, err := w.exec(`UPDATE runs SET system_w = ?, state = ?, why = ?, state_before = ? WHERE n = ?`,
		number(x.SystemW), string(x.State), x.Why, string(x.stateBefore), n)
	return err
}
